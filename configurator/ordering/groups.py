"""Vehicles that want the same by the same day, the boxes made for them, and how much of each article can be of use."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import inf
from typing import Any

import numpy as np

from configurator.arrays import Array
from configurator.ordering.articles import Article
from configurator.ordering.boxes import Box, BoxMaker
from configurator.ordering.circuit_boxes import Prices
from configurator.ordering.plan import Wanted
from configurator.ordering.purchase import Market

LACKING = 1e6
"""Price of what cannot be had, where a scenario short costs 1."""


@dataclass(frozen=True)
class Group:
    """Vehicles that want the same by the same day: who makes their boxes, those made, and their places in the list of
    wanted."""

    maker: BoxMaker
    made: "MadeBoxes"
    day: date
    enough: int
    members: tuple[int, ...]

    @property
    def count(self) -> int:
        return len(self.members)


class MadeBoxes:
    """Boxes of one kind of needs as they are made, and their prices all at once."""

    def __init__(self) -> None:
        self.boxes: list[Box] = []
        self._known: set[Box] = set()
        self._codes: dict[str, int] = {}
        self._takes: list[dict[int, int]] = []
        self._frees: list[dict[int, int]] = []
        self._tables: tuple[Array, Array, Array, Array] | None = None

    def add(self, box: Box) -> None:
        """Put a box to those of its kind, if it is not among them."""
        if box not in self._known:
            self._known.add(box)
            self.boxes.append(box)
            number = self._codes
            self._takes.append({number.setdefault(code, len(number)): count for code, count in box.takes.items()})
            self._frees.append({number.setdefault(code, len(number)): count for code, count in box.frees.items()})
            self._tables = None

    def cheapest(self, prices: Prices, enough: int, short_price: float) -> tuple[float, Box] | None:
        """The cheapest of the boxes, each scenario short of enough at a price; the first of equals."""
        if not self.boxes:
            return None
        takes, frees, work, covered = self._tables = self._tables or self._tabulated()
        price = takes @ np.array([prices.code.get(code, 0.0) for code in self._codes])
        price -= frees @ np.array([prices.freed.get(code, 0.0) for code in self._codes])
        price += prices.work * work
        price += [sum(prices.drill.get(drill, 0.0) for drill in box.drills) for box in self.boxes]
        short = covered < enough
        price[short] += short_price * (enough - covered[short])
        best = int(np.argmin(price))
        return (float(price[best]), self.boxes[best]) if np.isfinite(price[best]) else None

    def _tabulated(self) -> tuple[Array, Array, Array, Array]:
        takes, frees = np.zeros((2, len(self.boxes), len(self._codes)))
        for table, rows in ((takes, self._takes), (frees, self._frees)):
            for place, row in enumerate(rows):
                table[place, list(row)] = list(row.values())
        work, covered = np.array([[box.work, box.covered] for box in self.boxes], dtype=float).T
        return takes, frees, work, covered


class Kinds:
    """Kinds of needs, equal ones together, with the boxes made for them: kept from one order to the next, as long as
    gaskets stay the same."""

    def __init__(self) -> None:
        self._numbers: dict[Any, int] = {}
        self._seen: dict[int, tuple[int, Any]] = {}
        self.makers: list[tuple[BoxMaker, MadeBoxes]] = []

    def number(self, one: Wanted, market: Market) -> int:
        """The number of a vehicle's kind."""
        circuits = one.needs.circuits
        if id(circuits) not in self._seen:
            number = self._numbers.setdefault(_content(one), len(self.makers))
            if number == len(self.makers):
                self.makers.append((BoxMaker(one.needs, market), MadeBoxes()))
            self._seen[id(circuits)] = number, circuits
        return self._seen[id(circuits)][0]

    def maker(self, one: Wanted, market: Market) -> BoxMaker:
        """Who makes the boxes of a vehicle."""
        return self.makers[self.number(one, market)][0]


