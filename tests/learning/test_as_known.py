"""What a case is judged at: by its runs, else by what was felt, else by its file."""

from datetime import timedelta

import building
import numpy as np
import pytest
from runs import AT, run

from configurator.book.records import Conditions, Felt, trial_of
from configurator.car.fitted import FittedNozzle
from configurator.judging.feelings import SYMPTOMS, symptom_felt
from configurator.learning.as_known import SURE_ENOUGH, Known, belief_by, known_by
from configurator.learning.belief import belief_of, prior_of
from configurator.physics.lateness import Lateness
from configurator.slots.slot import SLOTS

CASE = building.case(
    building.vehicle(
        front={"nozzle": "straight-0.70", "slack_mm": 0.3, "lobe": "lobe-low"}, late_first_fuel=0.9,
        carburettor={"rated_flow_m3_min": 15},
    )
)  # fmt: skip


def masses(known: Known) -> np.ndarray:
    assert known.belief is not None
    return known.belief.masses


def test_without_runs_and_feeling_the_file_says_it() -> None:
    known = known_by(CASE, [])
    assert (known.case.engine, known.case.linkage_set, known.belief) == (Lateness(0.9, 1.0), True, None)
    assert known.says == "by the vehicle file: no run has been logged"
    assert np.array_equal(known.believed.masses, prior_of(CASE).masses)
    assert known.choosing() is known.case, "in the engine of the file, not by a belief that nothing has told on"


@pytest.mark.parametrize("word", list(SYMPTOMS))
def test_without_runs_a_feeling_is_a_belief_from_one_run(word: str) -> None:
    known = known_by(CASE, [], SYMPTOMS[word])
    expected = belief_of(CASE, [run(word, CASE)])
    assert np.array_equal(masses(known), expected.masses)
    assert (known.believed.runs, known.believed.felt_now) == (0, True)
    assert known.case.engine == expected.middle and known.case.linkage_set
    clean = word == "clean"
    assert known.pulls_cleanly == clean
    left = "it pulls cleanly as it is: the fuel side is left alone"
    unsaid = " (whether at once or after a moment was not said: both are weighed)" if word == "stumble" else ""
    assert known.says == (left if clean else f"by what was felt: {SYMPTOMS[word].says}{unsaid}")
    bounds = known.sizes["front"]
    assert np.isfinite(bounds.lean_mm) == (word in ("stumble", "popback"))
    assert np.isfinite(bounds.rich_mm) == (word in ("flat", "smoke"))


def test_when_a_stumble_comes_is_part_of_what_is_felt() -> None:
    """At once it speaks of the first fuel, a moment later of the main circuit, and unsaid of either."""
    engines = {}
    for moment in (None, "at-once", "later", "both"):
        known = known_by(CASE, [], symptom_felt("stumble", moment))
        felt = Felt.model_validate({"word": "stumble", "moment": moment})
        assert np.array_equal(masses(known), belief_of(CASE, [trial_of(CASE, AT, felt, Conditions())]).masses)
        assert np.isfinite(known.sizes["front"].rich_mm) == (moment == "later")
        assert ("both are weighed" in known.says) is (moment is None)
        engines[moment] = known.case.engine
    assert engines["at-once"].first_fuel > engines[None].first_fuel > engines["later"].first_fuel
    assert engines["at-once"].main_circuit < engines[None].main_circuit < engines["later"].main_circuit


def test_runs_take_its_place_and_a_feeling_is_one_more_run() -> None:
    first = run("stumble", CASE)
    known = known_by(CASE, [first])
    expected = belief_of(CASE, [first])
    assert np.array_equal(masses(known), expected.masses) and known.case.engine == expected.middle
    assert known.says == "by 1 run" and known.case.linkage_set
    two = [first, run("clean", CASE, at=AT + timedelta(hours=1))]
    assert known_by(CASE, two).pulls_cleanly and not known_by(CASE, two[::-1][1:]).pulls_cleanly
    assert known_by(CASE, [first, run("stumble", CASE, at=AT + timedelta(hours=1))]).says == "by 2 runs"
    more = known_by(CASE, [first], SYMPTOMS["smoke"])
    assert more.says == "by 1 run and what is felt now" and more.believed.runs == 1
    assert more.case.engine.first_fuel < known.case.engine.first_fuel
    assert np.array_equal(masses(more), belief_of(CASE, [first, run("smoke", CASE)]).masses)
    bounds = more.sizes["front"]
    assert np.isfinite(bounds.rich_mm) and not np.isfinite(bounds.lean_mm)


def test_with_runs_parts_are_chosen_for_a_share_of_what_they_leave() -> None:
    known = known_by(CASE, [run("stumble", CASE)])
    asked = known.choosing().asked
    assert asked is not None and np.array_equal(asked.masses, masses(known))
    assert 0.0 < asked.share <= SURE_ENOUGH
    little = known.choosing(share=0.05).asked
    assert little is not None and little.share == 0.05, "as much as is wanted where parts are as sure as that"


def test_runs_that_count_for_nothing_are_none() -> None:
    cold = run("stumble", CASE, day={"warm": False})
    assert belief_by(CASE, [cold]) is None and belief_by(CASE, []) is None
    assert known_by(CASE, [cold]).belief is None
    both = belief_by(CASE, [cold, run("stumble", CASE)])
    assert both is not None and (both.runs, both.left_out) == (1, 1)


def test_what_says_that_these_very_parts_pull_cleanly() -> None:
    """What is felt now of what is in; the earlier clean run of the parts that go back in; else nothing does."""
    nozzle = SLOTS["front.nozzle"]
    other = next(option for option in CASE.options[nozzle] if option.changed and option.work == "fit")
    felt = known_by(CASE, [], SYMPTOMS["clean"])
    assert felt.felt_with(CASE.as_fitted).clean == "it pulls cleanly as it is"
    assert felt.felt_with({**CASE.as_fitted, nozzle: other}).clean == ""
    clean = trial_of(CASE, AT, Felt(word="clean"), Conditions(), choice={**CASE.as_fitted, nozzle: other})
    stumbled = run(
        "stumble" if other.read(FittedNozzle).diameter_mm > 0.70 else "smoke", CASE, at=AT + timedelta(hours=1)
    )
    known = known_by(CASE, [clean.model_copy(update={"number": 7}), stumbled])
    assert known.felt_with({**CASE.as_fitted, nozzle: other}).clean == "run 7 pulled cleanly"
    assert known.felt_with(CASE.as_fitted).clean == ""
