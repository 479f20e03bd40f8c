"""Belief over the demand factor: against integration written out anew, scipy, and engines whose factor is known."""

from datetime import UTC, datetime, timedelta
from itertools import permutations
from typing import Any

import numpy as np
import pytest
from building import NOZZLES, case, catalog, nozzle, two_circuits, vehicle
from scipy import integrate, stats

from configurator.book.records import Conditions, Felt, TraceMeasured, Trial, car_of, trial_of
from configurator.car.vehicle import Vehicle
from configurator.errors import BadInput
from configurator.judging.case import Case
from configurator.learning.belief import (
    FACTORS,
    JUDGEMENT_SPREAD,
    MISJUDGED_SHARE,
    MUCH,
    SCALE,
    Spells,
    belief_of,
    counts,
    felt_weights,
    prior,
    run_of,
    severities,
    spells_as_fitted,
    spells_of,
    step_chances,
)
from configurator.physics import verdict
from configurator.slots.slot import CIRCUIT_SLOTS, SLOTS, Slot

STOCK = catalog((*NOZZLES, nozzle(0.65), nozzle(0.85), nozzle(0.95)))
DAY = datetime(2026, 5, 2, 10, 0, tzinfo=UTC)
FELT_ON_STEP = (
    ("stumble", "strong"), ("stumble", "clear"), ("clean", "clear"), ("smoke", "clear"), ("smoke", "strong"),
)  # fmt: skip


def fitted_with(nozzle_mm: float, base: Vehicle | None = None) -> Case:
    return case(base or vehicle(front={"nozzle": f"straight-{nozzle_mm:.2f}"}), STOCK)


def trial(word: str, strength: str = "clear", *, nozzle_mm: float = 0.8, number: int = 1, **more: Any) -> Trial:
    felt = None if word == "" else Felt.model_validate({"word": word, "strength": strength})
    run = trial_of(fitted_with(nozzle_mm), DAY + timedelta(hours=number), felt, more.pop("conditions", Conditions()),
                   **more)  # fmt: skip
    return run.model_copy(update={"number": number})


def spells_on(factors: Any, nozzle_mm: float) -> tuple[Any, Any]:
    """Hole and flood [ms] at each factor, one at a time, as a check works them out."""
    at = fitted_with(nozzle_mm)
    nozzle, screw, pump, lobe = (at.as_fitted[Slot("front", slot)].figures for slot in CIRCUIT_SLOTS)
    circuit: Any = at.circuits["front"]
    shots = verdict.ShotFlows(
        circuit.flow_kg_s(circuit.deliver([nozzle], [screw], [pump], [lobe], np.zeros(1))), circuit.film_share([nozzle])
    )
    found = [verdict.spells(circuit.event, shots, float(factor), circuit.allowed) for factor in factors]
    hole, flood = 1e3 * np.array(found)[:, :, 0].T
    return hole, flood


def chance_of(step: int, hole: Any, flood: Any) -> Any:
    """Probability of a step of the scale: the ordered probit of docs/belief.md written out with scipy's normal."""
    lean, rich = np.log((hole + 25) / (50 + 25)), np.log((flood + 25) / (150 + 25))
    first = np.where(lean + rich > 0, (rich - lean) / 2, rich)
    second = np.where(lean + rich > 0, (rich - lean) / 2, -lean)
    cuts = [np.minimum(rich - 1.5, first), first, second, np.maximum(1.5 - lean, second)]
    share = [0.0, *(stats.norm.cdf(cut, scale=0.5) for cut in cuts), 1.0]
    step = 4 - step
    return 0.95 * (share[step + 1] - share[step]) + 0.05 / 5


def test_the_figures_written_out_in_this_file_are_those_of_the_program() -> None:
    assert (JUDGEMENT_SPREAD, MUCH, MISJUDGED_SHARE, len(SCALE)) == (0.5, 1.5, 0.05, 5)


def test_spells_at_every_factor_are_those_of_a_check_at_that_factor() -> None:
    some = slice(0, 257, 37)
    spells = spells_as_fitted(fitted_with(0.8))
    hole, flood = spells_on(FACTORS[some], 0.8)
    assert spells.hole_ms[0, some] == pytest.approx(hole, abs=1e-6)
    assert spells.flood_ms[0, some] == pytest.approx(flood, abs=1e-6)
    assert hole.max() > 100 > hole.min()


