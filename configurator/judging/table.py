"""Every combination of one circuit, judged: what each breaks, and the figures it is judged by."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from configurator.arrays import Mask
from configurator.judging.case import Case, margins
from configurator.judging.right import HARD, IN_EVERY_ENGINE, right
from configurator.physics.lateness import Regions
from configurator.rules.figures import JudgedFigures
from configurator.slots.options import Option, Slots
from configurator.slots.slot import AXES, CIRCUIT_SLOTS, SHARED_SLOTS, Slot, SlotName
from configurator.slots.wishes import Wish

NEARLY_AS_SURE = 0.9
"""What the surest is sure of, times this, will do: no change is made for the last few per cent."""
CombinationAt = tuple[int, int, int, int]
"""Places of a nozzle, feed screw, pump and lobe in a table."""


@dataclass(frozen=True)
class CombinationTable:
    """All combinations of one circuit: options by slot, the columns of their figures, and the rules each one breaks."""

    options: dict[SlotName, tuple[Option, ...]]
    columns: JudgedFigures
    broken: dict[str, Mask]
    """Rule id to whether it is broken, shape of (nozzle, feed screw, pump, lobe)."""

    @cached_property
    def right(self) -> Regions:
        """The engines that each combination is right for by every hard rule, shape (nozzle, feed screw, pump, lobe,
        bytes)."""
        return right(self.columns)


def tabulate_circuit(case: Case, name: str) -> CombinationTable:
    """Every combination of the kinds there are for a circuit, judged: no redrilled nozzle, spacer and pad as they
    are."""
    listed = {slot: (options if slot.circuit else options[:1]) for slot, options in case.on_offer.items()}
    nozzle = Slot(name, "nozzle")
    listed[nozzle] = tuple(option for option in listed[nozzle] if option.work != "redrill")
    return tabulate_listed(case, name, listed)


def tabulate_listed(case: Case, name: str, listed: Slots) -> CombinationTable:
    """Every combination of the options listed for a circuit, judged, its region included."""
    columns = case.columns(name, listed, with_regions=True)
    options = {slot: tuple(listed[Slot(name, slot)]) for slot in CIRCUIT_SLOTS}
    shape = tuple(len(options[slot]) for slot in CIRCUIT_SLOTS)
    broken = {
        rule.id: np.broadcast_to(margins(rule, columns)[..., 0, 0] < 0, shape)
        for rule in HARD
        if rule.scope == "circuit"
    }
    return CombinationTable(options, columns, broken)


def as_sure_as_can_be(case: Case, wishes: Sequence[Wish] = (), nearly: float = NEARLY_AS_SURE) -> Case:
    """A case that asks for a share of what is believed; where no parts are right for so much, the same asking for
    nearly as much as any can be that the wishes and the other rules allow. nearly : what the surest is sure of, times
    this, will do."""
    assert case.asked is not None
    most = min(_most_sure(case, name, wishes) for name in case.circuit_names)
    enough = share_that_will_do(most, case.asked.share, nearly)
    return case if enough == case.asked.share or most < LEAST_SURE else case.content_with(enough)


def share_that_will_do(most: float, wanted: float, nearly: float = NEARLY_AS_SURE) -> float:
    """What is wanted, where something is right for so much; else nearly as much as the most that anything is.

    >>> share_that_will_do(0.93, 0.9), share_that_will_do(0.5, 0.9)
    (0.9, 0.45)
    """
    return wanted if most >= wanted else min(nearly, 1.0 - 1e-9) * most


LEAST_SURE = 0.05
"""Nothing is proposed that is right for less of what is believed."""


def _most_sure(case: Case, name: str, wishes: Sequence[Wish]) -> float:
    """The most of what is believed that any combination of a circuit is right for that has room in the car."""
    table = case.tabulated(name)
    keeps = np.ones(table.shot.sure_percent.shape, dtype=bool)
    room = np.ones((1, 1), dtype=bool)
    for rule in IN_EVERY_ENGINE:
        holds = ~(margins(rule, table) < 0)
        if set(rule.slots) & set(SHARED_SLOTS):
            room = room & holds
        elif rule.scope == "circuit":
            keeps = keeps & holds
    for axis, own in enumerate(AXES):
        slot = Slot.of(name, own)
        for wish in (wish for wish in wishes if wish.slot == slot):
            offered = case.options[slot]
            allowed = np.isin(np.arange(len(case.on_offer[slot])), offered.kind[sorted(wish.allowed)])
            allowed = allowed.reshape([-1 if other == axis else 1 for other in range(len(AXES))])
            room, keeps = (room & allowed, keeps) if own in SHARED_SLOTS else (room, keeps & allowed)
    keeps = keeps & room.any(axis=(-2, -1), keepdims=True)
    return float(np.where(keeps, table.shot.sure_percent, 0.0).max(initial=0.0)) / 100.0
