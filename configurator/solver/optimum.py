"""The best choice by goals in the user's order, by one sweep over the blocks; by CP-SAT where that is too large.

Goals are made least one after the other, and each is a sum over the slots, with gaskets, boxes and advice on top. So
the best of a block behind one of its doors is the best whatever stands outside, and it is enough to keep one cell a
door: exact, and at once. Goals are packed into as few whole numbers as have room for them; the last are the ranks by
code, slot by slot, so no two assignments are alike. "Of another kind" parts the cells further, by the earlier
assignments of whose work they leave something out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod

import numpy as np

from configurator.arrays import Indices, Integers, Mask
from configurator.slots.options import Work
from configurator.slots.slot import Slot
from configurator.slots.wishes import GOALS
from configurator.solver.blocks import Block, Blocks, along
from configurator.solver.problem import Constraint, Problem, undominated
from configurator.solver.solution import EFFORT, Assignment, Solution
from configurator.solver.sweep import EXACT, NEVER
from configurator.stopping import heed

MOST_CELLS = 4_000_000
"""Cells that a sweep looks at; a choice with more is left to CP-SAT."""
CELLS_PER_S = 1e7
"""Cells for each second of effort."""
Works = Mapping[Slot, Work]


class Chooser:
    """A choice ready to be asked for its best, by one order of goals after the other.

    problem : what the answers are about; where a sweep would be too large, without dominated options.
    """

    def __init__(self, problem: Problem, effort: float = EFFORT) -> None:
        blocks = Blocks.of(problem)
        if not is_small(blocks, effort):
            problem = undominated(problem)
            blocks = Blocks.of(problem)
        self.problem, self.effort = problem, effort
        self._optimum = Optimum(blocks) if is_small(blocks, effort) else None

    def best(self, order: Sequence[str]) -> Solution | None:
        """The best choice by goals in this order, or None if it is proven that there is none. Raises Unsettled where
        the effort does not do, and Stopped if the work was stopped from outside."""
        heed()
        if self._optimum is not None:
            return _proven(self._optimum.best(order))
        return self._by_cp_sat(order, ())

    def best_of_another_kind(self, order: Sequence[str], unlike: Sequence[Assignment]) -> Solution | None:
        """The best that does not do all the work of any of these, options that another makes needless left out."""
        heed()
        if self._optimum is None:
            return self._by_cp_sat(order, unlike)
        fewer = undominated(self.problem)
        works = [work_of(self.problem, assignment) for assignment in unlike]
        chosen = Optimum(Blocks.of(fewer)).best(order, works)
        if chosen is None:
            return None
        options = {slot: fewer.options[slot][at] for slot, at in chosen.items()}
        return _proven({
            slot: next(at for at, other in enumerate(self.problem.options[slot]) if other is option)
            for slot, option in options.items()
        })  # fmt: skip

    def _by_cp_sat(self, order: Sequence[str], unlike: Sequence[Assignment]) -> Solution | None:
        from configurator.solver.model import ChoiceModel, best  # takes a quarter of a second to load

        model = ChoiceModel(self.problem, self.problem.constraints)
        for assignment in unlike:
            model.forbid_work(assignment)
        return best(model, order, self.effort)


def _proven(chosen: Assignment | None) -> Solution | None:
    return None if chosen is None else Solution(chosen, True, None)


def work_of(problem: Problem, chosen: Assignment) -> dict[Slot, Work]:
    """The work that an assignment does, by slot."""
    works = {slot: problem.options[slot][place].work for slot, place in chosen.items()}
    return {slot: work for slot, work in works.items() if work != "none"}


def anything_fits(problem: Problem, effort: float = EFFORT) -> bool:
    """Whether anything keeps all hard constraints of a problem. Raises Unsettled where the effort does not do."""
    blocks = Blocks.of(problem)
    if is_small(blocks, effort):
        return blocks.anything_fits
    from configurator.solver.model import ChoiceModel

    return ChoiceModel(problem, problem.constraints).is_feasible(effort)


def is_small(blocks: Blocks, effort: float) -> bool:
    """Whether a sweep is done within an effort [s of work on one core], and within bounded memory."""
    return blocks.cells <= min(MOST_CELLS, effort * CELLS_PER_S)


@dataclass(frozen=True)
class _Pack:
    """Goals packed into one number: what each option of each slot adds, and what a hundredth of the price and one
    advice not followed weigh in it."""

    of_options: dict[Slot, Integers]
    price: int
    advice: int


class _Cells:
    """The cells of a block that keep every rule, door by door."""

    def __init__(self, block: Block) -> None:
        self.block = block
        slots = [*block.doors, *(slot for slot in block.slots if slot not in block.doors)]
        first, last = slots[:-1], slots[-1:]  # rules that do not read the last slot leave it fewer rows
        fits = np.ones((1, *(len(block.problem.options[slot]) for slot in first)), dtype=bool)
        rules = [c for c in block.within if not c.advice]
        for rule in rules:
            if not set(last) & set(rule.slots):
                fits &= along(rule.allowed, rule.slots, first)
        at = dict(zip(first, np.nonzero(fits)[1:], strict=True))
        several = prod(len(block.problem.options[slot]) for slot in last)
        holds = np.ones((np.count_nonzero(fits), several), dtype=bool)
        for rule in rules:
            for slot in set(last) & set(rule.slots):
                holds &= _rows(rule, slot, at)
        cells = np.flatnonzero(holds)
        row = cells // several  # several times faster than divmod
        self.count = len(cells)
        self.place: dict[Slot, Indices] = {slot: places[row] for slot, places in at.items()}
        self.place |= dict.fromkeys(last, cells - row * several)
        self._advice = [c for c in block.within if c.advice]
        self._savings = block.box_savings
        self._openings = block.openings

    def number(self, slots: Sequence[Slot]) -> Indices:
        """Number of each cell's combination of some slots' options."""
        number = np.zeros(self.count, dtype=np.intp)
        for slot in slots:
            number = number * len(self.block.problem.options[slot]) + self.place[slot]
        return number

    def key(self, pack: _Pack, cells: Indices | None = None) -> Integers:
        """What some of the cells, or all of them, add to a pack of goals."""
        at = self.place if cells is None else {slot: places[cells] for slot, places in self.place.items()}
        key = np.zeros(self.count if cells is None else len(cells), dtype=np.int64)
        for slot, places in at.items():
            key += pack.of_options[slot][places]
        if pack.price:
            for price, slots in self._openings:
                opened = np.logical_or.reduce([self.block.changed[slot][at[slot]] for slot in slots])
                key += pack.price * price * opened
            for pump, other, saved in self._savings:
                key -= pack.price * saved[at[pump], at[other]]
        if pack.advice:
            for advice in self._advice:
                key += pack.advice * ~advice.allowed[tuple(at[slot] for slot in advice.slots)]
        return key


def _rows(rule: Constraint, last: Slot, at: Mapping[Slot, Indices]) -> Mask:
    """What a rule allows of one slot's options at places of its other slots, (places or 1, options)."""
    others = [slot for slot in rule.slots if slot != last]
    allowed = np.moveaxis(rule.allowed, rule.slots.index(last), -1)
    if not others:
        return allowed[None]
    # One number for each place: to take rows by it is several times faster than by an index an axis.
    number = np.ravel_multi_index([at[slot] for slot in others], allowed.shape[:-1])
    return allowed.reshape(-1, allowed.shape[-1]).take(number, axis=0)


