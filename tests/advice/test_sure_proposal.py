"""A proposal under a belief: the first that is sure enough, else the surest, with how sure it is."""

from functools import cache

import building
import pytest

from configurator.advice.propose import ProposalRequest, propose
from configurator.advice.sure_proposal import proposal_of, sure_proposal, sureness
from configurator.judging.feelings import SYMPTOMS
from configurator.learning.belief import prior
from configurator.reports import ProposeReport

CASE = building.case(building.vehicle(front={"nozzle": "straight-0.70"}), building.catalog(operations=[]))
BELIEF = prior(0.9, 0.2)


@cache
def plain() -> ProposeReport:
    return propose(CASE, ProposalRequest())


def test_how_sure_a_proposal_is_is_what_every_circuit_covers() -> None:
    def covering(*windows: list[float] | None) -> float:
        names = ("front", "rear")[: len(windows)]
        return sureness(BELIEF, plain().model_copy(update={"covers": dict(zip(names, windows, strict=True))}))

    assert covering([0.5, 1.0]) == pytest.approx(BELIEF.share_below(1.0) - BELIEF.share_below(0.5))
    assert covering([0.5, 1.0], [0.8, 2.0]) == pytest.approx(BELIEF.share_below(1.0) - BELIEF.share_below(0.8))
    assert covering([0.5, 0.6], [0.8, 2.0]) == 0.0, "no engine is right for both"
    assert covering([0.5, 1.0], None) == 0.0
    assert sureness(BELIEF, plain().model_copy(update={"status": "impossible"})) < 0.0


def test_without_a_belief_it_is_the_plain_proposal() -> None:
    assert proposal_of(CASE, ProposalRequest(), None) == plain()


def test_it_is_as_sure_as_was_wanted_and_says_for_what() -> None:
    report = sure_proposal(CASE, ProposalRequest(symptom=SYMPTOMS["stumble"]), BELIEF, 0.6)
    assert report.status == "optimal" and report.sureness_wanted == 0.6
    assert report.demand_factor == pytest.approx(BELIEF.quantile(0.6)), "a symptom is a run already, it moves nothing"
    assert report.sureness is not None and report.sureness >= 0.6
    assert report.sureness == pytest.approx(sureness(BELIEF, report), abs=1e-4)
    assert report.demand_note == f"demand factor {report.demand_factor:.2f}: 60 % of the belief lies below it"
    assert (report.symptom, report.hint) == ("stumble", SYMPTOMS["stumble"].hint)
    alone = propose(CASE.at(BELIEF.quantile(0.6)), ProposalRequest())
    assert [c.to for c in report.changes] == [c.to for c in alone.changes]


def test_where_nothing_fits_it_is_not_sure_at_all() -> None:
    report = sure_proposal(CASE, ProposalRequest(), prior(3.9, 0.01), 0.9)
    assert report.status == "impossible" and report.sureness is None and report.conflict is not None
