"""What has to be measured before parts come into a place that nobody measured: under a deeper pump, over a spacer."""

from math import isnan

from configurator.catalogue.parts import PumpFigures
from configurator.judging.case import Case
from configurator.rules import RULES
from configurator.slots.options import Choice, Stack
from configurator.slots.slot import Slot

_PAD, _BONNET = "pump-clears-the-manifold-pad", "spacer-fits-under-the-bonnet"


def unmeasured(case: Case, choice: Choice) -> list[tuple[str, str | None]]:
    """The rules, each with its circuit, that lack a measure of a place into which a choice comes farther than what is
    fitted."""
    stack, relief_mm = choice[Slot(None, "spacer")].read(Stack), choice[Slot(None, "pad_relief")].read(float)
    found: list[tuple[str, str | None]] = []
    for name in case.circuit_names:
        pump = Slot(name, "pump")
        new, old = (options[pump].read(PumpFigures).depth_below_bowl_mm for options in (choice, case.as_fitted))
        if new - old > stack.thickness_mm + relief_mm and isnan(case.circuit_facts(name).pad_clearance_mm):
            found.append((_PAD, name))
    if stack.bonnet_mm > 0.0 and isnan(case.car.facts.bonnet_clearance_mm):
        found.append((_BONNET, None))
    return found


def deeper_pumps(case: Case) -> dict[str, frozenset[str]]:
    """Codes of the pumps that come deeper than the fitted one, for each circuit whose pad nobody measured."""
    found = {}
    for name in case.circuit_names:
        pump = Slot(name, "pump")
        fitted_mm = case.as_fitted[pump].read(PumpFigures).depth_below_bowl_mm
        if isnan(case.circuit_facts(name).pad_clearance_mm):
            found[name] = frozenset(
                option.code for option in case.options[pump].first_of_kinds
                if option.code and option.read(PumpFigures).depth_below_bowl_mm > fitted_mm
            )  # fmt: skip
    return found


def measure_first(case: Case, choice: Choice) -> list[str]:
    """The same in words."""
    return [measure_pad(name) if name else RULES[rule].unknown for rule, name in unmeasured(case, choice)]


def measure_pad(circuit: str) -> str:
    """How to measure below the pump of a circuit."""
    return f"{circuit}: {RULES[_PAD].unknown}"
