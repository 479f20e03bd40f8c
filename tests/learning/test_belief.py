"""Belief over both unknowns of an engine: against integration written out anew, scipy, and engines that are known."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import permutations
from typing import Any

import numpy as np
import pytest
from building import NOZZLES, case, catalog, easy_case, nozzle, two_circuits, vehicle
from recovery import recover
from scipy import stats

from configurator.arrays import Array
from configurator.book.records import Conditions, Felt, TraceMeasured, Trial, car_of, trial_of
from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case
from configurator.learning.belief import (
    CUT_AT,
    NEVER_PULLS,
    DoubtedRun,
    Run,
    belief_of,
    counts,
    doubted_runs,
    felt_as_fitted,
    felt_with,
    prior,
    prior_of,
    run_of,
)
from configurator.learning.driver import ANSWERS, MISJUDGED_SHARE, answer_chances
from configurator.physics.lateness import AS_MODELLED, FIRST_FUEL, MAIN_CIRCUIT, POINTS, Lateness, Regions
from configurator.physics.pull import FeltPulls, Pulling
from configurator.physics.verdict import Complaints
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS

STOCK = catalog((*NOZZLES, nozzle(0.50), nozzle(0.60), nozzle(0.85)))
AIR = {"rated_flow_m3_min": 15}
DAY = datetime(2026, 5, 2, 10, 0, tzinfo=UTC)
RANDOM = np.random.default_rng(20260503)
TRACE = TraceMeasured(hole_ms=140.0, flood_ms=0.0, lag_ms=80.0, doubt_ms=10.0)


@cache
def fitted_with(nozzle_mm: float, lobe: str = "lobe-low") -> Case:
    """A truck that a nozzle of 0.5 mm leaves hesitating, and more lift than that of lobe-low smoking."""
    front = {"nozzle": f"straight-{nozzle_mm:.2f}", "lobe": lobe}
    return case(vehicle(front=front, carburettor=AIR), STOCK)


def trial(word: str, strength: str = "clear", *, nozzle_mm: float = 0.8, lobe: str = "lobe-low", number: int = 1,
          **more: Any) -> Trial:  # fmt: skip
    felt = None if word == "" else Felt.model_validate({"word": word, "strength": strength})
    run = trial_of(fitted_with(nozzle_mm, lobe), DAY + timedelta(hours=number), felt,
                   more.pop("conditions", Conditions()), **more)  # fmt: skip
    return run.model_copy(update={"number": number})


def felt_at(at: Case, engines: Array, step: int = 1) -> FeltPulls:
    """What is felt of what is fitted in engines of no grid, (n, 2): the mixture of each followed over every time."""
    circuit, fitted = at.circuits["front"], at.car.fitted_circuits["front"]
    lobe = at.as_fitted[SLOTS["front.lobe"]].figures
    shot = circuit.deliver([fitted.nozzle], [fitted.feed_screw], [fitted.pump], [lobe], np.zeros(1))  # type: ignore[list-item]
    responses = circuit.verdict.supply.responses(circuit.flow_kg_s(shot))
    missed = (1 - circuit.film_share([fitted.nozzle])) / engines[:, 0]
    base = np.concatenate([circuit.event.base_phi(some) for some in np.array_split(engines[:, 1], 8)], axis=1)
    return Pulling(circuit.event).felt(responses.filmed, responses.sooner, missed, base)


def beyond(at: Case, engines: Array) -> Array:
    """Complaints at once, later and of too much, and of any delay, ln((felt + a)/(allowed + a)) written out, (4, n)."""
    felt = felt_at(at, engines)
    delay, lean, rich = (np.log((ms + 25) / 75) for ms in (felt.delay_ms, felt.lean_delay_ms, felt.rich_delay_ms))
    flat, nose = (np.log((percent + 3) / 9) for percent in (felt.lean_sag_percent, felt.rich_sag_percent))
    return np.array([lean, flat, np.max([rich, nose, np.log((felt.smoke_ms + 60) / 260)], axis=0), delay])


def chance_of(answer: str, complaints: Array) -> Array:
    """Probability of one answer, misjudged runs included: scipy's normal summed over what may be perceived."""
    levels = np.linspace(-4, 12, 3201)
    if answer == "clean":
        rightly = stats.norm.cdf(-complaints[:3] / 0.45).prod(axis=0)
    else:
        kind, strength = answer.split(", ")
        own = ("hesitates", "flat", "rich").index(kind)
        low, high = {"faint": (0, 0.45), "clear": (0.45, 1.2), "strong": (1.2, np.inf)}[strength]
        within = levels[(levels > low) & (levels <= high)]
        others = [complaints[other][:, None] for other in range(3) if other != own]
        below = np.prod([stats.norm.cdf((within - one) / 0.45) for one in others], axis=0)
        here = stats.norm.pdf(within, complaints[own][:, None], 0.45) * below
        rightly = here.sum(axis=1) * (levels[1] - levels[0])
    return np.asarray(0.95 * rightly + 0.05 / 10)


