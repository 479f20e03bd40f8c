"""A measured pull in words: how long it hesitates and how far it falls, beside what the model said; and two runs."""

from collections.abc import Callable, Sequence

import numpy as np
from pydantic import Field

from configurator.arrays import Array, Reals
from configurator.book.car_records import CarRecords
from configurator.book.records import Trial, car_of
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, Fault
from configurator.judging.case import Case
from configurator.learning.belief import Run, belief_of, felt_as_fitted, run_of, run_with
from configurator.learning.pulled import PullInEngines, PullTold, kind_of, told_of
from configurator.physics.lateness import Lateness
from configurator.physics.verdict import ADDED
from configurator.reports import Answer, Report

MORE_THAN_CHANCE = 1.96
"""Standard errors: one difference in twenty is larger by chance."""
OTHER_SMOOTHING_MS = 10.0
"""What rises differ by, about, that were smoothed otherwise (assumed)."""
DRIVEN_AGAIN_MS, DRIVEN_AGAIN_PERCENT = 6.0, 1.0
"""What a driver's foot, a road and a day make of the same parts from one run to another (assumed)."""
WETTER_FROM, DRIER_FROM = 1.12, 0.89
"""How late the first fuel of an engine is for it to be called so."""
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


class PullInWords(Report):
    """One recorded pull: the mean of its tip-ins, the least and the most of them, and its standard error."""

    tip_ins: int = Field(description="tip-ins of which something could be told")
    from_throttle: bool = Field(description="whether the throttle was logged; without it a delay is seen in part only")
    delay_ms: float = Field(description="how much later than the best of the same air the pull comes to its level [ms]")
    delay_span_ms: list[float] = Field(description="the least and the most of the tip-ins [ms]")
    delay_doubt_ms: float = Field(description="standard error of the delay [ms]")
    sag_percent: float = Field(description="deepest later fall [% of the pull's level]")
    sag_span_percent: list[float] = Field(description="the least and the most of the tip-ins [%]")
    sag_doubt_percent: float = Field(description="standard error of the sag [%]")
    sag_at_ms: float = Field(description="when the sag is deepest [ms]")
    model_delay_ms: float | None = Field(description="the model's delay by the runs before [ms]; null: it has no pull")
    model_sag_percent: float | None = Field(description="the same of its sag [%]")
    whole_delay_ms: float = Field(description="as a driver feels it, in the middle of the engines that fit [ms]")
    whole_delay_span_ms: list[float] = Field(description="between what nine in ten of those engines lie [ms]")
    says: list[str] = Field(description="the same in sentences")


def pull_in_words(run: Trial, records: CarRecords, catalog: Catalog) -> PullInWords | None:
    """What a run's recording says, beside what the model said by the runs before it; None for a run without one."""
    if run.pull is None:
        return None
    case = Case.of(car_of(run), catalog)
    before = [other for other in records.runs if other.number != run.number]
    fitted = felt_as_fitted(case, traced=run.trace is not None, pulled=True)
    said = {id(run): run_with(run, fitted)}

    def once(trial: Trial, catalog: Catalog) -> Run:
        """What a run says, worked out once for the belief before and the one after."""
        if id(trial) not in said:
            said[id(trial)] = run_of(trial, catalog)
        return said[id(trial)]

    expected, after = belief_of(case, before, once).middle, belief_of(case, [*before, run], once)
    told, kind = told_of(run.pull), kind_of(run.pull)
    seen = fitted.pull
    assert seen is not None
    best, point = float(seen.pull_best_rise_ms[kind, 0]), expected.point
    rises, sags = ([getattr(one, name) for one in run.pull.tip_ins] for name in ("rise_ms", "sag_percent"))
    allowed_ms = case.catalog.limits.delay_most_ms + ADDED["delay_ms"]
    low, middle, high = _between(np.exp(fitted.felt.late[0]) * allowed_ms - ADDED["delay_ms"], after.masses)
    found = PullInWords(
        tip_ins=len(rises), from_throttle=run.pull.from_throttle,
        delay_ms=told.rise_ms - best, delay_span_ms=[min(rises) - best, max(rises) - best],
        delay_doubt_ms=told.rise_doubt_ms,
        sag_percent=told.sag_percent, sag_span_percent=[min(sags), max(sags)], sag_doubt_percent=told.sag_doubt_percent,
        sag_at_ms=float(np.median([one.sag_at_ms for one in run.pull.tip_ins])),
        model_delay_ms=_or_none(seen.pull_rise_ms[kind, point] - best),
        model_sag_percent=_or_none(seen.pull_sag_percent[kind, point]),
        whole_delay_ms=middle, whole_delay_span_ms=[low, high], says=[],
    )  # fmt: skip
    return found.model_copy(update={"says": _sentences(found, expected, after.middle)})


