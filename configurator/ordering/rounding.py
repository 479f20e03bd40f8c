"""Orders made of the linear program over boxes: whole boxes and whole packs, as near to the bound as can be had.

CP-SAT chooses among the columns of the program, groups of equal vehicles as whole numbers. Where there are many groups,
those that the program settled keep their boxes, and the rest is chosen with them.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import floor
from typing import TypeAlias

from ortools.sat.python import cp_model

from configurator.ordering.boxes import Box
from configurator.ordering.columns import TINY, ColumnProgram
from configurator.ordering.groups import Group, most_packs
from configurator.ordering.purchase import Purchase

Count: TypeAlias = cp_model.IntVar | int
Terms: TypeAlias = list[tuple[Count, int]]
Counts = list[dict[Box, int]]
"""How many vehicles of each group have each box."""


@dataclass(frozen=True)
class Rounded:
    """Boxes, packs of each article by its place, delivery charges, and the whole cost in hundredths."""

    counts: Counts
    packs: list[int]
    delivery: dict[str, int]
    cost: int


class BoxChoice:
    """The choice of boxes for groups of equal vehicles, and what is bought for them."""

    def __init__(self, program: ColumnProgram, kept: Counts) -> None:
        """A program's columns may be chosen from, for those of each group that kept says nothing of."""
        articles = program.market.articles
        self.purchase = Purchase(
            program.market, {place: most_packs(article, program.most) for place, article in enumerate(articles)}
        )
        self.groups, self.kept = program.groups, kept
        self.chosen = [
            self._choice(group, own, there)
            for group, own, there in zip(program.groups, program.shares, kept, strict=True)
        ]
        self._ask()
        self.purchase.close(None)

    def _choice(self, group: Group, boxes: Iterable[Box], kept: Mapping[Box, int]) -> dict[Box, cp_model.IntVar]:
        """How many vehicles of a group have each box, besides what is kept."""
        left = group.count - sum(kept.values())
        own = {box: self.purchase.model.new_int_var(0, left, "") for box in boxes} if left else {}
        if left:
            self.purchase.model.add(sum(own.values()) == left)
        return own

    def _ask(self) -> None:
        """What the boxes ask of the shelf and the deliveries, set free, and cost in work."""
        needs: dict[tuple[str, date], Terms] = defaultdict(list)
        freed: dict[tuple[str, date], Terms] = defaultdict(list)
        drills: dict[tuple[float, date], list[Count]] = defaultdict(list)
        work: Terms = []
        labour: Terms = []
        for group, box, count in self._all():
            for code, each in box.takes.items():
                needs[code, group.day].append((count, each))
            for code, each in box.frees.items():
                freed[code, group.day].append((count, each))
            for _, orifice_mm in box.drills:
                drills[orifice_mm, group.day].append(count)
            work.append((count, box.work))
            labour.append((count, box.labour))
        for (code, day), terms in needs.items():
            self.purchase.need(code, day, _total(terms))
        for (code, day), terms in freed.items():
            self.purchase.free(code, day, _total(terms))
        for (orifice_mm, day), users in drills.items():
            self.purchase.need_drill(orifice_mm, day, self._is_any(users))
        self.purchase.work, self.purchase.labour = _total(work), _total(labour)

    def _all(self) -> Iterator[tuple[Group, Box, Count]]:
        """Every box that a vehicle may have, with how many do: a number or a variable."""
        for group, kept, own in zip(self.groups, self.kept, self.chosen, strict=True):
            yield from ((group, box, count) for box, count in kept.items())
            yield from ((group, box, chosen) for box, chosen in own.items())

    def _is_any(self, counts: Sequence[Count]) -> cp_model.IntVar:
        """A Boolean, true where one of the counts is above zero."""
        model = self.purchase.model
        if any(isinstance(count, int) for count in counts):
            return model.new_constant(1)
        has = model.new_bool_var("")
        for count in counts:
            model.add(count == 0).only_enforce_if(has.negated())
        model.add(sum(counts) >= has)
        return has

    @property
    def short(self) -> cp_model.LinearExprT:
        """Scenarios short of what is wanted, over all vehicles."""
        terms = [(count, group.enough - box.covered) for group, box, count in self._all()]
        return _total([(count, short) for count, short in terms if short > 0])

    def hint(self, shares: Sequence[Mapping[Box, float]] | Counts) -> None:
        """Where to begin: so much of each box."""
        self.purchase.model.clear_hints()  # type: ignore[no-untyped-call]
        for own, there in zip(self.chosen, shares, strict=True):
            for box, count in own.items():
                self.purchase.model.add_hint(count, round(there.get(box, 0.0)))

    def read(self, solver: cp_model.CpSolver) -> Rounded:
        """What a solver has found."""
        counts: Counts = []
        for kept, own in zip(self.kept, self.chosen, strict=True):
            total = dict(kept)
            for box, chosen in own.items():
                if count := solver.value(chosen):
                    total[box] = total.get(box, 0) + count
            counts.append(total)
        return Rounded(counts, *self.purchase.read(solver))


def _total(terms: Terms) -> cp_model.LinearExprT:
    constant = sum(count * each for count, each in terms if isinstance(count, int))
    variables = [(count, each) for count, each in terms if each and not isinstance(count, int)]
    if not variables:
        return constant
    return cp_model.LinearExpr.weighted_sum([x for x, _ in variables], [each for _, each in variables]) + constant


def whole_shares(shares: Sequence[Mapping[Box, float]]) -> Counts:
    """Boxes that the program gives to whole vehicles."""
    return [{box: floor(share + TINY) for box, share in own.items() if share > 1.0 - TINY} for own in shares]
