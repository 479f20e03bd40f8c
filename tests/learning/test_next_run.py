"""The next run: the step ahead against sums written out, stopping, the shelf, and searches faster than by practice."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from building import LOBES, NOZZLES, TRUCK, case, catalog, lobe, nozzle, two_circuits, vehicle
from simulate_searches import MINUTES, WAYS, Car, Engine, Searching, amiss, drawn, random_car, searched

from configurator.advice.next_step import NextReport, what_next
from configurator.book.records import Conditions, Trial, trial_of
from configurator.book.records import Felt as FeltWord
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.judging.table import DEMAND
from configurator.learning.belief import Belief, belief_of, felt_with, prior
from configurator.learning.candidates import candidates, fitted_after, minutes_between
from configurator.learning.driver import ANSWERS, answer_chances
from configurator.learning.next_run import COMEBACK_MIN, RUN_MIN, RunField, expected_minutes, next_step
from configurator.physics.lateness import FIRST_FUEL, MAIN_CIRCUIT, Lateness
from configurator.physics.verdict import Felt
from configurator.slots.slot import SLOTS

STOCK = catalog((*NOZZLES, nozzle(0.50), nozzle(0.60), nozzle(0.75), nozzle(0.85)))
DAY = datetime(2026, 5, 2, 10, 0, tzinfo=UTC)


def truck(nozzle_mm: float = 0.7, lobe: str = "lobe-low") -> Case:
    """A truck that a nozzle of 0.5 mm leaves hesitating, and more lift than that of lobe-low smoking."""
    front = {"nozzle": f"straight-{nozzle_mm:.2f}", "lobe": lobe}
    return case(vehicle(front=front, carburettor={"rated_flow_m3_min": 15}), STOCK)


def runs(at: Case, *felt: tuple[str, str]) -> list[Trial]:
    return [
        trial_of(at, DAY + timedelta(hours=n), FeltWord.model_validate({"word": word, "strength": strength}), Conditions())
        .model_copy(update={"number": n + 1})
        for n, (word, strength) in enumerate(felt)
    ]  # fmt: skip


def small_field() -> RunField:
    """Three combinations: one hesitates where the first fuel is later than 0.8, one where it is later than 1.25 and goes
    flat where the main circuit is, one smokes where both are early; the last takes 40 minutes to fit."""
    first, main = 4.0 * np.log(FIRST_FUEL), 4.0 * np.log(MAIN_CIRCUIT)
    nothing = np.full_like(first, -1.1)
    hesitates = np.clip([first - 4.0 * np.log(0.8), first - 4.0 * np.log(1.25), nothing], -1.1, 4.0)
    flat = np.clip([nothing, main - 4.0 * np.log(1.25), nothing], -1.1, 4.0)
    rich = np.clip([nothing, nothing, -0.5 * (first + main)], -1.1, 4.0)
    minutes = np.array([[0.0, 15.0, 40.0], [15.0, 0.0, 40.0], [15.0, 15.0, 0.0]])
    return RunField(Felt(hesitates, flat, rich, hesitates), minutes, np.array([True, True, True]))


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


def test_a_stumble_sends_to_a_larger_nozzle_and_smoke_to_a_smaller() -> None:
    lean = what_next(truck(0.7), runs(truck(0.7), ("stumble", "strong")))
    rich = what_next(truck(1.2), runs(truck(1.2), ("smoke", "strong"), ("smoke", "strong")))
    for report, larger in ((lean, True), (rich, False)):
        change = next(c for c in report.changes if c.slot == "front.nozzle")
        assert report.do == "try" and (float(change.to[9:13]) > float(change.from_[9:13])) is larger


def test_after_clean_runs_it_says_to_leave_the_car() -> None:
    at = truck(0.9)
    report = what_next(at, runs(at, ("clean", "clear"), ("clean", "clear")))
    assert (report.do, report.changes, report.labour_min, report.outcomes) == ("stop", [], 0.0, [])
    assert report.sureness > 0.9 and report.belief.runs == 2
    assert report.why == "nothing that may be tried is surer to be right than what is in the car"


def test_candidates_are_surest_and_their_field_is_what_is_felt_of_them() -> None:
    """Of what may be tried, none that is left out for its sureness would take less work and be surer."""
    at = truck()
    belief = belief_of(at, runs(at, ("stumble", "strong")))
    found = candidates(at, belief, at.as_fitted)
    again = felt_with(at, "front", found.choices)
    assert found.choices[found.now] == {slot: at.as_fitted[slot] for slot in found.choices[0]}
    assert np.array_equal(found.field.felt.hesitates, again.hesitates)
    assert np.array_equal(found.field.felt.covers, again.covers)
    assert len({tuple(choice.values()) for choice in found.choices}) == len(found.choices)


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


def test_the_last_run_says_what_sits_in_the_car() -> None:
    at = truck()
    other = at.as_fitted | {SLOTS["front.nozzle"]: at.options[SLOTS["front.nozzle"]][3]}
    first, second = runs(at, ("stumble", "clear"), ("stumble", "clear"))
    swapped = trial_of(at, DAY + timedelta(days=1), FeltWord(word="stumble"), Conditions(), choice=other)
    assert fitted_after(at, [first, swapped, second]) == other
    assert fitted_after(at, [first, swapped.model_copy(update={"undone": True})]) == at.as_fitted
    report = what_next(at, [first, swapped])
    assert all(change.from_ != at.as_fitted[SLOTS["front.nozzle"]].label for change in report.changes)


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
    report: NextReport = what_next(truck(), runs(truck(), ("stumble", "clear")))
    assert [outcome.felt for outcome in report.outcomes] == ["lean", "right", "rich"]
    assert sum(outcome.chance for outcome in report.outcomes) == pytest.approx(1.0, abs=2e-4)


def engines() -> list[Engine]:
    """A few engines of one random car, parts fitted that are not right for them."""
    random = np.random.default_rng(5)
    while True:
        car = Car.of(random_car(random))
        found = [engine for engine in (amiss(random, car) for _ in range(6)) if engine is not None]
        if len(found) == 6:
            return found


def test_searches_of_random_engines_end_sooner_than_by_practice() -> None:
    """Each under two lucks; tests/benchmarks/recovery.py does it with more."""
    many = [(engine, drawn(engine, seed)) for engine in engines() for seed in range(2)]
    ends = {way: [searched(engine, search, felt) for engine, felt in many] for way, (_, search) in WAYS.items()}
    runs, minutes = ({way: np.mean([getattr(one, name) for one in found]) for way, found in ends.items()}
                     for name in ("runs", "minutes"))  # fmt: skip
    assert runs["belief"] <= runs["trade"] and minutes["belief"] < minutes["trade"]


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
