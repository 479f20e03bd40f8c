"""The next run: the step ahead against sums written out, stopping, the shelf, and searches faster than by practice."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np
import pytest
from building import LOBES, NOZZLES, TRUCK, case, catalog, lobe, nozzle, two_circuits, vehicle
from simulate_searches import (
    MINUTES,
    Car,
    Engine,
    Searching,
    amiss,
    by_belief,
    drawn,
    in_words,
    perceived,
    random_car,
    searched,
)

from configurator.advice.next_step import NextReport, what_next
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.judging.table import DEMAND
from configurator.learning import candidates as learning_candidates
from configurator.learning.belief import Belief, belief_of, felt_with, prior
from configurator.learning.candidates import candidates, minutes_between
from configurator.learning.driver import ANSWERS, answer_chances
from configurator.learning.next_run import COMEBACK_MIN, RUN_MIN, RunField, expected_minutes, next_step
from configurator.physics.lateness import FIRST_FUEL, MAIN_CIRCUIT, Lateness, Regions
from configurator.physics.verdict import Complaints
from configurator.slots.slot import SLOTS

NOZZLE = SLOTS["front.nozzle"]
STOCK = catalog((*NOZZLES, nozzle(0.50), nozzle(0.60), nozzle(0.75), nozzle(0.85)))
DAY = datetime(2026, 5, 2, 10, 0, tzinfo=UTC)


def truck(nozzle_mm: float = 0.7, lobe: str = "lobe-low") -> Case:
    """A truck that a nozzle of 0.5 mm leaves hesitating, and more lift than that of lobe-low smoking."""
    front = {"nozzle": f"straight-{nozzle_mm:.2f}", "lobe": lobe}
    return case(vehicle(front=front, carburettor={"rated_flow_m3_min": 12}), STOCK)


def runs(at: Case, *felt: tuple[str, str]) -> list[Trial]:
    said = [Felt.model_validate({"word": word, "strength": strength}) for word, strength in felt]
    return [
        trial_of(at, DAY + timedelta(hours=n), one, Conditions()).model_copy(update={"number": n + 1})
        for n, one in enumerate(said)
    ]


def small_field() -> RunField:
    """Three combinations: one hesitates where the first fuel is later than 0.8, one where it is later than 1.25, and
    goes flat where the main circuit is; one smokes where both are early, and takes 40 minutes to fit."""
    first, main = 4.0 * np.log(FIRST_FUEL), 4.0 * np.log(MAIN_CIRCUIT)
    nothing = np.full_like(first, -1.1)
    hesitates = np.clip([first - 4.0 * np.log(0.8), first - 4.0 * np.log(1.25), nothing], -1.1, 4.0)
    flat = np.clip([nothing, main - 4.0 * np.log(1.25), nothing], -1.1, 4.0)
    rich = np.clip([nothing, nothing, -0.5 * (first + main)], -1.1, 4.0)
    minutes = np.array([[0.0, 15.0, 40.0], [15.0, 0.0, 40.0], [15.0, 15.0, 0.0]])
    return RunField(Complaints(hesitates, flat, rich, hesitates), minutes, np.array([True, True, True]))


def minutes_by_hand(field: RunField, belief: Belief, now: int, run: int) -> float:
    """What expected_minutes works out at once, one answer and one combination at a time."""
    right = np.all([field.felt.late <= 0, field.felt.flat <= 0, field.felt.rich <= 0], axis=0)
    total = field.minutes[now, run] + RUN_MIN
    for answer in range(len(ANSWERS)):
        weights = belief.masses * field.chances[answer, run]
        likely = weights.sum()
        comeback = [COMEBACK_MIN * (1 - weights[right[choice]].sum() / likely) for choice in range(len(field.open))]
        ways = [comeback[run]]
        ways += [field.minutes[run, c] + RUN_MIN + comeback[c] for c in range(len(field.open)) if field.open[c]]
        total += likely * min(ways)
    return float(total)


def test_the_chances_of_a_run_are_those_of_its_driver_with_some_misjudged() -> None:
    field = small_field()
    assert field.chances == pytest.approx(0.95 * answer_chances(field.felt) + 0.05 / 10)
    belief = prior(Lateness(1.1, 0.9), 0.3)
    shares = [sum(belief.masses[right]) for right in field.felt.covers]
    assert field.sureness(belief) == pytest.approx(shares)


def test_the_step_ahead_is_the_sum_over_outcomes_written_out() -> None:
    """To what engines hardly believed in weigh, which are not looked at."""
    field, belief = small_field(), prior(Lateness(1.1, 1.0), 0.3)
    for now in range(3):
        worth = expected_minutes(field, belief, now)
        for run in range(3):
            assert worth[run] == pytest.approx(minutes_by_hand(field, belief, now, run), rel=1e-3)
    worth = expected_minutes(field, belief, 0)
    advice = next_step(field, belief, 0)
    assert advice.choice == advice.run == int(np.argmin(worth)) and advice.do == "try"
    assert advice.costs_min == field.minutes[0, advice.run] + RUN_MIN


def test_what_may_not_be_tried_is_not() -> None:
    field = small_field()
    barred = replace(field, open=np.array([True, False, False]))
    assert np.isinf(expected_minutes(barred, prior(Lateness(1.1, 1.0), 0.3), 0)[1:]).all()
    assert next_step(barred, prior(Lateness(1.1, 1.0), 0.3), 0).choice == 0


def test_it_stops_where_a_run_saves_less_than_it_costs() -> None:
    sure = prior(Lateness(0.6, 0.6), 0.05)
    advice = next_step(small_field(), sure, 0)
    assert advice.do == "stop" and advice.choice == 0 and advice.sureness > 0.99
    assert advice.saves_min < advice.costs_min


def test_dearer_spanner_work_is_chosen_only_for_what_it_brings() -> None:
    """Two combinations alike but for the minutes they take: the quicker one is tried."""
    field = small_field()
    felt = field.felt.take(np.array([0, 1, 1]))
    for quick, minutes in ((1, [0.0, 15.0, 40.0]), (2, [0.0, 40.0, 15.0])):
        alike = RunField(felt, np.array([minutes] * 3) * (1 - np.eye(3)), field.open)
        assert next_step(alike, prior(Lateness(1.1, 1.0), 0.3), 0).choice == quick


def test_minutes_between_combinations_are_the_labour_of_what_goes_in() -> None:
    at = truck()
    other = at.as_fitted | {
        SLOTS["front.nozzle"]: at.options[SLOTS["front.nozzle"]][2],
        SLOTS["front.lobe"]: at.options[SLOTS["front.lobe"]][2],
    }
    labour = other[SLOTS["front.nozzle"]].labour_min + other[SLOTS["front.lobe"]].labour_min
    assert minutes_between(at, [at.as_fitted, other]).tolist() == [[0.0, labour], [30.0, 0.0]]


def changes_of(report: NextReport) -> dict[str, tuple[float, float]]:
    """Sizes of nozzles and lifts of lobes that are changed, before and after."""
    lifts = {one.code: one.total_lift_mm for one in STOCK.lobes.values()}

    def figure(label: str) -> float:
        return float(label[9:13]) if label.startswith("straight") else lifts[label.split(" at ")[0]]

    assert report.do == "try"
    return {change.slot: (figure(change.from_), figure(change.to)) for change in report.changes}


def test_a_stumble_sends_to_a_larger_nozzle_and_smoke_to_a_smaller_or_less_lift() -> None:
    before, after = changes_of(what_next(truck(0.5), runs(truck(0.5), ("stumble", "strong"))))["front.nozzle"]
    assert after > before
    at = truck(1.2, "lobe-high")
    for before, after in changes_of(what_next(at, runs(at, ("smoke", "strong")))).values():
        assert after < before


def covered(at: Case) -> Regions:
    """Engines that what is fitted is right for."""
    return Regions.of(felt_with(at, "front", [at.as_fitted]).covers)


def test_after_clean_runs_it_says_to_leave_the_car() -> None:
    at = truck(0.6)
    report = what_next(at, runs(at, ("clean", "clear"), ("clean", "clear")))
    assert (report.do, report.changes, report.labour_min, report.outcomes) == ("stop", [], 0.0, [])
    assert report.sureness > belief_of(at, []).sureness(covered(at)).item() and report.belief.runs == 2
    assert report.why == "it pulled cleanly with what is in the car: stop here"


def test_of_many_candidates_those_are_looked_at_that_are_worth_most(monkeypatch: pytest.MonkeyPatch) -> None:
    """By work and by how sure they are, apart from what is fitted and the nozzles that go with it."""
    at = truck()
    belief = belief_of(at, runs(at, ("stumble", "strong")))
    every = candidates(at, belief, at.as_fitted)
    monkeypatch.setattr(learning_candidates, "MOST_OF_ONE_CIRCUIT", 30)
    some = candidates(at, belief, at.as_fitted)
    assert len(every.choices) > len(some.choices) == 30 and every.choices[0] == some.choices[0]
    again = felt_with(at, "front", some.choices)
    assert np.array_equal(some.field.felt.rich, again.rich) and np.array_equal(some.field.felt.covers, again.covers)
    worth = every.field.minutes[0] + (1 - every.field.covers @ belief.masses) * COMEBACK_MIN
    nozzle_only = [sum(option.changed for option in choice.values()) < 2 and choice[NOZZLE].changed
                   for choice in every.choices]  # fmt: skip
    kept = np.array([choice in some.choices for choice in every.choices])
    others = every.field.open & ~np.array(nozzle_only)
    others[0] = False
    assert all(kept[place] for place in np.flatnonzero(np.array(nozzle_only) & every.field.open))
    assert worth[others & kept].max() <= worth[others & ~kept].min() + 1e-6


def test_every_candidate_keeps_every_hard_rule_but_the_demand() -> None:
    at = truck()
    found = candidates(at, belief_of(at, []), at.as_fitted)
    checked = [c for c, ok in zip(found.choices, found.field.open, strict=True) if ok][::9]
    assert len(checked) > 5
    for choice in checked:
        broken = [
            f.rule for f in findings(at, {**at.as_fitted, **choice}) if f.severity == "conflict" and f.holds is False
        ]
        assert set(broken) <= set(DEMAND), broken


def test_nothing_is_drilled_for_a_trial() -> None:
    at = truck()
    found = candidates(at, belief_of(at, []), at.as_fitted)
    assert {option.work for choice in found.choices for option in choice.values()} == {"none", "fit", "rephase"}
    assert any(option.work == "redrill" for option in at.options[SLOTS["front.nozzle"]])


def test_only_what_is_on_the_shelf() -> None:
    at = truck()
    report = what_next(at, runs(at, ("stumble", "strong")), {"straight-0.80": 1, "lobe-high": 0})
    assert [change.code for change in report.changes if change.slot == "front.nozzle"] in ([], ["straight-0.80"])
    found = candidates(at, belief_of(at, []), at.as_fitted, {"straight-0.80": 1})
    fitted = {o.code for choice in found.choices for o in choice.values() if o.work == "fit"}
    assert fitted == {"straight-0.80"}


def test_both_circuits_cannot_have_the_only_one_on_the_shelf() -> None:
    at = case(two_circuits(), STOCK)
    for count, both in ((1, False), (2, True)):
        found = candidates(at, belief_of(at, []), at.as_fitted, {"straight-0.70": count})
        pairs = [
            ok for choice, ok in zip(found.choices, found.field.open, strict=True)
            if choice[SLOTS["front.nozzle"]].code == choice[SLOTS["rear.nozzle"]].code == "straight-0.70"
        ]  # fmt: skip
        assert pairs and any(pairs) is both


def test_nothing_to_try_is_an_answer() -> None:
    """A lobe made for the other pump's lever, and no other part in the catalogue or on the shelf."""
    car = vehicle(TRUCK, front={"lobe": "lobe-long", "phase_deg": 4})
    report = what_next(case(car, catalog((nozzle(0.80),), lobes=(*LOBES[:1], lobe("lobe-long", 4.6, lever="long",
                       phases_deg=(4.0,))))), [], {})  # fmt: skip
    assert report.do == "nothing" and "on the shelf" in report.why


