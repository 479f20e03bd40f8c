"""The pull's picture is the data, and its words are what a driver would say of it."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from test_band import example

from configurator.car.fitted import FittedNozzle
from configurator.judging.pull import PullGiven, pull_of
from configurator.slots.slot import SLOTS
from configurator.views.pull_pictures import pull_picture, says_of_pull


def given(name: str = "roadster") -> PullGiven:
    case = example(name).with_linkage_set()
    return pull_of(case, "front", case.as_fitted)


CLEAN = {"delay_ms": 2.0, "lean_sag_percent": 0.2, "rich_sag_percent": 0.2, "smoke_ms": 1.0, "pop_back_cycles": 0.0}


def test_the_pull_drawn_is_the_data() -> None:
    pull = given()
    above, below = pull_picture(pull).axes
    lines = {line.get_label(): line for line in (*above.lines, *below.lines)}
    assert np.array_equal(lines["with these parts"].get_ydata(), pull.given_percent)
    assert np.array_equal(lines["best of this air"].get_ydata(), pull.best_percent)
    assert np.array_equal(lines["mixture"].get_ydata(), pull.mixture.phi)
    assert above.get_ylim() != below.get_ylim()


def test_each_feeling_has_its_words() -> None:
    pull = replace(given(), **CLEAN)  # type: ignore[arg-type]
    assert says_of_pull(pull) == "Clean: the pull comes at once and stays, as well as this air can give it."
    assert says_of_pull(replace(pull, delay_ms=151.2)) == "The pull comes 151 ms late."
    flat = replace(pull, lean_sag_percent=9.4, lean_sag_at_ms=712.0)
    assert says_of_pull(flat) == "Pulls 9 % less after 0.7 s, too lean."
    sag = replace(pull, rich_sag_percent=12.0, rich_sag_at_ms=400.0, smoke_ms=320.0)
    assert says_of_pull(sag) == "Pulls 12 % less after 0.4 s, too rich; black smoke for 0.32 s."
    assert says_of_pull(replace(pull, delay_ms=300.0, pop_back_cycles=2.0)) == (
        "The pull comes 300 ms late; lean enough to pop back."
    )


def test_a_circuit_that_does_not_open_is_felt_as_nothing() -> None:
    pull = given()
    closed = replace(pull, mixture=replace(pull.mixture, counts=np.zeros_like(pull.mixture.counts)))
    assert says_of_pull(closed) == "The throttle of this circuit does not open: nothing is felt of it."


def test_a_larger_nozzle_hesitates_less_until_the_shot_runs_out() -> None:
    case = example("roadster").with_linkage_set()
    by_size = {
        option.read(FittedNozzle).diameter_mm: pull_of(case, "front", {**case.as_fitted, SLOTS["front.nozzle"]: option})
        for option in case.options[SLOTS["front.nozzle"]]
        if option.work == "fit" and option.read(FittedNozzle).style == "straight"
    }
    small = [by_size[size] for size in sorted(by_size) if size <= 0.9]
    assert all(one.delay_ms > other.delay_ms for one, other in pairwise(small))
    assert by_size[0.60].pop_back_cycles > by_size[0.70].pop_back_cycles == 0.0
    assert by_size[0.85].lean_sag_percent > by_size[0.62].lean_sag_percent
