"""A choice as clauses over numbered variables and goals as weighted sums, which every peer puts into its own tongue.

Constraints on the same slots become one table. What a table over fewer slots forbids already needs no clause of a
larger one, and is left out of what the larger one offers, which makes its clauses shorter and stronger.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from configurator.arrays import Mask
from configurator.slots.joints import openers
from configurator.slots.slot import Slot
from configurator.solver.problem import Constraint, Problem

Term = tuple[int, int]
"""Weight and variable."""


@dataclass(frozen=True)
class Table:
    """Combinations of slots that are allowed, and those that tables over fewer slots forbid already."""

    slots: tuple[Slot, ...]
    allowed: Mask
    settled: Mask

    def rows(self) -> Iterator[tuple[tuple[int, ...], NDArray[np.intp]]]:
        """Options of all slots but the largest, and which options of that one may go with them, where that matters."""
        largest = self.largest
        offered = np.moveaxis(self.allowed & ~self.settled, largest, -1)
        needed = np.moveaxis(~self.allowed & ~self.settled, largest, -1).any(axis=-1)
        for place in np.argwhere(needed):
            yield tuple(place.tolist()), np.flatnonzero(offered[tuple(place)])

    @property
    def largest(self) -> int:
        return int(np.argmax(self.allowed.shape))

    @property
    def others(self) -> tuple[Slot, ...]:
        return self.slots[: self.largest] + self.slots[self.largest + 1 :]


def tables_of(constraints: Sequence[Constraint], order: Sequence[Slot]) -> list[Table]:
    """One table for all constraints on the same slots, those over fewer slots first."""
    merged: dict[tuple[Slot, ...], Mask] = {}
    for constraint in constraints:
        slots = tuple(sorted(constraint.slots, key=order.index))
        allowed = constraint.allowed.transpose([constraint.slots.index(slot) for slot in slots])
        merged[slots] = merged[slots] & allowed if slots in merged else allowed
    tables: list[Table] = []
    for slots in sorted(merged, key=len):
        settled = np.zeros_like(merged[slots])
        for table in tables:
            if set(table.slots) < set(slots):
                shape = [size if slot in table.slots else 1 for slot, size in zip(slots, settled.shape, strict=True)]
                settled |= ~table.allowed.reshape(shape)
        tables.append(Table(slots, merged[slots], settled))
    return tables


class Clauses:
    """A problem in numbered variables. One option a slot holds besides the clauses; a goal's variables may be added
    ones: a joint that is opened, a part that comes in a box, advice that is not followed."""

    def __init__(self, problem: Problem) -> None:
        self.problem, self.count = problem, 0
        self.pick = {slot: [self.new() for _ in options] for slot, options in problem.options.items()}
        self.tables = tables_of([c for c in problem.constraints if not c.advice], list(problem.options))
        self._extra: dict[str, list[Term]] = {"advice": [], "price": []}
        self.costing = [*self._advise(), *self._open_joints(), *self._save()]
        """Clauses that only say what a goal's added variables stand for."""

    @property
    def hard(self) -> list[list[int]]:
        return [clause for table in self.tables for clause in self.of_table(table)]

    @property
    def clauses(self) -> list[list[int]]:
        return [*self.hard, *self.costing]

    def new(self) -> int:
        self.count += 1
        return self.count

    def goal(self, name: str) -> list[Term]:
        """The sum to be made least."""
        own = [
            (weight, variable) for slot, variables in self.pick.items()
            for weight, variable in zip(self.problem.cost(slot, name).tolist(), variables, strict=True) if weight
        ]  # fmt: skip
        return own + self._added(name)

    def most(self, name: str) -> int:
        """What the sum cannot exceed."""
        added = sum(max(weight, 0) for weight, _ in self._added(name))
        return added + sum(int(self.problem.cost(slot, name).max()) for slot in self.pick)

    def stepped(self, name: str) -> tuple[list[Term], list[list[int]]]:
        """The same sum with a variable for each step of a slot's costs, "at least so much", and what they follow from.
        A slot's least cost is left out, being paid in any case."""
        terms, follow = self._added(name), []
        for slot, variables in self.pick.items():
            cost = self.problem.cost(slot, name)
            levels = np.unique(cost).tolist()
            below = 0
            for low, high in pairwise(levels):
                reached = self.new()
                terms.append((high - low, reached))
                follow += [[-variables[i], reached] for i in np.flatnonzero(cost == high)]
                follow += [[-reached, below]] if below else []
                below = reached
        return terms, follow

    def tell_clingo(self, backend: Any, atom: Sequence[int], clauses: Sequence[Sequence[int]]) -> None:
        """One option a slot, and clauses, as rules; atom : clingo's number of each variable, from variable 1 on."""
        backend.add_rule(atom[1:], choice=True)
        for pick in self.pick.values():
            backend.add_rule([], [-atom[x] for x in pick])
            two = backend.add_atom()
            backend.add_weight_rule([two], 2, [(atom[x], 1) for x in pick])
            backend.add_rule([], [two])
        for clause in clauses:
            backend.add_rule([], [-atom[x] if x > 0 else atom[-x] for x in clause])

    def chosen(self, true: set[int]) -> dict[Slot, int]:
        """Place of the option chosen in each slot."""
        return {slot: next(i for i, x in enumerate(xs) if x in true) for slot, xs in self.pick.items()}

    def value(self, name: str, true: set[int]) -> int:
        return sum(weight for weight, variable in self.goal(name) if variable in true)

    def _added(self, name: str) -> list[Term]:
        return [(weight, variable) for weight, variable in self._extra.get(name, []) if weight]

    def of_table(self, table: Table) -> Iterator[list[int]]:
        support = self.pick[table.slots[table.largest]]
        if not table.others:
            yield from ([-x] for x, allowed in zip(support, table.allowed, strict=True) if not allowed)
            return
        for place, offered in table.rows():
            left = [-self.pick[slot][index] for slot, index in zip(table.others, place, strict=True)]
            yield left + [support[index] for index in offered]

    def _advise(self) -> Iterator[list[int]]:
        for constraint in self.problem.constraints:
            if constraint.advice:
                ignored = self.new()
                self._extra["advice"].append((1, ignored))
                table = Table(constraint.slots, constraint.allowed, np.zeros_like(constraint.allowed))
                yield from ([*clause, ignored] for clause in self.of_table(table))

    def _open_joints(self) -> Iterator[list[int]]:
        for (_, joint), slots in openers(self.problem.options).items():
            opened = self.new()
            self._extra["price"].append((self.problem.gasket_price.get(joint, 0), opened))
            for slot in slots:
                options = self.problem.options[slot]
                kept = [x for x, option in zip(self.pick[slot], options, strict=True) if not option.changed]
                yield [*kept, opened]

    def _save(self) -> Iterator[list[int]]:
        for slot, index, other, place, price in self.problem.kit_savings:
            both = self.new()
            self._extra["price"].append((-price, both))
            yield from ([-both, self.pick[slot][index]], [-both, self.pick[other][place]])
