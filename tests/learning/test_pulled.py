"""What a measured pull says of an engine: its density against scipy's, and beliefs that hold what they should."""

from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from itertools import permutations

import numpy as np
import pytest
from building import EASY, case, catalog
from random_cars import case_with, few_parts, random_car, two_circuit_car
from recording_making import truth_of
from scipy import stats

from configurator.arrays import Array
from configurator.book.records import Conditions, Felt, PullMeasured, TipInMeasured, Trial, trial_of
from configurator.catalogue.load import Catalog
from configurator.judging.case import Case
from configurator.learning.belief import (
    AsFitted,
    Belief,
    Run,
    belief_of,
    counts,
    felt_as_fitted,
    prior,
    run_of,
    run_with,
)
from configurator.learning.pulled import (
    FROM_THROTTLE,
    KINDS,
    SHARED,
    SHARED_WEIGHTS,
    SMEARED,
    PullInEngines,
    pull_density,
    pulls_in,
    pulls_together,
    told_of,
)
from configurator.learning.recording.pull_model import model_pull
from configurator.physics.lateness import AS_MODELLED, FIRST_FUEL, MAIN_CIRCUIT, POINTS, Lateness
from configurator.physics.pull import Pulling
from configurator.physics.pull_seen import SMOOTHINGS_S, seen_in, smoothed_at

NOW = datetime(2026, 5, 4, 9, tzinfo=UTC)
FITTED = {"feed_screw": "screw-wide", "pump": "pump-3cc", "lobe": "lobe-fell", "phase_deg": 0}


@cache
def car(seed: int, nozzle: str = "straight-0.72") -> Case:
    return case_with(random_car(seed), few_parts(), {"nozzle": nozzle, **FITTED})


def in_engines(case: Case) -> PullInEngines:
    found = felt_as_fitted(case, traced=False, pulled=True).pull
    assert found is not None
    return found


def tip_ins(rise: Array, sag: Array, rise_doubt: float = 6.0, sag_doubt: float = 1.5) -> list[TipInMeasured]:
    return [
        TipInMeasured(at_s=3.0, rise_ms=float(one), rise_doubt_ms=rise_doubt, sag_percent=float(other),
                      sag_doubt_percent=sag_doubt, sag_at_ms=600.0)
        for one, other in zip(rise, sag, strict=True)
    ]  # fmt: skip


def measured(case: Case, engine: Lateness, *, from_throttle: bool = False) -> PullMeasured:
    """As a recording of three tip-ins without any noise has it."""
    begins_s = 0.0 if from_throttle else None
    seen = seen_in(smoothed_at(0.03) @ truth_of(case, engine).given[:, None], begins_s)
    both = tip_ins(np.repeat(seen.rise_ms, 3), np.repeat(seen.sag_percent, 3))
    return PullMeasured(tip_ins=both, from_throttle=from_throttle, smoothed_ms=30.0)


def run(case: Case, pull: PullMeasured | None, word: str = "", number: int = 1) -> Trial:
    felt = Felt.model_validate({"word": word}) if word else None
    return trial_of(case, NOW, felt, Conditions(), pull=pull).model_copy(update={"number": number})


@pytest.mark.parametrize("seed", [0, 3, 6])
def test_what_is_seen_in_every_engine_is_what_each_shows(seed: int) -> None:
    """All engines at once, by the grid, against one engine after another; for every kind of recording."""
    found, random = in_engines(car(seed)), np.random.default_rng(seed)
    assert found.pull_rise_ms.shape == (KINDS, POINTS * POINTS) and found.pull_best_rise_ms.shape == (KINDS, 1)
    for point in random.choice(len(FIRST_FUEL), 6, replace=False):
        truth = truth_of(car(seed), Lateness(float(FIRST_FUEL[point]), float(MAIN_CIRCUIT[point])))
        for kind in range(KINDS):
            begins_s = 0.0 if kind >= FROM_THROTTLE else None
            both = smoothed_at(SMOOTHINGS_S[kind % FROM_THROTTLE]) @ np.column_stack([truth.given, truth.best])
            seen = seen_in(both, begins_s)
            assert found.pull_rise_ms[kind, point] == pytest.approx(seen.rise_ms[0], abs=0.5, nan_ok=True)
            assert found.pull_sag_percent[kind, point] == pytest.approx(seen.sag_percent[0], abs=0.2, nan_ok=True)
            assert found.pull_best_rise_ms[kind, 0] == pytest.approx(seen.rise_ms[1], abs=0.1)


def test_the_pull_of_two_circuits_is_what_both_leave_of_the_best() -> None:
    two = case(two_circuit_car(1), catalog(**EASY))
    flows: dict[str, Array] = {}
    missed: dict[str, float] = {}
    lost: Array = np.zeros(1)
    for name, circuit in two.circuits.items():
        steps = len(circuit.event.time_s) - 1
        flows[name], missed[name] = np.full((steps, 1), 1e-3), 0.1
        supply, pulling = circuit.verdict.supply, Pulling(circuit.event)
        phi = supply.responses(flows[name]).phi(supply.base(1.0), np.array([0.1]))
        lost = lost + (pulling.best[:, None] - pulling.given(phi))
        best = pulling.best
    both = pulls_in(two.circuits, flows, missed)
    assert both[:, AS_MODELLED.point] == pytest.approx((best[:, None] - lost)[:, 0], abs=1e-3)
    assert both[:, -1] == pytest.approx(best)


