"""The order for many vehicles: the bound from whole boxes, an order near it, and for few the proof that it is best.

groups -> linear program over boxes (bound) -> whole boxes and packs (order) -> branching on packs (proof)
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import ceil, inf

import numpy as np
from ortools.sat.python import cp_model

from configurator.ordering.articles import Article
from configurator.ordering.boxes import Box
from configurator.ordering.columns import CLOSE, ColumnProgram
from configurator.ordering.goods import MONEY, Aim
from configurator.ordering.groups import Group, Kinds, groups_of, least_short, most_scenarios
from configurator.ordering.needs import VehicleNeeds
from configurator.ordering.plan import SHORT, BoxPlan, Plan, PurchaseWish, Wanted
from configurator.ordering.proof import proven_least
from configurator.ordering.purchase import Market, steady_solver
from configurator.ordering.rounding import BoxChoice, Counts, Rounded, whole_shares
from configurator.solver.solution import Unsettled
from configurator.solver.stop import solved_or_interrupted

FEW_GROUPS = 100
"""Up to so many groups nothing is settled before whole boxes are chosen."""
NEAR = 0.02
"""Prices of few groups are near enough within this share: what is proven is settled afterwards."""
QUICK_EFFORT = 0.1
"""Enough for an order that is the best or near it, before it is tried to prove that."""
TIES_EFFORT = 0.1
EFFORT_AFTER_STOP = 1.0
"""Who stops a search waits no longer than it takes to make an order of what there is."""
MOST_PROOFS = 4
LONGER_OR_FEWER = "allow more effort, or plan fewer vehicles at once"
NEXT_TO_NOTHING_SURER = 0.002
SHORT_PRICE = 1e6
"""Price in hundredths of a scenario short of what is wanted, where that counts before any money."""


def plan_order(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish, kinds: Kinds | None = None) -> Plan | None:
    """The cheapest order that reaches every sureness (within a budget: the surest), or None if there is none.
    kinds : of orders before, whose boxes may serve."""
    groups = groups_of(wanted, market, kinds or Kinds())
    aim = MONEY if wish.budget is None else Aim(short_price=wish.budget + 1.0, budget=wish.budget)
    best = _best(groups, market, aim, wish)
    return None if best is None else best.plan(wanted, groups, aim)


def surest(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish, kinds: Kinds | None = None) -> Plan:
    """The order that comes nearest to every sureness whatever it costs; there always is one."""
    kinds = kinds or Kinds()
    plan = _each_as_sure_as_alone(wanted, market, wish, kinds)
    if plan is not None:
        return plan
    groups = groups_of(wanted, market, kinds)
    aim = Aim(short_price=SHORT_PRICE)
    best = _best(groups, market, aim, wish)
    assert best is not None
    return best.plan(wanted, groups, aim)


def _each_as_sure_as_alone(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish, kinds: Kinds) -> Plan | None:
    """The cheapest order with which every vehicle is as sure as if the whole order were for it, so none is surer; None
    where they are in one another's way. Much sooner found than with a price on what stays short."""
    if wish.most_suppliers is not None or wish.fewest_deliveries or not market.articles:
        return None
    most = most_scenarios(wanted, market, kinds)
    asked = [replace(one, asked=scenarios) for one, scenarios in zip(wanted, most, strict=True)]
    try:
        plan = plan_order(asked, market, replace(wish, budget=None), kinds)
    except Unsettled as unsettled:
        if unsettled.stopped:  # who stops a search does not wait for another
            raise
        return None
    return None if plan is None else replace(plan, proven=True, least=None, goal=SHORT)


def _best(groups: Sequence[Group], market: Market, aim: Aim, wish: PurchaseWish) -> "_Found | None":
    """The best over all sets of suppliers that may be bought from, with what is proven over all of them; None if there
    is none. Raises Unsettled where none was found within the effort, though there may be one."""
    best: _Found | None = None
    bound, complete = inf, True
    for codes in _choices_of_suppliers(market, aim, wish):
        if best is not None and wish.fewest_deliveries and len(codes) > best.suppliers:
            break
        try:
            found = _found(groups, _restricted(market, codes), aim, wish, len(codes))
        except Unsettled as unsettled:
            if unsettled.stopped and best is None:
                raise
            complete = False
            continue
        if found is None:
            continue
        bound = min(bound, found.bound)
        if best is None or found.order < best.order:
            best = found
        if found.stopped:
            complete = False
            break
    if best is None:
        if not complete:
            raise Unsettled(wish.effort, LONGER_OR_FEWER)
        return None
    return replace(best, bound=bound, proven=complete and best.order <= _least(aim, bound))