@dataclass(frozen=True)
class _Best:
    """The best of some tables for each set of assignments left out and each core cell: keys (packs, sets, core cells),
    NEVER where there is none, and for each table the cell it is reached in (sets, core cells)."""

    keys: Integers
    cells: list[Indices]


class Optimum:
    """The sweep over the cells that keep every rule."""

    def __init__(self, blocks: Blocks) -> None:
        self.blocks, self.options = blocks, blocks.problem.options
        self.core, *self.tables = (_Cells(block) for block in (blocks.core, *blocks.blocks))
        self.core_number = self.core.number(blocks.core.slots)

    def best(self, order: Sequence[str], unlike: Sequence[Works] = ()) -> Assignment | None:
        """The best assignment by goals in this order, the rest of them behind; None if nothing fits. unlike : works, by
        slot, of each of which something is to be left out."""
        if not all(table.count for table in (self.core, *self.tables)):
            return None
        packs = self._packs((*order, *(goal for goal in GOALS if goal not in order)))
        found = self._of_core(packs, unlike)
        for number in range(len(self.tables)):
            found = _beside(found, self._of_block(number, packs, unlike))
        whole = found.keys[:, -1, :]
        core_cell = int(_first_least(whole[:, :, None])[0])
        if whole[0, core_cell] >= NEVER:
            return None
        chosen: Assignment = {}
        for table, cells in zip((self.core, *self.tables), found.cells, strict=True):
            chosen |= {slot: int(places[cells[-1, core_cell]]) for slot, places in table.place.items()}
        return {slot: chosen[slot] for slot in self.options}

    def _packs(self, order: Sequence[str]) -> list[_Pack]:
        """Goals in order and the ranks by code behind them, as many in one number as have room; the first stands alone,
        since few cells are left when it is least."""
        problem = self.blocks.problem
        most = sum(problem.costs[:, span].max(axis=1) for span in problem.spans.values()).tolist()
        on_top = {
            "price": sum(price for table in (self.core, *self.tables) for price, _ in table.block.openings),
            "advice": sum(constraint.advice for constraint in problem.constraints),
        }
        everywhere = slice(None)
        goals = [
            (problem.costs[at := GOALS.index(goal)], everywhere, most[at] + on_top.get(goal, 0), goal) for goal in order
        ]
        goals += [(problem.ranks[span], span, span.stop - span.start - 1, "rank") for span in problem.spans.values()]
        packs: list[tuple[Integers, int, int]] = []
        room = EXACT + 1
        for costs, span, greatest, goal in goals:
            if room * (greatest + 1) > EXACT or len(packs) == 1:
                packs.append((np.zeros(len(problem.ranks), dtype=np.int64), 0, 0))
                room = 1
            room *= greatest + 1
            of_options, price, advice = packs[-1]
            of_options *= greatest + 1
            of_options[span] += costs
            price, advice = price * (greatest + 1), advice * (greatest + 1)
            packs[-1] = of_options, price + (goal == "price"), advice + (goal == "advice")
        return [
            _Pack({slot: of_options[span] for slot, span in problem.spans.items()}, price, advice)
            for of_options, price, advice in packs
        ]

    def _left_out(self, table: _Cells, unlike: Sequence[Works]) -> Indices:
        """Which of the works each cell leaves something of out, a bit each."""
        left_out = np.zeros(table.count, dtype=np.intp)
        for bit, works in enumerate(unlike):
            for slot, places in table.place.items():
                if slot in works:
                    other = np.array([option.work != works[slot] for option in self.options[slot]])
                    left_out |= other[places].astype(np.intp) << bit
        return left_out

    def _of_core(self, packs: Sequence[_Pack], unlike: Sequence[Works]) -> _Best:
        shape = (len(packs), 1 << len(unlike), self.blocks.core.count)
        best = _Best(np.full(shape, NEVER), [np.zeros(shape[1:], dtype=np.intp)])
        left_out = self._left_out(self.core, unlike)
        best.keys[:, left_out, self.core_number] = [self.core.key(pack) for pack in packs]
        best.cells[0][left_out, self.core_number] = np.arange(self.core.count)
        return best

    def _of_block(self, number: int, packs: Sequence[_Pack], unlike: Sequence[Works]) -> _Best:
        """The best of a block for each cell of the core, by way of each door."""
        table, bridge = self.tables[number], self.blocks.bridges[number]
        doors, sets = prod(table.block.door_shape), 1 << len(unlike)
        group = self._left_out(table, unlike) * doors + table.number(table.block.doors)
        first = _first_of_groups(group, table, packs)
        behind = np.full((len(packs), sets * doors), NEVER)
        behind[:, group[first]] = [table.key(pack, first) for pack in packs]
        there = np.zeros(sets * doors, dtype=np.intp)
        there[group[first]] = first
        weights = np.array([pack.advice for pack in packs], dtype=np.int64)
        across = np.where(bridge.holds, weights[:, None, None] * bridge.advice, NEVER)
        found = _Best(np.empty((len(packs), sets, bridge.shape[1]), dtype=np.int64), [])
        taken = np.empty(found.keys.shape[1:], dtype=np.intp)
        for left_out in range(sets):
            own = slice(left_out * doors, (left_out + 1) * doors)
            through = np.minimum(behind[:, own, None] + across, NEVER)
            door = _first_least(through)
            found.keys[:, left_out] = np.take_along_axis(through, door[None, None], axis=1)[:, 0]
            taken[left_out] = there[own][door]
        return _Best(found.keys, [taken])


