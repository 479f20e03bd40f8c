"""What the commands say is next on a car, as a page shows it: the answer of `tipin next` with its drawings."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from configurator.advice.ladder import ladder_of
from configurator.advice.named_choice import choice_after
from configurator.advice.next_step import NextReport, what_next
from configurator.advice.over_unknown import over_what_is_not_known
from configurator.advice.work import combination_of
from configurator.book.records import Trial
from configurator.judging.pull import pull_of
from configurator.learning.as_known import Known
from configurator.reports import Totals
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import word_of
from configurator.views.ladder_drawing import ladder_drawing
from configurator.views.pull_drawing import pull_drawing


@dataclass(frozen=True)
class CircuitDrawing:
    """A drawing of one circuit; circuit is empty where the car has one alone."""

    circuit: str
    svg: str


@dataclass(frozen=True)
class Judged:
    """The next step of a car. pins : its parts, as addresses and forms name them. totals : what it comes to."""

    report: NextReport
    pins: dict[str, str]
    totals: Totals
    pulls: tuple[CircuitDrawing, ...]
    ladders: tuple[CircuitDrawing, ...]


def judged_of(known: Known, runs: Sequence[Trial]) -> Judged:
    """The same as `tipin next` works out, and drawn."""
    case = known.case
    report = over_what_is_not_known(what_next(known), known)
    after = choice_after(case, report.changes)
    changed = {SLOTS[change.slot].circuit for change in report.changes}
    pulls, ladders = [], []
    for name in case.circuit_names:
        called = name if len(case.circuit_names) > 1 else ""
        then = pull_of(case, name, after) if name in changed else None
        pulls.append(CircuitDrawing(called, pull_drawing(pull_of(case, name, case.as_fitted), then)))
        ladders.append(CircuitDrawing(called, ladder_drawing(ladder_of(known, name, runs, report), datetime.now(UTC))))
    totals = combination_of(case, after, "next", []).totals
    pins = {change.slot: word_of(after[SLOTS[change.slot]]) for change in report.changes}
    return Judged(report, pins, totals, tuple(pulls), tuple(ladders))