def groups_of(wanted: Sequence[Wanted], market: Market, kinds: Kinds) -> list[Group]:
    """Vehicles with equal needs, day and scenarios to cover together, in the order of the first of each."""
    members: dict[tuple[int, date, int], list[int]] = {}
    for place, one in enumerate(wanted):
        members.setdefault((kinds.number(one, market), one.day, one.enough), []).append(place)
    return [Group(*kinds.makers[kind], day, enough, tuple(places)) for (kind, day, enough), places in members.items()]


def _content(one: Wanted) -> Any:
    """What an order reads of a vehicle's needs, so that equal ones are found."""
    circuits = tuple(
        (c.circuit, repr(c.nozzles), c.covers.tobytes(),
         tuple((s.codes, s.frees, s.joints, s.goes_with.tobytes(), tuple(s.labour_min.items())) for s in c.setups))
        for c in one.needs.circuits
    )  # fmt: skip
    return repr(one.needs.shared), circuits


def least_short(groups: Sequence[Group], market: Market) -> int:
    """Scenarios that all vehicles together must stay short of, counted for each as if the whole order were for it."""
    return sum(group.count * short for group, short in zip(groups, shortfalls(groups, market), strict=True))


def most_scenarios(wanted: Sequence[Wanted], market: Market, kinds: Kinds) -> list[int]:
    """Scenarios that each vehicle can cover, of those it has to, if the whole order were for it."""
    most = [0] * len(wanted)
    groups = groups_of(wanted, market, kinds)
    for group, short in zip(groups, shortfalls(groups, market), strict=True):
        for place in group.members:
            most[place] = group.enough - short
    return most


def shortfalls(groups: Sequence[Group], market: Market) -> list[int]:
    """Scenarios that each vehicle of a group would stay short of if the whole order were for it."""
    freed = {code for g in groups for c in g.maker.needs.circuits for setup in c.setups for code in setup.frees}
    found_short = []
    made: dict[Any, int] = {}
    for group in groups:

        def is_there(code: str, day: date = group.day) -> bool:
            brought = market.bringing.get(code, [])
            arrives = any(market.arrives(market.articles[place]) <= day for place, _ in brought)
            return arrives or code in freed or market.shelf.get(code, 0) > 0

        lacking = {code: LACKING for code in group.maker.greatest_takes if not is_there(code)}
        drills = {drill: LACKING for drill in group.maker.drills if not any(map(is_there, market.drills_of(drill[1])))}
        key = (id(group.maker), group.enough, frozenset(lacking), frozenset(drills))
        if key not in made:
            found = group.maker.best(Prices(lacking, {}, drills, 0.0), group.enough, 1.0)
            made[key] = round(found[0]) if found else group.enough
        found_short.append(made[key])
    return found_short


def unit_price(article: Article, most: int, low: float = 0.0, high: float = inf) -> float:
    """The least that one useful pack can cost, if no more than so many are of use, and no fewer than low and no more
    than high are bought."""
    counts = {max(1, int(low)), max(1, int(min(high, max(most, low))))}
    counts |= {tier.from_packs for tier in article.tiers if low <= tier.from_packs <= high}
    return min(article.cost(count) / min(count, max(most, low)) for count in counts)


def dearest_price(article: Article, low: float = 0.0, high: float = inf) -> float:
    """The most that one pack may cost, if no fewer than low and no more than high are bought."""
    last = [*(tier.from_packs - 1 for tier in article.tiers[1:]), inf]
    return float(max(tier.price for tier, most in zip(article.tiers, last, strict=True)
                     if tier.from_packs <= max(high, article.tiers[0].from_packs) and most >= low))  # fmt: skip


def most_packs(article: Article, most: Mapping[str, int]) -> int:
    """The most packs of an article that can be of use; most : what boxes can take, by code (a drill once)."""
    return max(-(-most.get(code, 1) // count) for code, count in article.brings.items())


def greatest_needs(groups: Sequence[Group]) -> dict[str, int]:
    """The most that all boxes together could take of each code."""
    most: dict[str, int] = {}
    for group in groups:
        for code, count in group.maker.greatest_takes.items():
            most[code] = most.get(code, 0) + count * group.count
    return most