def _between(figures: Reals, masses: Array) -> tuple[float, float, float]:
    """Below what a twentieth, a half and nineteen twentieths of a belief lie."""
    order = np.argsort(figures)
    at = np.minimum(np.searchsorted(np.cumsum(masses[order]), (0.05, 0.5, 0.95)), len(figures) - 1)
    low, middle, high = figures[order[at]].tolist()
    return low, middle, high


def _seen_of(case: Case) -> PullInEngines:
    seen = felt_as_fitted(case, traced=False, pulled=True).pull
    assert seen is not None
    return seen


def _or_none(figure: float) -> float | None:
    return float(figure) if np.isfinite(figure) else None


def _sentences(found: PullInWords, before: Lateness, after: Lateness) -> list[str]:
    count = NUMBERS[found.tip_ins] if found.tip_ins < len(NUMBERS) else str(found.tip_ins)
    of = f"{count} tip-in{'s' * (found.tip_ins > 1)}"
    least, most = found.delay_span_ms
    span = f", {_ms(least)} to {_ms(most)}" if found.tip_ins > 1 else ""
    where = "" if found.from_throttle else " from where the pull first moves"
    said = f"hesitates {_ms(found.delay_ms)} ms{where} ({of}{span}; give or take {max(found.delay_doubt_ms, 1.0):.0f})"
    said += f"; the model said {_ms(found.model_delay_ms)}" if found.model_delay_ms is not None else ""
    late = found.model_delay_ms is not None and found.delay_ms - found.model_delay_ms
    said += _engine(before, after, late / found.delay_doubt_ms) if late else ""
    low, high = found.sag_span_percent
    span = f"{low:.0f} to {high:.0f}; " if found.tip_ins > 1 else ""
    when = f" after {found.sag_at_ms / 1e3:.1f} s" if found.sag_percent > found.sag_doubt_percent else ""
    falls = (
        f"then falls by {found.sag_percent:.0f} %{when} ({span}give or take {max(found.sag_doubt_percent, 1.0):.0f})"
    )
    falls += f"; the model said {found.model_sag_percent:.0f}" if found.model_sag_percent is not None else ""
    low, high = found.whole_delay_span_ms
    whole = f"in all it hesitates about {_ms(found.whole_delay_ms)} ms ({_ms(low)} to {_ms(high)})"
    return [said, falls, f"{whole}, as far as the engines tell that fit the runs"]


def _ms(delay: float) -> str:
    """A delay in words: the pull of no engine comes before the best there is but by chance."""
    return f"{max(delay, 0.0):.0f}"


def _engine(before: Lateness, after: Lateness, late: float) -> str:
    """What the run has made of the engine; nothing where it stays what it was. late : how much later than the model
    said, in standard errors."""
    wet = after.first_fuel / before.first_fuel
    if late > 1.0 and wet > 1.03 and after.first_fuel > WETTER_FROM:
        return ": this engine is wetter than most"
    if late < -1.0 and wet < 0.97 and after.first_fuel < DRIER_FROM:
        return ": this engine is drier than most"
    return ""


