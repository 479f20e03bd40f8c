"""The next run as an answer: its sums, its words, and what it says where no run is worth making."""

import re
from datetime import timedelta
from functools import cache

import building
import pytest
from runs import AT, run

from configurator.advice.next_step import NextReport, summary, sure_percent, what_next
from configurator.judging.case import Case
from configurator.judging.feelings import Moment
from configurator.learning.belief import belief_of
from configurator.physics.lateness import FIRST_FUEL, MAIN_CIRCUIT

STOCK = building.catalog([building.nozzle(mm) for mm in (0.60, 0.65, 0.70, 0.75, 0.80)], screws=building.SCREWS[:1],
                         pumps=building.PUMPS[:1], lobes=building.LOBES[1:2], **building.EASY)  # fmt: skip


@cache
def small(**linkage: float) -> Case:
    return building.case(building.vehicle(front={"nozzle": "straight-0.65"} | linkage), STOCK)


@cache
def after(*words: str, **linkage: float) -> NextReport:
    case = small(**linkage)
    at_once: dict[str, Moment] = {"stumble": "at-once"}
    runs = [run(word, case, at=AT + timedelta(hours=n), moment=at_once.get(word)) for n, word in enumerate(words)]
    return what_next(case, runs)


@pytest.mark.parametrize(
    ("share", "said"),
    [(0.0, "0 %"), (0.934, "93 %"), (0.9939, "99 %"), (0.994, "99 %"), (0.9941, "over 99 %"), (1.0, "over 99 %")],
)
def test_nobody_is_ever_quite_sure(share: float, said: str) -> None:
    assert sure_percent(share) == said


def test_after_a_stumble_a_larger_nozzle_is_tried() -> None:
    report = after("stumble")
    assert report.do == "try" and report.vehicle == "test truck"
    (nozzle,) = [change for change in report.changes if change.slot == "front.nozzle"]
    assert nozzle.from_.startswith("straight-0.65") and nozzle.code in (
        "straight-0.70",
        "straight-0.75",
        "straight-0.80",
    )
    assert nozzle.to.startswith(nozzle.code)
    assert all(change.labour_min == 15 for change in report.changes), "labour of a nozzle, and of a lobe"
    assert report.labour_min == 15 * len(report.changes)
    cost = 10 + report.labour_min
    assert report.why.startswith(f"{cost:.0f} min of work and driving, expected to save ")
    assert float(report.why.split("expected to save ")[1].split(" min")[0]) > cost


def test_what_a_run_may_show_adds_up_and_leads_somewhere() -> None:
    outcomes = after("stumble").outcomes
    assert [one.felt for one in outcomes] == ["clean", "hesitates", "goes flat", "too much fuel"]
    assert sum(one.chance for one in outcomes) == pytest.approx(1.0, abs=2e-4)
    assert all(one.then.endswith("; run again") or "; stop, sure to " in one.then or one.then.startswith("nothing that")
               for one in outcomes)  # fmt: skip


def test_after_clean_runs_the_car_is_left_as_it_is() -> None:
    case = building.case(building.vehicle(front={"nozzle": "straight-0.80"}), STOCK)
    report = what_next(case, [run("clean", case, at=AT + timedelta(hours=n)) for n in range(4)])
    assert (report.do, report.changes, report.labour_min, report.outcomes) == ("stop", [], 0.0, [])
    assert report.sureness > 0.9 and report.belief.runs == 4
    assert report.why == "it pulled cleanly with what is in the car: stop here"
    one_lobe = [building.lobe("lobe-mid", 3.6, phases_deg=(0.0,))]
    stock = building.catalog(
        [building.nozzle(0.80)], building.SCREWS[:1], building.PUMPS[:1], one_lobe, **building.EASY
    )
    alone = building.case(case.vehicle, stock)
    report = what_next(alone, [])
    assert report.do == "stop"
    assert report.why == "nothing that may be tried is surer to be right than what is in the car", "there is but one"


def test_slack_is_taken_out_first() -> None:
    assert after("stumble").notes == []
    (note,) = after("stumble", slack_mm=0.2).notes
    assert note == "front: take the 0.2 mm slack out of the linkage first; it is reckoned as set"
    assert after("stumble", slack_mm=0.05).notes == [], "that is none"


def test_a_belief_in_figures() -> None:
    case = small()
    trials = [run("stumble", case), run("dull", case, at=AT + timedelta(hours=1)),
              run("smoke", case, at=AT + timedelta(hours=2), day={"warm": False})]  # fmt: skip
    belief = belief_of(case, trials)
    told = summary(belief)
    assert (told.runs, told.left_out, told.impossible) == (2, 1, [])
    assert told.engine.late_first_fuel == round(belief.middle.first_fuel, 3)
    assert told.engine.late_main_circuit == round(belief.middle.main_circuit, 3)
    ends = (told.late_first_fuel_90_percent, told.late_main_circuit_90_percent)
    for (low, high), middle, axis in zip(
        ends, (told.engine.late_first_fuel, told.engine.late_main_circuit), (FIRST_FUEL, MAIN_CIRCUIT), strict=True
    ):
        assert low < middle < high
        inside = belief.masses[(axis >= low) & (axis <= high)].sum()
        assert inside == pytest.approx(0.9, abs=0.06), "to a point of the grid at either end"


def test_where_nothing_keeps_the_rules_nothing_is_tried() -> None:
    """A shelf with nothing on it, and a lobe of another lever in the car."""
    wrong = building.catalog(pumps=building.PUMPS[:1], lobes=building.LOBES)
    case = building.case(building.vehicle(front={"lobe": "lobe-long", "phase_deg": 4}), wrong)
    report = what_next(case, [], stock={})
    assert (report.do, report.changes, report.labour_min, report.sureness, report.outcomes) == ("nothing", [], 0, 0, [])
    assert "no combination of what is fitted and what is on the shelf keeps every rule" in report.why


def test_where_nothing_is_likely_to_be_right_it_says_so() -> None:
    """Only nozzles far too small for an engine that stumbles with each of them."""
    tiny = [building.nozzle(mm, length_mm=2.0) for mm in (0.30, 0.31)]
    stock = building.catalog(
        tiny, screws=building.SCREWS[:1], pumps=building.PUMPS[:1], lobes=building.LOBES[1:2], **building.EASY
    )
    case = building.case(building.vehicle(front={"nozzle": "straight-0.31"}), stock)
    report = what_next(case, [run("stumble", case, at=AT + timedelta(hours=n)) for n in range(2)])
    assert report.do == "nothing"
    assert re.match(r"nothing that may be tried is likely to be right, the surest to [0-3] %:", report.why)
