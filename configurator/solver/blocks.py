"""A choice as a few dense tables: slots that rules tie together form a block, and blocks meet in the core only.

The core is what the whole carburettor shares, spacer and pad relief. A rule between a circuit and the core reads the
circuit through its doors (today: the pump). So whatever is to be known of all assignments, the least cost or every
minimal set of broken rules, is gathered in one sweep: over the cells of each block, from its doors to the core, and
back. A rule across two circuits would make one block of them: still exact, only larger.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import prod
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from configurator.options import JOINTS
from configurator.rules import SHARED_SLOTS
from configurator.solver.problem import Constraint, Problem

Places = NDArray[np.intp]
Whole = NDArray[np.int64]
Entry = TypeVar("Entry", bound=np.generic)


@dataclass(frozen=True)
class Broken:
    """Which constraints each of n cells breaks: an id a cell, and for each id a bit for every constraint broken."""

    ids: Places
    signatures: tuple[int, ...]

    @classmethod
    def of(cls, count: int, masks: Iterable[tuple[int, NDArray[np.bool_]]]) -> "Broken":
        """masks : bit of a constraint, and whether each cell breaks it, shape (count,)."""
        ids, signatures = np.zeros(count, dtype=np.intp), [0]
        for bit, broken in masks:
            kinds, ids = np.unique(2 * ids + broken, return_inverse=True)
            signatures = [signatures[kind // 2] | (int(kind % 2) << bit) for kind in kinds]
        return cls(ids, tuple(signatures))

    @cached_property
    def holds(self) -> NDArray[np.bool_]:
        """Whether a cell breaks nothing, shape (n,)."""
        return np.array([signature == 0 for signature in self.signatures])[self.ids]


@dataclass(frozen=True)
class Block:
    """A dense table over some slots, flattened to n cells in the slots' order.

    places : option of each slot in each cell, (slots, n). broken : hard constraints within the block. doors : slots
    that constraints with the core read. advice, price, permanent, labour : what a cell costs, (n,).
    """

    slots: tuple[str, ...]
    shape: tuple[int, ...]
    doors: tuple[str, ...]
    broken: Broken
    advice: Whole
    permanent: Whole
    price: Whole
    labour: Whole
    changed: dict[str, NDArray[np.bool_]]
    """Whether each option of a slot is a change."""

    @property
    def count(self) -> int:
        return prod(self.shape)

    @cached_property
    def places(self) -> Places:
        return np.indices(self.shape, dtype=np.intp).reshape(len(self.shape), self.count)

    def place(self, slot: str) -> Places:
        """Option of one slot in each cell, (n,)."""
        return np.asarray(self.places[self.slots.index(slot)])

    @cached_property
    def door(self) -> Places:
        """Number of each cell's combination of doors, (n,)."""
        return _number(self, self.doors)

    @property
    def door_shape(self) -> tuple[int, ...]:
        return tuple(self.shape[self.slots.index(slot)] for slot in self.doors)

    def along(self, slots: tuple[str, ...]) -> Places:
        """Cells grouped by the options of some slots, (combinations, the rest)."""
        if slots not in self._groups:
            order = np.argsort(_number(self, slots), kind="stable")
            self._groups[slots] = order.reshape(prod(self.shape[self.slots.index(slot)] for slot in slots), -1)
        return self._groups[slots]

    @cached_property
    def _groups(self) -> dict[tuple[str, ...], Places]:
        return {}


def _number(block: Block, slots: Sequence[str]) -> Places:
    number = np.zeros(block.count, dtype=np.intp)
    for slot in slots:
        number = number * block.shape[block.slots.index(slot)] + block.place(slot)
    return number


@dataclass(frozen=True)
class Bridge:
    """Constraints between a block's doors and the core: ids and advice over (doors, core cells)."""

    broken: Broken
    advice: Whole
    shape: tuple[int, int]

    @property
    def ids(self) -> Places:
        return self.broken.ids.reshape(self.shape)

    @property
    def holds(self) -> NDArray[np.bool_]:
        return self.broken.holds.reshape(self.shape)


@dataclass(frozen=True)
class Blocks:
    """A problem in blocks. hard : the constraints that must hold; their place is their bit in a signature."""

    problem: Problem
    hard: tuple[Constraint, ...]
    core: Block
    blocks: tuple[Block, ...]
    bridges: tuple[Bridge, ...]

    @classmethod
    def of(cls, problem: Problem) -> "Blocks":
        hard = tuple(c for c in problem.constraints if not c.advice)
        core_slots = tuple(slot for slot in SHARED_SLOTS if slot in problem.options)
        core = _block(problem, hard, core_slots, ())
        blocks, bridges = [], []
        for slots in _tied(problem, core_slots):
            across = [c for c in problem.constraints if set(c.slots) & set(slots) and set(c.slots) & set(core_slots)]
            doors = tuple(slot for slot in slots if any(slot in c.slots for c in across))
            block = _block(problem, hard, slots, doors)
            blocks.append(block)
            bridges.append(_bridge(hard, block, core, across))
        return cls(problem, hard, core, tuple(blocks), tuple(bridges))

    def home(self, slot: str) -> int | None:
        """Number of the block that a slot is in; None for the core."""
        return next((number for number, block in enumerate(self.blocks) if slot in block.slots), None)


