"""The buying side of the linear program: packs that arrive in time, deliveries and their terms, all in parts of one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeAlias

import numpy as np
from ortools.math_opt.python import mathopt

from configurator.catalogue.supply import Supplier
from configurator.ordering.articles import Article
from configurator.ordering.circuit_boxes import Drilling
from configurator.ordering.groups import Group, dearest_price, greatest_needs, most_packs, unit_price
from configurator.ordering.purchase import MOST_PACKS, Market

MOST_APART = 100
LinearRow: TypeAlias = mathopt.LinearConstraint


@dataclass(frozen=True)
class Aim:
    """What is made least: money, every vehicle covering enough; or with a price for each scenario short of that, and
    perhaps within a budget in hundredths."""

    short_price: float = np.inf
    budget: int | None = None


MONEY = Aim()


def sums_wanted(supplier: Supplier) -> bool:
    """Whether it matters to a supplier what goods come to."""
    return bool(supplier.minimum_order) or supplier.free_delivery_from is not None


class GoodsProgram:
    """Rows for what boxes may take and set free, by day, and for drills; who makes the boxes adds them."""

    def __init__(self, groups: Sequence[Group], market: Market, aim: Aim) -> None:
        self.groups, self.market, self.aim = groups, market, aim
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
        self.fill: list[tuple[mathopt.Variable, Article]] = []
        """Packs of articles that only make up a sum."""
        self.sums: dict[str, list[LinearRow]] = {}
        """What a supplier's goods have to come to: for an order at all, and to be delivered free."""
        self.links: dict[int, LinearRow] = {}
        """For each article: who buys it uses its supplier, and no more packs are of use than so many."""
        self._freed_on: dict[str, set[date]] = {}
        for group in groups:
            for circuit in group.maker.needs.circuits:
                for code in sorted({code for setup in circuit.setups for code in setup.frees}):
                    self._freed_on.setdefault(code, set()).add(group.day)
        self._rows = {code: self._supply_rows(code) for code in sorted(self.most)}
        self._drill_rows = self._rows_of_drills()
        self._terms()

    def _variable(self, price: float = 0.0) -> mathopt.Variable:
        """One that costs so much money."""
        variable = self.model.add_variable(lb=0.0)
        self.charge(variable, price)
        return variable

    def charge(self, variable: mathopt.Variable, price: float) -> None:
        """What one of a variable costs, in money."""
        self.model.objective.set_linear_coefficient(variable, price)
        if self._money is not None:
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

    def _rows_of_drills(self) -> list[dict[Drilling, LinearRow]]:
        """For each group the rows of the orifices that take a drill which is not there: who uses one, buys it. A row of
        its own for each group where they are few, else one a day: weaker, and of no weight among many."""
        apart = len(self.groups) <= MOST_APART
        uses: dict[tuple[int | date, Drilling], int] = {}
        for number, group in enumerate(self.groups):
            for drill in group.maker.drills:
                if not self.market.has_drill(drill[1]):
                    key = (number if apart else group.day, drill)
                    uses[key] = uses.get(key, 0) + group.count
        days = {number if apart else group.day: group.day for number, group in enumerate(self.groups)}
        rows = {(whose, drill): self._drill_row(drill, days[whose], count) for (whose, drill), count in uses.items()}
        return [
            {drill: rows[whose, drill] for drill in group.maker.drills
             if (whose := number if apart else group.day, drill) in rows}
            for number, group in enumerate(self.groups)
        ]  # fmt: skip

    def _drill_row(self, drill: Drilling, day: date, uses: int) -> LinearRow:
        arrived = [self._arrived(code, day) for code in self.market.drills_of(drill[1])]
        return self._row(0.0, {packs: float(uses) for terms in arrived for packs in terms})

    def _fill(self, supplier: str, used: mathopt.Variable) -> dict[mathopt.Variable, float]:
        """What may be bought of a supplier only to make up a sum, with the most that it counts for: any article, or any
        sum where not all articles are known."""
        if not self.market.fill:
            return {}
        if self.market.left_out:
            return {self._variable(1.0): 1.0}
        found = {}
        for article in self.market.articles:
            if article.supplier == supplier:
                self.fill.append((self._variable(unit_price(article, MOST_PACKS)), article))
                found[self.fill[-1][0]] = dearest_price(article)
                self._row(0.0, {used: float(MOST_PACKS), self.fill[-1][0]: -1.0})
        return found

    def _terms(self) -> None:
        """Deliveries and least orders. Goods count at their dearest; what only makes up a sum costs as much."""
        by_supplier: dict[str, list[int]] = {}
        for place in self.bought:
            by_supplier.setdefault(self.market.articles[place].supplier, []).append(place)
        for code, places in sorted(by_supplier.items()):
            supplier = self.market.suppliers[code]
            used, pays = self._variable(), self._variable(100.0 * supplier.delivery_charge)
            sums = self.sums[code] = []
            self.deliveries[code] = (used, pays)
            self._row(-1.0, {used: -1.0})
            for place in places:
                useful = float(most_packs(self.market.articles[place], self.most))
                self.links[place] = self._row(0.0, {used: useful, self._packs(place): -1.0})
            goods = {
                self._packs(place): dearest_price(self.market.articles[place]) for place in places
            } | (self._fill(code, used) if sums_wanted(supplier) else {})  # fmt: skip
            if supplier.minimum_order:
                sums.append(self._row(0.0, {**goods, used: -100.0 * supplier.minimum_order}))
            if supplier.free_delivery_from is None:
                self._row(0.0, {pays: 1.0, used: -1.0})
            else:
                free = 100.0 * supplier.free_delivery_from
                sums.append(self._row(0.0, {**goods, used: -free, pays: free}))