@pytest.mark.parametrize("from_throttle", [False, True])
def test_the_model_is_drawn_as_it_would_be_seen(from_throttle: bool) -> None:
    """Over its level and from where it begins: it comes to 1, the best at once and what is fitted later."""
    at = car(3).at(Lateness(1.4, 1.0))
    drawn = model_pull(at, measured(at, Lateness(1.4, 1.0), from_throttle=from_throttle))
    level = (drawn.time_ms >= 1000) & (drawn.time_ms <= 1800)
    for course in (drawn.given, drawn.best):
        assert course[level].mean() == pytest.approx(1.0, abs=0.01)
        begun = np.interp(0.0, drawn.time_ms, np.abs(course))
        assert begun < 0.06 if from_throttle else begun == pytest.approx(0.08, abs=0.01)
    early = (drawn.time_ms > 0) & (drawn.time_ms < 600)
    assert (drawn.best - drawn.given)[early].mean() > 0.01


def test_the_density_is_students_over_both_logarithms() -> None:
    random = np.random.default_rng(1)
    rises, sags = random.uniform(100, 400, (KINDS, 40)), random.uniform(0, 60, (KINDS, 40))
    found = PullInEngines(rises, sags, np.full((KINDS, 1), 120.0))
    pull = PullMeasured(tip_ins=tip_ins(np.full(3, 180.0), np.full(3, 12.0)), from_throttle=True, smoothed_ms=60.0)
    rise_spread = np.hypot(0.06, 6.0 / np.sqrt(3) / 180)
    sag_spread = np.hypot(0.15, 1.5 / np.sqrt(3) / 22)
    kind = FROM_THROTTLE + 1
    expected = stats.t.pdf((np.log(180 / rises[kind]) - SHARED[:, :1]) / rise_spread, 3) / rise_spread
    expected = expected * stats.t.pdf((np.log(22 / (sags[kind] + 10)) - SHARED[:, 1:]) / sag_spread, 3) / sag_spread
    assert pull_density(pull, found) == pytest.approx(expected, rel=1e-9)
    assert SHARED_WEIGHTS.sum() == pytest.approx(1) and pytest.approx([0, 0], abs=1e-12) == (SHARED_WEIGHTS @ SHARED)
    assert np.sqrt(SHARED_WEIGHTS @ SHARED**2) == pytest.approx([0.2, 0.2], rel=0.06)


def test_an_engine_that_never_pulls_is_left_to_a_spoilt_recording() -> None:
    nothing = PullInEngines(np.full((KINDS, 2), np.nan), np.full((KINDS, 2), np.nan), np.full((KINDS, 1), 120.0))
    pull = PullMeasured(tip_ins=tip_ins(np.array([150.0]), np.array([3.0])), from_throttle=False, smoothed_ms=30.0)
    assert (pull_density(pull, nothing) == 0.0).all()


def test_several_tip_ins_weigh_as_several_as_far_as_they_agree() -> None:
    def doubt(*rises: float) -> float:
        both = tip_ins(np.array(rises), np.zeros(len(rises)))
        return told_of(PullMeasured(tip_ins=both, from_throttle=False, smoothed_ms=30)).rise_doubt_ms

    assert doubt(150.0) == pytest.approx(6.0) and doubt(*[150.0] * 4) == pytest.approx(3.0)
    scattered = (120.0, 150.0, 180.0, 150.0)
    assert doubt(*scattered) == pytest.approx(np.std(scattered, ddof=1) / 2)


def likely(rise: Array, sag: Array, of: PullMeasured) -> Array:
    return pull_density(of, PullInEngines(np.tile(rise, (KINDS, 1)), np.tile(sag, (KINDS, 1)), np.ones((KINDS, 1))))


def test_no_number_of_runs_makes_surer_than_the_model_is() -> None:
    """A hundred runs that agree leave what two leave, about, and no less than what the model's own error is."""
    rise, sag = 150.0 * FIRST_FUEL**0.7, 10.0 * MAIN_CIRCUIT**2
    pull = PullMeasured(tip_ins=tip_ins(np.full(3, 150.0), np.full(3, 10.0)), from_throttle=True, smoothed_ms=30.0)
    density = likely(rise, sag, pull)
    spreads = []
    for count in (1, 10, 100):
        masses = pulls_together([density] * count, np.ones(len(FIRST_FUEL)))
        seeming = SHARED_WEIGHTS @ (0.95 * density + 0.05 * 0.15) ** count
        own, without = (one / one.sum() @ np.log(FIRST_FUEL) ** 2 for one in (masses, seeming))
        assert own == pytest.approx(without + SMEARED**2, rel=0.15)
        spreads.append(np.sqrt(own))
    assert spreads[0] > spreads[1] > 0.98 * spreads[2] > SMEARED


