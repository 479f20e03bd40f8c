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
from typing import Any, TypeAlias

import numpy as np
from ortools.math_opt.python import mathopt
from ortools.util.python.solve_interrupter import SolveInterrupter

from configurator.errors import TipinError
from configurator.ordering.box_search import Prices
from configurator.ordering.boxes import Box
from configurator.ordering.groups import Group, MadeBoxes, greatest_needs, most_packs, unit_price
from configurator.ordering.purchase import Market
from configurator.solver.stop import watched
from configurator.stopping import heed

CLOSE = 1e-4
"""Prices are near enough when the bound is within this share of the program's value."""
MOST_ROUNDS = 80
SMOOTHING = 0.5
TINY = 1e-6
MOST_APART = 100
IMPOSSIBLE = (mathopt.TerminationReason.INFEASIBLE, mathopt.TerminationReason.INFEASIBLE_OR_UNBOUNDED)
ONE_THREAD = mathopt.SolveParameters(threads=1)
WHAT_IS_READ = mathopt.ModelSolveParameters(
    variable_values_filter=mathopt.VariableFilter(skip_zero_values=True),
    reduced_costs_filter=mathopt.VariableFilter(filtered_items=()),
)
"""Values other than 0, and prices: the rest would only be handed over."""
LinearRow: TypeAlias = mathopt.LinearConstraint


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


@dataclass(frozen=True)
class Aim:
    """What is made least: money, every vehicle covering enough; or with a price for each scenario short of that; or,
    within a budget in hundredths, scenarios short alone."""

    short_price: float = np.inf
    budget: int | None = None


