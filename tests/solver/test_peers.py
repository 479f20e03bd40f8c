"""The peers of the benchmarks give the answers they are measured by: those of trying everything, and of the program."""

from dataclasses import replace
from math import inf
from pathlib import Path

import numpy as np
import peers_availability
import peers_choice
import peers_order
import pytest
from sat_reasons import all_clashes, all_ways_out
from small_choices import GOALS, best_by_hand, choice_from, every_choice, holds, is_allowed, problem_of, worth
from test_availability import as_constraint, constraints_for, pinned_choice
from test_order import random_case, real_case, setup

from configurator.advice.availability import Availability
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.judging.case import Case
from configurator.ordering.articles import Article, Tier
from configurator.ordering.cheapest import plan_order
from configurator.ordering.plan import PurchaseWish, Wanted
from configurator.ordering.purchase import Market
from configurator.slots.slot import SLOTS, Slot
from configurator.slots.wishes import read_order
from configurator.solver.model import ChoiceModel, best
from configurator.solver.problem import Problem, undominated

LIMIT_S = 120.0
CATALOG = Path(__file__).resolve().parents[2] / "catalog"


def order_of(seed: int) -> list[str]:
    return [str(goal) for goal in np.random.default_rng(seed).permutation(GOALS)]


def comes_to(problem: Problem, chosen: dict[Slot, int] | None, order: list[str]) -> tuple[int, ...] | None:
    return None if chosen is None else tuple(worth(problem, chosen)[goal] for goal in order)


@pytest.mark.parametrize("tight", [False, True])
@pytest.mark.parametrize("peer", peers_choice.PEERS)
def test_a_peer_finds_what_trying_everything_finds(peer: str, tight: bool) -> None:
    impossible = 0
    for seed in range(40):
        problem, order = choice_from(seed, tight=tight), order_of(seed)
        expected, _ = best_by_hand(problem, order)
        found = peers_choice.PEERS[peer](problem, order, LIMIT_S)
        assert found.least == comes_to(problem, expected, order) == comes_to(problem, found.chosen, order)
        assert found.chosen is None or is_allowed(problem, found.chosen)
        impossible += expected is None
    assert tight == (impossible > 10)


@pytest.mark.parametrize("first", ["changes", "nozzle", "price"])
def test_peers_agree_on_a_car(first: str) -> None:
    """With three of the pumps: brute force goes through a hundred million assignments, not through a thousand."""
    shipped = load_catalog(CATALOG)
    pumps = {code: shipped.pumps[code] for code in ("pump-3cc", "pump-3cc-soft", "pump-5cc")}
    vehicle = load_vehicle(CATALOG / "examples/hill-climber.toml")
    case = Case.of(vehicle, replace(shipped, pumps=pumps)).with_linkage_set()
    problem, order = undominated(problem_of(case, [])), list(read_order(first))
    own = best(ChoiceModel(problem, problem.constraints), order)
    assert own is not None
    expected = comes_to(problem, own.chosen, order)
    assert {name: peer(problem, order, LIMIT_S).least for name, peer in peers_choice.PEERS.items()} == dict.fromkeys(
        peers_choice.PEERS, expected
    )


@pytest.mark.parametrize("peer", peers_availability.PEERS)
def test_a_peer_finds_the_fewest_further_changes_of_every_part(peer: str) -> None:
    for seed in range(30):
        problem, pins = pinned_choice(seed)
        allowed = {pin.slot: pin.allowed for pin in pins}
        found = peers_availability.PEERS[peer](problem, allowed, LIMIT_S)
        listed = list(every_choice(problem))
        for slot, options in problem.options.items():
            must = constraints_for(problem, pins, slot)
            free = [name for name in problem.options if name != slot and name not in allowed]
            fitting = [chosen for chosen in listed if all(holds(one, chosen) for one in must)]
            for place in range(len(options)):
                changes = [sum(problem.options[name][chosen[name]].changed for name in free)
                           for chosen in fitting if chosen[slot] == place]  # fmt: skip
                assert found[slot][place] == min(changes, default=None)


def test_peers_know_every_minimal_clash_and_way_out() -> None:
    met = 0
    for seed in range(30):
        problem, pins = pinned_choice(seed)
        allowed = {pin.slot: pin.allowed for pin in pins}
        hard = [c for c in problem.constraints if not c.advice]
        constraints = [*hard, *(as_constraint(problem, pin) for pin in pins)]
        states = Availability.over(problem).report(pins).slots
        asked = [(SLOTS[one.slot], i) for one in states for i, option in enumerate(one.options) if option.clash]
        told = {name: reasons(problem, allowed, asked) for name, reasons in peers_availability.REASONS.items()}
        for number, (slot, place) in enumerate(asked):
            kept = [i for i, c in enumerate(constraints) if i < len(hard) or c.slots != (slot,)]
            own = [constraints[i] for i in kept]
            clashes = frozenset(frozenset(kept[i] for i in one) for one in all_clashes(problem, own, {slot: place}))
            ways = frozenset(frozenset(kept[i] for i in one) for one in all_ways_out(problem, own, {slot: place}))
            assert told["MARCO"][number] == told["OptUx and MCSls"][number] == (clashes, ways)
            ((core,), _) = told["CP-SAT's core"][number]
            assert any(clash <= core for clash in clashes)
            met += len(clashes) > 1
    assert met > 20


def handing_on(seed: int) -> tuple[list[Wanted], Market]:
    """A random order in which the second vehicle needs a lobe that the first one may set free, or that is bought."""
    (first, second), market = random_case(seed)
    circuit = second.needs.circuits[0]
    setups = (setup("old"), setup("old", "lobe"))
    needs = replace(second.needs, circuits=(replace(circuit, setups=setups),))
    old = Article("old", "near", {"old": 1}, (Tier(1, 700),))
    return [first, replace(second, needs=needs)], replace(market, articles=[*market.articles, old])


@pytest.mark.parametrize("peer", peers_order.PEERS)
def test_a_peer_finds_the_cheapest_order(peer: str) -> None:
    for wanted, market in [*map(random_case, range(25)), *map(handing_on, range(25)), *map(real_case, (24.0, 27.0))]:
        plan = plan_order(wanted, market, PurchaseWish())
        found = peers_order.PEERS[peer](wanted, market, 0.0, LIMIT_S)
        expected = inf if plan is None else plan.cost
        assert found.cost == pytest.approx(expected) and found.bound == pytest.approx(expected, abs=1.0)
