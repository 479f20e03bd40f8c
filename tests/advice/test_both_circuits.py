"""What is proposed for two pump circuits is right in both together, against all pairs of combinations: random cars."""

from datetime import timedelta
from functools import cache

import building
import numpy as np
import pytest
from random_cars import two_circuit_car
from runs import AT

from configurator.advice.next_step import NextReport, what_next, with_first_step
from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import MOST_UNLIKELY, UNLIKELY, SureProposeReport, proposal_of
from configurator.book.records import Conditions, Felt, trial_of
from configurator.judging.case import Case
from configurator.judging.right import right
from configurator.judging.table import LEAST_SURE, most_together, tabulate_circuit
from configurator.learning.as_known import Known, known_by
from configurator.views.belief import proposal_text

STOCK = building.catalog(**building.EASY)
WORDS = ("stumble", "flat", "smoke", "popback")
SEEDS = (1, 5, 7, 14, 16, 17, 22, 37)


@cache
def asked(seed: int) -> tuple[Known, SureProposeReport, NextReport]:
    """A random car with one to three complaints of what is fitted, and what it is told."""
    case, chance = Case.of(two_circuit_car(seed), STOCK), np.random.default_rng(seed)
    runs = [
        trial_of(case, AT + timedelta(hours=hour), Felt(word=str(chance.choice(WORDS))), Conditions())
        for hour in range(int(chance.integers(1, 4)))
    ]
    known = known_by(case, runs)
    proposal = proposal_of(known, ProposalRequest())
    assert isinstance(proposal, SureProposeReport)
    return known, proposal, what_next(known)


@cache
def surest_pair(seed: int) -> float:
    """Of all pairs without a drilled nozzle or another spacer, the most of what is believed that one is right for."""
    known, _, _ = asked(seed)
    front, rear = (right(tabulate_circuit(known.tables, name).columns).covers for name in ("front", "rear"))
    points = front.shape[-1]
    both = (front.reshape(-1, points) * known.believed.masses) @ rear.reshape(-1, points).T.astype(float)
    return float(both.max())


@pytest.mark.parametrize("seed", SEEDS)
def test_a_proposal_is_right_for_nearly_as_much_as_any_pair_is(seed: int) -> None:
    known, proposal, _ = asked(seed)
    most = surest_pair(seed)
    assert most_together(known.tables).share >= most - 1e-9
    if most < LEAST_SURE:
        return
    assert proposal.status != "impossible" and proposal.sureness is not None
    assert proposal.sureness >= min(proposal.sureness_wanted, 0.9 * most) - 1e-3


def test_the_cars_are_worth_asking() -> None:
    assert sum(surest_pair(seed) >= LEAST_SURE for seed in SEEDS) >= 5


@pytest.mark.parametrize("seed", SEEDS)
def test_nobody_is_sent_for_many_parts_that_are_unlikely_to_be_right(seed: int) -> None:
    _, _, step = asked(seed)
    if step.do == "try" and step.changes:
        assert step.sureness is not None and step.sureness >= LEAST_SURE
        assert step.sureness >= UNLIKELY or len(step.changes) <= MOST_UNLIKELY
    elif step.do == "nothing":
        assert "look for a fault elsewhere first" in step.why


@pytest.mark.parametrize("seed", SEEDS)
def test_a_proposal_that_nobody_is_sent_for_says_no(seed: int) -> None:
    known, proposal, step = asked(seed)
    if not proposal.changes:
        return
    told = proposal_text(with_first_step(known, proposal))
    assert told.startswith("NO") == proposal.is_hopeless
    if proposal.is_hopeless:
        assert "look for a fault elsewhere first" in " ".join(told.split())
    if step.do == "nothing":
        assert "not all at once: first" not in told
