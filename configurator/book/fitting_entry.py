"""'This is fitted now', as it is entered: words checked, the shelf's part of it, and what to keep in mind."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from configurator.book.car_now import CarNow
from configurator.book.fitting import MOST_NOTE_SIGNS, Fitting, fitting_of
from configurator.car.fitted import FittedNozzle
from configurator.errors import BadInput
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.judging.right import DEMAND
from configurator.slots.options import Choice, Option
from configurator.slots.slot import Slot
from configurator.slots.wishes import chosen_parts


def enter_fitting(
    before: CarNow,
    words: Sequence[str],
    at: datetime,
    note: str = "",
    *,
    as_file: bool = False,
    old_to_shelf: bool = False,
    new_from_shelf: bool = False,
) -> tuple[Fitting, list[str]]:
    """What these words tell to be fitted, and what to keep in mind about it; raises BadInput for a word that means no
    part. before : the car as it was up to then. as_file : as its vehicle file says, in place of words."""
    if len(note) > MOST_NOTE_SIGNS:
        raise BadInput.in_field("note", "", f"{len(note)} characters", f"at most {MOST_NOTE_SIGNS}")
    case = before.case
    choice = before.filed.as_fitted if as_file else _read(case, words)
    shelf: dict[str, int] = {}
    notes: list[str] = [] if as_file else _does_not_fit(case, choice)
    for slot, new in choice.items():
        old = case.as_fitted[slot]
        if new.label == old.label or new.work in ("redrill", "rephase", "relieve"):
            continue
        for one, wanted, change in ((old, old_to_shelf, 1), (new, new_from_shelf, -1)):
            code = _on_a_shelf(slot, one) if wanted and one.label != "none" else ""
            if code:
                shelf[code] = shelf.get(code, 0) + change * case.vehicle.carburettor.count
            elif code is None:
                notes.append(f"{slot}: {one.label} has no code to be booked by; the shelf is left as it is")
    told = None if as_file else choice
    return fitting_of(case, at, told, {code: change for code, change in shelf.items() if change}, note), notes


def _read(case: Case, words: Sequence[str]) -> Choice:
    try:
        return chosen_parts(case.options, words)
    except BadInput as error:
        raise BadInput([replace(fault, field="") for fault in error.faults]) from None


def _does_not_fit(case: Case, choice: Choice) -> list[str]:
    """What the parts break that those before did not, the fuel left out: it is for a run to show."""
    before = {(f.rule, f.circuit) for f in findings(case, case.as_fitted) if f.holds is False}
    return [
        f"{f'{f.circuit}: ' if f.circuit else ''}{f.says}. It is kept as told; {f.mend}."
        for f in findings(case, choice)
        if f.holds is False and f.severity == "conflict" and f.rule not in DEMAND and (f.rule, f.circuit) not in before
    ]  # fmt: skip


def _on_a_shelf(slot: Slot, option: Option) -> str | None:
    """The code that a part is on a shelf by; None where it has none, or is not any more what its code says."""
    figures = option.figures
    if isinstance(figures, FittedNozzle) and figures.stamped_diameter_mm not in (None, figures.diameter_mm):
        return None
    return option.code if slot.name != "pad_relief" else ""
