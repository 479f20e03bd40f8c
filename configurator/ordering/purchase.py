"""The buying side of an order as a CP-SAT model: packs, prices by quantity, the shelf, deliveries and their terms.

What boxes ask for must have arrived, lie on the shelf, or have been set free for certain by a vehicle of an earlier
day.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from ortools.sat.python import cp_model

from configurator.catalogue.parts import Consumable
from configurator.catalogue.supply import DrillBit, Supplier
from configurator.ordering.articles import Article, arrival
from configurator.ordering.needs import diameter_mm
from configurator.slots.options import Option

WORKERS = 2
MOST_PACKS = 60
SAME_DRILL_MM = 0.001
Bool = cp_model.IntVar
Amount = Any
"""A number, or a linear expression of the model's variables."""


@dataclass(frozen=True)
class Market:
    """What can be bought and what is there: articles, terms, the shelf, gaskets, drills, and the day of the order.

    left_out : articles sold besides that no box has a use for. fill : whether what no box needs may be bought to make
    up a sum that a supplier wants. labour_per_hour : price in hundredths, 0 where labour is not counted.
    """

    articles: Sequence[Article]
    suppliers: Mapping[str, Supplier]
    shelf: Mapping[str, int]
    consumables: Sequence[Consumable]
    drill_bits: Sequence[DrillBit]
    ordered: date
    left_out: int = 0
    fill: bool = True
    labour_per_hour: int = 0

    @property
    def may_be_filled_up(self) -> bool:
        """Whether what is left out could still make up a sum that a supplier wants."""
        terms = (supplier.minimum_order or supplier.free_delivery_from for supplier in self.suppliers.values())
        return self.fill and bool(self.left_out) and any(terms)

    def labour(self, minutes: int) -> int:
        """Price of so many minutes' work, in hundredths."""
        return round(minutes * self.labour_per_hour / 60)

    def arrives(self, article: Article) -> date:
        return self._arrivals[article.supplier]

    @cached_property
    def _arrivals(self) -> dict[str, date]:
        return {code: arrival(supplier, self.ordered) for code, supplier in self.suppliers.items()}

    @cached_property
    def bringing(self) -> dict[str, list[tuple[int, int]]]:
        """Articles by what they bring: (place of the article, how many a pack), by code."""
        found: dict[str, list[tuple[int, int]]] = {}
        for place, article in enumerate(self.articles):
            for code, count in article.brings.items():
                found.setdefault(code, []).append((place, count))
        return found

    def drills_for(self, redrilled: Option) -> list[str]:
        """Codes of the drills that make a redrilled nozzle."""
        return self.drills_of(diameter_mm(redrilled))

    def drills_of(self, orifice_mm: float) -> list[str]:
        """Codes of the drills that make an orifice."""
        return [bit.code for bit in self.drill_bits if abs(bit.diameter_mm - orifice_mm) < SAME_DRILL_MM]

    def has_drill(self, orifice_mm: float) -> bool:
        """Whether a drill for an orifice is on the shelf."""
        return any(self.shelf.get(code, 0) for code in self.drills_of(orifice_mm))

    def looked_at(self, code: str, days: Iterable[date], freed: Iterable[date]) -> list[date]:
        """Of the days on which a code is needed, those that matter: after which more of it comes, and the last.

        freed : days on which boxes may set one free, for later days.
        """
        arrivals = {self.arrives(self.articles[place]) for place, _ in self.bringing.get(code, [])}
        ordered, freed = sorted(set(days)), set(freed)
        return [
            day for day, following in zip(ordered, [*ordered[1:], None], strict=True)
            if following is None
            or any(day < arrival <= following for arrival in arrivals)
            or any(day <= when < following for when in freed)
        ]  # fmt: skip


def steady_solver(effort: float) -> cp_model.CpSolver:
    """A solver that finds the same whatever the number of its workers, with so much effort [s of work on one core]."""
    solver = cp_model.CpSolver()
    solver.parameters.random_seed = 1
    solver.parameters.interleave_search = True
    solver.parameters.num_workers = WORKERS
    solver.parameters.linearization_level = 2
    solver.parameters.max_deterministic_time = effort
    return solver


