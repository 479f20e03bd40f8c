"""From a workshop file to the answer: plan, sureness before and after, sureness against money, ways out."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from configurator.advice.part_that_would_do import parts_that_would_do
from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import between_felt
from configurator.catalogue.settings import price_text
from configurator.judging.table import LEAST_SURE, most_together
from configurator.judging.unmeasured import measure_pad
from configurator.learning.as_known import Known
from configurator.ordering.boxes import openings
from configurator.ordering.cheapest import surest
from configurator.ordering.groups import Kinds, most_scenarios
from configurator.ordering.needs import diameter_mm
from configurator.ordering.plan import BoxPlan, Plan, PurchaseWish, Wanted
from configurator.ordering.purchase import Market
from configurator.ordering.report import (
    CurvePoint,
    Failing,
    LineFor,
    OrderLine,
    OrderReport,
    SupplierTotal,
    VehicleLeftAlone,
    VehicleSureness,
    WayOut,
)
from configurator.ordering.spare import filled_for, spare_packs
from configurator.ordering.sure_enough import NOT_SHORT, is_sure, plan_sure
from configurator.ordering.unknown_cars import MOST_FOR_RANGE, not_known_of
from configurator.slots.options import Option
from configurator.solver.solution import Unsettled

CURVE_POINTS = 6
CURVE_EFFORT = 0.5
MOST_WITH_PARTS = 3
"""Vehicles of which it is told what a part would have to be like, if it cannot be sure enough: each takes seconds."""
MOST_FOR_CURVE = 12
"""Vehicles up to which it is worked out what money buys: every sum is an order of its own."""
NOTES = (
    "A nozzle that was tried is not counted on for another car: one of them stays in.",
    "Redrilled sizes are tried from small to large on the one nozzle; a drill serves every car.",
    "Engines are counted by 24 sorts. How sure a box is told to be is worked out over all engines, and good to 2 "
    "points.",
    "Gaskets are for the changes to be expected: half the nozzles in the box and one more.",
)


@dataclass(frozen=True)
class LeftAlone:
    """A vehicle that nothing is bought for, the day it runs, and why."""

    name: str
    day: date
    says: str


@dataclass(frozen=True)
class OrderJob:
    """An order to be planned: its name, the vehicles, the market, the wish, what is known of each vehicle by its name,
    and the vehicles that nothing is bought for."""

    name: str
    wanted: Sequence[Wanted]
    market: Market
    wish: PurchaseWish
    known: Mapping[str, Known]
    left_alone: Sequence[LeftAlone] = ()
    currency: str = ""
    deeper: Mapping[str, Mapping[str, frozenset[str]]] = field(default_factory=dict)
    """By vehicle and circuit, codes of pumps that come closer to a pad which nobody measured."""
    kinds: Kinds = field(default_factory=Kinds)
    """Boxes made for one plan serve the next."""


def answer(job: OrderJob, *, curve: bool = True, progress: Callable[[str], None] = lambda text: None) -> OrderReport:
    """The whole answer; progress is told in words what is being worked out."""
    progress("planning the order")
    plan = plan_sure(job.wanted, job.market, job.wish, job.kinds)
    before = None
    if not plan.stopped:  # who stops a long search does not wait for another
        before = surest(job.wanted, replace(job.market, articles=()), PurchaseWish(effort=job.wish.effort), job.kinds)
        if before.cost == plan.cost == 0:  # of what is there the boxes may as well hold all that helps
            plan = replace(before, proven=plan.proven, least=plan.least, goal=plan.goal)
    met = _is_met(job.wanted, plan)
    failing = [] if met or plan.stopped else _failing(job, plan)
    curve = curve and not plan.stopped and plan.cost > 0 and 0 < len(job.wanted) <= MOST_FOR_CURVE
    return OrderReport(
        name=job.name, ok=met, proven=plan.proven, bound=_bound(plan, job.currency),
        lines=_lines(job, plan), suppliers=_suppliers(job, plan), work=_money(_work(plan)),
        labour_per_hour=_money(job.market.labour_per_hour),
        total=_money(plan.cost), currency=job.currency, vehicles=_vehicles(job, plan, before),
        left_alone=[
            VehicleLeftAlone(
                vehicle=one.name, day=one.day.isoformat(), **{**_behind(job, one.name), "says": one.says}
            )
            for one in job.left_alone
        ],
        curve=_curve(job, plan, progress) if curve else [], failing=failing,
        ways_out=[] if met or plan.stopped else _ways_out(job, plan, failing, progress), notes=_notes(job),
    )  # fmt: skip


def _planned(job: OrderJob, wanted: Sequence[Wanted], wish: PurchaseWish) -> Plan | None:
    """A plan that goes with an answer; where none is found within the effort, the answer does without."""
    try:
        return plan_sure(wanted, job.market, wish, job.kinds)
    except Unsettled:
        return None


def _money(hundredths: int) -> float:
    return hundredths / 100


def _goods(plan: Plan) -> int:
    return sum(article.cost(packs) for article, packs in plan.bought)


def _work(plan: Plan) -> int:
    return plan.cost - _goods(plan) - sum(plan.delivery.values())


def _is_met(wanted: Sequence[Wanted], plan: Plan) -> bool:
    return all(map(is_sure, wanted, plan.boxes))


def _bound(plan: Plan, currency: str) -> str | None:
    if plan.proven or plan.least is None:
        return None
    if plan.goal == "money":
        least, cost = (price_text(_money(amount), currency) for amount in (plan.least, plan.cost))
        return f"at least {least} is proven to be needed, {cost} found"
    return f"over all vehicles at least {plan.least} steps of sureness are proven to be out of reach"


def _lines(job: OrderJob, plan: Plan) -> list[OrderLine]:
    uses = _uses(job, plan)
    lines = []
    for (article, packs), spare in zip(plan.bought, spare_packs(job.wanted, job.market, job.kinds, plan), strict=True):
        total = article.cost(packs)
        wanted_for = list(dict.fromkeys(use for code in article.brings for use in uses.get(code, [])))
        lines.append(
            OrderLine(
                supplier=article.supplier,
                code=article.code,
                part=article.part,
                quantity=packs,
                brings={code: count * packs for code, count in article.brings.items()},
                price=round(total / packs / 100, 2),
                total=_money(total),
                delivery_day=job.market.arrives(article).isoformat(),
                wanted_for=[LineFor(vehicle=v, circuit=c, lets_try=what) for v, c, what in wanted_for]
                if spare < packs
                else [],
                spare=spare,
            )
        )
    return sorted(lines, key=lambda line: (line.supplier, line.code))


def _uses(job: OrderJob, plan: Plan) -> dict[str, list[tuple[str, str | None, str]]]:
    """What each code is for: (vehicle, circuit, what it lets you try)."""
    uses: dict[str, list[tuple[str, str | None, str]]] = {}
    for one, box in zip(job.wanted, plan.boxes, strict=True):
        name = one.needs.name
        for circuit in one.needs.circuits:
            for place in box.setups[circuit.circuit]:
                for code in circuit.setups[place].codes:
                    uses.setdefault(code, []).append((name, circuit.circuit, circuit.setups[place].label))
            for place in box.nozzles[circuit.circuit]:
                option = circuit.nozzles[place]
                codes = [option.code] if option.work == "fit" and option.code else []
                if option.work == "redrill":
                    codes = job.market.drills_for(option)
                for code in codes:
                    uses.setdefault(code, []).append((name, circuit.circuit, option.label))
        spacer, _ = one.needs.shared[box.shared]
        if spacer.work == "fit" and spacer.code:
            uses.setdefault(spacer.code, []).append((name, None, f"{spacer.label} under the carburettor"))
        named = [circuit.circuit for circuit in one.needs.circuits]
        opened = openings(one.needs, [box.setups[n] for n in named], [box.nozzles[n] for n in named], box.shared)
        for part in job.market.consumables:
            if part.joint in opened:
                uses.setdefault(part.code, []).append((name, None, f"new gaskets, {part.joint.replace('_', ' ')}"))
    return uses


def _suppliers(job: OrderJob, plan: Plan) -> list[SupplierTotal]:
    totals = []
    spare = spare_packs(job.wanted, job.market, job.kinds, plan)
    bought = [(article, packs, left) for (article, packs), left in zip(plan.bought, spare, strict=True)]
    for code in sorted({article.supplier for article, _ in plan.bought}):
        goods = sum(article.cost(packs) for article, packs in plan.bought if article.supplier == code)
        charge = plan.delivery.get(code, 0)
        day = max(job.market.arrives(article) for article, _ in plan.bought if article.supplier == code)
        totals.append(
            SupplierTotal(
                supplier=code,
                goods=_money(goods),
                delivery=_money(charge),
                total=_money(goods + charge),
                delivery_day=day.isoformat(),
                fill=filled_for(job.market, code, bought, job.currency),
            )
        )
    return totals


def _vehicles(job: OrderJob, plan: Plan, before: Plan | None) -> list[VehicleSureness]:
    rows, over = [], not_known_of(job.known, _bought_for(job, plan))
    sureness = [None] * len(plan.boxes) if before is None else [round(box.sureness, 4) for box in before.boxes]
    for one, box, old in zip(job.wanted, plan.boxes, sureness, strict=True):
        spacer, relief = one.needs.shared[box.shared]
        rows.append(
            VehicleSureness(
                vehicle=one.needs.name, day=one.day.isoformat(), wanted=one.sureness, before=old,
                after=round(box.sureness, 4), enough=is_sure(one, box), **_behind(job, one.needs.name),
                setups={c.circuit: [c.setups[i].label for i in box.setups[c.circuit]] for c in one.needs.circuits},
                nozzles={c.circuit: _labels(c.nozzles[i] for i in box.nozzles[c.circuit]) for c in one.needs.circuits},
                first=_first(job, one, box), stack=[_told(option) for option in (spacer, relief) if option.changed],
                not_known=over.get(one.needs.name, []),
            )
        )  # fmt: skip
    return rows


def _bought_for(job: OrderJob, plan: Plan) -> list[str]:
    """Names of the vehicles that something is bought for, in their order."""
    uses, bought = _uses(job, plan), {code for article, _ in plan.bought for code in article.brings}
    named = {vehicle for code in bought for vehicle, _, _ in uses.get(code, [])}
    return [one.needs.name for one in job.wanted if one.needs.name in named]


def _first(job: OrderJob, one: Wanted, box: BoxPlan) -> list[str]:
    """What to look at before a box is ordered, and what to measure before its pumps are."""
    deeper, known = job.deeper.get(one.needs.name, {}), job.known.get(one.needs.name)
    doubted = [*known.came_back, *_between(known)] if known else []
    return doubted + [
        measure_pad(circuit.circuit) for circuit in one.needs.circuits
        if any(deeper.get(circuit.circuit, frozenset()) & {*circuit.setups[place].codes}
               for place in box.setups[circuit.circuit])
    ]  # fmt: skip


GUESS = "no run yet: this is the model's guess alone"


def _between(known: Known) -> list[str]:
    """The size between one that stumbled and one that smoked, which is tried before anything else is bought."""
    report = between_felt(known, ProposalRequest())
    if report is None or not report.changes:
        return []
    change = report.changes[0]
    return [f"first try {change.slot} {change.to}, {change.because[0]}; where it is not at hand, that is what to buy"]


def _behind(job: OrderJob, name: str) -> dict[str, Any]:
    """The runs behind what is told of a vehicle, and that in words."""
    known = job.known.get(name)
    if known is None or known.belief is None:
        return {"runs": 0, "says": GUESS}
    clean = known.went_clean
    says = f"run {clean.number} pulled cleanly: its parts go back in" if clean else known.says
    return {"runs": known.belief.runs, "says": says}


def _labels(nozzles: Iterable[Option]) -> list[str]:
    return [_told(option) for option in sorted(nozzles, key=diameter_mm)]


def _told(option: Option) -> str:
    return f"{option.label}{'; cannot be undone' if option.permanent else ''}"


def _curve(job: OrderJob, plan: Plan, progress: Callable[[str], None]) -> list[CurvePoint]:
    """The most sureness for amounts up to half as much again as the order costs; more money never buys less."""
    points: list[CurvePoint] = []
    met = _is_met(job.wanted, plan)  # no more sureness is counted than is wanted, so nothing is surer
    settled = met or (plan.proven and job.wish.budget is None)
    for step in range(CURVE_POINTS + 1):
        budget = round(1.5 * plan.cost * step / CURVE_POINTS)
        progress(f"sureness for {price_text(budget / 100, job.currency)}")
        found: Plan | None = plan  # where it meets all, or is the surest there is, more money buys no other
        if not settled or budget < plan.cost:
            found = _planned(job, job.wanted, replace(job.wish, budget=budget, effort=CURVE_EFFORT))
        if found is not None:
            point = _point(job, budget, replace(found, proven=found.proven or (met and found is plan)))
            if points and point.sureness < points[-1].sureness:
                point = points[-1].model_copy(update={"budget": point.budget, "proven": False})
            points.append(point)
    return points


def _point(job: OrderJob, budget: int, plan: Plan) -> CurvePoint:
    sureness = [min(box.sureness, one.sureness) for one, box in zip(job.wanted, plan.boxes, strict=True)]
    return CurvePoint(
        budget=_money(budget), spent=_money(plan.cost), sureness=round(sum(sureness) / len(sureness), 4),
        least=round(min(sureness), 4), proven=plan.proven,
    )  # fmt: skip


def _failing(job: OrderJob, plan: Plan) -> list[Failing]:
    """Vehicles that cannot reach their sureness even alone and whatever it costs; one that has it in the plan can."""
    failing: list[Failing] = []
    alone: dict[tuple[int, date, float], float] = {}
    most = most_scenarios(job.wanted, job.market, job.kinds)
    for one, box, scenarios in zip(job.wanted, plan.boxes, most, strict=True):
        if not is_sure(one, box):
            best = box.sureness
            if sum(box.covered) < scenarios:  # the others are in its way, or money is
                alike = (id(one.needs.circuits), one.day, one.sureness)
                if alike not in alone:
                    found = _planned(job, [one], replace(job.wish, budget=None))
                    alone[alike] = found.boxes[0].sureness if found else box.sureness
                best = max(alone[alike], best)
            if best < one.sureness - NOT_SHORT:
                would_do = _would_do(job, one) if len(failing) < MOST_WITH_PARTS else []
                failing.append(
                    Failing(vehicle=one.needs.name, wanted=one.sureness, best=round(best, 4), would_do=would_do)
                )
    return failing


def _would_do(job: OrderJob, one: Wanted) -> list[str]:
    """What a part would have to be like, where no other day would make a vehicle sure enough."""
    known = job.known.get(one.needs.name)
    if known is None or most_together(known.tables, []).share >= one.sureness:
        return []
    return list(parts_that_would_do(replace(known, belief=known.believed), one.sureness))


def _notes(job: OrderJob) -> list[str]:
    notes = list(NOTES)
    notes += [f"{name}: {one.says}" for name, known in job.known.items() for one in known.set_aside if not one.undone]
    if len(job.wanted) > MOST_FOR_CURVE:
        notes.append(f"What money buys is worked out for up to {MOST_FOR_CURVE} vehicles; a budget asks for one sum.")
    if len({id(known) for known in job.known.values()}) > MOST_FOR_RANGE:
        notes.append(f"How far what is not known of a car moves its nozzles is told for {MOST_FOR_RANGE} cars.")
    if job.market.left_out:
        notes.append(
            f"Left out of what is sold: {job.market.left_out} parts, packs and kits that no box could use, or that "
            "cost no less than the same from the same supplier in another way."
        )
    return notes


def _ways_out(job: OrderJob, plan: Plan, failing: Sequence[Failing], progress: Callable[[str], None]) -> list[WayOut]:
    """Relaxations that were each tried: less sureness (which the plan may have already), a later day, more money, more
    suppliers."""
    ways: list[WayOut] = []
    asked = replace(job.wish, budget=None)

    def tried(says: str, wanted: Sequence[Wanted], wish: PurchaseWish) -> None:
        progress(f"trying: {says}")
        found = [one for one in (plan, _planned(job, wanted, wish)) if one and _is_met(wanted, one)]
        if found:
            ways.append(WayOut(says=says, cost=_money(min(one.cost for one in found))))

    if job.wish.budget is not None:
        tried("spend more", job.wanted, asked)
    short = {one.vehicle for one in failing}
    if failing:
        lowered = [
            replace(one, sureness=box.sureness) if one.needs.name in short else one
            for one, box in zip(job.wanted, plan.boxes, strict=True)
        ]
        content = [one for one in lowered if one.needs.name in short]
        if min(one.sureness for one in content) >= LEAST_SURE:
            listed = ", ".join(f"{one.needs.name} {100 * one.sureness:.0f} %" for one in content)
            says = f"be content with {listed}"
            if job.wish.budget is None and _is_met(lowered, plan):
                # The plan comes nearest to what is wanted, for the least money.
                ways.append(WayOut(says=says, cost=_money(plan.cost)))
            else:
                tried(says, lowered, asked)
        latest = max((job.market.arrives(article) for article in job.market.articles), default=job.market.ordered)
        late = [one for one in job.wanted if one.needs.name in short and one.day < latest]
        if late:
            moved = [replace(one, day=latest) if one in late else one for one in job.wanted]
            tried(f"run {', '.join(one.needs.name for one in late)} on {latest.isoformat()}", moved, asked)
    if job.wish.most_suppliers is not None:
        tried("buy from every supplier", job.wanted, replace(asked, most_suppliers=None))
    return sorted(ways, key=lambda way: way.cost or 0.0)
