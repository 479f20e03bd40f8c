"""What to try next on a car: one judgement from what is in it, what its runs leave open, and what was felt last.

The destination is what a proposal finds: the fewest changes that are right for enough of what is believed. The next
step is the destination where that is within reach, and else the best within reach on the way to it: only parts are
swapped, a nozzle goes the way that was felt, no further than reach allows, and hardly against it; from the shelf
where that is asked. After a clean run there is no step.
"""

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
from pydantic import Field

from configurator.advice.belief_told import BeliefSummary, summary, sure_percent
from configurator.advice.foreseen import Foreseen, foreseen
from configurator.advice.named_choice import choice_after
from configurator.advice.propose import ProposalRequest
from configurator.advice.reach import is_within_reach
from configurator.advice.sure_proposal import (
    ELSEWHERE,
    LIKELY,
    UNLIKELY,
    SureProposeReport,
    nozzle_wishes,
    proposal_of,
)
from configurator.advice.trade_step import trade_step
from configurator.advice.work import sureness_of
from configurator.judging.feelings import SMOKES_FIRST
from configurator.judging.findings import jets_first
from configurator.judging.table import most_together
from configurator.judging.trade_sizes import odd_sizes
from configurator.learning.as_known import Known
from configurator.learning.felt_sizes import side_of_nozzle
from configurator.reports import AnswerOnCar, Change, ProposeReport, Report
from configurator.slots.wishes import Wish
from configurator.units.units import show_diameter

RUN_MIN = 10.0
"""Minutes of one run: out on the road, a few tip-ins, and back (assumed)."""
CLEAN_NOW = "it pulled cleanly with what is in the car"
AT_A_LOSS = "no parts are likely to be right by the model: what was felt and the figures of the car do not go together"
ONCE_MORE_FIRST = f"{AT_A_LOSS}; {ELSEWHERE}. Felt so once more, the trade's step comes next"
BY_PRACTICE = f"{AT_A_LOSS}. This is the trade's step, the way that was felt twice; {ELSEWHERE}"
CONTRADICTED = "the runs contradict each other, and no part would be any surer than what is in: make one of them again"
WORTH_A_PART = 0.02
"""How much surer than what is in the car an unlikely part has to be, to be sent for (assumed)."""
TRIED_WORK = ("none", "fit", "rephase", "remove")


class NextChange(Report):
    """One part to put in for the next run."""

    slot: str = Field(description="front.nozzle, ...")
    from_: str = Field(alias="from", description="what is in now")
    to: str = Field(description="what takes its place")
    code: str | None = Field(description="code of the part; null for one that has none")
    labour_min: float = Field(description="spanner work, minutes")


class Outcome(Report):
    """What the run may show, and what would be next."""

    felt: str = Field(description="clean, hesitates, goes flat, or too much fuel")
    chance: float = Field(description="probability, 0 to 1")
    then: str = Field(description="what would be next")


class NextReport(AnswerOnCar):
    """Answer of `tipin next`."""

    vehicle: str = Field(description="name in the vehicle file")
    do: Literal["try", "stop", "nothing"] = Field(
        description="try the changes (none: the same again); stop with what is in the car; nothing is worth trying"
    )
    changes: list[NextChange] = Field(description="parts to put in, of what is in the car now")
    labour_min: float = Field(description="spanner work together, minutes")
    sureness: float | None = Field(
        description="share of belief for which the combination is right, 0 to 1; null where a clean run says it is, "
        "and where it is the trade's step"
    )
    why: str = Field(description="what the run saves, or why there is no further one")
    destination: list[NextChange] = Field(
        description="what the model expects in the end, of what is in the car now, where that is not the changes"
    )
    destination_sureness: float | None = Field(description="share of belief it is right for; null where it is not told")
    outcomes: list[Outcome] = Field(description="what the run may show; empty where there is none")
    by_practice: bool = Field(description="whether it is the trade's step, where the model has no part to name")
    belief: BeliefSummary = Field(description="what stands behind it")
    first: list[str] = Field(description="what comes before any change: main jets, and what is to be measured")
    notes: list[str] = Field(description="what to keep in mind")