def some_engines(count: int) -> Array:
    """Engines anywhere within the prior."""
    return np.exp(RANDOM.uniform(-0.75, 0.75, (count, 2)))


@pytest.mark.parametrize(("nozzle_mm", "lobe"), [(0.5, "lobe-low"), (0.8, "lobe-low"), (1.2, "lobe-high")])
def test_what_is_felt_over_the_grid_is_what_each_engine_feels(nozzle_mm: float, lobe: str) -> None:
    """The grid by cubics and every other time, against every time of the very engine."""
    at = fitted_with(nozzle_mm, lobe)
    felt = felt_as_fitted(at, traced=False).felt
    points = RANDOM.choice(len(FIRST_FUEL), 60, replace=False)
    direct = beyond(at, np.column_stack([FIRST_FUEL, MAIN_CIRCUIT])[points])
    grid = np.array([one[0, points] for one in vars(felt).values()])
    off = np.abs(grid - direct)
    assert np.median(off) < 0.02 and np.quantile(off, 0.95) < 0.15
    covered = (direct[1:] <= 0).all(axis=0)
    far_from_the_edge = np.abs(direct[1:].max(axis=0)) > 0.1
    assert (felt.covers[0, points] == covered)[far_from_the_edge].mean() > 0.95


def test_choices_are_felt_as_each_of_them_fitted() -> None:
    at = fitted_with(0.8)
    options = at.options[SLOTS["front.nozzle"]]
    choices: Sequence[Choice] = [
        at.as_fitted | {SLOTS["front.nozzle"]: option} for option in options if option.work != "redrill"
    ][:4]
    together = felt_with(at, "front", choices)
    for place, choice in enumerate(choices):
        alone = felt_as_fitted(
            fitted_with(choice[SLOTS["front.nozzle"]].read(FittedNozzle).diameter_mm), traced=False
        ).felt
        for name, one in vars(alone).items():
            assert getattr(together, name)[place] == pytest.approx(one[0], abs=1e-3), name


def test_a_lobe_that_misses_the_lever_never_pulls() -> None:
    at = fitted_with(0.8)
    long = next(option for option in at.options[SLOTS["front.lobe"]] if option.code == "lobe-long")
    felt = felt_with(at, "front", [at.as_fitted | {SLOTS["front.lobe"]: long}, at.as_fitted])
    assert all((one[0] == NEVER_PULLS).all() and (one[1] < NEVER_PULLS).all() for one in vars(felt).values())


def test_both_circuits_are_felt_together() -> None:
    at = case(two_circuits(), STOCK)
    both = felt_as_fitted(at, traced=True)
    front, rear = (felt_with(at, name, [at.as_fitted]) for name in ("front", "rear"))
    for name, one in vars(both.felt).items():
        assert np.array_equal(one, np.maximum(getattr(front, name), getattr(rear, name)))
    assert not np.array_equal(front.hesitates, rear.hesitates)
    assert both.spells is not None and felt_as_fitted(at, traced=False).spells is None


