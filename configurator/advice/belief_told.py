"""A belief in figures and words, as answers tell it."""

from pydantic import Field

from configurator.judging.engine_told import told_engine
from configurator.learning.belief import Belief
from configurator.reports import EngineTold, Report

INTERVAL_SHARE = 0.9


class RunInDoubt(Report):
    """A run that was misjudged, or after which something else has changed."""

    run: int = Field(description="its number; 0: what is felt now")
    chance: float = Field(description="probability that it was judged rightly, by all the runs there are, 0 to 1")


class BeliefSummary(Report):
    """What the runs say of the engine."""

    runs: int = Field(description="runs that count")
    felt_now: bool = Field(description="whether what is felt now counts besides them")
    left_out: int = Field(description="runs that do not: a cold engine")
    engine: EngineTold = Field(description="the engine in the middle of the belief")
    late_first_fuel_90_percent: list[float] = Field(description="between what 90 % of the belief lies")
    late_main_circuit_90_percent: list[float] = Field(description="the same")
    doubted: list[RunInDoubt] = Field(description="runs that cannot all have been judged rightly, most doubted first")


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
        doubted=[RunInDoubt(run=one.number or 0, chance=one.chance) for one in belief.doubted],
    )  # fmt: skip