def test_spells_at_many_factors_do_not_depend_on_how_they_are_cut_into_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    at = fitted_with(0.8)
    choices = [at.as_fitted | {SLOTS["front.nozzle"]: option} for option in at.options[SLOTS["front.nozzle"]][:3]]
    whole = spells_of(at, "front", choices)
    monkeypatch.setattr(verdict, "BLOCK", 100)
    assert np.array_equal(spells_of(at, "front", choices).hole_ms, whole.hole_ms)
    assert whole.hole_ms.shape == (3, 257)


def test_both_circuits_are_felt_together() -> None:
    at = case(two_circuits(), STOCK)
    both = spells_as_fitted(at)
    front, rear = (spells_of(at, name, [at.as_fitted]) for name in ("front", "rear"))
    assert np.array_equal(both.hole_ms, np.maximum(front.hole_ms, rear.hole_ms))
    assert not np.array_equal(front.hole_ms, rear.hole_ms)


@pytest.mark.parametrize("lean", [-1.1, -0.2, 0.0, 0.7, 3.0, 10.0])
@pytest.mark.parametrize("rich", [-1.9, -0.3, 0.0, 0.9, 3.0, 10.0])
def test_the_steps_of_the_scale_are_probabilities(lean: float, rich: float) -> None:
    chances = step_chances(np.array(lean), np.array(rich))
    assert chances.sum() == pytest.approx(1.0) and (chances >= 0).all()


def test_leaner_is_felt_leaner() -> None:
    lean = np.linspace(-1.1, 4.0, 60)
    chances = step_chances(lean, np.full(60, -1.9))
    at_least_lean, much = chances[:2].sum(axis=0), chances[0]
    assert (np.diff(at_least_lean) > 0).all() and (np.diff(much) > 0).all()
    assert at_least_lean[0] < 0.02 and much[-1] > 0.99


def test_a_hole_as_long_as_allowed_is_felt_by_every_second_driver() -> None:
    lean, rich = severities(Spells(np.array([[50.0]]), np.array([[0.0]])), 50.0, 150.0)
    assert step_chances(lean, rich)[:2].sum() == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("word", "strength", "weights"),
    [
        ("stumble", "strong", [1, 0, 0, 0, 0]), ("popback", "clear", [0, 1, 0, 0, 0]),
        ("stumble", "faint", [0, 0.5, 0.5, 0, 0]), ("dull", "clear", [0, 0.5, 0.5, 0, 0]),
        ("dull", "strong", [0, 1, 0, 0, 0]), ("clean", "strong", [0, 0, 1, 0, 0]),
        ("smoke", "faint", [0, 0, 0.5, 0.5, 0]), ("smoke", "strong", [0, 0, 0, 0, 1]),
    ],
)  # fmt: skip
def test_words_and_strengths_on_the_scale(word: str, strength: str, weights: list[float]) -> None:
    assert felt_weights(Felt.model_validate({"word": word, "strength": strength})).tolist() == weights


def test_an_unknown_word_is_bad_input() -> None:
    with pytest.raises(BadInput, match=r"hiccup: is no symptom; expected stumble, popback"):
        felt_weights(Felt(word="hiccup"))


def test_the_prior_is_the_log_normal_cut_off_at_the_range() -> None:
    belief = prior(1.3, 0.35)
    whole = stats.truncnorm(*(np.log(np.array([0.25, 4.0]) / 1.3) / 0.35), loc=np.log(1.3), scale=0.35)
    for share in (0.01, 0.05, 0.5, 0.9, 0.99):
        assert np.log(belief.quantile(share)) == pytest.approx(whole.ppf(share), abs=2e-4)
    assert belief.sureness((0.9, 1.7)) == pytest.approx(whole.cdf(np.log(1.7)) - whole.cdf(np.log(0.9)), abs=1e-4)
    assert belief.sureness((0.25, 4.0)) == 1.0 and belief.sureness(None) == 0.0
    assert integrate.simpson(belief.weights, x=np.log(FACTORS)) == pytest.approx(1.0, abs=1e-6)
    assert belief.masses.sum() == pytest.approx(1.0)


RUNS = ((0.7, 1), (0.8, 2), (0.7, 1))
"""Nozzle and step of the scale of the runs that the belief is integrated over."""


def the_runs() -> list[Trial]:
    return [trial(*FELT_ON_STEP[step], nozzle_mm=mm, number=n) for n, (mm, step) in enumerate(RUNS, 1)]