def what_next(known: Known, stock: Mapping[str, int] | None = None) -> NextReport:
    """The next step, or that there is none. known : of the car as it is now. stock : parts on the shelf by code; None
    for all the catalogue has."""
    if known.pulls_cleanly:
        return _report(known, "stop", why=CLEAN_NOW)
    destination = proposal_of(known, ProposalRequest())
    if known.clean_before:
        return _report(known, "try", why="; ".join(known.came_back), destination=destination)
    step = _step(known, destination, stock)
    hopeless = step is None or step.is_hopeless
    if hopeless or (step and _is_no_surer(known, step)):
        if known.believed.doubted and not hopeless:
            return _report(known, "try", destination=destination, why=CONTRADICTED)
        if practice := trade_step(known, _that_may_be_tried(known, stock)):
            if known.complained_again:
                return _report(known, "try", practice, destination=destination, why=BY_PRACTICE, by_practice=True)
            parts = ", ".join(f"{change.slot} {change.to}" for change in practice.changes)
            return _report(known, "try", destination=destination, why=f"{ONCE_MORE_FIRST}: {parts}")
    if step is None:
        where = "on the shelf" if stock is not None else "in the catalogue"
        why = f"nothing {where} that may be tried keeps every rule and is likely to be right"
        return _report(known, "nothing", destination=destination, why=f"{why}; {ELSEWHERE}")
    sure = step.sureness or 0.0
    if step.is_hopeless:
        why = f"the likeliest takes {len(step.changes)} parts, and is right to {sure_percent(sure)} only; {ELSEWHERE}"
        return _report(known, "nothing", destination=destination, why=why)
    if step.changes:
        told = None if step.changes == destination.changes else destination
        return _report(known, "try", step, destination=told, why=_why(known, step, stock), ahead=foreseen(known, step))
    if known.last_felt is None:
        why = "by the model it is right as it is" + ("" if known.belief else "; drive it, and log what is felt")
        return _report(known, "stop", step, why=why)
    if sure >= LIKELY:
        why = (
            f"{RUN_MIN:.0f} min for the run: the model would let these parts pass; felt so again, other parts are tried"
        )
        return _report(known, "try", step, why=why, ahead=foreseen(known, step))
    why = f"nothing that may be tried is surer to be right than what is in the car; {ELSEWHERE}"
    return _report(known, "nothing", step, destination=destination, why=why)


def with_first_step(known: Known, report: ProposeReport) -> ProposeReport:
    """A proposal with the first step towards it, where that is less than all of it at once; where there is none, with
    the trade's step."""
    if known.clean_before:
        return _once_more(report, *known.came_back)
    if report.status == "impossible" and isinstance(report, SureProposeReport):
        if (practice := trade_step(known, _that_may_be_tried(known, None))) is None:
            return report
        if known.complained_again:
            return report.model_copy(update={"first_step": practice.changes})
        return _once_more(report, f"{AT_A_LOSS}: run it once more as it is")
    if known.believed.doubted and _is_no_surer(known, report):
        return _once_more(report, CONTRADICTED)
    step = _step(known, report, None) if report.changes and known.belief is not None else None
    if step is None or step.changes == report.changes or step.is_hopeless or not isinstance(report, SureProposeReport):
        return report
    return report.model_copy(update={"first_step": step.changes})


def _once_more(report: ProposeReport, *why: str) -> ProposeReport:
    """A proposal before which the same parts are to be run once more."""
    hint = "; ".join([*why, *filter(None, [report.hint])])
    return report.model_copy(update={"hint": hint, "once_more": True})


