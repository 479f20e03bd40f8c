"""The proof that no order is cheaper, by branching on how many packs of an article are bought.

What is cheap in parts of a pack is dear in whole ones: kits, quantity breaks, drills. So the linear program is solved
again with an article held at or below a number of packs, and above it; its prices by quantity follow. The boxes that
make the program's columns do not change with that (the idea is that of Barnhart et al., "Branch-and-price", Operations
Research 46, 1998, from memory). Where all packs are whole and a vehicle still has parts of two boxes, it is to have one
of the parts by which they differ, or to lack it.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import reduce
from heapq import heappop, heappush
from math import ceil, floor, gcd, inf, isfinite
from typing import TypeAlias

from ortools.math_opt.python import mathopt

from configurator.ordering.articles import Article
from configurator.ordering.columns import ColumnProgram
from configurator.ordering.groups import dearest_price, most_packs, unit_price

WORK_OF_ONE = 75.0
"""Branches times groups of vehicles, for each second of effort: a branch of many groups takes longer, and so does one
of many articles."""
ARTICLES_OF_ONE = 300
LEAST_BRANCHES = 10
NEARLY = 1e-5
Range = tuple[float, float]
ANY = (0.0, inf)
BoxPart: TypeAlias = tuple[int, str]
"""Whether the box of a group of one has a code."""
Held = Mapping[mathopt.Variable | BoxPart, Range]
"""Packs of an article, or a delivery, kept within a range, or a part of a box."""


@dataclass(frozen=True)
class _Branch:
    """A part of all orders: what the program's variables come to in it, and what is held."""

    values: Mapping[mathopt.Variable, float]
    held: Held


def proven_least(program: ColumnProgram, bound: float, cost: int, effort: float) -> tuple[float, bool]:
    """What is proven to be the least cost in hundredths, with what is short at its price, no more than that of an order
    that was found; and whether a cheaper one may be among the columns. The program is left as it was but for columns.
    """
    step = _step(program)
    size = len(program.groups) * max(1.0, len(program.market.articles) / ARTICLES_OF_ONE)
    branches: list[tuple[float, int, _Branch]] = []  # what is proven of each, and its number, first
    made = 0
    now: Held = {}

    def look_at(held: Held) -> None:
        nonlocal made, now
        _hold(program, held, now)
        now = held
        value, values = program.settled()
        value = max(value, bound)
        if _whole(value, step) < cost:
            heappush(branches, (value, made, _Branch(values, held)))
        made += 1

    look_at({})
    cheaper = False
    while branches and made < max(LEAST_BRANCHES, WORK_OF_ONE * effort / size):
        branch = branches[0][-1]
        where = _undecided(program, branch)
        if where is None:
            cheaper = True
            break
        heappop(branches)
        variable, at = where
        low, high = branch.held.get(variable, ANY if isinstance(variable, mathopt.Variable) else (0.0, 1.0))
        for part in ((low, float(at)), (float(at + 1), high)):
            look_at({**branch.held, variable: part})
    _hold(program, {}, now)
    least = min((_whole(value, step) for value, _, _ in branches), default=cost)
    return float(min(least, cost)), cheaper


def _whole(value: float, step: int) -> int:
    """The least that whole prices can come to."""
    return step * ceil((value - NEARLY) / step) if value < inf else 2**62


def _step(program: ColumnProgram) -> int:
    """What every cost is a multiple of, in hundredths; goods of no use count, as they may make up a sum."""
    if program.market.may_be_filled_up or program.market.labour_per_hour:
        return 1
    prices = {tier.price for article in program.market.articles for tier in article.tiers}
    prices |= {round(100 * supplier.delivery_charge) for supplier in program.market.suppliers.values()}
    if isfinite(program.aim.short_price):
        prices.add(round(program.aim.short_price))
    for group in program.groups:
        needs = group.maker.needs
        prices |= {option.price for circuit in needs.circuits for option in circuit.nozzles if option.work == "redrill"}
        prices |= {relief.price for _, relief in needs.shared}
    return reduce(gcd, sorted(prices), 0) or 1


