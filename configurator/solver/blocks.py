"""A choice as a few dense tables: slots that rules tie together form a block, and blocks meet in the core only.

The core is what the whole carburettor shares, spacer and pad relief. A rule between a circuit and the core reads the
circuit through its doors (today: the pump). So whatever is to be known of all assignments, the least cost or every
minimal set of broken rules, is gathered in one sweep: over the cells of each block, from its doors to the core, and
back. A rule across two circuits would make one block of them: still exact, only larger.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from math import prod
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from configurator.arrays import Indices, Integers, Mask
from configurator.slots.joints import openers
from configurator.slots.slot import Slot
from configurator.solver.problem import Constraint, Problem

Entry = TypeVar("Entry", bound=np.generic)
Ids = NDArray[np.int32]
MOST_BITS = 18
"""Cells are told apart by as many constraints at once as make at most two to this many kinds."""


@dataclass(frozen=True)
class BrokenRules:
    """Which constraints each of n cells breaks: an id a cell, and for each id a bit for every constraint broken."""

    ids: Ids
    signatures: tuple[int, ...]

    @classmethod
    def of(cls, shape: tuple[int, ...], masks: Sequence[tuple[int, Mask]]) -> "BrokenRules":
        """masks : bit of a constraint, and whether each cell breaks it, an array that broadcasts to the shape."""
        ids: Ids = np.zeros(shape, dtype=np.int32)
        signatures, left = [0], list(masks)
        while left:
            at_once = max(1, MOST_BITS - len(signatures).bit_length())
            some, left = left[:at_once], left[at_once:]
            for _, broken in some:
                ids = 2 * ids + broken
            there = np.bincount(ids.reshape(-1), minlength=len(signatures) << len(some)) > 0
            ids = (np.cumsum(there, dtype=np.int32) - 1)[ids]
            signatures = [
                signatures[kind >> len(some)]
                | sum(1 << bit for place, (bit, _) in enumerate(reversed(some)) if kind >> place & 1)
                for kind in np.flatnonzero(there).tolist()
            ]
        return cls(ids.reshape(-1), tuple(signatures))


@dataclass(frozen=True)
class Block:
    """A dense table over some slots, flattened to n cells in the slots' order; what it holds is worked out when asked
    for. doors : slots that constraints with the core read. hard : the constraints that must hold, of the whole choice.
    """

    problem: Problem
    hard: tuple[Constraint, ...]
    slots: tuple[Slot, ...]
    doors: tuple[Slot, ...]

    @cached_property
    def shape(self) -> tuple[int, ...]:
        return tuple(len(self.problem.options[slot]) for slot in self.slots)

    @property
    def count(self) -> int:
        return prod(self.shape)

    @cached_property
    def within(self) -> list[Constraint]:
        """Constraints over slots of this block alone."""
        return [c for c in self.problem.constraints if set(c.slots) <= set(self.slots)]

    def _along(self, table: NDArray[Entry], *own: Slot) -> NDArray[Entry]:
        return along(table, own, self.slots)

    @cached_property
    def broken(self) -> BrokenRules:
        """Hard constraints that each cell breaks."""
        masks = [(_bit(self.hard, c), self._along(~c.allowed, *c.slots)) for c in self.within if not c.advice]
        return BrokenRules.of(self.shape, masks)

    @cached_property
    def holds(self) -> Mask:
        """Whether a cell breaks no hard constraint, (n,)."""
        holds = np.ones(self.shape, dtype=bool)
        for constraint in self.within:
            if not constraint.advice:
                holds &= self._along(constraint.allowed, *constraint.slots)
        return holds.reshape(-1)

    @cached_property
    def changed(self) -> dict[Slot, Mask]:
        """Whether each option of a slot is a change."""
        return {slot: np.array([option.changed for option in self.problem.options[slot]]) for slot in self.slots}

    def cost(self, goal: str) -> Integers:
        """What each cell adds to a goal, gaskets and what comes in a pump's box included, (n,)."""
        if goal == "advice":
            return _added(self.shape, (self._along(~c.allowed, *c.slots) for c in self.within if c.advice))
        total = [self._along(self.problem.cost(slot, goal), slot) for slot in self.slots]
        if goal == "price":
            for price, slots in self.openings:
                total.append(price * reduce(np.logical_or, (self._along(self.changed[slot], slot) for slot in slots)))
            total += [-self._along(saved, pump, other) for pump, other, saved in self.box_savings]
        return _added(self.shape, total)

    @cached_property
    def openings(self) -> list[tuple[int, list[Slot]]]:
        """Price of gaskets for each joint, once for all of the slots whose change opens it."""
        return [(self.problem.gasket_price.get(joint, 0), slots) for (_, joint), slots in openers(self.slots).items()]

    @cached_property
    def box_savings(self) -> list[tuple[Slot, Slot, Integers]]:
        """Slot of a pump, another slot, and what is saved for each pair of their options."""
        saved: dict[tuple[Slot, Slot], Integers] = {}
        for pump, index, other, place, price in self.problem.kit_savings:
            if pump in self.slots:
                sizes = (len(self.problem.options[pump]), len(self.problem.options[other]))
                table = saved.setdefault((pump, other), np.zeros(sizes, dtype=np.int64))
                table[index, place] = price
        return [(pump, other, table) for (pump, other), table in saved.items()]

    def place(self, slot: Slot) -> Indices:
        """Option of one slot in each cell, (n,)."""
        own = self._along(np.arange(self.shape[self.slots.index(slot)]), slot)
        return np.broadcast_to(own, self.shape).reshape(-1)

    def options_at(self, cell: int) -> dict[Slot, int]:
        """Option of each slot in one cell."""
        return {slot: int(place) for slot, place in zip(self.slots, np.unravel_index(cell, self.shape), strict=True)}

    @cached_property
    def door(self) -> Indices:
        """Number of each cell's combination of doors, (n,)."""
        number = np.zeros((1,) * len(self.slots), dtype=np.intp)
        for slot in self.doors:
            size = self.shape[self.slots.index(slot)]
            number = number * size + self._along(np.arange(size), slot)
        return np.broadcast_to(number, self.shape).reshape(-1)

    @property
    def door_shape(self) -> tuple[int, ...]:
        return tuple(self.shape[self.slots.index(slot)] for slot in self.doors)