def _step(known: Known, destination: ProposeReport, stock: Mapping[str, int] | None) -> ProposeReport | None:
    """The destination where it is within reach, else the best that is; None where nothing is."""
    tried = _that_may_be_tried(known, stock)
    reach = [*tried, *(() if known.back_to_clean else _within_reach(known))]
    if destination.status != "impossible" and _keeps(known, destination, reach) and _enough(destination, stock):
        return destination
    for wishes in (reach, tried):
        step = proposal_of(known, ProposalRequest(wishes))
        if step.status != "impossible" and not _enough(step, stock):
            step = proposal_of(known, ProposalRequest([*wishes, *_rear_without(known, step)]))
        if step.status != "impossible":
            far = destination if step.is_hopeless and _keeps(known, destination, tried) else step
            return far if far.status != "impossible" and not far.is_hopeless and _enough(far, stock) else step
    return None


def _is_no_surer(known: Known, step: ProposeReport) -> bool:
    """Whether parts would go in that are unlikely to be right, and no likelier than those that are in."""
    by_belief = isinstance(step, SureProposeReport) and step.sureness_wanted > 0.0  # else runs rule, and not the model
    if not step.changes or not by_belief or (step.sureness or 0.0) >= UNLIKELY or known.belief is None:
        return False
    now = sureness_of(known.looked_up_in, known.case.as_fitted, known.belief)
    return (step.sureness or 0.0) < now + WORTH_A_PART


def _that_may_be_tried(known: Known, stock: Mapping[str, int] | None) -> list[Wish]:
    """Swaps only: what is drilled or cut for a trial stays so. Of parts only those on the shelf, if that is asked."""
    wishes = []
    for slot, options in known.case.options.items():
        allowed = set(options.where(lambda option: option.work in TRIED_WORK))
        if stock is not None:
            there = {place for code, count in stock.items() if count > 0 for place in options.of_code(code)}
            allowed &= {*there, *options.own}
        wishes.append(Wish(f"what may be tried for {slot}", slot, frozenset(allowed)))
    return wishes


def _within_reach(known: Known) -> list[Wish]:
    """Nozzles that are a step from the fitted one: more than orifices scatter, and not too far."""
    side = side_of_nozzle(known.last_felt) if known.last_felt else None
    scatter_mm = known.case.catalog.limits.stamped_tolerance_mm
    return nozzle_wishes(known, "a step of", lambda now, other: is_within_reach(now, other, side, scatter_mm))


def _keeps(known: Known, report: ProposeReport, wishes: Sequence[Wish]) -> bool:
    """Whether a proposal's changes are what some wishes allow."""
    to = {change.slot: change.to for change in report.changes}
    for wish in wishes:
        label = to.get(str(wish.slot))
        options = known.case.options[wish.slot]
        if label is not None and all(options[place].label != label for place in wish.allowed):
            return False
    return True


def _enough(report: ProposeReport, stock: Mapping[str, int] | None) -> bool:
    """Whether the shelf holds as many of each part as a proposal fits."""
    codes = [change.code for change in report.changes if change.work == "fit" and change.code]
    return stock is None or all(stock.get(code, 0) >= codes.count(code) for code in codes)


def _rear_without(known: Known, report: ProposeReport) -> list[Wish]:
    """The rear circuit without the parts that the front takes: there is only one of them."""
    front = {change.code for change in report.changes if change.slot.startswith("front.")}
    return [
        Wish(f"another for {slot}", slot, frozenset(options.where(lambda option: option.code not in front)))
        for slot, options in known.case.options.items() if slot.circuit == "rear"
    ]  # fmt: skip