def test_the_prior_is_two_log_normals_cut_off() -> None:
    at, spread = Lateness(1.2, 0.9), 0.3
    belief = prior(at, spread)
    z = np.log(np.array([FIRST_FUEL / at.first_fuel, MAIN_CIRCUIT / at.main_circuit])) / spread
    density = np.where(np.abs(z).max(axis=0) <= CUT_AT, stats.norm.pdf(z).prod(axis=0), 0.0)
    assert belief.masses == pytest.approx(density / density.sum(), rel=1e-9)
    whole = stats.truncnorm(-CUT_AT, CUT_AT, scale=spread)
    for share in (0.5, 0.8, 0.9):
        for interval, middle in zip(belief.interval(share), (1.2, 0.9), strict=True):
            expected = whole.ppf([0.5 - share / 2, 0.5 + share / 2])
            assert np.log(np.array(interval) / middle) == pytest.approx(expected, abs=0.02)
    assert belief.middle.first_fuel == pytest.approx(1.2, rel=5e-3) and belief.runs == 0


def test_a_prior_about_an_engine_at_the_end_of_the_grid_is_a_belief_too() -> None:
    for engine in (Lateness(0.45, 2.22), Lateness(2.22, 2.22)):
        belief = prior(engine, 0.02)
        assert belief.masses.sum() == pytest.approx(1.0) and (belief.masses >= 0).all()
        assert belief.middle.point == engine.point


def test_sureness_is_the_share_of_belief_at_covered_points() -> None:
    belief = prior(Lateness(1.1, 0.8), 0.35)
    covers = RANDOM.random((3, 2, len(FIRST_FUEL))) < 0.4
    sure = belief.sureness(Regions.of(covers))
    for place in np.ndindex(3, 2):
        assert sure[place] == pytest.approx(sum(m for m, ok in zip(belief.masses, covers[place], strict=True) if ok))
    assert belief.sureness(Regions.of(np.ones((1, len(FIRST_FUEL)), dtype=bool))) == pytest.approx([1.0])


RUNS = (("stumble", "clear", 0.5, "hesitates, clear"), ("clean", "clear", 0.8, "clean"),
        ("smoke", "strong", 1.2, "rich, strong"))  # fmt: skip
LOBES = {0.5: "lobe-low", 0.8: "lobe-low", 1.2: "lobe-high"}


def the_runs() -> list[Trial]:
    return [trial(word, strength, nozzle_mm=mm, lobe=LOBES[mm], number=n)
            for n, (word, strength, mm, _) in enumerate(RUNS, 1)]  # fmt: skip


def test_the_belief_is_that_of_brute_force_on_a_grid_of_its_own() -> None:
    """Engines of a grid that shares none with the program's, followed one by one; chances from scipy."""
    log = (np.arange(24) + 0.5) / 24 * 2 * CUT_AT * 0.35 - CUT_AT * 0.35
    engines = np.exp(np.array(np.meshgrid(log, log, indexing="ij")).reshape(2, -1).T)
    density = stats.norm.pdf(np.log(engines), scale=0.35).prod(axis=1)
    for _, _, mm, answer in RUNS:
        density = density * chance_of(answer, beyond(fitted_with(mm, LOBES[mm]), engines))
    table = (density / density.sum()).reshape(24, 24)
    belief = belief_of(fitted_with(0.8), the_runs())
    assert belief.runs == len(RUNS)
    edges = np.append(log - 0.5 * (log[1] - log[0]), log[-1] + 0.5 * (log[1] - log[0]))
    before = prior(AS_MODELLED, 0.35).interval()
    for masses, found, was in zip((table.sum(axis=1), table.sum(axis=0)), belief.interval(), before, strict=True):
        expected = np.interp([0.05, 0.95], np.append(0.0, np.cumsum(masses)), edges)
        assert np.log(found) == pytest.approx(expected, abs=0.04)
        assert np.abs(np.log(found) - np.log(was)).max() > 0.05 or masses is not table.sum(axis=1)
    middle = np.log([belief.middle.first_fuel, belief.middle.main_circuit])
    assert middle == pytest.approx([table.sum(axis=1) @ log, table.sum(axis=0) @ log], abs=0.02)


def test_the_order_of_runs_does_not_matter_to_the_last_digit() -> None:
    runs = [*the_runs()[:2], trial("", trace=TRACE, number=4)]
    kept = {run.number: run_of(run, STOCK) for run in runs}
    beliefs = [belief_of(fitted_with(0.8), order, lambda one, _: kept[one.number]) for order in permutations(runs)]
    assert all(np.array_equal(beliefs[0].masses, other.masses) for other in beliefs)
    assert len({belief.doubted for belief in beliefs}) == 1