@dataclass(frozen=True)
class Bridge:
    """Constraints between a block's doors and the core, over (doors, core cells), worked out when asked for.

    masks : bit of each hard constraint, and the combinations that break it; advice not followed has the bit -1. Arrays
    that broadcast to whole, the doors' options and the core's.
    """

    masks: tuple[tuple[int, Mask], ...]
    whole: tuple[int, ...]
    shape: tuple[int, int]

    @cached_property
    def broken(self) -> BrokenRules:
        """Hard constraints that each combination breaks."""
        return BrokenRules.of(self.whole, [(bit, mask) for bit, mask in self.masks if bit >= 0])

    @property
    def ids(self) -> Ids:
        return self.broken.ids.reshape(self.shape)

    @cached_property
    def holds(self) -> Mask:
        """Whether a combination breaks no hard constraint."""
        broken = np.zeros(self.whole, dtype=bool)
        for bit, mask in self.masks:
            if bit >= 0:
                broken |= mask
        return ~broken.reshape(self.shape)

    @cached_property
    def advice(self) -> Integers:
        """How much advice is not followed."""
        return _added(self.whole, [mask for bit, mask in self.masks if bit < 0]).reshape(self.shape)


@dataclass(frozen=True)
class Blocks:
    """A problem in blocks. hard : the constraints that must hold; their place is their bit in a signature."""

    problem: Problem
    hard: tuple[Constraint, ...]
    core: Block
    blocks: tuple[Block, ...]

    @classmethod
    def of(cls, problem: Problem) -> "Blocks":
        hard = tuple(c for c in problem.constraints if not c.advice)
        core_slots = tuple(slot for slot in problem.options if slot.circuit is None)
        core = Block(problem, hard, core_slots, ())
        blocks = []
        for slots in _tied(problem, core_slots):
            across = _across(problem, slots, core_slots)
            doors = tuple(slot for slot in slots if any(slot in c.slots for c in across))
            blocks.append(Block(problem, hard, slots, doors))
        return cls(problem, hard, core, tuple(blocks))

    @property
    def cells(self) -> int:
        """Cells of all blocks together: what a sweep has to look at."""
        bridges = sum(prod(block.door_shape) * self.core.count for block in self.blocks)
        return self.core.count + bridges + sum(block.count for block in self.blocks)

    @cached_property
    def bridges(self) -> tuple[Bridge, ...]:
        return tuple(
            _bridge(self.hard, block, self.core, _across(self.problem, block.slots, self.core.slots))
            for block in self.blocks
        )

    @property
    def anything_fits(self) -> bool:
        """Whether there is an assignment that breaks no hard constraint."""
        fits = self.core.holds.copy()
        for block, bridge in zip(self.blocks, self.bridges, strict=True):
            open_ = np.zeros(prod(block.door_shape), dtype=bool)
            open_[block.door[block.holds]] = True
            fits &= (open_[:, None] & bridge.holds).any(axis=0)
        return bool(fits.any())

    def home(self, slot: Slot) -> int | None:
        """Number of the block that a slot is in; None for the core."""
        return next((number for number, block in enumerate(self.blocks) if slot in block.slots), None)