class PullsCompared(Answer):
    """Answer of `tipin trial compare`: a run before and one after a change."""

    vehicle: str = Field(description="name of the vehicle")
    runs: list[int] = Field(description="numbers of the runs")
    changed: list[str] = Field(description="what was changed between them")
    delay_ms: list[float] = Field(description="how much later than the best the pull comes, in each [ms]")
    delay_change_ms: float = Field(description="the second less the first [ms]")
    delay_doubt_ms: float = Field(description="standard error of that [ms]")
    sag_percent: list[float] = Field(description="deepest later fall, in each [% of the pull's level]")
    sag_change_percent: float = Field(description="the second less the first [%]")
    sag_doubt_percent: float = Field(description="standard error of that [%]")
    delay_differs: bool = Field(description="whether the delays differ by more than chance")
    sag_differs: bool = Field(description="whether the sags differ by more than chance")


def compared(vehicle: str, runs: Sequence[Trial], numbers: tuple[int, int], catalog: Catalog) -> PullsCompared:
    """Two runs of a vehicle set side by side. Raises BadInput for one that there is not, or without a recording, and
    where only one of the two had the throttle logged."""
    first, second = (_run_with_pull(vehicle, runs, number) for number in numbers)
    (one, own), (other, its) = ((run.pull, told_of(run.pull)) for run in (first, second) if run.pull is not None)
    if one.from_throttle != other.from_throttle:
        found = "the throttle was logged in one of the two only"
        expected = "two that were recorded alike"
        raise BadInput([Fault(vehicle, f"runs {numbers[0]} and {numbers[1]}", found, expected)])
    best = [
        float(_seen_of(Case.of(car_of(run), catalog)).pull_best_rise_ms[kind_of(pull), 0])
        for run, pull in ((first, one), (second, other))
    ]
    delays = (own.rise_ms - best[0], its.rise_ms - best[1])
    unlike = OTHER_SMOOTHING_MS if one.smoothed_ms != other.smoothed_ms else 0.0
    delay_doubt = _together(own, its, lambda told: told.rise_doubt_ms, DRIVEN_AGAIN_MS, unlike)
    sag_doubt = _together(own, its, lambda told: told.sag_doubt_percent, DRIVEN_AGAIN_PERCENT, 0.0)
    delay_change, sag_change = delays[1] - delays[0], its.sag_percent - own.sag_percent
    changed = [
        f"{slot} {first.codes.get(slot, 'nothing')} -> {label}"
        for slot, label in second.codes.items()
        if first.codes.get(slot) != label
    ]
    return PullsCompared(
        vehicle=vehicle, runs=list(numbers), changed=changed, delay_ms=list(delays), delay_change_ms=delay_change,
        delay_doubt_ms=delay_doubt, sag_percent=[own.sag_percent, its.sag_percent], sag_change_percent=sag_change,
        sag_doubt_percent=sag_doubt, delay_differs=abs(delay_change) > MORE_THAN_CHANCE * delay_doubt,
        sag_differs=abs(sag_change) > MORE_THAN_CHANCE * sag_doubt,
    )  # fmt: skip


def _together(own: PullTold, its: PullTold, doubt: Callable[[PullTold], float], again: float, unlike: float) -> float:
    """Standard error of a difference between two runs."""
    return float(np.sqrt(doubt(own) ** 2 + doubt(its) ** 2 + 2.0 * again**2 + unlike**2))


def _run_with_pull(vehicle: str, runs: Sequence[Trial], number: int) -> Trial:
    run = next((one for one in runs if one.number == number), None)
    with_pull = ", ".join(str(one.number) for one in runs if one.pull is not None and not one.undone)
    expected = f"one of runs {with_pull}" if with_pull else "a run with a recorded pull"
    if run is None:
        raise BadInput([Fault(vehicle, f"run {number}", "there is no such run", expected)])
    if run.pull is None:
        raise BadInput([Fault(vehicle, f"run {number}", "has no recorded pull", expected)])
    return run