def test_the_belief_is_that_of_brute_force_on_a_grid_of_its_own() -> None:
    """Factors of a grid that shares none with the program's, spells from the check, chances from scipy."""
    log = np.linspace(np.log(0.25), np.log(4.0), 201)
    density = stats.norm.pdf(log, scale=0.35)
    for mm in dict.fromkeys(mm for mm, _ in RUNS):
        hole, flood = spells_on(np.exp(log), mm)
        for other, step in RUNS:
            density *= chance_of(step, hole, flood) if other == mm else 1.0
    below = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    belief = belief_of(fitted_with(0.8), the_runs())
    assert belief.runs == len(RUNS)
    for share in (0.05, 0.25, 0.5, 0.75, 0.95):
        assert np.log(belief.quantile(share)) == pytest.approx(np.interp(share, below / below[-1], log), abs=0.01)


def test_the_belief_is_that_of_adaptive_quadrature() -> None:
    """scipy's quad over the same likelihood, read off the program's spells between its factors; where a hole breaks in
    from one factor to the next, the program may be out by a part of that step."""
    spells = {mm: spells_as_fitted(fitted_with(mm)) for mm, _ in RUNS}

    def density(x: float) -> float:
        product = float(stats.norm.pdf(x, scale=0.35))
        for mm, step in RUNS:
            hole, flood = (np.interp(x, np.log(FACTORS), s[0]) for s in (spells[mm].hole_ms, spells[mm].flood_ms))
            product *= float(chance_of(step, hole, flood))
        return product

    whole = integrate.quad(density, np.log(0.25), np.log(4.0), limit=400, epsabs=1e-5, epsrel=1e-5)[0]
    belief = belief_of(fitted_with(0.8), the_runs())
    for factor in (0.6, 0.8, 0.9, 1.0, 1.2):
        share = integrate.quad(density, np.log(0.25), np.log(factor), limit=400, epsabs=1e-5, epsrel=1e-5)[0] / whole
        assert belief.share_below(factor) == pytest.approx(share, abs=0.01)


def test_the_order_of_runs_does_not_matter_to_the_last_digit() -> None:
    runs = [*the_runs()[:2], trial("", trace=TRACE, number=4)]
    at = fitted_with(0.8)
    beliefs = [belief_of(at, list(order)) for order in permutations(runs)]
    assert all(np.array_equal(beliefs[0].weights, other.weights) for other in beliefs)
    assert len({belief.impossible for belief in beliefs}) == 1


TRACE = TraceMeasured(hole_ms=140.0, flood_ms=0.0, lag_ms=80.0, doubt_ms=10.0)


def test_a_trace_finds_the_factor_whose_hole_it_measured() -> None:
    spells = spells_as_fitted(fitted_with(0.65))
    true = 144
    trace = TraceMeasured(hole_ms=spells.hole_ms[0, true], flood_ms=spells.flood_ms[0, true], lag_ms=80, doubt_ms=10)
    by_trace = belief_of(fitted_with(0.65), [trial("", trace=trace, nozzle_mm=0.65)])
    by_feel = belief_of(fitted_with(0.65), [trial("stumble", nozzle_mm=0.65)])
    assert spells.hole_ms[0, true] > 150
    assert by_trace.median == pytest.approx(FACTORS[true], rel=0.02)
    widths = [np.log(b.interval(0.5)[1] / b.interval(0.5)[0]) for b in (by_trace, by_feel)]
    assert widths[0] < 0.5 * widths[1]


def test_a_trace_takes_the_place_of_what_was_felt() -> None:
    at = fitted_with(0.8)
    both, alone = trial("clean", trace=TRACE), trial("", trace=TRACE)
    assert np.array_equal(belief_of(at, [both]).weights, belief_of(at, [alone]).weights)


def test_a_cold_run_and_one_taken_back_do_not_count() -> None:
    cold = trial("stumble", conditions=Conditions(warm=False))
    undone = trial("stumble").model_copy(update={"undone": True})
    belief = belief_of(fitted_with(0.8), [cold, undone])
    assert not counts(cold) and not counts(undone)
    assert (belief.runs, belief.left_out) == (0, 2)
    assert np.array_equal(belief.weights, belief_of(fitted_with(0.8), []).weights)


def test_a_run_is_judged_under_its_own_conditions() -> None:
    here, high = trial("stumble"), trial("stumble", conditions=Conditions(altitude_m=1800, air_temperature_c=-5))
    assert car_of(high).engine.altitude_m == 1800
    assert not np.allclose(run_of(here, STOCK).rightly, run_of(high, STOCK).rightly)


