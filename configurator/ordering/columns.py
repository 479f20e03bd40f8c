"""The order for many vehicles as a linear program over whole boxes, with a bound that no order can be cheaper than.

Vehicles that want the same by the same day are one group; what a group may put into its boxes is a column. Columns are
made as they are needed: at the prices that the program sets on parts (`boxes`), until no box is worth more than it
costs (Dantzig & Wolfe, "Decomposition principle for linear programs", Operations Research 8, 1960; Gilmore & Gomory,
Operations Research 9, 1961). Prices in between are held near the best found so far (Wentges, International
Transactions in Operational Research 4, 1997; all three from memory). Packs and deliveries may be parts of one here, so
the value is a bound; `order_rounding` makes orders of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from ortools.math_opt.python import mathopt
from ortools.util.python.solve_interrupter import SolveInterrupter

from configurator.errors import TipinError
from configurator.ordering.boxes import Box
from configurator.ordering.circuit_boxes import Prices
from configurator.ordering.goods import MONEY, MOST_APART, Aim, GoodsProgram, LinearRow
from configurator.ordering.groups import Group, most_packs, unit_price
from configurator.ordering.purchase import Market
from configurator.solver.stop import watched
from configurator.stopping import heed

CLOSE = 1e-4
"""Prices are near enough when the bound is within this share of the program's value."""
MOST_ROUNDS = 80
SMOOTHING = 0.5
TINY = 1e-6
OUT_OF_REACH = 1e8
"""Price of a part that a box is not to have."""
IMPOSSIBLE = (mathopt.TerminationReason.INFEASIBLE, mathopt.TerminationReason.INFEASIBLE_OR_UNBOUNDED)
ONE_THREAD = mathopt.SolveParameters(threads=1)
VALUES_READ = mathopt.VariableFilter(skip_zero_values=True)
"""Values of 0 would only be handed over."""


@dataclass(frozen=True)
class Relaxed:
    """What came of the linear program: what is proven to be the least (in hundredths, where money is the aim), the
    program's value, each group's shares of boxes, whether some vehicle cannot have one, whether Ctrl-C stopped it, and
    bound and value after each round."""

    bound: float
    value: float
    shares: list[dict[Box, float]]
    lacking: bool
    stopped: bool
    trace: list[tuple[float, float]]


