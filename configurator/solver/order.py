"""The cheapest order that makes every vehicle sure enough by its day, proven or with its bound.

Goals one after the other: what is asked for first (money, or sureness within a budget), then money, deliveries, labour,
packs, and the order of codes, so that the answer is one and the same on every machine.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from threading import Event, Thread
from typing import Any

from ortools.sat.python import cp_model

from configurator.solver.model import Unsettled
from configurator.solver.order_model import Market, OrderModel, Wanted
from configurator.stopping import heed, is_to_stop
from configurator.workshop.shelves import Article

EFFORT = 20.0
WORKERS = 2


@dataclass(frozen=True)
class Wish:
    """How to buy: most to spend in hundredths, suppliers at most, fewest deliveries before money, effort in seconds."""

    budget: int | None = None
    most_suppliers: int | None = None
    fewest_deliveries: bool = False
    effort: float = EFFORT


@dataclass(frozen=True)
class BoxPlan:
    """What one vehicle's box holds: places of setups and nozzles by circuit, of the shared pair, scenarios covered."""

    setups: dict[str, list[int]]
    nozzles: dict[str, list[int]]
    shared: int
    covered: list[bool]

    @property
    def sureness(self) -> float:
        return sum(self.covered) / len(self.covered)


@dataclass(frozen=True)
class Plan:
    """An order: packs of each article bought, what the boxes hold, money in hundredths; least is proven of the first
    goal where the proof was cut short."""

    bought: list[tuple[Article, int]]
    boxes: list[BoxPlan]
    cost: int
    delivery: dict[str, int]
    proven: bool
    least: int | None
    goal: str
    stopped: bool = False
    """Whether the user stopped the search."""


def plan_order(wanted: Sequence[Wanted], market: Market, wish: Wish) -> Plan | None:
    """The cheapest order that reaches every sureness (within a budget: the surest), or None if there is none."""
    built = OrderModel(wanted, market, most_suppliers=wish.most_suppliers)
    model = built.model
    short = _shortfalls(built)
    if wish.budget is None:
        for shortfall in short:
            model.add(shortfall == 0)
        goals = [("money", built.cost)]
    else:
        model.add(built.cost <= wish.budget)
        goals = [("scenarios short of what is wanted", sum(short)), ("money", built.cost)]
    if wish.fewest_deliveries:
        goals.insert(len(goals) - 1, ("deliveries", sum(built.used.values())))
    return _solved(built, [*goals, *_ties(built)], wish.effort)


def surest(wanted: Sequence[Wanted], market: Market, wish: Wish) -> Plan:
    """The order that comes nearest to every sureness whatever it costs; there always is one."""
    built = OrderModel(wanted, market, most_suppliers=wish.most_suppliers)
    plan = _solved(
        built, [("scenarios short of what is wanted", sum(_shortfalls(built))), ("money", built.cost)], wish.effort
    )
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
    counts = [count for tiers in built.packs for count in tiers]
    ranked = sum((place + 1) * count for place, count in enumerate(counts))
    return [
        ("deliveries", sum(built.used.values())),
        ("labour", built.labour),
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
        solver = cp_model.CpSolver()
        solver.parameters.random_seed = 1
        # Interleaved, the search is the same whatever the number of workers.
        solver.parameters.interleave_search = True
        solver.parameters.num_workers = WORKERS
        solver.parameters.linearization_level = 2
        solver.parameters.max_deterministic_time = effort if place < 2 else effort / 10
        status, stopped = _solve(solver, built.model)
        if status == cp_model.INFEASIBLE and plan is None:
            return None
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            if plan is None:
                raise Unsettled(effort)
            break
        if status == cp_model.FEASIBLE and proven and place < 2:
            proven, least, cut = False, int(-(-solver.best_objective_bound // 1)), name
        plan = _read(built, solver, proven, least, cut, stopped)
        if stopped:
            break
        built.model.add(goal <= solver.value(goal))
        built.model.clear_hints()  # type: ignore[no-untyped-call]
        for variable in (x for tiers in built.packs for x in tiers):
            built.model.add_hint(variable, solver.value(variable))
    return plan


def _solve(solver: cp_model.CpSolver, model: cp_model.CpModel) -> tuple[cp_model.CpSolverStatus, bool]:
    """Solve in a thread, so that Ctrl-C can stop the search and keep what it has found; also whether that was done.
    Raises Stopped if it was stopped from outside, when nobody waits for what it has found."""
    heed()
    solver.parameters.catch_sigint_signal = False
    found: list[cp_model.CpSolverStatus] = []
    done = Event()

    def work() -> None:
        try:
            found.append(solver.solve(model))
        finally:
            done.set()

    Thread(target=work, daemon=True).start()
    stopped = False
    while not done.is_set():
        try:
            done.wait(0.05)  # not join: interrupted, it takes a thread that runs for one that has ended
        except KeyboardInterrupt:
            stopped = True
            solver.stop_search()
        if is_to_stop():
            solver.stop_search()
    heed()
    return found[0], stopped


def _read(
    built: OrderModel, solver: cp_model.CpSolver, proven: bool, least: int | None, goal: str, stopped: bool
) -> Plan:
    value = solver.value
    bought = [
        (article, packs) for article, tiers in zip(built.market.articles, built.packs, strict=True)
        if (packs := sum(value(count) for count in tiers))
    ]  # fmt: skip
    boxes = [
        BoxPlan(
            {name: [i for i, x in enumerate(xs) if value(x)] for name, xs in box.setups.items()},
            {name: [i for i, x in enumerate(xs) if value(x)] for name, xs in box.nozzles.items()},
            next(i for i, x in enumerate(box.shared) if value(x)),
            [bool(value(x)) for x in box.covered],
        )
        for box in built.boxes
    ]
    delivery = {code: value(charge) for code, charge in built.delivery.items() if value(built.used[code])}
    return Plan(bought, boxes, value(built.cost), delivery, proven, least, goal, stopped)
