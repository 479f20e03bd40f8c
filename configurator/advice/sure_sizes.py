"""The smallest nozzle that is sure enough to be right, under what the runs say of the engine.

Chosen by the rule of a proposal: right for as much as is wanted, or nearly as much as any is; nothing past a size that
was felt too small or large enough with the fitted pump and lobe; and what pulled cleanly is right.
"""

from collections.abc import Sequence

import numpy as np
from pydantic import Field

from configurator.advice.belief_told import BeliefSummary, summary
from configurator.advice.next_step import NextReport, what_next
from configurator.advice.size import breaks_no_more_than, nozzle_of, size
from configurator.advice.sure_proposal import LIKELY
from configurator.car.fitted import FittedNozzle
from configurator.judging.case import FeltSizes
from configurator.judging.right import DEMAND
from configurator.judging.table import LEAST_SURE, share_that_will_do
from configurator.learning.as_known import Known
from configurator.reports import Candidate, CircuitSizes, SizeReport
from configurator.rules import RULES
from configurator.slots.options import short_label
from configurator.slots.slot import Slot


class SureCircuitSizes(CircuitSizes):
    """Sizes for one circuit, chosen by sureness."""

    sureness: float | None = Field(description="sureness of the smallest nozzle; null where there is none")
    enough: bool = Field(description="whether that is as sure as was wanted, or pulled cleanly")
    clean: str = Field(description="what says that it pulls cleanly with the smallest; empty where nothing does")


class SureSizeReport(SizeReport):
    """Answer of `tipin size` where runs stand in the book: the smallest that is sure enough, or nearly the surest."""

    next_step: str = Field(description="the next step, in a line: what `tipin next` says")
    circuits: list[SureCircuitSizes] = Field(description="one entry a circuit")  # type: ignore[assignment]
    belief: BeliefSummary = Field(description="what stands behind it")
    sureness_wanted: float = Field(description="share of belief that was asked for, 0 to 1")


def sure_sizes(known: Known, circuits: Sequence[str], wanted: float) -> SureSizeReport:
    """Sizes for a car with runs, in the engine in the middle of what they leave."""
    report = size(known.case, circuits, known.believed)
    sized = [_sure_circuit(known, sizes, wanted) for sizes in report.circuits]
    kept = {name: value for name, value in report if name not in ("circuits", "ok")}
    return SureSizeReport(
        **kept, ok=all(sizes.enough for sizes in sized), next_step=_in_a_line(what_next(known)), circuits=sized,
        belief=summary(known.believed), sureness_wanted=wanted,
    )  # fmt: skip


def _in_a_line(step: NextReport) -> str:
    parts = ", ".join(f"{change.slot} {short_label(change.to)}" for change in step.changes)
    as_it_is = {"stop": "stop, it is right as it is", "try": "run it once more as it is", "nothing": "nothing to try"}
    return parts or as_it_is[step.do]


def _sure_circuit(known: Known, sizes: CircuitSizes, wanted: float) -> SureCircuitSizes:
    clean = _that_pulled_cleanly(known, sizes)
    if clean is not None:  # what is felt comes before any model
        rows = [clean if _same_nozzle_and_pump(row, clean) else row for row in sizes.candidates]
        fitted = clean if _same_nozzle_and_pump(sizes.fitted, clean) else sizes.fitted
        sizes = sizes.model_copy(update={"candidates": rows, "fitted": fitted})
    fits = [row for row in sizes.candidates if breaks_no_more_than(row, DEMAND) and _may_be_named(known, sizes, row)]
    chosen = {
        pump: _chosen([row for row in fits if row.pump == pump], wanted, sizes.fitted if known.last_felt else None)
        for pump in sizes.smallest_by_pump
    }
    if clean is not None:
        chosen[sizes.fitted.pump] = clean
    now = chosen[sizes.fitted.pump]
    return SureCircuitSizes(
        circuit=sizes.circuit, smallest=nozzle_of(now) if now else None, fitted=sizes.fitted,
        candidates=sizes.candidates,
        smallest_by_pump={pump: nozzle_of(row) if row else None for pump, row in chosen.items()},
        sureness=now.sureness if now else None,
        enough=now is not None and (clean is not None or now.sureness >= wanted),
        clean=_says_clean(known) if clean is not None else "",
    )  # fmt: skip


def _that_pulled_cleanly(known: Known, sizes: CircuitSizes) -> Candidate | None:
    """The combination of a clean run, where it has the fitted screw, pump and lobe."""
    nozzle = Slot(sizes.circuit, "nozzle")
    back = {wish.slot: wish for wish in known.back_to_clean if wish.slot.circuit == sizes.circuit}
    if not known.a_run_says_right or set(back) - {nozzle}:
        return None
    found = sizes.fitted
    if nozzle in back:
        label = known.case.options[nozzle][min(back[nozzle].allowed)].label
        rows = [row for row in sizes.candidates if (nozzle_of(row).label, row.pump) == (label, sizes.fitted.pump)]
        found = next(iter(rows), found)
    return found.model_copy(update={"meets": True, "breaks": [id for id in found.breaks if RULES[id].kind != "cure"]})


def _says_clean(known: Known) -> str:
    """That the smallest is right, and by what."""
    if known.went_clean and not known.pulls_cleanly:
        return f"run {known.went_clean.number} pulled cleanly with it: put it back"
    return f"{known.felt_with(known.case.as_fitted).clean}: stop, it is right"


def _may_be_named(known: Known, sizes: CircuitSizes, row: Candidate) -> bool:
    """Whether a nozzle is past none felt too small or large enough; and is the fitted one, or told from it. The
    screw follows the nozzle, so another one makes no difference here."""
    slot, bounds = Slot(sizes.circuit, "nozzle"), known.sizes.get(sizes.circuit, FeltSizes())
    alike = np.array([row.pump == sizes.fitted.pump and row.lobe == sizes.fitted.lobe])
    if bounds.rule_out(row.diameter_mm, row.volume_cc or 0.0, row.peak_cc_s or 0.0, alike).any():
        return False
    option, fitted = known.case.options[slot].labelled(nozzle_of(row).label), known.case.as_fitted[slot]
    if option is None or option == fitted:
        return True
    scatter_mm = known.case.catalog.limits.stamped_tolerance_mm
    return option.read(FittedNozzle).is_told_from(fitted.read(FittedNozzle), scatter_mm)


def _same_nozzle_and_pump(row: Candidate, other: Candidate) -> bool:
    return (nozzle_of(row).label, row.pump) == (nozzle_of(other).label, other.pump)


def _chosen(rows: Sequence[Candidate], wanted: float, complained: Candidate | None) -> Candidate | None:
    """The first row, smallest nozzle first, that is as sure as wanted or nearly the surest; None where none is likely
    at all. complained : what somebody complains of, not left alone for a few per cent where it is not likely right."""
    surest = max(rows, key=lambda row: row.sureness, default=None)
    if surest is None or surest.sureness < LEAST_SURE:
        return None
    enough = share_that_will_do(surest.sureness, wanted)
    first = next(row for row in rows if row.sureness >= enough)
    return surest if first == complained and first.sureness < LIKELY else first