def _tied(problem: Problem, core: Sequence[Slot]) -> list[tuple[Slot, ...]]:
    """Slots outside the core in groups, tied by a constraint, a joint or a pump's box, in the problem's order."""
    groups: list[set[Slot]] = [{slot} for slot in problem.options if slot not in core]
    for tie in _ties(problem):
        met = [group for group in groups if group & tie]
        if met:
            groups = [group for group in groups if group not in met] + [set.union(*met)]
    in_order = [tuple(slot for slot in problem.options if slot in group) for group in groups]
    place = {slot: place for place, slot in enumerate(problem.options)}
    return sorted(in_order, key=lambda group: place[group[0]])


def _ties(problem: Problem) -> Iterator[set[Slot]]:
    """Sets of slots that are not to be parted."""
    yield from (set(constraint.slots) for constraint in problem.constraints)
    yield from ({saving.pump, saving.other} for saving in problem.kit_savings)
    yield from map(set, openers(problem.options).values())


def _across(problem: Problem, slots: Sequence[Slot], core: Sequence[Slot]) -> list[Constraint]:
    """Constraints between a block and the core."""
    return [c for c in problem.constraints if set(c.slots) & set(slots) and set(c.slots) & set(core)]


def _bridge(hard: Sequence[Constraint], block: Block, core: Block, across: Sequence[Constraint]) -> Bridge:
    slots = (*block.doors, *core.slots)
    masks = [(-1 if c.advice else _bit(hard, c), along(~c.allowed, c.slots, slots)) for c in across]
    return Bridge(tuple(masks), (*block.door_shape, *core.shape), (prod(block.door_shape), core.count))


def _bit(hard: Sequence[Constraint], constraint: Constraint) -> int:
    return next(place for place, other in enumerate(hard) if other is constraint)


def _added(shape: tuple[int, ...], terms: Iterable[Integers | Mask]) -> Integers:
    """Sum of arrays that broadcast to the shape, flattened."""
    total = np.zeros(shape, dtype=np.int64)
    for term in terms:
        total += term
    return total.reshape(-1)


def along(table: NDArray[Entry], own: Sequence[Slot], slots: Sequence[Slot]) -> NDArray[Entry]:
    """A table over some slots as one that broadcasts to a table over more of them."""
    order = [own.index(slot) for slot in slots if slot in own]
    sizes = iter(table.transpose(order).shape)
    return table.transpose(order).reshape([next(sizes) if slot in own else 1 for slot in slots])