def test_a_stumble_raises_what_is_believed_and_a_clean_run_bounds_it() -> None:
    at = fitted_with(0.7)
    stumble, pull = trial("stumble", "strong", nozzle_mm=0.7), trial("clean", nozzle_mm=0.7)
    one_run: tuple[list[Trial], ...] = ([], [stumble], [pull])
    before, stumbled, clean = (belief_of(at, runs) for runs in one_run)
    assert clean.quantile(0.95) < before.quantile(0.95) and stumbled.median > before.median > clean.median


def test_the_spread_of_the_prior_is_the_workshops_to_overrule() -> None:
    sure = belief_of(case(vehicle(), catalog(belief_spread=0.1)), [])
    assert sure.interval()[1] == pytest.approx(np.exp(1.645 * 0.1), abs=2e-3)


def test_an_impossible_pair_is_reported_by_its_numbers() -> None:
    """Smoke on a nozzle of 0.9 mm asks for f below 0.5, a strong stumble on one of 0.8 mm for f above 1.3."""
    lean, rich = trial("stumble", "strong", number=7), trial("smoke", nozzle_mm=0.9, number=4)
    also_lean = trial("popback", "strong", nozzle_mm=0.7, number=5)
    assert belief_of(fitted_with(0.8), [lean, rich, also_lean]).impossible == ((4, 5), (4, 7))
    assert belief_of(fitted_with(0.8), [lean, also_lean]).impossible == ()


def test_runs_near_an_edge_are_no_contradiction() -> None:
    once, again = trial("stumble", "faint", number=1), trial("clean", number=2)
    assert belief_of(fitted_with(0.8), [once, again]).impossible == ()


def test_a_run_that_no_engine_explains_is_reported_alone() -> None:
    """A nozzle of 0.65 mm drowns no engine of 5.7 litres."""
    spells = spells_as_fitted(fitted_with(0.65))
    assert spells.flood_ms.max() < 100
    drowned = trial("smoke", "strong", nozzle_mm=0.65, number=3)
    assert belief_of(fitted_with(0.65), [drowned, trial("clean", number=4)]).impossible == ((3,),)


def draw(random: np.random.Generator, likelihoods: dict[float, Any], runs: int) -> bool:
    """Whether the 90 % interval after some runs of an engine drawn from the prior holds its factor."""
    belief = prior(1.0, 0.35)
    true = int(random.choice(len(FACTORS), p=belief.masses))
    for _ in range(runs):
        chances = likelihoods[float(random.choice(list(likelihoods)))]
        felt = int(random.choice(len(SCALE), p=chances[:, true]))
        belief = belief.updated(chances[felt])
    low, high = belief.interval(0.9)
    return bool(low <= FACTORS[true] <= high)


def test_a_90_percent_interval_holds_the_factor_of_9_engines_in_10() -> None:
    """500 engines, their factor from the prior, one to five runs; chance alone breaks the bounds once in 10,000."""
    random = np.random.default_rng(20260502)
    likelihoods = {}
    for mm in (0.7, 0.8, 0.9, 1.0):
        lean, rich = severities(spells_as_fitted(fitted_with(mm)), 50.0, 150.0)
        likelihoods[mm] = 0.95 * step_chances(lean[0], rich[0]) + 0.01
    held = sum(draw(random, likelihoods, 1 + number % 5) for number in range(500))
    low, high = stats.binom.ppf([0.5e-4, 1 - 0.5e-4], 500, 0.9)
    assert low <= held <= high


def test_the_likelihoods_drawn_from_are_those_of_recorded_runs() -> None:
    lean, rich = severities(spells_as_fitted(fitted_with(0.9)), 50.0, 150.0)
    chances = 0.95 * step_chances(lean[0], rich[0]) + 0.01
    for step, (word, strength) in enumerate(FELT_ON_STEP):
        assert run_of(trial(word, strength, nozzle_mm=0.9), STOCK).likelihood() == pytest.approx(chances[step])


def test_updating_one_by_one_is_the_same_as_all_at_once() -> None:
    step_by_step = prior(1.0, 0.35)
    for run in the_runs():
        step_by_step = step_by_step.updated(run_of(run, STOCK).likelihood())
    assert step_by_step.weights == pytest.approx(belief_of(fitted_with(0.8), the_runs()).weights, rel=1e-9)
