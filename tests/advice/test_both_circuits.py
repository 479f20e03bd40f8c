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
from configurator.arrays import Array
from configurator.book.records import Conditions, Felt, trial_of
from configurator.judging.case import Case
from configurator.judging.right import right
from configurator.judging.table import LEAST_SURE, most_together, tabulate_circuit
from configurator.learning.as_known import SURE_ENOUGH, Known, known_by
from configurator.slots.slot import CIRCUIT_SLOTS, SHARED_SLOTS, Slot
from configurator.slots.wishes import Wish
from configurator.views.belief import proposal_text

STOCK = building.catalog(**building.EASY)
WORDS = ("stumble", "flat", "smoke", "popback")
SEEDS = (1, 5, 14, 17, 22, 37, 41, 66, 76, 84, 97)


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
    return float(of_pairs(seed)[0].max())


@cache
def of_pairs(seed: int) -> tuple[Array, Array]:
    """Of all those pairs what each is right for, and how many parts it changes."""
    known, _, _ = asked(seed)
    rights, parts = [], []
    for name in ("front", "rear"):
        table = tabulate_circuit(known.tables, name)
        covers = right(table.columns).covers
        rights.append(covers.reshape(-1, covers.shape[-1]).astype(float))
        parts.append([
            sum(table.options[own][place].label != known.case.as_fitted[Slot(name, own)].label
                for own, place in zip(CIRCUIT_SLOTS, places, strict=True))
            for places in np.ndindex(covers.shape[:-1])
        ])  # fmt: skip
    front, rear = rights
    return (front * known.believed.masses) @ rear.T, np.add.outer(*parts)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_proposal_is_right_for_nearly_as_much_as_any_pair_that_is_worth_its_parts(seed: int) -> None:
    known, proposal, _ = asked(seed)
    shares, parts = of_pairs(seed)
    assert most_together(known.tables).share >= shares.max() - 1e-9
    worth = np.minimum(shares, SURE_ENOUGH) - 0.1 * parts
    most = float(shares[worth >= worth.max() - 1e-9].max())
    if most < LEAST_SURE:
        return
    assert proposal.status != "impossible" and proposal.sureness is not None
    assert proposal.sureness >= min(proposal.sureness_wanted, 0.9 * most) - 1e-3


@pytest.mark.parametrize("seed", SEEDS)
def test_each_further_part_makes_it_a_tenth_surer(seed: int) -> None:
    """Nobody is sent for a part that adds little: no pair of fewer parts is nearly as sure as what is proposed."""
    known, proposal, _ = asked(seed)
    shares, parts = of_pairs(seed)
    for fewer in range(len(proposal.changes) if proposal.sureness else 0):
        most = shares[parts <= fewer].max(initial=0.0)
        assert most < proposal.sureness_wanted
        assert proposal.sureness > 0.9 * most or not known.last_felt, (fewer, most, proposal.sureness)
    whole = proposal_of(known, ProposalRequest(), 0.9)
    if whole.sureness and proposal.sureness and whole.sureness > proposal.sureness + 0.1:
        assert len(whole.changes) > len(proposal.changes)


@pytest.mark.parametrize("seed", SEEDS)
def test_with_so_many_parts_at_most_the_surest_pair_is_found(seed: int) -> None:
    known, _, _ = asked(seed)
    shares, parts = of_pairs(seed)
    undrilled = [
        Wish("none drilled", slot, frozenset(options.where(lambda one: one.work not in ("redrill", "relieve"))))
        for slot, options in known.case.options.items()
    ]
    as_it_stands = [*undrilled, *(Wish("no spacer", Slot(None, own), frozenset({0})) for own in SHARED_SLOTS)]
    for count in range(int(parts.max()) + 1):
        found = most_together(known.tables, as_it_stands, most_parts=count).share
        assert found == pytest.approx(float(shares[parts <= count].max(initial=0.0)), abs=1e-6), count


def test_the_cars_are_worth_asking() -> None:
    assert sum(surest_pair(seed) >= LEAST_SURE for seed in SEEDS) >= 5


@pytest.mark.parametrize("seed", SEEDS)
def test_nobody_is_sent_for_many_parts_that_are_unlikely_to_be_right(seed: int) -> None:
    _, _, step = asked(seed)
    if step.by_practice:
        assert [one for one in step.changes if one.slot == "front.nozzle"], "off idle the front circuit is felt"
    elif step.do == "try" and step.changes:
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
