"""Every minimal reason why nothing fits, and every smallest way out, from the sets of rules that assignments break.

Each assignment breaks a set of constraints. The smallest of those sets (none holds another) are the ways out: give up
all of one of them, and something fits. Constraints that cannot all hold must meet every one of them; so the minimal
clashes are the minimal sets that do (Reiter, "A theory of diagnosis from first principles", Artificial Intelligence 32,
1987; Liffiton & Sakallah, J. Automated Reasoning 40, 2008; both from memory). Sets are whole numbers, one bit a
constraint. The sets of all assignments are gathered block by block, as in a sweep.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property, lru_cache, reduce
from math import prod
from typing import TypeVar

import numpy as np

from configurator.arrays import Mask
from configurator.rules import RULES
from configurator.slots.slot import Slot
from configurator.solver.blocks import Block, Blocks, Ids
from configurator.solver.problem import Constraint

_FAMILIARITY = {rule.id: (len(rule.circuit_slots()), place) for place, rule in enumerate(RULES.values())}
"""How soon a rule is understood: one that reads few parts, such as what fits what, before one that reads the shot."""

Member = TypeVar("Member")
Sets = tuple[int, ...]
"""Sets of constraints, none of which holds another, in a fixed order."""
Rows = Mapping[tuple[int, Slot | None], Ids]
AllowedOptions = Mapping[Slot, frozenset[int]]
"""Options that each pinned slot may have."""


def smallest(sets: Iterable[int]) -> Sets:
    """Those of the sets that hold no other of them.

    >>> smallest([0b110, 0b011, 0b010, 0b101])
    (2, 5)
    """
    kept: list[int] = []
    distinct = set(sets)
    if 0 in distinct or len(distinct) < 2:
        return (0,) if 0 in distinct else tuple(distinct)
    for one in sorted(distinct, key=lambda bits: (bits.bit_count(), bits)):
        if not any(other & one == other for other in kept):
            kept.append(one)
    return tuple(kept)


@lru_cache(maxsize=4096)
def together(these: Sets, those: Sets) -> Sets:
    """What is broken where one of these and one of those is broken together."""
    if these == (0,):
        return those
    return smallest(one | other for one in these for other in those)


@lru_cache(maxsize=4096)
def transversals(sets: Sets) -> Sets:
    """The minimal sets that meet each of these (Berge's way: one after the other).

    >>> transversals((0b011, 0b110))
    (2, 5)
    """
    found: Sets = (0,)
    for one in sets:
        bits = [1 << place for place in range(one.bit_length()) if one >> place & 1]
        met = [other for other in found if other & one]
        missed = [other | bit for other in found if not other & one for bit in bits]
        found = smallest([*met, *missed])
    return found


class Ways:
    """The smallest ways out under some pins: for one option of a slot, its own pin lifted, or for the whole choice.

    Options that meet the same kinds of cell behind the same doors have the same ways out, worked out once. A pin's bit
    stands behind those of the hard constraints, in the order of `pinned`.
    """

    def __init__(self, blocks: Blocks, pins: AllowedOptions | None = None, numbers: Rows | None = None) -> None:
        self.blocks, self._pins = blocks, pins or {}
        self.pinned = tuple(self._pins)
        self._numbers = numbers or {
            (number, slot): _rows(block, slot)
            for number, block in enumerate(blocks.blocks)
            for slot in (None, *block.slots)
        }
        self._ways_of: dict[tuple[Slot, bytes], Sets] = {}
        self._own: dict[tuple[int, bytes], Sets] = {}
        self._reached_by: dict[tuple[int, bytes], Sets] = {}
        self._met_by_slot: dict[Slot, Mask] = {}
        self._beyond: dict[int, list[tuple[Sets, list[int]]]] = {}

    def under(self, pins: AllowedOptions) -> "Ways":
        """The ways out under other pins; what does not hang on pins is not worked out again."""
        return self if pins == self._pins else Ways(self.blocks, pins, self._numbers)

    def bit(self, slot: Slot) -> int:
        """The bit of a slot's pin, 0 where it has none."""
        return 1 << len(self.blocks.hard) + self.pinned.index(slot) if slot in self.pinned else 0

    def out(self) -> Sets:
        """Smallest sets to give up so that anything fits; the empty set alone where something fits."""
        return self._over_core(range(self.blocks.core.count))

    def out_for(self, slot: Slot, place: int) -> Sets:
        """Smallest sets to give up so that this option of the slot fits."""
        number = self.blocks.home(slot)
        if number is None:
            return self._lifted(slot, self._over_core(np.flatnonzero(self.blocks.core.place(slot) == place)))
        there = self._met(number, slot)[place]
        key = (slot, there.tobytes())
        if key not in self._ways_of:
            ways = [
                way for behind, doors in self._behind(number)
                for way in together(self._own_of(number, there[doors].any(axis=0)), behind)
            ]  # fmt: skip
            self._ways_of[key] = self._lifted(slot, smallest(ways))
        return self._ways_of[key]

    def _lifted(self, slot: Slot, sets: Sets) -> Sets:
        mask = ~self.bit(slot)
        return smallest(one & mask for one in sets)

    def _own_of(self, number: int, met: Mask) -> Sets:
        """The smallest sets among those that kinds of cell break; none where there is no such kind."""
        key = (number, met.tobytes())
        if key not in self._own:
            _, signatures = self._kinds[number]
            self._own[key] = smallest(signatures[kind] for kind in np.flatnonzero(met))
        return self._own[key]

    def _over_core(self, cells: Iterable[int]) -> Sets:
        every = range(len(self.blocks.blocks))
        return smallest(one for cell in cells for one in self._at_core(int(cell), every))

    def _at_core(self, cell: int, blocks: Iterable[int]) -> Sets:
        """What is broken at a cell of the core and, with it, in some of the blocks."""
        kinds, signatures = self._core_kinds
        own: Sets = (signatures[kinds[cell]],)
        return reduce(together, (self._reached(number, cell) for number in blocks), own)

    def _reached(self, number: int, cell: int) -> Sets:
        """What is broken in a block and on the way from a cell of the core to it."""
        bridge = self.blocks.bridges[number]
        key = (number, bridge.ids[:, cell].tobytes())
        if key not in self._reached_by:
            across = bridge.broken.signatures
            doors = zip(self._at_doors[number], bridge.ids[:, cell], strict=True)
            self._reached_by[key] = smallest(one | across[kind] for sets, kind in doors for one in sets)
        return self._reached_by[key]

    @cached_property
    def _kinds(self) -> list[tuple[Ids, list[int]]]:
        """For each block, the kind of each cell by what it breaks, pins included, and what each kind breaks."""
        return [self._with_pins(block) for block in self.blocks.blocks]

    @cached_property
    def _core_kinds(self) -> tuple[Ids, list[int]]:
        return self._with_pins(self.blocks.core)

    def _with_pins(self, table: Block) -> tuple[Ids, list[int]]:
        kinds, signatures = table.broken.ids, list(table.broken.signatures)
        for slot in table.slots:  # the kinds of cell outside a pin come behind those inside
            if slot in self._pins:
                free = np.zeros(len(table.changed[slot]), dtype=kinds.dtype)
                free[list(self._pins[slot])] = 1
                shape = [-1 if name == slot else 1 for name in table.slots]
                there = kinds.reshape(table.shape) + (len(signatures) * (1 - free)).reshape(shape)
                kinds = there.reshape(-1)
                signatures += [signature | self.bit(slot) for signature in signatures]
        return kinds, signatures

    @cached_property
    def _at_doors(self) -> list[Sequence[Sets]]:
        """For each block and door, the smallest sets that its cells break."""
        return [
            [self._own_of(number, met) for met in self._scattered(number, None)]
            for number in range(len(self.blocks.blocks))
        ]

    def _met(self, number: int, slot: Slot) -> Mask:
        """Which kinds of cell there are for each option of a slot and each door, (options, doors, kinds)."""
        if slot not in self._met_by_slot:
            block = self.blocks.blocks[number]
            met = self._scattered(number, slot)
            self._met_by_slot[slot] = met.reshape(len(block.changed[slot]), prod(block.door_shape), -1)
        return self._met_by_slot[slot]

    def _scattered(self, number: int, slot: Slot | None) -> Mask:
        """Which kinds of cell there are for each option of a slot and each door, a row each."""
        block, (kinds, signatures) = self.blocks.blocks[number], self._kinds[number]
        rows = prod(block.door_shape) * (len(block.changed[slot]) if slot else 1)
        met = np.zeros(rows * len(signatures), dtype=bool)
        at = np.empty(block.count, dtype=np.intp)  # once: to make room takes longer than what is done in it
        np.multiply(self._numbers[number, slot], len(signatures), out=at)
        at += kinds
        met[at] = True
        return met.reshape(rows, -1)

    def _behind(self, number: int) -> list[tuple[Sets, list[int]]]:
        """What is broken beyond a block's doors, on the bridge, in the core and in every other block, with the doors
        for which it is that."""
        if number not in self._beyond:
            bridge, across = self.blocks.bridges[number], self.blocks.bridges[number].broken.signatures
            others = [other for other in range(len(self.blocks.blocks)) if other != number]
            rest = [self._at_core(cell, others) for cell in range(self.blocks.core.count)]
            doors: dict[Sets, list[int]] = {}
            for door, row in enumerate(bridge.ids.tolist()):
                behind = smallest(one | across[kind] for kind, sets in zip(row, rest, strict=True) for one in sets)
                doors.setdefault(behind, []).append(door)
            self._beyond[number] = list(doors.items())
        return self._beyond[number]


def _rows(block: Block, slot: Slot | None) -> Ids:
    """For each cell the number of its door, or of its option of a slot and its door."""
    doors = block.door.astype(np.int32)
    return doors if not slot else (block.place(slot) * prod(block.door_shape) + doors).astype(np.int32)


def clashes(ways: Sets, hard: Sequence[Constraint]) -> list[int]:
    """Every minimal clash, the one to tell first.

    One of rules alone comes first, since nothing the user gives up helps then; of the others the one with the fewest
    members, then the fewest rules, then the most familiar ones. Bits beyond the hard constraints are pins.
    """
    asked = wishes_among(hard)

    def told_before(clash: int) -> tuple[bool, int, int, list[tuple[int, int]], int]:
        rules = [c.rule for c in members(clash, hard) if c.rule]
        familiar = sorted((_FAMILIARITY[rule] for rule in rules), reverse=True)
        return bool(clash & asked), clash.bit_count(), len(rules), familiar, clash

    return sorted(transversals(ways), key=told_before)


def least_to_give_up(ways: Sets, hard: Sequence[Constraint]) -> list[int]:
    """Every smallest set of wishes and pins whose giving up helps; none where the rules clash by themselves."""
    asked = wishes_among(hard)
    of_wishes = [way for way in ways if way and not way & ~asked]
    fewest = min((way.bit_count() for way in of_wishes), default=0)
    return [way for way in of_wishes if way.bit_count() == fewest]


def wishes_among(hard: Sequence[Constraint]) -> int:
    """Bits of what the user asked for: wishes among the hard constraints, and every bit beyond them, a pin's."""
    return ~sum(1 << place for place, c in enumerate(hard) if c.rule)


def members(bits: int, listed: Sequence[Member]) -> list[Member]:
    """Those of a list whose bits are in a set: constraints, or names in their order."""
    return [one for place, one in enumerate(listed) if bits >> place & 1]
