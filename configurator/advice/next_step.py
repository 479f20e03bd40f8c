"""What to try next on a vehicle, with the belief behind it, as an answer."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from pydantic import Field

from configurator.book.records import Trial
from configurator.catalogue.limits import Limits
from configurator.judging.case import Case
from configurator.judging.engine_told import told_engine
from configurator.judging.trade_sizes import OUT_OF_TRADE, odd_sizes
from configurator.learning.as_known import pulled_cleanly
from configurator.learning.belief import Belief, belief_of
from configurator.learning.candidates import Candidates, candidates, fitted_after, labour_min
from configurator.learning.driver import CLEAN
from configurator.learning.next_run import RUN_MIN, Advice, next_step
from configurator.reports import Answer, EngineTold, Report
from configurator.slots.options import Choice

INTERVAL_SHARE = 0.9
LIKELY = 0.5
"""Sureness below which a combination is not called likely to be right."""
LEAST_LIKELY, MUCH_LIKELIER = 0.05, 1.5
"""What is surest is tried from so much on, where it is so many times as sure as what is in (assumed)."""
CLEAN_NOW = "it pulled cleanly with what is in the car: stop here"
UNLIKELY = "nothing that may be tried is likely to be right"


class BeliefSummary(Report):
    """What the runs say of the engine."""

    runs: int = Field(description="runs that count")
    felt_now: bool = Field(description="whether what is felt now counts besides them")
    left_out: int = Field(description="runs that do not: a cold engine")
    engine: EngineTold = Field(description="the engine in the middle of the belief")
    late_first_fuel_90_percent: list[float] = Field(description="between what 90 % of the belief lies")
    late_main_circuit_90_percent: list[float] = Field(description="the same")
    impossible: list[list[int]] = Field(
        description="numbers of runs that cannot all have been judged rightly; one alone: no engine explains it"
    )


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


class NextReport(Answer):
    """Answer of `tipin next`."""

    vehicle: str = Field(description="name in the vehicle file")
    do: Literal["try", "stop", "nothing"] = Field(
        description="try the changes (none: the same again); stop with what is in the car; nothing is worth trying"
    )
    changes: list[NextChange] = Field(description="parts to put in, of what is in the car now")
    labour_min: float = Field(description="spanner work together, minutes")
    sureness: float = Field(description="share of belief for which the combination is right, 0 to 1")
    why: str = Field(description="what the run saves, or why there is no further one")
    outcomes: list[Outcome] = Field(description="what the run may show; empty where there is none")
    belief: BeliefSummary = Field(description="what stands behind it")
    notes: list[str] = Field(description="what to keep in mind")


FELT_AS = (("clean", (0,)), ("hesitates", (1, 2, 3)), ("goes flat", (4, 5, 6)), ("too much fuel", (7, 8, 9)))
"""What a run may show, by places in ANSWERS."""


def sure_percent(share: float) -> str:
    """A share in whole per cent; nobody is ever quite sure.

    >>> sure_percent(0.934), sure_percent(0.998)
    ('93 %', 'over 99 %')
    """
    return "over 99 %" if share > 0.994 else f"{100 * share:.0f} %"


def summary(belief: Belief) -> BeliefSummary:
    """A belief in figures."""
    first, main = belief.interval(INTERVAL_SHARE)
    return BeliefSummary(
        runs=belief.runs, felt_now=belief.felt_now, left_out=belief.left_out, engine=told_engine(belief.middle),
        late_first_fuel_90_percent=[round(end, 3) for end in first],
        late_main_circuit_90_percent=[round(end, 3) for end in main],
        impossible=[[number or 0 for number in numbers] for numbers in belief.impossible],
    )  # fmt: skip


def what_next(case: Case, trials: Sequence[Trial], stock: Mapping[str, int] | None = None) -> NextReport:
    """The next run worth making, or that none is. trials : of this vehicle. stock : None for all the catalogue has."""
    belief = belief_of(case, trials)
    case = case.with_linkage_set().at(belief.middle)
    now = fitted_after(case, trials)
    field = candidates(case, belief, now, stock)
    notes = [
        f"{circuit.name}: take the {circuit.slack_mm:g} mm slack out of the linkage first; it is reckoned as set"
        for circuit in case.car.fitted.circuits
        if (circuit.slack_mm or 0.0) > case.catalog.limits.linkage_tolerance_mm
    ]
    if not field.field.open.any():
        source = "on the shelf" if stock is not None else "in the catalogue"
        why = f"no combination of what is fitted and what is {source} keeps every rule; a proposal says what would"
        return NextReport(
            vehicle=case.vehicle.name, do="nothing", changes=[], labour_min=0.0, sureness=0.0, why=why, outcomes=[],
            belief=summary(belief), notes=notes,
        )  # fmt: skip
    advice = next_step(field.field, belief, field.now)
    clean = pulled_cleanly(trials, now)
    if clean:
        advice = replace(advice, do="stop", choice=field.now, sureness=float(field.field.sureness(belief)[field.now]))
    elif advice.do == "stop" and (belief.runs or advice.sureness < LIKELY):
        advice = _likeliest(field, belief, advice)
    changes = _changes(case, field, field.now, advice.choice)
    tried = {slot: option for slot, option in field.choices[advice.choice].items() if option.label != now[slot].label}
    notes += odd_sizes(tried, case.catalog.limits)
    hopeless = advice.do == "stop" and not clean and _most_sure(field, belief, advice) < LIKELY
    return NextReport(
        vehicle=case.vehicle.name, do="nothing" if hopeless else advice.do, changes=changes,
        labour_min=sum(change.labour_min for change in changes),
        sureness=round(advice.sureness, 4), why=CLEAN_NOW if clean else _why(field, belief, advice),
        outcomes=_outcomes(case, field, belief, advice.choice) if advice.do == "try" else [], belief=summary(belief),
        notes=notes,
    )  # fmt: skip


def _likeliest(field: Candidates, belief: Belief, advice: Advice) -> Advice:
    """Where no run saves its time, and what is in is amiss: the likeliest all the same, if that is much likelier."""
    sure = np.where(field.field.open, field.field.sureness(belief), 0.0)
    best = int(np.argmax(sure))
    if sure[best] < max(LEAST_LIKELY, MUCH_LIKELIER * advice.sureness):
        return advice
    costs = float(field.field.minutes[field.now, best]) + RUN_MIN
    clean = float(field.field.chances[CLEAN, best] @ belief.masses)
    return Advice("try", best, float(sure[best]), best, costs, 0.0, clean)


def _changes(case: Case, field: Candidates, now: int, choice: int) -> list[NextChange]:
    before, after = field.choices[now], field.choices[choice]
    return [
        NextChange(
            slot=str(slot), from_=before[slot].label, to=option.label, code=option.code,
            labour_min=labour_min(case, slot, option),
        )
        for slot, option in after.items() if option.label != before[slot].label
    ]  # fmt: skip


def _why(field: Candidates, belief: Belief, advice: Advice) -> str:
    cost = f"{advice.costs_min:.0f} min of work and driving"
    saved = f"{max(0.0, advice.saves_min):.0f} min of what would follow"
    if advice.do == "try" and advice.saves_min > 0.0:
        return f"{cost}, expected to save {saved}"
    if advice.do == "try" and advice.sureness >= LIKELY:
        return f"{cost}; the likeliest of what may be tried"
    if advice.do == "try":
        return (
            f"{cost}; the likeliest of what may be tried, and not likely: look for a fault elsewhere first (float "
            "level, ignition, air leak), which may feel the same"
        )
    best = _most_sure(field, belief, advice)
    if best < LIKELY:
        return (
            f"{UNLIKELY}, the surest to {sure_percent(best)}: a proposal may "
            "find other parts, and a fault elsewhere (float level, ignition, air leak) may feel the same"
        )
    if best < advice.sureness + 0.005:
        return "nothing that may be tried is surer to be right than what is in the car"
    return f"no further run is worth its time: the best would cost {cost} and is expected to save {saved}"


def _most_sure(field: Candidates, belief: Belief, advice: Advice) -> float:
    """Sureness of the surest combination, of what may be tried and what is left in."""
    return max(advice.sureness, float(np.where(field.field.open, field.field.sureness(belief), 0.0).max()))


def _outcomes(case: Case, field: Candidates, belief: Belief, choice: int) -> list[Outcome]:
    """Each feeling with the step it would lead to."""
    found = []
    for felt, steps in FELT_AS:
        likelihood = field.field.chances[list(steps), choice].sum(axis=0)
        after = belief.updated(likelihood)
        then = next_step(field.field, after, choice)
        label = _named(field.choices[choice], field.choices[then.choice], case.catalog.limits)
        says = f"{label}; stop, sure to {sure_percent(then.sureness)}" if then.do == "stop" else f"{label}; run again"
        if then.do == "stop" and _most_sure(field, after, then) < LIKELY:
            says = UNLIKELY
        found.append(Outcome(felt=felt, chance=round(float(likelihood @ belief.masses), 4), then=says))
    return found


def _named(before: Choice, after: Choice, limits: Limits) -> str:
    other = {slot: option for slot, option in after.items() if option.label != before[slot].label}
    changed = [
        f"{slot}: {option.label}{f' ({OUT_OF_TRADE})' if odd_sizes({slot: option}, limits) else ''}"
        for slot, option in other.items()
    ]
    return ", ".join(changed) or "leave it as it is"
