"""The least change that every option of every slot brings with it, by one sweep over the blocks.

Costs add up over blocks, so the least over all assignments is taken block by block: from each block's cells to its
doors and on to the core, and from there back to the slots of every block. Least is: fewest slots changed besides those
pinned, then advice not followed, changes that cannot be undone, price and labour, packed into one whole number; last
comes the order of the catalogue. Exact: no cell is left out. What holds whatever is pinned is worked out once.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import prod

import numpy as np

from configurator.arrays import Indices, Integers
from configurator.errors import TipinError
from configurator.slots.slot import Slot
from configurator.solver.blocks import Block, Blocks
from configurator.solver.problem import Problem
from configurator.solver.solution import Assignment

NEVER = 2**60
"""Cost of what is not allowed; sums are cut to it, so that none runs over."""
EXACT = 2**58


@dataclass(frozen=True)
class Pinned:
    """What a pinned slot may have: its allowed options, and what each costs beyond its own price and labour, by place
    (packed); an option may stand for several of which the pin leaves the dearer."""

    allowed: frozenset[int]
    further: Mapping[int, int]


Pins = Mapping[Slot, Pinned]


@dataclass(frozen=True)
class Weights:
    """Weights that pack costs into one number, and take it apart again."""

    advice: int
    permanent: int
    price: int
    labour: int

    @classmethod
    def of(cls, problem: Problem, price: int, labour_min: int) -> "Weights":
        """Room for the greatest sums there can be, parts alone costing so much. Raises TipinError where a number has no
        room for them."""
        advice = sum(c.advice for c in problem.constraints) + 1
        slots = len(problem.options) + 1
        price += slots * sum(problem.gasket_price.values()) + 1
        labour_min += 1
        if advice * slots * price * labour_min * slots > EXACT:
            raise TipinError("prices and labour are too large to weigh against each other exactly")
        return cls(advice, slots, price, labour_min)

    @property
    def change(self) -> int:
        """What one slot changed weighs."""
        return self.advice * self.permanent * self.price * self.labour

    @property
    def one_not_followed(self) -> int:
        """What one advice not followed weighs."""
        return self.permanent * self.price * self.labour

    def packed(self, price: int, labour_min: int) -> int:
        """Price and labour as one number."""
        return price * self.labour + labour_min

    def of_cells(self, table: Block) -> Integers:
        """Everything that a table's cells cost, (n,)."""
        packed = table.cost("changes")
        for most, goal in (
            (self.advice, "advice"), (self.permanent, "permanent"), (self.price, "price"), (self.labour, "labour"),
        ):  # fmt: skip
            packed = packed * most + table.cost(goal)
        return packed

    def unpacked(self, cost: Integers) -> tuple[Integers, Integers, Integers]:
        """Slots changed, price and labour of packed costs."""
        rest, labour = np.divmod(cost, self.labour)
        rest, price = np.divmod(rest, self.price)
        return rest // (self.advice * self.permanent), price, labour


class Costs:
    """Packed costs of the cells of every block, no slot pinned; the core has the number -1."""

    def __init__(self, blocks: Blocks, weights: Weights) -> None:
        self.blocks, self.weights = blocks, weights
        self.tables = [*blocks.blocks, blocks.core]
        self._over: dict[tuple[int, tuple[Slot, ...]], Integers] = {}
        self._cells = [
            np.where(table.holds, weights.of_cells(table), NEVER).reshape(table.shape) for table in self.tables
        ]

    def over(self, number: int, slots: Collection[Slot]) -> Integers:
        """The least over all other slots of a block; every axis stays, those of the others with length 1."""
        kept = tuple(slot for slot in self.tables[number].slots if slot in slots)
        if len(kept) == len(self.tables[number].slots):
            return self._cells[number]
        if (number, kept) not in self._over:
            others = tuple(axis for axis, slot in enumerate(self.tables[number].slots) if slot not in kept)
            self._over[number, kept] = self._cells[number].min(axis=others, keepdims=True)
        return self._over[number, kept]

    @cached_property
    def bridges(self) -> list[Integers]:
        """What going through a door costs with each cell of the core, (doors, core cells)."""
        weight = self.weights.one_not_followed
        return [np.where(bridge.holds, weight * bridge.advice, NEVER) for bridge in self.blocks.bridges]