def test_updating_one_by_one_is_the_same_as_all_at_once() -> None:
    step_by_step = prior(AS_MODELLED, 0.35)
    for run in the_runs():
        step_by_step = step_by_step.updated(run_of(run, STOCK).likelihood())
    whole = belief_of(fitted_with(0.8), the_runs())
    assert step_by_step.masses == pytest.approx(whole.masses, rel=1e-9) and step_by_step.runs == whole.runs


def test_a_trace_takes_the_place_of_what_was_felt() -> None:
    both, alone = (run_of(trial(word, trace=TRACE), STOCK) for word in ("clean", ""))
    assert np.array_equal(both.likelihood(), alone.likelihood())
    assert not np.allclose(alone.likelihood(), run_of(trial("clean"), STOCK).likelihood())


def test_a_cold_run_and_one_taken_back_do_not_count() -> None:
    cold = trial("stumble", conditions=Conditions(warm=False))
    undone = trial("stumble").model_copy(update={"undone": True})
    belief = belief_of(fitted_with(0.8), [cold, undone])
    assert not counts(cold) and not counts(undone)
    assert (belief.runs, belief.left_out) == (0, 2)
    assert np.array_equal(belief.masses, belief_of(fitted_with(0.8), []).masses)


def test_a_run_is_judged_under_its_own_conditions() -> None:
    here, high = trial("stumble"), trial("stumble", conditions=Conditions(altitude_m=1800, air_temperature_c=-5))
    assert car_of(high).engine.altitude_m == 1800
    assert not np.allclose(run_of(here, STOCK).rightly, run_of(high, STOCK).rightly)


def test_each_feeling_moves_what_is_believed_its_own_way() -> None:
    """Hesitating: the first fuel is late. Going flat: the main circuit is. Smoke: either comes early."""
    stumble = trial("stumble", "strong")
    assert stumble.felt is not None
    stumble = stumble.model_copy(update={"felt": stumble.felt.model_copy(update={"moment": "at-once"})})
    at = fitted_with(0.8)
    before = belief_of(at, []).middle
    late = belief_of(at, [stumble]).middle
    flat = belief_of(at, [trial("flat", "strong")]).middle
    smoke = belief_of(at, [trial("smoke", "strong")]).middle
    assert late.first_fuel > 1.05 * before.first_fuel
    assert flat.main_circuit > 1.1 * before.main_circuit
    assert flat.main_circuit / flat.first_fuel > late.main_circuit / late.first_fuel
    assert smoke.first_fuel * smoke.main_circuit < 0.95 * before.first_fuel * before.main_circuit
    covers = felt_as_fitted(at, traced=False).felt.covers[0]
    clean, complained, none = (belief_of(at, runs).masses @ covers for runs in ([trial("clean")], [stumble], []))
    assert clean > none > complained, "what was felt clean is surer to be right"


def test_the_spread_of_the_prior_is_the_workshops_to_overrule() -> None:
    sure = belief_of(case(vehicle(), catalog(belief_spread=0.1)), [])
    for interval in sure.interval():
        assert np.log(interval) == pytest.approx([-0.16, 0.16], abs=0.02)


def test_the_prior_stands_about_the_vehicles_own_figures() -> None:
    at = case(vehicle(late_first_fuel=1.3, late_main_circuit=0.8), STOCK)
    assert np.array_equal(belief_of(at, []).masses, prior(Lateness(1.3, 0.8), 0.35).masses)


