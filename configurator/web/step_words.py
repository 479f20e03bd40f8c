"""A step in words short enough for a heading, and how sure it is."""

from collections.abc import Sequence

from configurator.advice.next_step import NextChange
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import PumpFigures
from configurator.judging.case import Case
from configurator.slots.slot import SLOT_WORDS, SLOTS, Slot

_MOST_NAMED = 2


def step_told(case: Case, changes: Sequence[NextChange], article: str = "") -> str:
    """The parts of a step, the nozzles first; those that are too many to name are counted."""
    told = [f"{article}{_part(case, SLOTS[change.slot], change.to)}" for change in _nozzles_first(changes)]
    if len(told) > _MOST_NAMED:
        told = [*told[: _MOST_NAMED - 1], f"{len(told) - _MOST_NAMED + 1} more parts"]
    return " and ".join(told)


def _nozzles_first(changes: Sequence[NextChange]) -> list[NextChange]:
    return sorted(changes, key=lambda change: not change.slot.endswith("nozzle"))


def _part(case: Case, slot: Slot, label: str) -> str:
    option = case.options[slot].labelled(label)
    figures = option.figures if option else None
    where = f" in the {slot.circuit}" if slot.circuit and len(case.circuit_names) > 1 else ""
    if isinstance(figures, FittedNozzle):
        return f"{figures.diameter_mm:.2f} mm nozzle{where}"
    if isinstance(figures, PumpFigures):
        return f"{figures.capacity_cc:g} cc pump{where}"
    code = option.code if option and option.code else ""
    known = code.removeprefix("lobe-").removeprefix("screw-").removeprefix("spacer-") if code else ""
    return f"{known} {SLOT_WORDS[slot.name]}{where}" if known else f"other {SLOT_WORDS[slot.name]}{where}"


def sure_told(share: float) -> str:
    """A share as one says it of cars.

    >>> sure_told(0.44), sure_told(0.02), sure_told(0.997)
    ('right in 4 of 10 such cars', 'right in fewer than 1 of 10 such cars', 'right in nearly every such car')
    """
    tenths = round(10 * share)
    if tenths == 0:
        return "right in fewer than 1 of 10 such cars"
    return "right in nearly every such car" if tenths == 10 else f"right in {tenths} of 10 such cars"
