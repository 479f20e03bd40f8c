"""The fewest changes that are sure enough to be right, under what the runs say of the engine.

A proposal is made for one demand factor, and as the smallest nozzle that meets it, it lies near its lean end. So it is
made for a factor that a large share of the belief lies below, and its window is put against the whole belief: the
first of a few factors whose proposal is sure enough, else the surest of them.
"""

from dataclasses import replace

import numpy as np

from configurator.advice.next_step import summary
from configurator.advice.propose import ProposalRequest, propose
from configurator.advice.sure_sizes import WANTED, SureProposeReport
from configurator.judging.case import Case
from configurator.learning.belief import Belief
from configurator.reports import ProposeReport

SHARES = (0.75, 0.5)
"""Shares of belief below the factors tried after the one that the sureness wanted asks for."""


def proposal_of(case: Case, request: ProposalRequest, belief: Belief | None, wanted: float = WANTED) -> ProposeReport:
    """What to change: sure enough under a belief, or by the case's own factor where there is none."""
    return propose(case, request) if belief is None else sure_proposal(case, request, belief, wanted)


def sure_proposal(case: Case, request: ProposalRequest, belief: Belief, wanted: float = WANTED) -> SureProposeReport:
    """The best change list under a belief, with how sure it is; a symptom in the request is a run of the belief already
    and moves nothing here."""
    asked = request.symptom
    request = replace(request, symptom=None)
    best: ProposeReport | None = None
    best_sure = -1.0
    for share in (wanted, 0.5 * (1.0 + wanted), *SHARES):
        report = propose(case.at(belief.quantile(share)), request)
        sure = sureness(belief, report)
        if sure > best_sure:
            best, best_sure = report, sure
        if sure >= wanted:
            break
    assert best is not None
    below = belief.share_below(best.demand_factor)
    note = f"demand factor {best.demand_factor:.2f}: {100 * below:.0f} % of the belief lies below it"
    hinted = {"symptom": asked.word, "hint": asked.hint} if asked else {}
    kept = dict(best) | hinted | {"demand_note": note}
    return SureProposeReport(
        **kept, belief=summary(belief), sureness_wanted=wanted,
        sureness=None if best.status == "impossible" else round(best_sure, 4),
    )  # fmt: skip


def sureness(belief: Belief, report: ProposeReport) -> float:
    """Share of belief that all circuits of a proposal cover; less than nothing where there is none."""
    if report.status == "impossible":
        return -0.5
    windows = list(report.covers.values())
    if any(window is None for window in windows):
        return 0.0
    ends = np.array(windows, dtype=float)
    return belief.sureness((float(ends[:, 0].max()), float(ends[:, 1].min())))