def _beside(these: _Best, those: _Best) -> _Best:
    """The best of two groups of tables together."""
    sets, core_cells = these.keys.shape[1:]
    keys = np.full(these.keys.shape, NEVER)
    cells = [np.zeros((sets, core_cells), dtype=np.intp) for _ in (*these.cells, *those.cells)]
    pairs = [(one, other) for one, other in product(range(sets), repeat=2)
             if (these.keys[0, one] < NEVER).any() and (those.keys[0, other] < NEVER).any()]  # fmt: skip
    for both in sorted({one | other for one, other in pairs}):
        ways = [pair for pair in pairs if pair[0] | pair[1] == both]
        total = np.stack([these.keys[:, one] + those.keys[:, other] for one, other in ways], axis=1)
        total = np.minimum(total, NEVER)
        way = _first_least(total)
        keys[:, both] = np.take_along_axis(total, way[None, None], axis=1)[:, 0]
        one, other = np.array(ways).T[:, way]
        taken = [*((table, one) for table in these.cells), *((table, other) for table in those.cells)]
        for into, (table, left_out) in zip(cells, taken, strict=True):
            into[both] = table[left_out, np.arange(core_cells)]
    return _Best(keys, cells)


def _first_of_groups(group: Indices, table: _Cells, packs: Sequence[_Pack]) -> Indices:
    """Of each group of cells the one whose keys, one after the other, are least; group : its number for each cell."""
    in_order = bool((group[:-1] <= group[1:]).all())
    left = np.arange(len(group)) if in_order else np.argsort(group, kind="stable")
    numbers = np.arange(int(group.max(initial=-1)) + 2)
    for number, pack in enumerate(packs):
        whole = in_order and not number
        ends = np.searchsorted(group if whole else group[left], numbers)
        starts, counts = ends[:-1], np.diff(ends)
        there = counts > 0
        if np.count_nonzero(there) == len(left):
            break
        key = table.key(pack, None if whole else left)
        least = np.repeat(np.minimum.reduceat(key, starts[there]), counts[there])
        left = left[np.flatnonzero(key == least)]
    return left


def _first_least(keys: Integers) -> Indices:
    """Place along the second axis at which the keys, one after the other, are least; keys : (packs, places, n)."""
    least: Mask = np.ones(keys.shape[1:], dtype=bool)
    for key in keys:
        values = np.where(least, key, NEVER)
        least &= values == values.min(axis=0)
    return np.asarray(np.argmax(least, axis=0))
