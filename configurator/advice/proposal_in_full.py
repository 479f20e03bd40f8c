"""A proposal with all that goes with it: the first step towards it, what a part would have to be like where there is
none, and what is not known of the car."""

from configurator.advice.next_step import with_first_step
from configurator.advice.over_unknown import over_what_is_not_known
from configurator.advice.part_that_would_do import with_parts_that_would_do
from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import proposal_of
from configurator.learning.as_known import SURE_ENOUGH, Known
from configurator.reports import ProposeReport


def proposal_in_full(known: Known, request: ProposalRequest, wanted: float | None = None) -> ProposeReport:
    """What is answered to whoever asks for a proposal. wanted : share of belief that it is to be
    right for, where somebody asks for one."""
    report = proposal_of(known, request, wanted)
    if not request.wishes:
        report = with_first_step(known, with_parts_that_would_do(report, known, wanted or SURE_ENOUGH))
    return over_what_is_not_known(report, known)
