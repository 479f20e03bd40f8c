"""A car's state in a few words: by what the commands judge, or by its last run where that is not worked out yet."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from configurator.advice.next_step import NextReport
from configurator.book.records import Trial
from configurator.judging.feelings import SMOKES_FIRST
from configurator.learning.as_known import Known
from configurator.learning.belief import counts, newest_first
from configurator.views.book import day_words
from configurator.views.felt_signs import felt_sign
from configurator.views.tables import counted
from configurator.web.step_words import step_told


@dataclass(frozen=True)
class CarState:
    """sign : tells it without colour; look : the class it is written in."""

    sign: str
    look: str
    says: str


NOT_TRIED = CarState("○", "neither", "Not tried yet")


def state_of(known: Known, runs: Sequence[Trial], report: NextReport) -> CarState:
    """By the answer of `tipin next`."""
    if known.pulls_cleanly:
        return CarState("●", "right", f"Right since {_clean_since(runs)}")
    by_hand = sum(one != SMOKES_FIRST for one in report.first)
    if by_hand:
        return CarState("■", "neither", f"{counted(by_hand, 'thing').capitalize()} to put right first")
    side = {1: ("▲", "lean"), -1: ("▼", "rich"), 0: ("○", "neither")}[known.last_felt.side if known.last_felt else 0]
    if report.do == "stop":
        return CarState("○", "right", "Right as it is by the figures: drive it")
    if report.do == "nothing":
        return CarState(*side, "No part helps: look elsewhere")
    return CarState(*side, f"Next: {step_told(known.case, report.changes)}" if report.changes else "Run it once more")


def state_by_last_run(run: Trial | None) -> CarState:
    """By the last run alone; None where there was none."""
    if run is None:
        return NOT_TRIED
    sign = felt_sign(run.felt.word if run.felt else None)
    return CarState(sign.sign, sign.side, sign.was.capitalize())


def _clean_since(runs: Sequence[Trial]) -> str:
    """The day of the first of the clean runs at the end."""
    since: datetime | None = None
    for run in newest_first([run for run in runs if counts(run)]):
        if run.felt is None or run.felt.word != "clean":
            break
        since = run.at
    return day_words(since or datetime.now(UTC), datetime.now(UTC), clock=False)