def _hold(program: ColumnProgram, held: Held, before: Held) -> None:
    """Keep packs and deliveries within ranges, packs at the least that they can cost there. before : what is held."""
    places = {packs: place for place, packs in program.bought.items()}
    parts = {**before, **held}
    for number in {part[0] for part in parts if isinstance(part, tuple)}:
        own = {part[1]: at for part, at in held.items() if isinstance(part, tuple) and part[0] == number}
        has = frozenset(code for code, (low, _) in own.items() if low > 0)
        program.hold_box(number, has, frozenset(own) - has)
    for variable in parts:
        if isinstance(variable, tuple):
            continue
        low, high = held.get(variable, ANY)
        variable.lower_bound, variable.upper_bound = low, high
        if variable in places:
            place = places[variable]
            article = program.market.articles[place]
            useful = most_packs(article, program.most)
            program.charge(variable, unit_price(article, useful, low, high))
            for row in program.sums[article.supplier]:
                row.set_coefficient(variable, dearest_price(article, low, high))
            used, _ = program.deliveries[article.supplier]
            program.links[place].set_coefficient(used, max(float(useful), low))


def _undecided(program: ColumnProgram, branch: _Branch) -> tuple[mathopt.Variable | BoxPart, int] | None:
    """What is bought in part, or at too low a price, with the number to part at: that with most money at stake. Where
    there is none, a code of which a vehicle has a part."""
    best, found = NEARLY, None
    for variable, article, stake in _stakes(program, branch):
        if stake > best:
            best, found = stake, (variable, _cut(article, branch.values.get(variable, 0.0)))
    return found or next(((part, 0) for part in _parted(program, branch)), None)


def _parted(program: ColumnProgram, branch: _Branch) -> Iterator[BoxPart]:
    """Codes that vehicles which are alone in their group have in part."""
    for number, group in enumerate(program.groups):
        had: dict[str, float] = defaultdict(float)
        for box, share in program.shares[number].items() if group.count == 1 else ():
            for code in box.takes:
                had[code] += branch.values.get(share, 0.0)
        yield from ((number, code) for code, part in sorted(had.items())
                    if NEARLY < part < 1.0 - NEARLY and group.maker.greatest_takes[code] == 1
                    and (number, code) not in branch.held)  # fmt: skip


def _stakes(program: ColumnProgram, branch: _Branch) -> Iterator[tuple[mathopt.Variable, Article | None, float]]:
    """Packs and deliveries, with the money by which the program may have them too cheap."""
    for place, packs in sorted(program.bought.items()):
        value = branch.values.get(packs, 0.0)
        if not value:
            continue
        article = program.market.articles[place]
        part = abs(value - round(value))
        if part > NEARLY:
            yield packs, article, part * article.cost(1)
        else:
            low, high = branch.held.get(packs, ANY)
            charged = unit_price(article, most_packs(article, program.most), low, high) * round(value)
            yield packs, article, article.cost(round(value)) - charged
    for packs, article in program.fill:
        value = branch.values.get(packs, 0.0)
        yield packs, None, abs(value - round(value)) * article.cost(1)
    for code, used_and_paid in sorted(program.deliveries.items()):
        supplier = program.market.suppliers[code]
        for variable in used_and_paid:
            value = branch.values.get(variable, 0.0)
            part = abs(value - round(value))
            yield variable, None, 100 * part * (supplier.delivery_charge + supplier.minimum_order)


def _cut(article: Article | None, value: float) -> int:
    """The number to part at: below it, or just below the quantity that a lower price wants."""
    if article is None or abs(value - round(value)) > NEARLY:
        return floor(value)
    return next((tier.from_packs - 1 for tier in article.tiers if tier.from_packs > round(value)), round(value))