class Purchase:
    """Variables and constraints of what is bought. Needs are told first; `close` turns them into constraints."""

    def __init__(self, market: Market, most_packs: Mapping[int, int] | None = None) -> None:
        """most_packs : the most that is of use of an article, by its place, where that may be more than MOST_PACKS."""
        self.market = market
        self.model = cp_model.CpModel()
        most = most_packs or {}
        self.packs = [
            self._tiers(article, max(MOST_PACKS, most.get(place, 0))) for place, article in enumerate(market.articles)
        ]
        self.work: Amount = 0
        """Price of work on parts (drilling, relieving a pad), and labour in minutes."""
        self.labour: Amount = 0
        self._needs: dict[str, list[tuple[date, Amount]]] = {}
        self._freed: dict[str, list[tuple[date, Amount]]] = {}
        self._drills: dict[str, list[tuple[Bool, Amount]]] = {}
        """By drill, who uses it, and all that is bought for that."""
        self._supply: dict[str, list[tuple[date, Amount]]] = {}
        """By code and day, what is there beyond what is asked for."""

    def need(self, code: str, day: date, amount: Amount) -> None:
        """So many of a code are needed by a day, and stay in use."""
        self._needs.setdefault(code, []).append((day, amount))

    def free(self, code: str, day: date, amount: Amount) -> None:
        """So many of a code are there for later days than this one."""
        self._freed.setdefault(code, []).append((day, amount))

    def need_drill(self, orifice_mm: float, day: date, has: Bool) -> None:
        """A drill is a tool: one that is owned or has arrived serves every vehicle."""
        if not self.market.has_drill(orifice_mm):
            codes = self.market.drills_of(orifice_mm)
            bought = [amount for code in codes for amount in self._bought(code, day)]
            for code in codes:
                self._drills.setdefault(code, []).append((has, sum(bought)))
            self.model.add(sum(bought) >= 1 if bought else 0 >= 1).only_enforce_if(has)

    def close(self, most_suppliers: int | None) -> None:
        """Put needs against what is bought, on the shelf and set free; then `used`, `delivery` and `cost` are there."""
        for code, needs in self._needs.items():
            freed = self._freed.get(code, [])
            for day in self.market.looked_at(code, (day for day, _ in needs), (day for day, _ in freed)):
                asked = sum(amount for when, amount in needs if when <= day)
                there = sum(amount for when, amount in freed if when < day)
                left = self.market.shelf.get(code, 0) + sum(self._bought(code, day)) + there - asked
                self.model.add(left >= 0)
                self._supply.setdefault(code, []).append((day, left))
        if not self.market.fill:
            self._refuse_fill()
        self.used, self.delivery = self._terms(most_suppliers)
        self.cost: Amount = self._goods(range(len(self.packs))) + sum(self.delivery.values()) + self.work

    def _refuse_fill(self) -> None:
        """No pack is bought that could be left out, but for those that a quantity is sold from, if some are needed."""
        for article, tiers in zip(self.market.articles, self.packs, strict=True):
            needed = self._needed(article, 1)
            for tier, count in zip(article.tiers, tiers, strict=True):
                some = self._needed(article, tier.from_packs) if tier.from_packs > 1 else []
                self.model.add(count <= tier.from_packs).only_enforce_if([one.negated() for one in needed])
                self.model.add(count == 0).only_enforce_if([one.negated() for one in (*needed, *some)])

    def _needed(self, article: Article, packs: int) -> list[Bool]:
        """Booleans that may be true where without so many packs of an article something would be lacking."""
        arrives, found = self.market.arrives(article), []
        for code, count in article.brings.items():
            for day, left in self._supply.get(code, []):
                if arrives <= day:
                    found.append(self.model.new_bool_var(""))
                    self.model.add(left <= packs * count - 1).only_enforce_if(found[-1])
            for has, bought in self._drills.get(code, []):
                found.append(self.model.new_bool_var(""))
                self.model.add_implication(found[-1], has)
                self.model.add(bought <= packs * count).only_enforce_if(found[-1])
        return found

    def read(self, solver: cp_model.CpSolver) -> tuple[list[int], dict[str, int], int]:
        """What a solver has found: packs of each article by its place, delivery charges, and the whole cost."""
        value = solver.value
        packs = [sum(value(count) for count in tiers) for tiers in self.packs]
        delivery = {code: value(charge) for code, charge in self.delivery.items() if value(self.used[code])}
        return packs, delivery, value(self.cost)

    def _tiers(self, article: Article, most: int) -> list[cp_model.IntVar]:
        """Packs bought at each price; at most one price holds."""
        counts, chosen = [], []
        for place, tier in enumerate(article.tiers):
            below = article.tiers[place + 1].from_packs - 1 if place + 1 < len(article.tiers) else most
            count = self.model.new_int_var(0, below, f"{article.code}@{article.supplier}:{tier.from_packs}")
            at_this_price = self.model.new_bool_var("")
            self.model.add(count >= tier.from_packs * at_this_price)
            self.model.add(count <= below * at_this_price)
            counts.append(count)
            chosen.append(at_this_price)
        if len(chosen) > 1:
            self.model.add_at_most_one(chosen)
        return counts

    def _bought(self, code: str, day: date) -> list[Amount]:
        """What has arrived of a code by a day, a term for each price."""
        return [
            each * count for place, each in self.market.bringing.get(code, [])
            if self.market.arrives(self.market.articles[place]) <= day for count in self.packs[place]
        ]  # fmt: skip

    def _goods(self, places: Iterable[int]) -> Amount:
        """Price of some articles in hundredths."""
        return sum(
            tier.price * count
            for place in places
            for tier, count in zip(self.market.articles[place].tiers, self.packs[place], strict=True)
        )

    def _terms(self, most_suppliers: int | None) -> tuple[dict[str, Bool], dict[str, Amount]]:
        """Delivery charges, free delivery and least orders; at most so many suppliers."""
        used, delivery = {}, {}
        places: dict[str, list[int]] = {code: [] for code in self.market.suppliers}
        for place, article in enumerate(self.market.articles):
            places[article.supplier].append(place)
        for code, supplier in self.market.suppliers.items():
            used[code] = self.model.new_bool_var(f"used {code}")
            for count in (count for place in places[code] for count in self.packs[place]):
                self.model.add(count == 0).only_enforce_if(used[code].negated())
            goods = self._goods(places[code])
            if supplier.minimum_order:
                self.model.add(goods >= round(100 * supplier.minimum_order)).only_enforce_if(used[code])
            pays = used[code]
            if supplier.free_delivery_from is not None:
                pays = self.model.new_bool_var(f"pays {code}")
                least = round(100 * supplier.free_delivery_from)
                self.model.add(goods >= least).only_enforce_if([used[code], pays.negated()])
                self.model.add_implication(pays, used[code])
            delivery[code] = round(100 * supplier.delivery_charge) * pays
        if most_suppliers is not None:
            self.model.add(sum(used.values()) <= most_suppliers)
        return used, delivery