def _tied(problem: Problem, core: Sequence[str]) -> Iterator[tuple[str, ...]]:
    """Slots outside the core in groups, tied by a constraint, a joint or a pump's box."""
    ties: list[set[str]] = [set(c.slots) for c in problem.constraints]
    ties += [{slot, other} for slot, _, other, _, _ in problem.kit_savings()]
    by_joint: dict[tuple[str, str], set[str]] = {}
    for slot in problem.options:
        circuit, _, bare = slot.rpartition(".")
        for joint in JOINTS.get(bare, ()):
            by_joint.setdefault((circuit, joint), set()).add(slot)
    groups: list[set[str]] = [{slot} for slot in problem.options if slot not in core]
    for tie in [*ties, *by_joint.values()]:
        met = [group for group in groups if group & tie]
        if met:
            groups = [group for group in groups if group not in met] + [set.union(*met)]
    for first in problem.options:
        for group in groups:
            if first == next(slot for slot in problem.options if slot in group):
                yield tuple(slot for slot in problem.options if slot in group)


def _block(problem: Problem, hard: Sequence[Constraint], slots: tuple[str, ...], doors: tuple[str, ...]) -> Block:
    shape = tuple(len(problem.options[slot]) for slot in slots)

    def flat(constraint: Constraint) -> NDArray[np.bool_]:
        return _spread(~constraint.allowed, constraint.slots, slots, shape)

    def total(goal: str) -> Whole:
        own = [_spread(problem.cost(slot, goal), (slot,), slots, shape) for slot in slots]
        return _added(prod(shape), own)

    within = [c for c in problem.constraints if set(c.slots) <= set(slots)]
    masks = [(_bit(hard, c), flat(c)) for c in within if not c.advice]
    changed = {slot: np.array([option.changed for option in problem.options[slot]]) for slot in slots}
    advice = _added(prod(shape), [flat(c) for c in within if c.advice])
    price = total("price") + _gaskets(problem, changed, slots, shape) - _savings(problem, slots, shape)
    return Block(
        slots, shape, doors, Broken.of(prod(shape), masks), advice, total("permanent"), price,
        total("labour"), changed,
    )  # fmt: skip


def _gaskets(
    problem: Problem, changed: dict[str, NDArray[np.bool_]], slots: Sequence[str], shape: Sequence[int]
) -> Whole:
    """Price of gaskets for each joint that a cell's changes open, once a joint, (n,)."""
    opened: dict[tuple[str, str], NDArray[np.bool_]] = {}
    for slot in slots:
        circuit, _, bare = slot.rpartition(".")
        for joint in JOINTS.get(bare, ()):
            before = opened.get((circuit, joint), np.zeros(prod(shape), dtype=bool))
            opened[circuit, joint] = before | _spread(changed[slot], (slot,), slots, shape)
    price = np.zeros(prod(shape), dtype=np.int64)
    for (_, joint), cells in opened.items():
        price += problem.gasket_price.get(joint, 0) * cells
    return price


def _savings(problem: Problem, slots: Sequence[str], shape: Sequence[int]) -> Whole:
    """What comes in a pump's box is not paid for again, (n,)."""
    saved = np.zeros(shape, dtype=np.int64)
    for pump, index, other, place, price in problem.kit_savings():
        if pump in slots:
            cell: list[int | slice] = [slice(None)] * len(slots)
            cell[slots.index(pump)], cell[slots.index(other)] = index, place
            saved[tuple(cell)] += price
    return saved.reshape(-1)


def _bridge(hard: Sequence[Constraint], block: Block, core: Block, across: Sequence[Constraint]) -> Bridge:
    slots, shape = (*block.doors, *core.slots), (*block.door_shape, *core.shape)
    masks = [(c, _spread(~c.allowed, c.slots, slots, shape)) for c in across]
    sizes = (prod(block.door_shape), core.count)
    advice = _added(prod(sizes), [mask for c, mask in masks if c.advice])
    broken = Broken.of(prod(sizes), [(_bit(hard, c), mask) for c, mask in masks if not c.advice])
    return Bridge(broken, advice.reshape(sizes), sizes)


def _bit(hard: Sequence[Constraint], constraint: Constraint) -> int:
    return next(place for place, other in enumerate(hard) if other is constraint)


def _added(count: int, terms: Sequence[Whole | NDArray[np.bool_]]) -> Whole:
    total = np.zeros(count, dtype=np.int64)
    for term in terms:
        total += term
    return total


def _spread(
    table: NDArray[Entry], own: Sequence[str], slots: Sequence[str], shape: Sequence[int]
) -> NDArray[Entry]:
    """A table over some slots as one over more of them, flattened."""
    order = [own.index(slot) for slot in slots if slot in own]
    own_shape = [size if slot in own else 1 for slot, size in zip(slots, shape, strict=True)]
    return np.broadcast_to(table.transpose(order).reshape(own_shape), shape).reshape(-1)
