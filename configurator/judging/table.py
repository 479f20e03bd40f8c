"""Every combination of one circuit, judged: what each breaks, and the figures it is judged by."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from configurator.arrays import Array, Indices, Integers, Mask
from configurator.judging.case import Case, margins
from configurator.judging.right import HARD, IN_EVERY_ENGINE
from configurator.physics.lateness import Bits, Regions
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


def as_sure_as_can_be(
    case: Case, wishes: Sequence[Wish] = (), nearly: float = NEARLY_AS_SURE, a_part_is_worth: float = 0.0
) -> Case:
    """A case that asks for a share of what is believed; where no parts are right for so much, the same asking for
    nearly as much as any can be that the wishes and the other rules allow. nearly : what the surest is sure of, times
    this, will do. a_part_is_worth : as most_together takes it."""
    assert case.asked is not None
    most = most_together(case, wishes, a_part_is_worth, enough=case.asked.share).share
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


def most_together(
    case: Case,
    wishes: Sequence[Wish] = (),
    a_part_is_worth: float = 0.0,
    enough: float = 1.0,
    most_parts: int | None = None,
) -> Together:
    """The most of what is believed that combinations of all circuits are right for together, of those that wishes and
    the other rules allow and that have room in the car.

    a_part_is_worth : share of belief that each part to be changed is to add. enough : beyond this, more counts for
    nothing. most_parts : how many may be changed.
    """
    assert case.asked is not None
    circuits = [_Allowed.of(case, name, wishes) for name in case.circuit_names]
    weighed = a_part_is_worth > 0.0 or most_parts is not None
    counts = product(*(one.counts if weighed else one.counts[-1:] for one in circuits))
    allowed = (parts for parts in counts if most_parts is None or sum(parts) <= most_parts)
    best, best_worth = Together(0.0, {}), -np.inf

    def worth(share: float, parts: Sequence[int]) -> float:
        return worth_of(share, sum(parts), a_part_is_worth, enough)

    def worth_at_most(parts: Sequence[int]) -> float:
        return worth(min(one.most(count) for one, count in zip(circuits, parts, strict=True)), parts)

    # Fewer parts first where they may be worth as much.
    for parts in sorted(allowed, key=lambda parts: (-worth_at_most(parts), sum(parts))):
        if worth_at_most(parts) <= best_worth:
            break
        kept = 1 if len(circuits) == 1 else MOST_PAIRED * 8
        sorts = [one.surest_first(count, kept) for one, count in zip(circuits, parts, strict=True)]
        share, places = _surest_pair(sorts, case.asked.masses) if len(sorts) == 2 else (float(sorts[0][0][0]), [0])
        if worth(share, parts) > best_worth:
            rights = (Regions(one.bits[place]) for (_, one), place in zip(sorts, places, strict=True))
            best = Together(share, dict(zip(case.circuit_names, rights, strict=True)))
            best_worth = worth(share, parts)
    return best


def worth_of(share: float, parts: int, a_part_is_worth: float, enough: float) -> float:
    """What combinations are sorted by that are right for a share of what is believed, and change so many parts; as
    most_together takes it.

    >>> f"{worth_of(0.95, 2, 0.1, enough=0.9):.2f}, {worth_of(0.85, 1, 0.1, enough=0.9):.2f}"
    '0.70, 0.75'
    """
    return min(share, enough) - a_part_is_worth * parts


PAIRED_AT_FIRST, MOST_PAIRED = 300, 2400
"""Combinations of one circuit that are paired with the other's, the surest first: no pair is surer than either of
its two."""


def _surest_pair(sorts: Sequence[tuple[Array, Regions]], masses: Array) -> tuple[float, list[int]]:
    """What the surest pair is right for, and the places of its two. sorts : of each circuit, the surest first."""
    (front_shares, front), (rear_shares, rear) = sorts
    paired = PAIRED_AT_FIRST
    while True:
        covers = [Regions(one.bits[:paired]).covers for one in (front, rear)]
        together = (covers[0] * masses) @ covers[1].T.astype(float)
        at = np.unravel_index(int(together.argmax()), together.shape)
        most = float(together[at])
        if paired >= MOST_PAIRED or all(
            shares[paired:].max(initial=0.0) <= most for shares in (front_shares, rear_shares)
        ):
            return most, [int(place) for place in at]
        paired *= 2


@dataclass(frozen=True)
class _Allowed:
    """The combinations of one circuit that wishes and the rules that hold in every engine allow, and that have room in
    the car: share of belief each is right for, how many parts it changes, and the engines it is right for."""

    shares: Array
    changes: Integers
    bits: Bits
    places: Indices
    """Of each in the table, flat; bits has all of that."""

    @classmethod
    def of(cls, case: Case, name: str, wishes: Sequence[Wish]) -> "_Allowed":
        shot, changes = case.tabulated(name).shot, _changes(case, name, wishes)
        assert shot.regions is not None
        places = np.flatnonzero(changes < NOT_ALLOWED)
        shares = shot.sure_percent[..., 0, 0].ravel()[places] / 100.0
        bits = shot.regions.bits[..., 0, 0, :]
        return cls(shares, changes.ravel()[places], bits.reshape(-1, bits.shape[-1]), places)

    @property
    def counts(self) -> list[int]:
        """How many parts may be changed, the fewest first; none where nothing is allowed."""
        return [int(count) for count in np.unique(self.changes)]

    def most(self, changes: int) -> float:
        """The most that one with so many changes at most is right for."""
        return float(self.shares[self.changes <= changes].max())

    def surest_first(self, changes: int, kept: int) -> tuple[Array, Regions]:
        """Shares of those with so many changes at most, the surest first, and the engines of each; those that are right
        for the same engines are one. kept : how many are looked at."""
        few = np.flatnonzero(self.changes <= changes)
        few = few[np.argsort(-self.shares[few], kind="stable")][:kept]
        _, firsts = np.unique(self.bits[self.places[few]], axis=0, return_index=True)
        few = few[np.sort(firsts)]
        return self.shares[few], Regions(self.bits[self.places[few]])


NOT_ALLOWED = 99


def _changes(case: Case, name: str, wishes: Sequence[Wish]) -> Integers:
    """How many parts each combination of a circuit changes, spacer and pad that it needs included; NOT_ALLOWED where a
    wish or a rule that holds in every engine forbids it. Shape (nozzle, feed screw, pump, lobe)."""
    table = case.tabulated(name)
    keeps = np.ones(table.shot.sure_percent.shape, dtype=bool)
    room = np.ones((1, 1), dtype=bool)
    changes = np.zeros((1,) * len(AXES), dtype=np.int8)
    for rule in IN_EVERY_ENGINE:
        holds = ~(margins(rule, table) < 0)
        if set(rule.slots) & set(SHARED_SLOTS):
            room = room & holds
        elif rule.scope == "circuit":
            keeps = keeps & holds
    for axis, own in enumerate(AXES):
        slot = Slot.of(name, own)
        offered, along = case.options[slot], [-1 if other == axis else 1 for other in range(len(AXES))]
        kinds = np.arange(len(case.on_offer[slot]))
        changes = changes + (kinds != offered.kind[0]).reshape(along).astype(np.int8)
        for wish in (wish for wish in wishes if wish.slot == slot):
            allowed = np.isin(kinds, offered.kind[sorted(wish.allowed)]).reshape(along)
            room, keeps = (room & allowed, keeps) if own in SHARED_SLOTS else (room, keeps & allowed)
    return np.asarray(np.where(keeps & room, changes, NOT_ALLOWED).min(axis=(-2, -1)))