def _least(aim: Aim, bound: float) -> tuple[int, int]:
    """What a bound proves: scenarios that must stay short, and money that is needed then. Of a budget nothing is said
    but what stays short."""
    if np.isinf(aim.short_price):
        return 0, _whole(bound)
    short = int(_whole(bound) // aim.short_price)
    return short, _whole(bound - short * aim.short_price) if aim.budget is None else aim.budget


def _whole(bound: float) -> int:
    """The least whole number that a bound leaves, a little slack given for sums of fractions."""
    return ceil(bound - 1e-6 - 1e-9 * abs(bound))


def _choices_of_suppliers(market: Market, aim: Aim, wish: PurchaseWish) -> Iterator[tuple[str, ...]]:
    """Sets of suppliers to buy from: all of them, or where few are wanted every set there may be, the small ones
    first. Where something may stay short, that comes before the number of deliveries."""
    codes = sorted({article.supplier for article in market.articles})
    few_first = wish.fewest_deliveries and np.isinf(aim.short_price)
    if wish.most_suppliers is None and not few_first:
        yield tuple(codes)
        return
    most = len(codes) if wish.most_suppliers is None else min(wish.most_suppliers, len(codes))
    for size in range(most + 1) if few_first else [most]:
        yield from combinations(codes, size)


def _restricted(market: Market, codes: Sequence[str]) -> Market:
    return replace(market, articles=[article for article in market.articles if article.supplier in codes])


@dataclass(frozen=True)
class _Found:
    articles: Sequence[Article]
    suppliers: int
    rounded: Rounded
    short: int
    bound: float
    stopped: bool
    proven: bool = False

    @property
    def order(self) -> tuple[int, int]:
        """What comes first, and what comes then: scenarios short, and money."""
        return self.short, self.rounded.cost

    def plan(self, wanted: Sequence[Wanted], groups: Sequence[Group], aim: Aim) -> Plan:
        """The plan for each vehicle, those of a group in their order."""
        boxes: list[BoxPlan | None] = [None] * len(wanted)
        made: dict[tuple[int, Box], BoxPlan] = {}
        for group, counts in zip(groups, self.rounded.counts, strict=True):
            each = [box for box, number in counts.items() for _ in range(number)]
            for member, box in zip(group.members, each, strict=True):
                needs = wanted[member].needs
                key = (id(needs.circuits), box)
                made[key] = boxes[member] = made.get(key) or _box_plan(needs, box)
        short = bool(np.isfinite(aim.short_price))
        return Plan(
            [(article, packs) for article, packs in zip(self.articles, self.rounded.packs, strict=True) if packs],
            [box for box in boxes if box is not None], self.rounded.cost, self.rounded.delivery, self.proven,
            None if self.proven else _least(aim, self.bound)[0 if short else 1], SHORT if short else "money",
            self.stopped,
        )  # fmt: skip


def _box_plan(needs: VehicleNeeds, box: Box) -> BoxPlan:
    """What a box holds, with the setups that it is worth having: those that add next to nothing are not told."""
    names = [circuit.circuit for circuit in needs.circuits]
    nozzles = {name: list(own) for name, own in zip(names, box.nozzles, strict=True)}
    setups = {name: list(own) for name, own in zip(names, box.setups, strict=True)}
    told = BoxPlan.of(needs, setups, nozzles, box.shared)
    least = told.sureness - NEXT_TO_NOTHING_SURER
    for name, own in setups.items():
        for place in reversed(own):
            others = [one for one in told.setups[name] if one != place]
            fewer = BoxPlan.of(needs, {**told.setups, name: others}, nozzles, box.shared)
            if others and fewer.covered == told.covered and fewer.sureness >= least:
                told = fewer
    return told


def _found(groups: Sequence[Group], market: Market, aim: Aim, wish: PurchaseWish, suppliers: int) -> _Found | None:
    """The best order found for an aim, with its bound; None if there is none. Raises Unsettled where none was found."""
    if np.isinf(aim.short_price) and least_short(groups, market):
        return None
    program = ColumnProgram(groups, market, aim)
    few = len(groups) <= FEW_GROUPS
    relaxed = program.relaxed(close=NEAR if few else CLOSE)
    if relaxed.lacking and not relaxed.stopped:
        relaxed = program.insisting().relaxed(close=0.0)  # it may only have been dear
        if relaxed.lacking and not relaxed.stopped:
            return None
    if relaxed.lacking:
        raise Unsettled(wish.effort, LONGER_OR_FEWER, stopped=True)
    bound = relaxed.bound
    if np.isfinite(aim.short_price) and aim.budget is None:
        bound = max(bound, aim.short_price * least_short(groups, market))
    goals = ["money"] if np.isinf(aim.short_price) else ["short", "money"]
    if wish.fewest_deliveries and goals[0] == "short":
        goals.insert(1, "deliveries")
    search = _Search(program, relaxed.shares, relaxed.stopped)
    bound = search.least(goals, bound, wish.effort)
    if search.best is None:
        raise Unsettled(wish.effort, LONGER_OR_FEWER, stopped=search.stopped)
    return _Found(market.articles, suppliers, search.best, search.short, bound, search.stopped)


class _Search:
    """Whole boxes and whole packs, better and better; `best` is the last that was found."""

    def __init__(self, program: ColumnProgram, shares: Sequence[Mapping[Box, float]], stopped: bool) -> None:
        self.program, self.shares, self.stopped = program, shares, stopped
        self.best: Rounded | None = None
        self.short = 0
        self.few = len(program.groups) <= FEW_GROUPS

    @property
    def value(self) -> float:
        """What the best comes to for the program."""
        assert self.best is not None
        return self.best.cost + (self.program.aim.short_price * self.short if self.short else 0.0)

    def least(self, goals: Sequence[str], bound: float, effort: float) -> float:
        """The best by some goals, one after the other; few groups are proven to have it if they can. Returns what is
        proven."""
        most = self.program.aim.budget
        quick = min(effort, QUICK_EFFORT) if self.few else effort
        self._choose(goals, quick, most)
        if not self.few:
            if self.best is None and not self.stopped:
                self._choose(goals, quick, most, keep=False)
            return bound
        for _ in range(MOST_PROOFS):
            if self.stopped or self.best is None or self.value <= _whole(bound):
                break
            try:
                bound, cheaper = proven_least(self.program, bound, round(self.value), effort)
            except KeyboardInterrupt:
                self.stopped = True
                break
            if not cheaper or not self._choose(goals, quick, most):
                break
        if not self.stopped and (self.best is None or self.value > _whole(bound)):
            self._choose(goals, effort, most)
        if not self.stopped and self.best is not None and goals == ["money"]:
            self._choose(["deliveries", "labour"], TIES_EFFORT, most=self.best.cost)
        return bound

    def _choose(self, goals: Sequence[str], effort: float, most: int | None, *, keep: bool = True) -> bool:
        """Goals made least one after the other, at no more than so much money; whether that found anything better.
        keep : whether groups that the program settled keep their boxes, where there are many."""
        kept: Counts = whole_shares(self.shares) if keep and not self.few else [{} for _ in self.program.groups]
        choice = BoxChoice(self.program, kept)
        purchase = choice.purchase
        by_name = {"money": purchase.cost, "short": choice.short, "labour": purchase.labour,
                   "deliveries": sum(purchase.used.values())}  # fmt: skip
        if most is not None:
            purchase.model.add(purchase.cost <= most)
        found = None
        choice.hint(self.shares if self.best is None else self.best.counts)
        for name in goals:
            purchase.model.minimize(by_name[name])
            solver = steady_solver(min(effort, EFFORT_AFTER_STOP) if self.stopped else effort)
            status, stopped = solved_or_interrupted(solver, purchase.model)
            self.stopped |= stopped
            if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
                break
            found = choice.read(solver), solver.value(choice.short)
            if stopped:
                break
            purchase.model.add(by_name[name] <= solver.value(by_name[name]))
            choice.hint(found[0].counts)
        if found is None or (self.best is not None and (found[1], found[0].cost) > (self.short, self.best.cost)):
            return False
        better = self.best is None or (found[1], found[0].cost) < (self.short, self.best.cost)
        self.best, self.short = found
        return better
