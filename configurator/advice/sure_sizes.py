"""The smallest nozzle that is sure enough to be right, under what the runs say of the engine."""

from collections.abc import Sequence

from pydantic import Field

from configurator.advice.belief_told import BeliefSummary, summary
from configurator.advice.size import breaks_no_more_than, nozzle_of, size
from configurator.judging.case import Case
from configurator.judging.table import DEMAND
from configurator.learning.belief import Belief
from configurator.reports import Candidate, Change, CircuitSizes, ProposeReport, SizeReport


class SureCircuitSizes(CircuitSizes):
    """Sizes for one circuit, chosen by sureness."""

    sureness: float | None = Field(description="sureness of the smallest nozzle; null where there is none")
    enough: bool = Field(description="whether that is as sure as was wanted")


class SureSizeReport(SizeReport):
    """Answer of `tipin size` where runs stand in the book: smallest that is sure enough, or else the surest."""

    circuits: list[SureCircuitSizes] = Field(description="one entry a circuit")  # type: ignore[assignment]
    belief: BeliefSummary = Field(description="what stands behind it")
    sureness_wanted: float = Field(description="share of belief that was asked for, 0 to 1")


class SureProposeReport(ProposeReport):
    """Answer of `tipin propose` where runs stand in the book."""

    first_step: list[Change] = Field(
        default=[], description="what to try first on the way to it, as tipin next says; empty where it is all of it"
    )
    belief: BeliefSummary = Field(description="what stands behind it")
    sureness_wanted: float = Field(description="share of belief that was asked for, 0 to 1")


def sure_sizes(case: Case, circuits: Sequence[str], belief: Belief, wanted: float) -> SureSizeReport:
    """Sizes for a case in the middle of a belief; the smallest nozzle is the first that is sure enough, or the
    surest."""
    report = size(case, circuits, belief)
    sized = [_sure_circuit(sizes, wanted) for sizes in report.circuits]
    ok = all(sizes.enough for sizes in sized)
    kept = {name: value for name, value in report if name not in ("circuits", "ok")}
    return SureSizeReport(**kept, ok=ok, circuits=sized, belief=summary(belief), sureness_wanted=wanted)


def _sure_circuit(sizes: CircuitSizes, wanted: float) -> SureCircuitSizes:
    fits = [row for row in sizes.candidates if breaks_no_more_than(row, DEMAND)]
    chosen = {pump: _chosen([row for row in fits if row.pump == pump], wanted) for pump in sizes.smallest_by_pump}
    now = chosen[sizes.fitted.pump]
    return SureCircuitSizes(
        circuit=sizes.circuit, smallest=nozzle_of(now) if now else None, fitted=sizes.fitted,
        candidates=sizes.candidates,
        smallest_by_pump={pump: nozzle_of(row) if row else None for pump, row in chosen.items()},
        sureness=now.sureness if now else None, enough=now is not None and now.sureness >= wanted,
    )  # fmt: skip


def _chosen(rows: Sequence[Candidate], wanted: float) -> Candidate | None:
    """The first row, smallest nozzle first, that is sure enough; else the surest; None where none may be right."""
    enough = next((row for row in rows if row.sureness >= wanted), None)
    surest = max(rows, key=lambda row: row.sureness, default=None)
    return enough or (surest if surest and surest.sureness > 0.0 else None)