def test_slack_in_the_linkage_is_to_be_taken_out_first() -> None:
    report = what_next(case(vehicle(front={"slack_mm": 0.6}), STOCK), [])
    assert report.notes == ["front: take the 0.6 mm slack out of the linkage first; it is reckoned as set"]


def test_chances_of_the_outcomes_add_up() -> None:
    report = what_next(truck(0.5), runs(truck(0.5), ("stumble", "clear")))
    assert [outcome.felt for outcome in report.outcomes] == ["clean", "hesitates", "goes flat", "too much fuel"]
    assert sum(outcome.chance for outcome in report.outcomes) == pytest.approx(1.0, abs=2e-4)


@cache
def engines() -> list[Engine]:
    """A few engines of one random car, parts fitted that are not right for them."""
    random = np.random.default_rng(5)
    while True:
        car = Car.of(random_car(random))
        found = [engine for engine in (amiss(random, car) for _ in range(4)) if engine is not None]
        if len(found) == 4:
            return found


def test_with_a_driver_who_never_errs_a_search_ends_soon_and_with_parts_that_are_right() -> None:
    """With one who does, tests/benchmarks/recovery.py measures it."""
    for engine in engines():
        found = searched(engine, by_belief, lambda parts, run, one=engine: rightly_felt(one, parts))  # type: ignore[misc]
        assert found.right and found.runs <= 5


def rightly_felt(engine: Engine, parts: int) -> Felt:
    return in_words(perceived(engine.complaints[:, parts], np.array([0.0, 0.0, 0.0, 1.0, 0.0])), 1.0)


def test_a_search_counts_runs_after_the_first_complaint_and_its_minutes() -> None:
    engine = engines()[0]
    right = int(np.flatnonzero(engine.right)[0])

    def straight(_: Engine) -> Searching:
        while (yield engine.fitted).word != "clean":
            yield right
            return

    found = searched(engine, straight, drawn(engine, 1))
    assert (found.runs, found.right) == (1, True)
    assert found.minutes == pytest.approx(RUN_MIN + MINUTES[engine.fitted, right])
    assert drawn(engine, 1)(3, 2) == drawn(engine, 1)(3, 2) and drawn(engine, 1)(engine.fitted, 0).word != "clean"
