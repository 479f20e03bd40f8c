"""What a trace says of an engine: spells against ones counted by hand, its likelihood against scipy."""

from itertools import groupby

import numpy as np
import pytest
from building import case, two_circuits, vehicle
from scipy import stats

from configurator.book.records import TraceMeasured
from configurator.judging.case import Case
from configurator.learning.belief import felt_as_fitted, prior
from configurator.learning.traced import Spells, trace_density
from configurator.physics.lateness import AS_MODELLED, FIRST_FUEL, MAIN_CIRCUIT
from configurator.physics.mixture import Responses
from configurator.slots.columns import Mount
from configurator.slots.slot import SLOTS

RANDOM = np.random.default_rng(20260504)
TRUCK = case(vehicle(carburettor={"rated_flow_m3_min": 15}, front={"lobe": "lobe-low"}))


def spells_of(at: Case) -> Spells:
    spells = felt_as_fitted(at, traced=True).spells
    assert spells is not None
    return spells


def response_of(at: Case) -> Responses:
    circuit, fitted = at.circuits["front"], at.car.fitted_circuits["front"]
    mount = at.as_fitted[SLOTS["front.lobe"]].read(Mount)
    shot = circuit.deliver([fitted.nozzle], [fitted.feed_screw], [fitted.pump], [mount], np.zeros(1))
    return circuit.verdict.supply.responses(circuit.flow_kg_s(shot))


def by_hand(at: Case, response: Responses, first_fuel: float, main_circuit: float) -> tuple[float, float]:
    """Longest spells below phi 0.80 and above 1.50 [ms] in one engine, as runs of points of a fine time."""
    circuit = at.circuits["front"]
    missed = (1 - circuit.film_share([at.car.fitted_circuits["front"].nozzle])) / first_fuel
    event = circuit.event
    phi = response.phi(circuit.verdict.supply.base(main_circuit), missed)[:, 0]
    fine = np.arange(event.time_s[0], event.time_s[-1], 2e-4)
    counts = np.interp(fine, event.time_s, event.judged.astype(float)) > 0.999

    def longest(beyond: np.ndarray) -> float:
        return max((0.2 * len(list(own)) for is_beyond, own in groupby(beyond & counts) if is_beyond), default=0.0)

    course = np.interp(fine, event.time_s, phi)
    return longest(course < 0.80), longest(course > 1.50)


def test_spells_in_every_engine_are_those_counted_by_hand() -> None:
    spells, response = spells_of(TRUCK), response_of(TRUCK)
    for point in RANDOM.choice(len(FIRST_FUEL), 12, replace=False):
        hole, flood = by_hand(TRUCK, response, FIRST_FUEL[point], MAIN_CIRCUIT[point])
        assert (spells.hole_ms[point], spells.flood_ms[point]) == pytest.approx((hole, flood), abs=1.0)
    assert spells.hole_ms.max() > 100 > spells.hole_ms.min() and spells.flood_ms.max() > 20


def test_with_two_circuits_the_longer_spell_counts() -> None:
    at = case(two_circuits())
    both = spells_of(at)
    front = by_hand(at, response_of(at), 1.0, 1.0)
    middle = AS_MODELLED.point
    assert both.hole_ms[middle] >= front[0] - 1.0 and both.flood_ms[middle] >= front[1] - 1.0
    one, other = Spells(np.array([1.0, 5.0]), np.array([7.0, 0.0])), Spells(np.array([2.0, 3.0]), np.array([6.0, 1.0]))
    worse = one.worst_with(other)
    assert (worse.hole_ms.tolist(), worse.flood_ms.tolist()) == ([2.0, 5.0], [7.0, 1.0])


def test_the_density_of_a_trace_is_scipys_normal_in_both_spells() -> None:
    """The model's own error of 20 ms comes to what the trace doubts."""
    trace = TraceMeasured(hole_ms=140, flood_ms=30, lag_ms=80, doubt_ms=15)
    spells = Spells(RANDOM.uniform(0, 300, 50), RANDOM.uniform(0, 300, 50))
    measured = np.column_stack([spells.hole_ms, spells.flood_ms])
    expected = stats.multivariate_normal([140, 30], 25.0**2 * np.eye(2)).pdf(measured)
    assert trace_density(trace, spells) == pytest.approx(expected, rel=1e-9, abs=1e-300)


def test_a_trace_finds_engines_whose_spells_it_measured() -> None:
    """Of any engine that is neither drowned nor starved out of the range, it leaves less than the prior did."""
    spells, belief = spells_of(TRUCK), prior(AS_MODELLED, 0.35)
    inside = np.flatnonzero(belief.masses * len(FIRST_FUEL) > 0.5)
    for true in RANDOM.choice(inside, 6, replace=False):
        trace = TraceMeasured(hole_ms=spells.hole_ms[true], flood_ms=spells.flood_ms[true], lag_ms=80, doubt_ms=10)
        after = belief.updated(trace_density(trace, spells))
        off = np.hypot(spells.hole_ms - spells.hole_ms[true], spells.flood_ms - spells.flood_ms[true])
        assert after.masses @ off < belief.masses @ off
        assert after.masses[true] > belief.masses[true]
        assert after.masses[off > 120].sum() < 1e-3