def _why(known: Known, step: ProposeReport, stock: Mapping[str, int] | None) -> str:
    """What the step costs, and what it is worth, and fewer parts would be."""
    assert step.totals is not None
    cost = f"{step.totals.labour_min + RUN_MIN:.0f} min of work and driving"
    if known.went_clean:
        return f"{cost}; run {known.went_clean.number} pulled cleanly with these: put them back"
    if known.belief is None:
        return f"{cost}; no run has been logged: this is the model's guess alone"
    before = sureness_of(known.looked_up_in, known.case.as_fitted, known.belief)
    worth = f"sure to be right to {sure_percent(step.sureness or 0.0)}"
    worth += f", as it is to {sure_percent(before)}" if before < (step.sureness or 0.0) else ""
    if (parts := len(step.changes)) > 1:
        fewer = most_together(known.tables, _that_may_be_tried(known, stock), most_parts=parts - 1).share
        worth += f", with {'one part' if parts == 2 else f'{parts - 1} parts'} at most to {sure_percent(fewer)}"
    if (step.sureness or 0.0) >= UNLIKELY:
        return f"{cost}; {worth}"
    return f"{cost}; {worth}: the likeliest of what may be tried, and not likely: {ELSEWHERE}"


def _report(
    known: Known,
    do: Literal["try", "stop", "nothing"],
    step: ProposeReport | None = None,
    *,
    why: str,
    destination: ProposeReport | None = None,
    ahead: Sequence[Foreseen] = (),
    by_practice: bool = False,
) -> NextReport:
    believed = known.believed
    sureness = step.sureness if step else sureness_of(known.looked_up_in, known.case.as_fitted, believed)
    return NextReport(
        vehicle=known.case.vehicle.name, do=do, changes=_changes(step.changes if step else ()),
        labour_min=float(step.totals.labour_min) if step and step.totals else 0.0,
        sureness=None if known.a_run_says_right or by_practice else round(sureness or 0.0, 4), why=why,
        destination=_changes(destination.changes if destination else ()),
        destination_sureness=destination.sureness if destination and destination.changes else None,
        outcomes=[Outcome(felt=one.felt, chance=round(one.chance, 4), then=one.then) for one in ahead],
        by_practice=by_practice, belief=summary(believed), first=_first(known, step),
        notes=[*_odd_sizes(known, step), *_styles(step), *_sizes(known), *_slack(known)],
    )  # fmt: skip


def _changes(changes: Sequence[Change]) -> list[NextChange]:
    return [
        NextChange(slot=one.slot, from_=one.from_, to=one.to, code=one.code, labour_min=one.labour_min)
        for one in changes
    ]


def _first(known: Known, step: ProposeReport | None) -> list[str]:
    """What comes before any change: what is to be measured, main jets, and faults that no part mends."""
    smokes = known.last_felt is not None and known.last_felt.side < 0
    faults = [": ".join(filter(None, (one.says, one.mend))) for one in step.first] if step else jets_first(known.case)
    return [*([SMOKES_FIRST] if smokes else []), *faults]


def _odd_sizes(known: Known, step: ProposeReport | None) -> list[str]:
    return odd_sizes(choice_after(known.case, step.changes), known.case.catalog.limits) if step else []


def _styles(step: ProposeReport | None) -> list[str]:
    """Why a nozzle of another style, where one comes in."""
    changes = step.changes if step else ()
    return [f"{change.slot.partition('.')[0]}: {change.style}" for change in changes if change.style]


def _sizes(known: Known) -> list[str]:
    """The sizes that runs tell of, beside what is fitted."""
    notes = []
    for name, sizes in known.sizes.items():
        felt = ((sizes.lean_mm, "too small"), (sizes.rich_mm, "too large" if sizes.smoked else "not too small"))
        told = [f"{show_diameter(mm)} was felt {what}" for mm, what in felt if np.isfinite(mm)]
        if told:
            notes.append(f"{name} nozzle, with this pump and lobe: {'; '.join(told)}")
    return notes


def _slack(known: Known) -> list[str]:
    return [
        f"{circuit.name}: take the {circuit.slack_mm:g} mm slack out of the linkage first; it is reckoned as set"
        for circuit in known.case.car.fitted.circuits
        if (circuit.slack_mm or 0.0) > known.case.catalog.limits.linkage_tolerance_mm
    ]
