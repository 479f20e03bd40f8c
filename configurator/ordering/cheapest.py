"""The cheapest order that makes every vehicle sure enough by its day, proven or with its bound.

Goals one after the other: what is asked for first (money, or sureness within a budget), then money, deliveries, labour,
packs, and the order of codes, so that the answer is one and the same on every machine.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from ortools.sat.python import cp_model

from configurator.ordering.many import LONGER_OR_FEWER, plan_many, surest_of_many
from configurator.ordering.model import OrderModel, Wanted
from configurator.ordering.plan import SHORT, BoxPlan, Plan, PurchaseWish
from configurator.ordering.purchase import Market, steady_solver
from configurator.solver.solution import Unsettled
from configurator.solver.stop import solved_or_interrupted

FEW_VEHICLES = 5
"""Up to so many vehicles one model of every choice settles what whole boxes (`order_many`) leave unproven."""


def plan_order(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish) -> Plan | None:
    """The cheapest order that reaches every sureness (within a budget: the surest), or None if there is none. Raises
    Unsettled where none was found within the effort."""
    few = len(wanted) <= FEW_VEHICLES
    if few and wish.budget is not None:
        return _within(market, plan_whole(wanted, market, wish), 0)
    try:
        plan = plan_many(wanted, market, wish)
    except Unsettled:
        if not few:
            raise
        return _within(market, plan_whole(wanted, market, wish), 0)
    if not few or plan is None or plan.proven or plan.stopped:
        return plan
    try:
        return _within(market, plan_whole(wanted, market, wish, most=plan.cost), plan.least) or plan
    except Unsettled:
        return plan


def _within(market: Market, plan: Plan | None, least: int | None) -> Plan | None:
    """A plan of the whole model, which proves nothing of goods that the market leaves out; least : what is proven of
    those, too."""
    if plan is None or not market.may_be_filled_up:
        return plan
    return replace(plan, proven=False, least=least if plan.least is None else min(plan.least, least or 0))


def plan_whole(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish, most: int | None = None) -> Plan | None:
    """The same by one model of every choice at once, for a handful of vehicles. most : money that is known to do."""
    built = OrderModel(wanted, market, most_suppliers=wish.most_suppliers)
    model = built.model
    short = _shortfalls(built)
    if wish.budget is None:
        for shortfall in short:
            model.add(shortfall == 0)
        goals = [("money", built.purchase.cost)]
        if most is not None:
            model.add(built.purchase.cost <= most)
    else:
        model.add(built.purchase.cost <= wish.budget)
        goals = [(SHORT, sum(short)), ("money", built.purchase.cost)]
    if wish.fewest_deliveries:
        goals.insert(len(goals) - 1, ("deliveries", sum(built.purchase.used.values())))
    return _solved(built, [*goals, *_ties(built)], wish.effort)


def surest(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish) -> Plan:
    """The order that comes nearest to every sureness whatever it costs; there always is one."""
    if len(wanted) > FEW_VEHICLES:
        return surest_of_many(wanted, market, wish)
    return surest_whole(wanted, market, wish)


def surest_whole(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish) -> Plan:
    """The same by one model of every choice at once."""
    built = OrderModel(wanted, market, most_suppliers=wish.most_suppliers)
    plan = _solved(
        built, [(SHORT, sum(_shortfalls(built))), ("money", built.purchase.cost)],
        wish.effort,
    )  # fmt: skip
    assert plan is not None
    return plan


def _shortfalls(built: OrderModel) -> list[cp_model.IntVar]:
    """Scenarios by which each vehicle falls short of what is wanted."""
    short = []
    for box in built.boxes:
        missing = built.model.new_int_var(0, box.wanted.enough, "")
        built.model.add(missing >= box.wanted.enough - sum(box.covered))
        short.append(missing)
    return short


def _ties(built: OrderModel) -> list[tuple[str, Any]]:
    """Goals that settle ties: deliveries, labour, packs, and the order of codes."""
    counts = [count for tiers in built.purchase.packs for count in tiers]
    ranked = sum((place + 1) * count for place, count in enumerate(counts))
    return [
        ("deliveries", sum(built.purchase.used.values())),
        ("labour", built.purchase.labour),
        ("packs", sum(counts)),
        ("codes", ranked),
    ]


def _solved(built: OrderModel, goals: Iterable[tuple[str, Any]], effort: float) -> Plan | None:
    """Goals made least one after the other. The first two are proven, or the plan says what is; later ones get a tenth
    of the effort each and stay as they are found, which is the same everywhere: effort is counted, not timed."""
    plan: Plan | None = None
    proven, least, cut = True, None, ""
    for place, (name, goal) in enumerate(goals):
        built.model.minimize(goal)
        solver = steady_solver(effort if place < 2 else effort / 10)
        status, stopped = solved_or_interrupted(solver, built.model)
        if status == cp_model.INFEASIBLE and plan is None:
            return None
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            if plan is None:
                raise Unsettled(effort, LONGER_OR_FEWER)
            break
        if status == cp_model.FEASIBLE and proven and place < 2:
            proven, least, cut = False, int(-(-solver.best_objective_bound // 1)), name
        plan = _read(built, solver, proven, least, cut, stopped)
        if stopped:
            break
        built.model.add(goal <= solver.value(goal))
        built.model.clear_hints()  # type: ignore[no-untyped-call]
        for variable in (x for tiers in built.purchase.packs for x in tiers):
            built.model.add_hint(variable, solver.value(variable))
    return plan


def _read(
    built: OrderModel, solver: cp_model.CpSolver, proven: bool, least: int | None, goal: str, stopped: bool
) -> Plan:
    value = solver.value
    packs, delivery, cost = built.purchase.read(solver)
    bought = [(article, count) for article, count in zip(built.purchase.market.articles, packs, strict=True) if count]
    boxes = [
        BoxPlan.of(
            box.wanted.needs,
            {name: [i for i, x in enumerate(xs) if value(x)] for name, xs in box.setups.items()},
            {name: [i for i, x in enumerate(xs) if value(x)] for name, xs in box.nozzles.items()},
            next(i for i, x in enumerate(box.shared) if value(x)),
        )
        for box in built.boxes
    ]
    return Plan(bought, boxes, cost, delivery, proven, least, goal, stopped)
