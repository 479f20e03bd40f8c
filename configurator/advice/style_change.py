"""Why a nozzle of another style takes the place of the fitted one: what its jet does, and what one of that style would
have to be."""

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import NozzleStyle
from configurator.judging.case import Case
from configurator.judging.findings import broken
from configurator.slots.options import Choice, Option
from configurator.slots.slot import Slot
from configurator.units.units import show_diameter

JET: dict[NozzleStyle, str] = {
    "aimed": "less of its first fuel lands on the walls, so the pull comes sooner",
    "straight": "more of its first fuel lands on the walls and comes later, so it smokes less at first",
}


def why_another_style(case: Case, choice: Choice, circuit: str, now: Option) -> str:
    """One line where the style of a circuit's nozzle changes; empty where it stays. now : the nozzle that is in."""
    slot = Slot(circuit, "nozzle")
    old, new = now.read(FittedNozzle), choice[slot].read(FittedNozzle)
    if old.style == new.style:
        return ""
    head = f"{new.style} in place of {old.style}"
    if old.style not in case.vehicle.carburettor.nozzle_styles:
        return f"{head}: the body takes no {old.style} nozzle"
    broken_now = _conflicts(case, choice)
    sizes = [
        size for size in _sizes(case, slot, old.style) if _conflicts(case, {**choice, slot: size}) <= broken_now
    ]  # fmt: skip
    if not sizes:
        return f"{head}: {JET[new.style]}; no {old.style} one would do here"
    nearest = min(sizes, key=lambda size: abs(_mm(size) - new.diameter_mm))
    if not nearest.read(FittedNozzle).is_told_from(new.model_copy(update={"style": old.style}), 0.0):
        return f"{head}: {JET[new.style]}; a {old.style} one of this size would do as well"
    return f"{head}: {JET[new.style]}; a {old.style} one would have to be {show_diameter(_mm(nearest))}"


def _sizes(case: Case, slot: Slot, style: NozzleStyle) -> list[Option]:
    """What is on offer of a style, as new."""
    return [
        option for option in case.on_offer[slot]
        if option.work != "redrill" and option.read(FittedNozzle).style == style
    ]  # fmt: skip


def _conflicts(case: Case, choice: Choice) -> set[tuple[str, str | None]]:
    """Hard rules that a choice breaks, each with its circuit."""
    return {(f.rule, f.circuit) for f in broken(case, choice) if f.severity == "conflict"}


def _mm(nozzle: Option) -> float:
    return nozzle.read(FittedNozzle).diameter_mm
