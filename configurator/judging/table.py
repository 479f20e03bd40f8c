"""Every combination of one circuit, judged: what each breaks, and the figures it is judged by."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Mask
from configurator.judging.case import Case, margins
from configurator.judging.right import HARD, IN_EVERY_ENGINE
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
    most = most_together(case, wishes).share
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


@dataclass(frozen=True)
class Together:
    """The surest combination of every circuit, together: share of belief that all are right for, and the engines that
    each is right for."""

    share: float
    right: Mapping[str, Regions]


PAIRED_AT_FIRST, MOST_PAIRED = 300, 2400
"""Combinations of one circuit that are paired with the other's, the surest first: no pair is surer than either of
its two."""


def most_together(case: Case, wishes: Sequence[Wish] = ()) -> Together:
    """The most of what is believed that combinations of all circuits are right for together, of those that wishes and
    the other rules allow and that have room in the car."""
    assert case.asked is not None
    sorts = {name: _surest_first(case, name, wishes) for name in case.circuit_names}
    if not all(len(shares) for shares, _ in sorts.values()):
        return Together(0.0, {})
    (shares, front), *others = sorts.values()
    if not others:
        return Together(float(shares[0]), {name: Regions(front.bits[0]) for name in sorts})
    ((rear_shares, rear),) = others
    paired = PAIRED_AT_FIRST
    while True:
        covers = [Regions(one.bits[:paired]).covers for one in (front, rear)]
        together = (covers[0] * case.asked.masses) @ covers[1].T.astype(float)
        at = np.unravel_index(int(together.argmax()), together.shape)
        most = float(together[at])
        if paired >= MOST_PAIRED or all(share[paired:].max(initial=0.0) <= most for share in (shares, rear_shares)):
            best = {name: Regions(one.bits[place]) for (name, (_, one)), place in zip(sorts.items(), at, strict=True)}
            return Together(most, best)
        paired *= 2


def _surest_first(case: Case, name: str, wishes: Sequence[Wish]) -> tuple[Array, Regions]:
    """Shares of belief that combinations of one circuit are right for, the surest first, and the engines of each; those
    that are right for the same engines are one."""
    table, keeps = case.tabulated(name), _allowed(case, name, wishes)
    assert table.shot.regions is not None
    shares = table.shot.sure_percent[..., 0, 0][keeps] / 100.0
    first = np.argsort(-shares, kind="stable")[: 1 if len(case.circuit_names) == 1 else MOST_PAIRED * 8]
    bits = table.shot.regions.bits[..., 0, 0, :][keeps][first]
    if len(first) > 1:
        _, places = np.unique(bits, axis=0, return_index=True)
        places.sort()
        first, bits = first[places], bits[places]
    return shares[first], Regions(bits)


def _allowed(case: Case, name: str, wishes: Sequence[Wish]) -> Mask:
    """Which combinations of a circuit the wishes and the rules allow that hold in every engine, and have room in the
    car; shape (nozzle, feed screw, pump, lobe)."""
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
    return np.asarray((keeps & room).any(axis=(-2, -1)))
