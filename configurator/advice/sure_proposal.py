"""The fewest changes that are sure enough to be right, under what the runs say of the engine.

Parts are chosen that are right for as much of the belief as is wanted, or for as much as any can be. Of two circuits
each is asked for that much, and for more where both together come to less.
"""

from dataclasses import replace

from configurator.advice.next_step import summary
from configurator.advice.propose import ProposalRequest, propose
from configurator.advice.sure_sizes import SureProposeReport
from configurator.learning.as_known import SURE_ENOUGH, Known
from configurator.reports import ProposeReport


def proposal_of(known: Known, request: ProposalRequest, wanted: float = SURE_ENOUGH) -> ProposeReport:
    """What to change: sure enough under a belief, or in the engine of the vehicle file where there is none."""
    request = replace(request, wishes=[*request.wishes, *known.wishes])
    if known.belief is None:
        return propose(known.case, request, known)
    if known.pulls_cleanly:
        return _as_it_pulls(known, request)
    shares = (wanted,) if len(known.case.circuit_names) == 1 else (wanted, 0.5 * (1.0 + wanted))
    best: ProposeReport | None = None
    for share in shares:
        report = propose(known.choosing(request.wishes, share), request, known)
        if request.symptom and not report.changes and (report.sureness or 0.0) < wanted:
            # What somebody complains of is not left alone for the sake of a few per cent.
            report = propose(known.choosing(request.wishes, share, nearly=1.0), request, known)
        if best is None or (report.sureness or 0.0) > (best.sureness or 0.0):
            best = report
        if (best.sureness or 0.0) >= wanted:
            break
    assert best is not None
    return SureProposeReport(**dict(best), belief=summary(known.belief), sureness_wanted=wanted)


def _as_it_pulls(known: Known, request: ProposalRequest) -> ProposeReport:
    """What has to change of a car that pulls cleanly: what does not fit. Nothing is said of its fuel."""
    assert known.belief is not None
    request = replace(request, wishes=[*request.wishes, *known.as_it_pulls])
    report = propose(known.choosing(request.wishes), request, known)
    first, remaining = ([f for f in found if f.kind != "cure"] for found in (report.first, report.remaining))
    left_alone = {"first": first, "remaining": remaining, "pulls": [], "alternatives": [], "sureness": None}
    told = report.model_copy(update=left_alone)
    return SureProposeReport(**dict(told), belief=summary(known.belief), sureness_wanted=0.0)
