"""The least change that every option of every slot brings with it, by one sweep over the blocks.

Costs add up over blocks, so the least over all assignments is taken block by block: from each block's cells to its
doors and on to the core, and from there back to the cells of every block. Least is: fewest slots changed besides those
pinned, then advice not followed, changes that cannot be undone, price and labour, packed into one whole number; last
comes the order of the catalogue. Exact: no cell is left out.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from configurator.errors import TipinError
from configurator.solver.blocks import Block, Blocks, Places, Whole

NEVER = 2**60
"""Cost of what is not allowed; sums are cut to it, so that none runs over."""
EXACT = 2**58

Pins = Mapping[str, frozenset[int]]
"""Options that each pinned slot may have."""
Assignment = dict[str, int]


@dataclass(frozen=True)
class Weights:
    """Weights that pack costs into one number, and take it apart again."""

    advice: int
    permanent: int
    price: int
    labour: int

    @classmethod
    def of(cls, blocks: Blocks) -> "Weights":
        """Room for the greatest sums there can be. Raises TipinError where a number has no room for them."""
        tables = [blocks.core, *blocks.blocks]
        advice = sum(c.advice for c in blocks.problem.constraints) + 1
        permanent = len(blocks.problem.options) + 1
        price, labour = (sum(int(getattr(t, goal).max()) for t in tables) + 1 for goal in ("price", "labour"))
        if advice * permanent * price * labour * (len(blocks.problem.options) + 1) > EXACT:
            raise TipinError("prices and labour are too large to weigh against each other exactly")
        return cls(advice, permanent, price, labour)

    @property
    def change(self) -> int:
        """What one slot changed weighs."""
        return self.advice * self.permanent * self.price * self.labour

    def rest(self, table: Block) -> Whole:
        """Everything that a table's cells cost but the slots changed, packed once a table, (n,)."""
        if table.slots not in self._packed:
            packed = table.advice
            for most, goal in (
                (self.permanent, table.permanent), (self.price, table.price), (self.labour, table.labour)
            ):  # fmt: skip
                packed = packed * most + goal
            self._packed[table.slots] = packed
        return self._packed[table.slots]

    @cached_property
    def _packed(self) -> dict[tuple[str, ...], Whole]:
        return {}

    def unpacked(self, cost: int) -> tuple[int, int, int]:
        """Slots changed, price and labour of a packed cost."""
        rest, labour = divmod(cost, self.labour)
        rest, price = divmod(rest, self.price)
        return rest // (self.advice * self.permanent), price, labour


@dataclass(frozen=True)
class Least:
    """The least for every option of a slot: packed cost, (options,), NEVER where it is impossible, and where it is
    reached: cells of the slot's block (of the core, for a slot of it)."""

    cost: Whole
    cell: Places


class Sweep:
    """The sweep under some pins; a slot's own pin is lifted when its options are looked at."""

    def __init__(self, blocks: Blocks, weights: Weights, pins: Pins) -> None:
        self.blocks, self.weights, self.pins = blocks, weights, pins

    def least(self, slot: str) -> Least:
        """The least for every option of a slot, its own pin lifted."""
        number = self.blocks.home(slot)
        if number is None:
            table, cost = self.blocks.core, self._over_core(lifted=slot)
        else:
            table = self.blocks.blocks[number]
            lifted = self._cost(table, slot) if slot in self.pins else self._block_costs[number]
            cost = _cut(lifted + self._back(number)[0][table.door])
        cells = table.along((slot,))
        best = np.argmin(cost[cells], axis=1)
        cell = np.take_along_axis(cells, best[:, None], axis=1)[:, 0]
        return Least(cost[cell], cell)

    def assignment(self, slot: str, cell: int) -> Assignment:
        """The whole assignment that a cell of Least stands for."""
        number = self.blocks.home(slot)
        if number is None:
            core_cell, chosen = cell, {}
        else:
            block = self.blocks.blocks[number]
            core_cell = int(self._back(number)[1][block.door[cell]])
            chosen = _places(block, cell)
        chosen |= _places(self.blocks.core, core_cell)
        for other, block in enumerate(self.blocks.blocks):
            if other != number:
                door = int(self._doors_taken[other][core_cell])
                chosen |= _places(block, int(self._cells_taken[other][door]))
        return {name: chosen[name] for name in self.blocks.problem.options}

    def best(self) -> Assignment | None:
        """The least of all, every pin kept; None if nothing fits."""
        total = self._over_core()
        cell = int(np.argmin(total))
        return None if total[cell] >= NEVER else self.assignment("", cell)

    def _cost(self, table: Block, lifted: str = "") -> Whole:
        """Cost of each cell of a table, NEVER where a rule or a pin within it forbids it."""
        weights = self.weights
        cost = weights.rest(table)
        allowed = table.broken.holds
        for slot in table.slots:
            place = table.place(slot)
            if slot not in self.pins:
                cost = cost + weights.change * table.changed[slot][place]
            elif slot != lifted:
                allowed = allowed & _among(self.pins[slot], len(table.changed[slot]))[place]
        return np.where(allowed, cost, NEVER)

    def _over_core(self, lifted: str = "", but: int | None = None) -> Whole:
        """The least of everything, one block excepted, for each cell of the core."""
        cost = self._cost(self.blocks.core, lifted)
        for number, gathered in enumerate(self._gathered):
            if number != but:
                cost = _cut(cost + gathered)
        return cost

    @cached_property
    def _block_costs(self) -> list[Whole]:
        return [self._cost(block) for block in self.blocks.blocks]

    @cached_property
    def _cells_taken(self) -> list[Places]:
        """For each block the best cell behind each of its doors."""
        taken = []
        for block, cost in zip(self.blocks.blocks, self._block_costs, strict=True):
            cells = block.along(block.doors)
            taken.append(np.take_along_axis(cells, np.argmin(cost[cells], axis=1)[:, None], axis=1)[:, 0])
        return taken

    @cached_property
    def _bridges(self) -> list[Whole]:
        """What going through a door costs with each cell of the core, (doors, core cells)."""
        weight = self.weights.change // self.weights.advice
        return [np.where(bridge.holds, weight * bridge.advice, NEVER) for bridge in self.blocks.bridges]

    @cached_property
    def _to_core(self) -> list[Whole]:
        costs = zip(self._block_costs, self._cells_taken, self._bridges, strict=True)
        return [_cut(cost[cells][:, None] + bridge) for cost, cells, bridge in costs]

    @cached_property
    def _doors_taken(self) -> list[Places]:
        return [np.argmin(table, axis=0) for table in self._to_core]

    @cached_property
    def _gathered(self) -> list[Whole]:
        """The least of each block for each cell of the core."""
        return [table.min(axis=0) for table in self._to_core]

    def _back(self, number: int) -> tuple[Whole, Places]:
        """The least of everything else for each door of a block, and the core's cell that it goes with."""
        if number not in self._backs:
            through = _cut(self._bridges[number] + self._over_core(but=number))
            self._backs[number] = (through.min(axis=1), np.argmin(through, axis=1))
        return self._backs[number]

    @cached_property
    def _backs(self) -> dict[int, tuple[Whole, Places]]:
        return {}


def _cut(cost: Whole) -> Whole:
    return np.minimum(cost, NEVER)


def _among(places: frozenset[int], count: int) -> NDArray[np.bool_]:
    return np.isin(np.arange(count), list(places))


def _places(table: Block, cell: int) -> Assignment:
    return {slot: int(place) for slot, place in zip(table.slots, table.places[:, cell], strict=True)}
