"""Every combination of one circuit, judged: what each breaks, and the figures it is judged by."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Mask
from configurator.judging.case import Case, margins
from configurator.rules import RULES
from configurator.rules.figures import JudgedFigures
from configurator.slots.options import Option, Slots
from configurator.slots.slot import CIRCUIT_SLOTS, Slot, SlotName

DEMAND = ("shot-covers-the-hole", "shot-does-not-flood")
CombinationAt = tuple[int, int, int, int]
"""Places of a nozzle, feed screw, pump and lobe in a table."""


@dataclass(frozen=True)
class CombinationTable:
    """All combinations of one circuit: options by slot, the columns of their figures, and the rules each one breaks."""

    options: dict[SlotName, tuple[Option, ...]]
    columns: JudgedFigures
    broken: dict[str, Mask]
    """Rule id to whether it is broken, shape of (nozzle, feed screw, pump, lobe)."""


def tabulate_circuit(case: Case, name: str) -> CombinationTable:
    """Every combination of the kinds there are for a circuit, judged: no redrilled nozzle, spacer and pad as they
    are."""
    listed = {slot: (options if slot.circuit else options[:1]) for slot, options in case.on_offer.items()}
    nozzle = Slot(name, "nozzle")
    listed[nozzle] = tuple(option for option in listed[nozzle] if option.work != "redrill")
    return tabulate_listed(case, name, listed)


def tabulate_listed(case: Case, name: str, listed: Slots) -> CombinationTable:
    """Every combination of the options listed for a circuit, judged, its window included."""
    columns = case.columns(name, listed, with_windows=True)
    options = {slot: tuple(listed[Slot(name, slot)]) for slot in CIRCUIT_SLOTS}
    shape = tuple(len(options[slot]) for slot in CIRCUIT_SLOTS)
    broken = {
        rule.id: np.broadcast_to(margins(rule, columns)[..., 0, 0] < 0, shape)
        for rule in RULES.values()
        if rule.scope == "circuit" and rule.is_choosable and rule.severity == "conflict"
    }
    return CombinationTable(options, columns, broken)