def test_regions_hold_as_often_as_they_say_where_the_model_is_wrong_for_all_runs_of_a_car() -> None:
    """Errors drawn as they are assumed, shared ones once a car: nine in ten are held; without their share far fewer."""
    random, before = np.random.default_rng(5), prior(AS_MODELLED, 0.35).masses
    held, unshared = [], []
    for _ in range(120):
        first, main = np.exp(0.35 * random.normal(size=2).clip(-2.2, 2.2))
        smeared = np.exp(SMEARED * random.normal(size=2))
        shared = np.exp(0.2 * random.normal(size=2))
        densities = []
        for slope in (0.6, 0.3, 0.9):
            rises, sags = 160.0 * FIRST_FUEL**slope, 15.0 * (MAIN_CIRCUIT * FIRST_FUEL**-slope) ** 1.5
            own = np.exp([0.06, 0.15] * random.standard_t(3, 2))
            true = (
                160.0 * (first * smeared[0]) ** slope,
                15.0 * (main * smeared[1] * (first * smeared[0]) ** -slope) ** 1.5,
            )
            rise, sag = true[0] * shared[0] * own[0], max((true[1] + 10.0) * shared[1] * own[1] - 10.0, 0.0)
            both = tip_ins(rise + random.normal(0, 6, 3), np.clip(sag + random.normal(0, 1.5, 3), 0.0, None))
            densities.append(likely(rises, sags, PullMeasured(tip_ins=both, from_throttle=True, smoothed_ms=30.0)))
        point = Lateness(float(first), float(main)).point
        middle = len(SHARED) // 2
        held.append(holds(before * pulls_together(densities, np.ones(len(FIRST_FUEL))), point))
        unshared.append(holds(before * np.prod([one[middle] for one in densities], axis=0), point))
    assert 0.85 <= np.mean(held) <= 0.97 and np.mean(unshared) < 0.8


def holds(masses: Array, point: int) -> bool:
    order = np.argsort(-masses)
    below = np.cumsum(masses[order] / masses.sum()) - masses[order] / masses.sum()
    return bool(below[order == point][0] < 0.9)


def test_a_pull_moves_the_belief_towards_the_engine_that_gave_it() -> None:
    """On random cars: nearer to it than before on the mean, and a run with the throttle at least as near."""
    before, after = [], {False: [], True: []}  # type: ignore[var-annotated]
    for seed in (0, 3, 6):
        for first, main in ((1.5, 1.0), (0.7, 1.3)):
            for from_throttle in (False, True):
                pull = measured(car(seed), Lateness(first, main), from_throttle=from_throttle)
                found = belief_of(car(seed), [run(car(seed), pull)], said(seed))
                after[from_throttle].append(distance(found, first, main))
            before.append(distance(belief_of(car(seed), []), first, main))
    assert np.mean(after[False]) < 0.97 * np.mean(before) and np.mean(after[True]) < 1.02 * np.mean(after[False])


@cache
def as_fitted(seed: int, nozzle: str = "straight-0.72") -> AsFitted:
    return felt_as_fitted(car(seed, nozzle), traced=False, pulled=True)


def said(seed: int) -> Callable[[Trial, Catalog], Run]:
    """What runs of a car say, with what was fitted worked out once."""

    def by(trial: Trial, _: Catalog) -> Run:
        smaller = trial.codes["front.nozzle"].startswith("straight-0.72")
        return run_with(trial, as_fitted(seed, "straight-0.72" if smaller else "straight-0.80"))

    return by


def distance(belief: Belief, first: float, main: float) -> float:
    off = np.log(FIRST_FUEL / first) ** 2 + np.log(MAIN_CIRCUIT / main) ** 2
    return float(np.sqrt(belief.masses @ off))


def test_a_pull_stands_beside_what_was_felt_and_no_order_matters() -> None:
    at, other = car(3), car(3, "straight-0.80")
    pull = measured(at, Lateness(1.3, 1.0))
    felt, both = run(at, None, "stumble"), run(at, pull, "stumble")
    alone = run(at, pull)
    assert counts(alone) and run_of(alone, at.catalog).pulled is not None
    apart = belief_of(at, [felt, alone], said(3)).masses
    assert belief_of(at, [both], said(3)).masses == pytest.approx(apart, rel=1e-9)
    for less in (felt, alone):
        assert not np.allclose(belief_of(at, [less], said(3)).masses, apart, rtol=0.05)
    runs = [both, run(other, measured(other, Lateness(1.3, 1.0)), "", 2), run(other, None, "smoke", 3)]
    beliefs = [belief_of(at, list(order), said(3)) for order in permutations(runs)]
    assert all(np.array_equal(one.masses, beliefs[0].masses) for one in beliefs) and beliefs[0].runs == 3