class Sweep:
    """The sweep under some pins; a slot's own pin is lifted when its options are looked at."""

    def __init__(self, costs: Costs, pins: Pins) -> None:
        self.costs, self.blocks, self.pins = costs, costs.blocks, pins

    def least(self, slot: Slot) -> Integers:
        """The least packed cost for every option of a slot, its own pin lifted; NEVER where it is impossible."""
        home = self.blocks.home(slot)
        if home is None:
            table = self.blocks.core
            cost = self._over_core(lifted=slot).reshape(table.shape)
        else:
            table = self.blocks.blocks[home]
            cost = self._pinned(home, (slot, *table.doors), lifted=slot) + self._behind(home)
        axis = table.slots.index(slot)
        return _cut(cost.min(axis=tuple(other for other in range(len(table.slots)) if other != axis)))

    def assignment(self, slot: Slot, place: int) -> Assignment:
        """The whole assignment that has the least cost with an option of a slot."""
        home = self.blocks.home(slot)
        cell = int(self._first_cells(slot)[place])
        if home is None:
            return self._completed({}, cell, None)
        block = self.blocks.blocks[home]
        return self._completed(block.options_at(cell), int(self._core_cells(home)[block.door[cell]]), home)

    def best(self) -> Assignment | None:
        """The least of all, every pin kept; None if nothing fits."""
        total = self._over_core()
        cell = int(np.argmin(total))
        return None if total[cell] >= NEVER else self._completed({}, cell, None)

    def _completed(self, chosen: Assignment, core_cell: int, home: int | None) -> Assignment:
        """An assignment of one block and the core, with the best of every other block beside it."""
        chosen = chosen | self.blocks.core.options_at(core_cell)
        for number, block in enumerate(self.blocks.blocks):
            if number != home:
                door = self._doors_taken[number][core_cell]
                chosen |= block.options_at(int(self._cells_taken[number][door]))
        return {name: chosen[name] for name in self.blocks.problem.options}

    def _first_cells(self, slot: Slot) -> Indices:
        """For every option of a slot the first cell, of its block or of the core, that has the least cost."""
        if slot not in self._cells_of:
            home = self.blocks.home(slot)
            table = self.blocks.core if home is None else self.blocks.blocks[home]
            if home is None:
                cost = self._over_core(lifted=slot).reshape(table.shape)
            else:
                cost = self._pinned(home, table.slots, lifted=slot) + self._behind(home)
            self._cells_of[slot] = _first_least(cost, table, (slot,))
        return self._cells_of[slot]

    @cached_property
    def _cells_of(self) -> dict[Slot, Indices]:
        return {}

    def _core_cells(self, number: int) -> Indices:
        """For each door of a block the core's cell that it goes with best."""
        return np.asarray(np.argmin(self._through(number), axis=1))

    @cached_property
    def _doors_taken(self) -> list[Indices]:
        """For each block the best door for each cell of the core."""
        return [np.argmin(table, axis=0) for table in self._to_core]

    @cached_property
    def _cells_taken(self) -> list[Indices]:
        """For each block the first of the best cells behind each of its doors."""
        return [
            _first_least(self._pinned(number, block.slots), block, block.doors)
            for number, block in enumerate(self.blocks.blocks)
        ]

    def _pinned(self, number: int, slots: Sequence[Slot], lifted: Slot | None = None) -> Integers:
        """The least over all other slots of a block under the pins; every axis stays."""
        table = self.costs.tables[number]
        pinned = [slot for slot in table.slots if slot in self.pins]
        cost = self.costs.over(number, {*slots, *pinned})
        for slot in pinned:
            shape = [1] * len(table.slots)
            shape[table.slots.index(slot)] = -1
            cost = cost + self._own(table, slot, lifted=slot == lifted).reshape(shape)
        gone = tuple(axis for axis, slot in enumerate(table.slots) if slot in pinned and slot not in slots)
        return cost.min(axis=gone, keepdims=True) if gone else cost

    def _own(self, table: Block, slot: Slot, *, lifted: bool) -> Integers:
        """What a pin makes of the cost of each of its slot's options: its change does not count."""
        own = -self.costs.weights.change * table.changed[slot].astype(np.int64)
        if lifted:
            return own
        pin = self.pins[slot]
        allowed = np.array(sorted(pin.allowed), dtype=np.intp)
        found = np.full(len(own), NEVER, dtype=np.int64)
        found[allowed] = own[allowed] + np.array([pin.further.get(place, 0) for place in allowed.tolist()])
        return found

    def _over_core(self, lifted: Slot | None = None, but: int | None = None) -> Integers:
        """The least of everything, one block excepted, for each cell of the core."""
        cost = _cut(self._pinned(-1, self.blocks.core.slots, lifted).reshape(-1))
        for number, gathered in enumerate(self._gathered):
            if number != but:
                cost = _cut(cost + gathered)
        return cost

    @cached_property
    def _to_core(self) -> list[Integers]:
        """The least of each block through each door with each cell of the core, (doors, core cells)."""
        return [
            _cut(_cut(self._pinned(number, block.doors).reshape(-1))[:, None] + bridge)
            for number, (block, bridge) in enumerate(zip(self.blocks.blocks, self.costs.bridges, strict=True))
        ]

    @cached_property
    def _gathered(self) -> list[Integers]:
        """The least of each block for each cell of the core."""
        return [table.min(axis=0) for table in self._to_core]

    def _through(self, number: int) -> Integers:
        """The least of everything but a block, for each of its doors and each cell of the core."""
        if number not in self._outside:
            self._outside[number] = _cut(self.costs.bridges[number] + self._over_core(but=number))
        return self._outside[number]

    def _behind(self, number: int) -> Integers:
        """The least of everything but a block, for each of its doors; every axis of the block stays."""
        block = self.blocks.blocks[number]
        shape = [size if slot in block.doors else 1 for slot, size in zip(block.slots, block.shape, strict=True)]
        return np.asarray(self._through(number).min(axis=1)).reshape(shape)

    @cached_property
    def _outside(self) -> dict[int, Integers]:
        return {}


def _first_least(cost: Integers, table: Block, slots: Sequence[Slot]) -> Indices:
    """For each combination of some slots' options the first cell of a table that has the least cost."""
    axes = [table.slots.index(slot) for slot in slots]
    others = [axis for axis in range(len(table.slots)) if axis not in axes]
    sizes = [table.shape[axis] for axis in axes]
    rows = cost.transpose([*axes, *others]).reshape(prod(sizes), -1)
    at: dict[int, Indices] = {}
    for places, some in ((np.arange(len(rows)), axes), (np.argmin(rows, axis=1), others)):
        if some:
            at |= zip(some, np.unravel_index(places, [table.shape[axis] for axis in some]), strict=True)
    cell = np.zeros(len(rows), dtype=np.intp)
    for axis, size in enumerate(table.shape):
        cell = cell * size + at[axis]
    return cell


def _cut(cost: Integers) -> Integers:
    """Costs, NEVER where a pin or a rule forbids something; what a pin takes off does not bring it back."""
    return np.where(cost > EXACT, NEVER, cost)
