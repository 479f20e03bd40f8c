"""The proof that no order is cheaper, by branching on how many packs of an article are bought.

What is cheap in parts of a pack is dear in whole ones: kits, quantity breaks, drills. So the linear program is solved
again with an article held at or below a number of packs, and above it; its prices by quantity follow. The boxes that
make the program's columns do not change with that (the idea is that of Barnhart et al., "Branch-and-price", Operations
Research 46, 1998, from memory).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import reduce
from heapq import heappop, heappush
from math import ceil, floor, gcd, inf

from ortools.math_opt.python import mathopt

from configurator.ordering.articles import Article
from configurator.ordering.columns import ColumnProgram
from configurator.ordering.groups import most_packs, unit_price

MOST_WORK = 1500
"""Branches times groups of vehicles: a branch of many groups takes longer."""
NEARLY = 1e-5
Range = tuple[float, float]
ANY = (0.0, inf)
Held = Mapping[mathopt.Variable, Range]
"""Packs of an article, or a delivery, kept within a range."""


@dataclass(frozen=True)
class _Branch:
    """A part of all orders: what the program's variables come to in it, and what is held."""

    values: Mapping[mathopt.Variable, float]
    held: Held


def proven_least(program: ColumnProgram, bound: float, cost: int) -> tuple[float, bool]:
    """What is proven to be the least cost in hundredths, no more than that of an order that was found, and whether a
    cheaper one may be among the columns. The program is left as it was but for columns."""
    step = _step(program)
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
    while branches and made < max(10, MOST_WORK // len(program.groups)):
        branch = branches[0][-1]
        where = _undecided(program, branch)
        if where is None:
            cheaper = True
            break
        heappop(branches)
        variable, at = where
        low, high = branch.held.get(variable, ANY)
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
    if program.market.may_be_filled_up:
        return 1
    prices = {tier.price for article in program.market.articles for tier in article.tiers}
    prices |= {round(100 * supplier.delivery_charge) for supplier in program.market.suppliers.values()}
    for group in program.groups:
        needs = group.maker.needs
        prices |= {option.price for circuit in needs.circuits for option in circuit.nozzles if option.work == "redrill"}
        prices |= {relief.price for _, relief in needs.shared}
    return reduce(gcd, sorted(prices), 0) or 1


def _hold(program: ColumnProgram, held: Held, before: Held) -> None:
    """Keep packs and deliveries within ranges, packs at the least that they can cost there. before : what is held."""
    places = {packs: place for place, packs in program.bought.items()}
    for variable in {**before, **held}:
        low, high = held.get(variable, ANY)
        variable.lower_bound, variable.upper_bound = low, high
        if variable in places:
            place = places[variable]
            article = program.market.articles[place]
            useful = most_packs(article, program.most)
            program.charge(variable, unit_price(article, useful, low, high))
            used, _ = program.deliveries[article.supplier]
            program.links[place].set_coefficient(used, max(float(useful), low))


def _undecided(program: ColumnProgram, branch: _Branch) -> tuple[mathopt.Variable, int] | None:
    """What is bought in part, or at too low a price, with the number to part at: that with most money at stake."""
    best, found = NEARLY, None
    for variable, article, stake in _stakes(program, branch):
        if stake > best:
            best, found = stake, (variable, _cut(article, branch.values.get(variable, 0.0)))
    return found


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