class ColumnProgram:
    """The linear program over the columns there are."""

    def __init__(self, groups: Sequence[Group], market: Market, aim: Aim = Aim()) -> None:
        self.groups, self.market, self.aim = groups, market, aim
        self.columns = [MadeBoxes() for _ in range(max((group.kind for group in groups), default=-1) + 1)]
        self.days = sorted({group.day for group in groups})
        self.most = greatest_needs(groups)
        self.model = mathopt.Model()
        self.model.minimize(0)
        self._right: dict[LinearRow, float] = {}
        self._money = None if aim.budget is None else self._row(-float(aim.budget), {})
        self.bought: dict[int, mathopt.Variable] = {}
        """Packs of each article, by its place."""
        self.deliveries: dict[str, tuple[mathopt.Variable, mathopt.Variable]] = {}
        """Whether a supplier is used, and whether its delivery is paid for."""
        self.links: dict[int, LinearRow] = {}
        """For each article: who buys it uses its supplier, and no more packs are of use than so many."""
        self._freed_on: dict[str, set[date]] = {}
        for group in groups:
            for circuit in group.maker.needs.circuits:
                for code in {code for setup in circuit.setups for code in setup.frees}:
                    self._freed_on.setdefault(code, set()).add(group.day)
        self._rows = {code: self._supply_rows(code) for code in sorted(self.most)}
        self._drill_rows = self._rows_of_drills()
        self._terms()
        self._of_group: list[LinearRow] = []
        self.shares: list[dict[Box, mathopt.Variable]] = [{} for _ in groups]
        self._missing: list[mathopt.Variable] = []
        for group in groups:
            row = self.model.add_linear_constraint(lb=group.count, ub=group.count)
            self._of_group.append(row)
            if np.isinf(aim.short_price):
                self._missing.append(self.model.add_variable(lb=0.0))
                row.set_coefficient(self._missing[-1], 1.0)
        self._start()
        self._solver = mathopt.IncrementalSolver(self.model, mathopt.SolverType.GLOP)

    def _variable(self, price: float = 0.0) -> mathopt.Variable:
        """One that costs so much money."""
        variable = self.model.add_variable(lb=0.0)
        self.charge(variable, price)
        return variable

    def charge(self, variable: mathopt.Variable, price: float) -> None:
        """What one of a variable costs, in money."""
        if self._money is None:
            self.model.objective.set_linear_coefficient(variable, price)
        else:
            self._money.set_coefficient(variable, -price)

    def _row(self, least: float, terms: Mapping[mathopt.Variable, float]) -> LinearRow:
        """A sum that is at least so much."""
        row = self.model.add_linear_constraint(lb=least)
        for variable, weight in terms.items():
            row.set_coefficient(variable, weight)
        self._right[row] = least
        return row

    def _packs(self, place: int) -> mathopt.Variable:
        """Packs bought of an article, at the least that a useful one can cost."""
        if place not in self.bought:
            article = self.market.articles[place]
            self.bought[place] = self._variable(unit_price(article, most_packs(article, self.most)))
        return self.bought[place]

    def _arrived(self, code: str, by: date) -> dict[mathopt.Variable, float]:
        return {
            self._packs(place): float(count) for place, count in self.market.bringing.get(code, [])
            if self.market.arrives(self.market.articles[place]) <= by
        }  # fmt: skip

    def _supply_rows(self, code: str) -> dict[date, LinearRow]:
        days = self.market.looked_at(code, self.days, self._freed_on.get(code, ()))
        return {day: self._row(-float(self.market.shelf.get(code, 0)), self._arrived(code, day)) for day in days}

    def _rows_of_drills(self) -> list[dict[float, LinearRow]]:
        """For each group the rows of the orifices that take a drill which is not there: who uses one, buys it. A row of
        its own for each group where they are few, else one a day: weaker, and of no weight among many."""
        apart = len(self.groups) <= MOST_APART
        uses: dict[tuple[int | date, float], int] = {}
        for number, group in enumerate(self.groups):
            for drill in group.maker.drills:
                if not self.market.has_drill(drill):
                    key = (number if apart else group.day, drill)
                    uses[key] = uses.get(key, 0) + group.count
        days = {number if apart else group.day: group.day for number, group in enumerate(self.groups)}
        rows = {(whose, drill): self._drill_row(drill, days[whose], count) for (whose, drill), count in uses.items()}
        return [
            {drill: rows[whose, drill] for drill in group.maker.drills
             if (whose := number if apart else group.day, drill) in rows}
            for number, group in enumerate(self.groups)
        ]  # fmt: skip

    def _drill_row(self, drill: float, day: date, uses: int) -> LinearRow:
        arrived = [self._arrived(code, day) for code in self.market.drills_of(drill)]
        return self._row(0.0, {packs: float(uses) for terms in arrived for packs in terms})

    def _terms(self) -> None:
        """Deliveries and least orders. Goods count at their dearest; what only makes up a sum costs as much."""
        by_supplier: dict[str, list[int]] = {}
        for place in self.bought:
            by_supplier.setdefault(self.market.articles[place].supplier, []).append(place)
        for code, places in sorted(by_supplier.items()):
            supplier = self.market.suppliers[code]
            used, pays = self._variable(), self._variable(100.0 * supplier.delivery_charge)
            self.deliveries[code] = (used, pays)
            self._row(-1.0, {used: -1.0})
            for place in places:
                useful = float(most_packs(self.market.articles[place], self.most))
                self.links[place] = self._row(0.0, {used: useful, self._packs(place): -1.0})
            goods = {
                self._packs(place): float(max(tier.price for tier in self.market.articles[place].tiers))
                for place in places
            } | {self._variable(1.0): 1.0}  # fmt: skip
            if supplier.minimum_order:
                self._row(0.0, {**goods, used: -100.0 * supplier.minimum_order})
            if supplier.free_delivery_from is None:
                self._row(0.0, {pays: 1.0, used: -1.0})
            else:
                free = 100.0 * supplier.free_delivery_from
                self._row(0.0, {**goods, used: -free, pays: free})

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
            found[day] = Prices(later, after, {}, 1.0 if self._money is None else max(0.0, duals[self._money]))
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
            key = (group.kind, group.enough)
            if key not in made:
                made[key] = group.maker.cheapest(prices, group.enough)
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
        self.columns[group.kind].add(box)
        share = self.shares[number][box] = self._variable(float(box.work))
        self._of_group[number].set_coefficient(share, 1.0)
        if box.covered < group.enough:
            short = self.aim.short_price * (group.enough - box.covered)
            self.model.objective.set_linear_coefficient(share, short + (box.work if self._money is None else 0))
        for code in {*box.takes, *box.frees}:
            for day, row in self._rows.get(code, {}).items():
                taken = box.takes.get(code, 0) if day >= group.day else 0
                freed = box.frees.get(code, 0) if day > group.day else 0
                if taken != freed:
                    row.set_coefficient(share, float(freed - taken))
        for drill in box.drills:
            if drill in self._drill_rows[number]:
                self._drill_rows[number][drill].set_coefficient(share, -1.0)
        return True

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
                duals, value = solved.dual_values(), solved.objective_value()
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
            duals = solved.dual_values()
            _, added = self._improved(duals, duals)
            if not added:
                break
        else:
            return -np.inf, {}
        return solved.objective_value(), solved.variable_values()

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
            lambda: self._solver.solve(params=ONE_THREAD, model_params=WHAT_IS_READ, interrupter=interrupter),
            interrupter.interrupt,
        )
        if pressed:
            raise KeyboardInterrupt
        return solved

    def _improved(self, at: Mapping[LinearRow, float], duals: Mapping[LinearRow, float]) -> tuple[float, int]:
        """The bound at some prices, and how many columns were worth adding at the program's own."""
        by_day = self._prices(at)
        bound = sum(at[row] * right for row, right in self._right.items() if right)
        same: dict[str, int] = {}
        number_of_day = {day: same.setdefault(repr(prices), len(same)) for day, prices in by_day.items()}
        made: dict[Any, tuple[float, Box] | None] = {}
        added = 0
        for number, group in enumerate(self.groups):
            drills = {drill: max(0.0, at[row]) for drill, row in self._drill_rows[number].items()}
            key = (group.kind, group.enough, number_of_day[group.day], tuple(drills.values()))
            if key not in made:
                made[key] = self._cheapest(group, replace(by_day[group.day], drill=drills))
            found = made[key]
            if found is None:
                continue
            price, box = found
            bound += group.count * price
            if price < at[self._of_group[number]] - TINY or price < duals[self._of_group[number]] - TINY:
                added += self.add(number, box)
        return bound, added

    def _cheapest(self, group: Group, prices: Prices) -> tuple[float, Box] | None:
        """The cheapest box of a group: one that is known, or a new one below it."""
        short_price = self.aim.short_price
        known = self.columns[group.kind].cheapest(prices, group.enough, short_price)
        below = known[0] - TINY if known else np.inf
        if np.isinf(short_price):
            return group.maker.cheapest(prices, group.enough, below) or known
        return group.maker.best(prices, group.enough, short_price, below) or known


def _positive(own: Mapping[Box, mathopt.Variable], values: Mapping[mathopt.Variable, float]) -> dict[Box, float]:
    return {box: values[share] for box, share in own.items() if values.get(share, 0.0) > TINY}