class ColumnProgram(GoodsProgram):
    """The linear program over the columns there are."""

    def __init__(self, groups: Sequence[Group], market: Market, aim: Aim = MONEY) -> None:
        super().__init__(groups, market, aim)
        self._of_group: list[LinearRow] = []
        self.shares: list[dict[Box, mathopt.Variable]] = [{} for _ in groups]
        self._has: list[frozenset[str]] = [frozenset()] * len(groups)
        self._lacks: list[frozenset[str]] = [frozenset()] * len(groups)
        """Codes that every box of a group has, and that none has: while a proof looks at such orders."""
        self._branched: set[str] = set()
        self._missing: list[mathopt.Variable] = []
        for group in groups:
            row = self.model.add_linear_constraint(lb=group.count, ub=group.count)
            self._of_group.append(row)
            if np.isinf(aim.short_price):
                self._missing.append(self.model.add_variable(lb=0.0))
                row.set_coefficient(self._missing[-1], 1.0)
        self._start()
        self._solver = mathopt.IncrementalSolver(self.model, mathopt.SolverType.GLOP)
        self._read = mathopt.ModelSolveParameters(
            variable_values_filter=VALUES_READ,
            reduced_costs_filter=mathopt.VariableFilter(filtered_items=self.bought.values()),
        )

    def _prices(self, duals: Mapping[LinearRow, float]) -> dict[date, Prices]:
        """What a part costs a vehicle of each day: it is gone on that day and every later one."""
        by_day: dict[date, dict[str, float]] = {day: {} for day in self.days}
        for code, rows in self._rows.items():
            for day, row in rows.items():
                by_day[day][code] = max(0.0, duals[row])
        found: dict[date, Prices] = {}
        later: dict[str, float] = {}
        for day in reversed(self.days):
            after = later
            later = {**after, **{code: after.get(code, 0.0) + price for code, price in by_day[day].items()}}
            found[day] = Prices(later, after, {}, 1.0 + (max(0.0, duals[self._money]) if self._money else 0.0))
        return found

    def _start(self) -> None:
        """First columns: the cheapest boxes at the prices of single parts; to lack one costs more than any."""
        single: dict[str, float] = {}
        for place in self.bought:
            article = self.market.articles[place]
            price = unit_price(article, most_packs(article, self.most))
            for code, count in article.brings.items():
                if len(article.brings) == 1:
                    single[code] = min(single.get(code, np.inf), price / count)
        prices, dear = Prices(single, {}, {}), 1e5
        made: dict[tuple[int, int], tuple[float, Box] | None] = {}
        for number, group in enumerate(self.groups):
            key = (id(group.maker), group.enough)
            if key not in made:
                made[key] = group.maker.best(prices, group.enough)
            found = made[key]
            if found is not None:
                dear = max(dear, 4.0 * found[0])
                self.add(number, found[1])
            if np.isfinite(self.aim.short_price):
                self.add(number, group.maker.empty)
        for missing in self._missing:
            self.model.objective.set_linear_coefficient(missing, dear)

    def add(self, number: int, box: Box) -> bool:
        """A column for a group; whether it is a new one."""
        if box in self.shares[number]:
            return False
        group = self.groups[number]
        group.made.add(box)
        share = self.shares[number][box] = self._variable(float(box.work))
        self._of_group[number].set_coefficient(share, 1.0)
        if box.covered < group.enough:
            short = self.aim.short_price * (group.enough - box.covered)
            self.model.objective.set_linear_coefficient(share, short + box.work)
        for code in sorted({*box.takes, *box.frees, *self._has[number]}):
            self._take(number, box, code)
        share.upper_bound = 0.0 if self._lacks[number] & box.takes.keys() else np.inf
        for drill in box.drills:
            if drill in self._drill_rows[number]:
                self._drill_rows[number][drill].set_coefficient(share, -1.0)
        return True

    def _take(self, number: int, box: Box, code: str) -> None:
        """What a group's box takes of a code, and sets free: at least one where the group is to have it."""
        day_of_group, share = self.groups[number].day, self.shares[number][box]
        takes = max(box.takes.get(code, 0), int(code in self._has[number]))
        for day, row in self._rows.get(code, {}).items():
            taken = takes if day >= day_of_group else 0
            freed = box.frees.get(code, 0) if day > day_of_group else 0
            if taken != freed or code in self._branched:
                row.set_coefficient(share, float(freed - taken))

    def hold_box(self, number: int, has: frozenset[str], lacks: frozenset[str]) -> None:
        """Keep the box of a group of one to those that have some codes (one that needs no such part has it all the
        same, and pays for it), and lack others."""
        changed = self._has[number] ^ has
        self._has[number], self._lacks[number] = has, lacks
        self._branched |= changed
        for box, share in self.shares[number].items():
            share.upper_bound = 0.0 if lacks & box.takes.keys() else np.inf
            for code in sorted(changed):
                self._take(number, box, code)

    def insisting(self) -> "ColumnProgram":
        """The same with a thousand times the price of a vehicle without a box."""
        for missing in self._missing:
            dear = self.model.objective.get_linear_coefficient(missing)
            self.model.objective.set_linear_coefficient(missing, 1000.0 * dear)
        return self

    def relaxed(self, close: float = CLOSE) -> Relaxed:
        """The program solved, columns made until the bound is within a share of its value, or Ctrl-C is pressed."""
        best, held = -np.inf, None
        trace: list[tuple[float, float]] = []
        solved, stopped = self._solve(), False
        try:
            for _ in range(MOST_ROUNDS):
                heed()
                duals, value = self._duals(solved), solved.objective_value()
                at = duals if held is None else {
                    row: SMOOTHING * held[row] + (1.0 - SMOOTHING) * dual for row, dual in duals.items()
                }  # fmt: skip
                bound, added = self._improved(at, duals)
                if not added and held is not None:
                    at = duals
                    bound, added = self._improved(at, duals)
                if bound > best:
                    best, held = bound, at
                trace.append((best, value))
                if value - best <= close * max(1.0, abs(value)) or not added:
                    break
                solved = self._solve()
        except KeyboardInterrupt:
            stopped = True
        values = solved.variable_values()
        return Relaxed(
            max(best, 0.0), solved.objective_value(), [_positive(own, values) for own in self.shares],
            any(values.get(missing, 0.0) > TINY for missing in self._missing), stopped, trace,
        )  # fmt: skip

    def settled(self) -> tuple[float, dict[mathopt.Variable, float]]:
        """The program's value with no column worth adding left, infinite where what is held cannot be, and what those
        of its variables come to that are not 0."""
        for _ in range(MOST_ROUNDS):
            heed()
            solved = self._solved()
            if solved.termination.reason in IMPOSSIBLE:
                return np.inf, {}
            duals = self._duals(solved)
            _, added = self._improved(duals, duals)
            if not added:
                break
        else:
            return -np.inf, {}
        return solved.objective_value(), solved.variable_values()

    def _duals(self, solved: mathopt.SolveResult) -> dict[LinearRow, float]:
        """The program's prices. A code that no box takes yet may be priced at anything up to what it is sold for: it is
        priced at that, or boxes would be made that only seem cheap. What lies on the shelf or is set free stays as it
        is, so the program's value does."""
        duals: dict[LinearRow, float] = solved.dual_values()
        left = solved.reduced_costs()
        for code, rows in self._rows.items():
            if not rows or code in self._freed_on or self.market.shelf.get(code, 0):
                continue
            last = max(rows)
            arrived = self._arrived(code, last)
            more = min((left[packs] / count for packs, count in arrived.items()), default=0.0)
            if more > TINY:
                duals[rows[last]] += more
                for packs, count in arrived.items():
                    left[packs] -= more * count
        return duals

    def _solve(self) -> mathopt.SolveResult:
        solved = self._solved()
        if not solved.has_primal_feasible_solution() or not solved.has_dual_feasible_solution():
            raise TipinError(
                "the order could not be planned, as its figures are too far apart; look for a price or a number of "
                "packs that is out of all proportion"
            )
        return solved

    def _solved(self) -> mathopt.SolveResult:
        """What comes of the program as it is. Raises KeyboardInterrupt at Ctrl-C: with thousands of vehicles one solve
        may take minutes."""
        try:
            return self._solved_on()
        except (AttributeError, RuntimeError, ValueError):
            # Now and then a solve that goes on from the last ends abnormally (and as an AttributeError); from the
            # beginning it does not.
            self._solver = mathopt.IncrementalSolver(self.model, mathopt.SolverType.GLOP)
            return self._solved_on()

    def _solved_on(self) -> mathopt.SolveResult:
        interrupter = SolveInterrupter()
        solved, pressed = watched(
            lambda: self._solver.solve(params=ONE_THREAD, model_params=self._read, interrupter=interrupter),
            interrupter.interrupt,
        )
        if pressed:
            raise KeyboardInterrupt
        return solved

    def _improved(self, at: Mapping[LinearRow, float], duals: Mapping[LinearRow, float]) -> tuple[float, int]:
        """The bound at some prices, and how many columns were worth adding at the program's own. Boxes that are there
        already come first, where groups are few: while they help, nothing is proven."""
        if len(self.groups) <= MOST_APART and (added := self._priced(duals, duals, exact=False)[1]):
            return -np.inf, added
        return self._priced(at, duals, exact=True)

    def _priced(
        self, at: Mapping[LinearRow, float], duals: Mapping[LinearRow, float], *, exact: bool
    ) -> tuple[float, int]:
        by_day = self._prices(at)
        bound = sum(at[row] * right for row, right in self._right.items() if right)
        same: dict[str, int] = {}
        number_of_day = {day: same.setdefault(repr(prices), len(same)) for day, prices in by_day.items()}
        made: dict[Any, tuple[float, Box] | None] = {}
        added = 0
        for number, group in enumerate(self.groups):
            drills = {drill: max(0.0, at[row]) for drill, row in self._drill_rows[number].items()}
            has, lacks = self._has[number], self._lacks[number]
            key = (id(group.maker), group.enough, number_of_day[group.day], tuple(drills.values()), has, lacks)
            code = by_day[group.day].code
            if key not in made:
                own = {**code, **dict.fromkeys(lacks, OUT_OF_REACH), **dict.fromkeys(has, 0.0)}
                made[key] = self._cheapest(group, replace(by_day[group.day], code=own, drill=drills), exact=exact)
            found = made[key]
            if found is None or found[1].takes.keys() & lacks:
                continue
            price, box = found[0] + sum(code.get(one, 0.0) for one in has), found[1]
            bound += group.count * price
            if price < at[self._of_group[number]] - TINY or price < duals[self._of_group[number]] - TINY:
                added += self.add(number, box)
        return bound, added

    def _cheapest(self, group: Group, prices: Prices, *, exact: bool) -> tuple[float, Box] | None:
        """The cheapest box of a group: one that is known, or a new one below it."""
        short_price = self.aim.short_price
        known = group.made.cheapest(prices, group.enough, short_price)
        if not exact:
            return known
        below = known[0] - TINY if known else np.inf
        return group.maker.best(prices, group.enough, short_price, below) or known


def _positive(own: Mapping[Box, mathopt.Variable], values: Mapping[mathopt.Variable, float]) -> dict[Box, float]:
    return {box: values[share] for box, share in own.items() if values.get(share, 0.0) > TINY}
