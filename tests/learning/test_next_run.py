"""The next run: the step ahead against sums written out, stopping, the shelf, and searches faster than by practice."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from building import LOBES, NOZZLES, TRUCK, case, catalog, lobe, nozzle, two_circuits, vehicle
from simulate_searches import WAYS, by_belief, drawn, random_engine, searched, simulate

from configurator.advice.next_step import NextReport, what_next
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.judging.table import DEMAND
from configurator.learning.belief import FACTORS, SCALE, Belief, belief_of, prior
from configurator.learning.candidates import candidates, fitted_after, minutes_between
from configurator.learning.next_run import COMEBACK_MIN, RUN_MIN, RunField, expected_minutes, next_step
from configurator.slots.slot import SLOTS

STOCK = catalog((*NOZZLES, nozzle(0.75), nozzle(0.85), nozzle(0.95)))
DAY = datetime(2026, 5, 2, 10, 0, tzinfo=UTC)


def truck(nozzle_mm: float = 0.7) -> Case:
    return case(vehicle(front={"nozzle": f"straight-{nozzle_mm:.2f}"}), STOCK)


def runs(at: Case, *felt: tuple[str, str]) -> list[Trial]:
    return [
        trial_of(at, DAY + timedelta(hours=n), Felt.model_validate({"word": word, "strength": strength}), Conditions())
        .model_copy(update={"number": n + 1})
        for n, (word, strength) in enumerate(felt)
    ]  # fmt: skip


def small_field() -> RunField:
    """Three combinations: lean above f = 0.8, lean above 1.25, rich below 1.0; the last takes 40 minutes to fit."""
    log = np.log(FACTORS)
    lean = np.array([6.0 * (log - np.log(0.8)), 6.0 * (log - np.log(1.25)), np.full(len(log), -1.1)])
    rich = np.array([np.full(len(log), -1.9), np.full(len(log), -1.9), -6.0 * log])
    minutes = np.array([[0.0, 15.0, 40.0], [15.0, 0.0, 40.0], [15.0, 15.0, 0.0]])
    return RunField(np.clip(lean, -1.1, 4.0), np.clip(rich, -1.9, 4.0), minutes, np.array([True, True, True]))


def minutes_by_hand(field: RunField, belief: Belief, now: int, run: int) -> float:
    """What expected_minutes works out at once, one outcome and one combination at a time."""
    total = field.minutes[now, run] + RUN_MIN
    for step in range(len(SCALE)):
        weights = [m * field.chances[step, run, i] for i, m in enumerate(belief.masses)]
        likely = sum(weights)

        def comeback(choice: int, weights: Sequence[float] = weights, likely: float = likely) -> float:
            right = sum(w for i, w in enumerate(weights) if field.lean[choice, i] <= 0 and field.rich[choice, i] <= 0)
            return COMEBACK_MIN * (1 - right / likely)

        ways = [comeback(run)]
        ways += [field.minutes[run, c] + RUN_MIN + comeback(c) for c in range(len(field.open)) if field.open[c]]
        total += likely * min(ways)
    return float(total)


def test_the_step_ahead_is_the_sum_over_outcomes_written_out() -> None:
    field, belief = small_field(), prior(1.1, 0.3)
    worth = expected_minutes(field, belief, 0)
    for run in range(3):
        assert worth[run] == pytest.approx(minutes_by_hand(field, belief, 0, run), rel=1e-9)
    advice = next_step(field, belief, 0)
    assert advice.choice == advice.run == int(np.argmin(worth)) and advice.do == "try"
    assert advice.costs_min == field.minutes[0, advice.run] + RUN_MIN


def test_what_may_not_be_tried_is_not() -> None:
    field = small_field()
    barred = RunField(field.lean, field.rich, field.minutes, np.array([True, False, False]))
    assert np.isinf(expected_minutes(barred, prior(1.1, 0.3), 0)[1:]).all()
    assert next_step(barred, prior(1.1, 0.3), 0).choice == 0


def test_it_stops_where_a_run_saves_less_than_it_costs() -> None:
    sure = prior(0.6, 0.05)
    advice = next_step(small_field(), sure, 0)
    assert advice.do == "stop" and advice.choice == 0 and advice.sureness > 0.99
    assert advice.saves_min < advice.costs_min


def test_dearer_spanner_work_is_chosen_only_for_what_it_brings() -> None:
    """Two combinations alike but for the minutes they take: the quicker one is tried."""
    field = small_field()
    lean, rich = field.lean[[0, 1, 1]], field.rich[[0, 1, 1]]
    for quick, minutes in ((1, [0.0, 15.0, 40.0]), (2, [0.0, 40.0, 15.0])):
        alike = RunField(lean, rich, np.array([minutes] * 3) * (1 - np.eye(3)), field.open)
        assert next_step(alike, prior(1.1, 0.3), 0).choice == quick


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
    swapped = trial_of(at, DAY + timedelta(days=1), Felt(word="stumble"), Conditions(), choice=other)
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


def test_searches_end_sooner_than_by_practice() -> None:
    """Thirty of the engines of docs/belief.md: no more runs in the middle, fewer of the long searches."""
    found = simulate(30, seed=7)
    for way in set(WAYS) - {"belief"}:
        assert np.median(found["belief"][:, 0]) <= np.median(found[way][:, 0])
        assert np.percentile(found["belief"][:, 0], 90) < np.percentile(found[way][:, 0], 90)


def test_a_search_counts_its_runs_and_minutes() -> None:
    engine = None
    random = np.random.default_rng(5)
    while engine is None:
        engine = random_engine(random)
    right = np.flatnonzero(engine.field.covers[:, engine.factor])

    def honest(place: int, run: int) -> int:
        return 2 if place in right else 1 if place < right[0] else 3

    count, minutes = searched(engine, by_belief, honest)
    assert 1 < count < 10 and minutes == pytest.approx(RUN_MIN * count + 15 * (count - 1))
    assert drawn(engine, 1)(0, 0) == drawn(engine, 1)(0, 0)