def run(number: int | None, *rightly: float) -> Run:
    """A run that was so likely in each third of the engines."""
    chances = np.repeat(rightly, POINTS * POINTS // len(rightly))
    return Run(number, chances, 1.0 / len(ANSWERS))


EVEN = np.full(POINTS * POINTS, 1.0 / POINTS**2)


def after(*runs: Run) -> tuple[DoubtedRun, ...]:
    """The runs doubted where every engine was as likely as another before."""
    masses = EVEN * np.prod([one.likelihood() for one in runs], axis=0)
    return doubted_runs(runs, masses / masses.sum())


def test_runs_that_no_one_engine_explains_are_named_with_their_chances() -> None:
    early, late, either = run(7, 0.5, 1e-5, 1e-5), run(4, 1e-5, 1e-5, 0.5), run(5, 0.3, 0.3, 0.3)
    assert after(early, either) == ()
    two = after(early, late, either)
    assert [one.number for one in two] == [4, 7] and two[0].chance == two[1].chance == pytest.approx(0.5, abs=0.02)
    again = run(8, 0.5, 1e-5, 1e-5)
    (one,) = after(early, late, either, again)
    right, wrong = (0.95 * chance / (0.95 * chance + 0.005) for chance in (0.5, 1e-5))
    weights = [(0.95 * a + 0.005) ** 2 * (0.95 * b + 0.005) for a, b in ((0.5, 1e-5), (1e-5, 1e-5), (1e-5, 0.5))]
    by_hand = np.average([wrong, wrong, right], weights=weights)
    assert one.number == 4 and one.chance == pytest.approx(by_hand, abs=1e-4) and by_hand < 0.02
    (never,) = after(run(2, 1e-5, 1e-5, 1e-5), early, either)
    assert never.number == 2


def test_a_contradiction_of_real_runs_is_found_and_runs_near_an_edge_are_none() -> None:
    """A strong stumble with the largest nozzle and smoke with the smallest and least lift."""
    lean = trial("stumble", "strong", nozzle_mm=1.2, lobe="lobe-high", number=7)
    rich = trial("smoke", "strong", nozzle_mm=0.5, number=4)
    found = belief_of(fitted_with(0.8), [lean, rich]).doubted
    assert found and {one.number for one in found} <= {4, 7}
    once, again = trial("stumble", "faint", number=1), trial("clean", number=2)
    assert belief_of(fitted_with(0.8), [once, again]).doubted == ()


def test_a_driver_who_errs_as_assumed_is_hardly_ever_doubted() -> None:
    """Six runs of parts near one another, in engines drawn from the prior; one in twenty is misjudged."""
    chance, at = np.random.default_rng(2), easy_case(vehicle())
    slots = [SLOTS[f"front.{slot}"] for slot in ("nozzle", "lobe")]
    nozzles, lobes = (list(at.on_offer[slot]) for slot in slots)
    choices = [{**at.as_fitted, slots[0]: one, slots[1]: other} for one in nozzles for other in lobes]
    chances = answer_chances(felt_with(at, "front", choices))
    before = prior_of(at).masses
    doubted: dict[bool, list[bool]] = {True: [], False: []}
    rightly_named: list[bool] = []
    for _ in range(600):
        point, runs, misjudged = int(chance.choice(len(before), p=before)), [], set()
        for number in range(6):
            parts, own = int(chance.integers(len(choices))), chances[:, :, point]
            if chance.random() < MISJUDGED_SHARE:
                misjudged.add(number)
                answer = int(chance.integers(len(ANSWERS)))
            else:
                answer = int(chance.choice(len(ANSWERS), p=own[:, parts] / own[:, parts].sum()))
            runs.append(Run(number, chances[answer, parts], 1.0 / len(ANSWERS)))
        masses = before * np.prod([one.likelihood() for one in runs], axis=0)
        found = doubted_runs(runs, masses / masses.sum())
        doubted[not misjudged].append(bool(found))
        rightly_named += [bool({one.number for one in found} & misjudged)] if found else []
    assert np.mean(doubted[True]) < 0.02, "none was misjudged"
    assert np.mean(doubted[False]) > 0.1 and np.mean(rightly_named) > 0.9


def test_the_worst_of_two_and_some_of_many() -> None:
    one, other = (Complaints(*RANDOM.normal(size=(4, 5, 7))) for _ in range(2))
    assert np.array_equal(one.worst_with(other).flat, np.maximum(one.flat, other.flat))
    assert np.array_equal(one.take(np.array([3, 1])).rich, one.rich[[3, 1]])


def test_a_90_percent_region_holds_9_engines_in_10() -> None:
    """60 engines of two cars, tried one to five times; tests/benchmarks/recovery.py does it with more."""
    held = recover(60, seed=4, each=30, searches=False).held[0]
    low, high = stats.binom.ppf([1e-4, 1 - 1e-4], 60, 0.9)
    for which in held.T:
        assert low <= which.sum() <= high
