"""The next step as an answer: its sums, its words, and what it says where there is none."""

from collections.abc import Mapping
from datetime import timedelta
from functools import cache

import building
import pytest
from building import LOBES, NOZZLES, TRUCK, lobe, nozzle, two_circuits, vehicle
from runs import AT, run

from configurator.advice.belief_told import summary, sure_percent
from configurator.advice.next_step import CLEAN_NOW, RUN_MIN, NextReport, what_next
from configurator.advice.sure_proposal import ELSEWHERE
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.judging.case import Case
from configurator.judging.feelings import Moment, symptom_felt
from configurator.learning.as_known import known_by
from configurator.learning.belief import belief_of
from configurator.physics.lateness import FIRST_FUEL, MAIN_CIRCUIT
from configurator.slots.slot import SLOTS
from configurator.views.belief import next_text

SMALL = building.catalog([building.nozzle(mm) for mm in (0.60, 0.65, 0.70, 0.75, 0.80)], screws=building.SCREWS[:1],
                         pumps=building.PUMPS[:1], lobes=building.LOBES[1:2], **building.EASY)  # fmt: skip
STOCK = building.catalog((*NOZZLES, nozzle(0.50), nozzle(0.60), nozzle(0.75), nozzle(0.85)))


@cache
def small(**linkage: float) -> Case:
    return building.case(building.vehicle(front={"nozzle": "straight-0.65"} | linkage), SMALL)


def said(case: Case, *words: str) -> list[Trial]:
    at_once: dict[str, Moment] = {"stumble": "at-once"}
    return [run(word, case, at=AT + timedelta(hours=n), moment=at_once.get(word)).model_copy(update={"number": n + 1})
            for n, word in enumerate(words)]  # fmt: skip


def told(case: Case, *words: str, stock: Mapping[str, int] | None = None) -> NextReport:
    return what_next(known_by(case, said(case, *words)), stock)


@cache
def after(*words: str, **linkage: float) -> NextReport:
    return told(small(**linkage), *words)


def truck(nozzle_mm: float = 0.7, lobe: str = "lobe-low") -> Case:
    """A truck that a nozzle of 0.5 mm leaves hesitating, and more lift than that of lobe-low smoking."""
    front = {"nozzle": f"straight-{nozzle_mm:.2f}", "lobe": lobe}
    return building.case(vehicle(front=front, carburettor={"rated_flow_m3_min": 12}), STOCK)


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.0, "0 %"), (0.934, "93 %"), (0.9939, "99 %"), (0.994, "99 %"), (0.9941, "over 99 %"), (1.0, "over 99 %")],
)
def test_nobody_is_ever_quite_sure(share: float, words: str) -> None:
    assert sure_percent(share) == words


def test_after_a_stumble_a_larger_nozzle_is_tried() -> None:
    report = after("stumble")
    assert report.do == "try" and report.vehicle == "test truck"
    (change,) = [change for change in report.changes if change.slot == "front.nozzle"]
    assert change.from_.startswith("straight-0.65")
    assert change.code in ("straight-0.70", "straight-0.75", "straight-0.80")
    assert change.to.startswith(change.code)
    assert all(change.labour_min == 15 for change in report.changes), "labour of a nozzle, and of a lobe"
    assert report.labour_min == 15 * len(report.changes)
    assert report.why.startswith(f"{RUN_MIN + report.labour_min:.0f} min of work and driving; sure to be right to ")


def test_a_stumble_sends_to_a_larger_nozzle_and_smoke_to_less_fuel() -> None:
    lifts = {one.code: one.total_lift_mm for one in STOCK.lobes.values()}
    larger = next(one for one in told(truck(0.5), "stumble").changes if one.slot == "front.nozzle")
    assert larger.to > larger.from_
    changes = told(truck(1.2, "lobe-high"), "smoke").changes
    assert changes
    for one in changes:
        if one.slot == "front.nozzle":
            assert one.to < one.from_
        elif one.slot == "front.lobe" and one.code:
            assert lifts[one.code] < lifts["lobe-high"]


def test_what_a_run_may_show_adds_up_and_leads_somewhere() -> None:
    outcomes = after("stumble").outcomes
    assert [one.felt for one in outcomes] == ["clean", "hesitates", "goes flat", "too much fuel"]
    assert sum(one.chance for one in outcomes) == pytest.approx(1.0, abs=2e-4)
    assert outcomes[0].then == "stop, it is right" and all(one.then for one in outcomes)


def test_after_a_clean_run_the_car_is_left_as_it_is() -> None:
    case = building.case(building.vehicle(front={"nozzle": "straight-0.80"}), SMALL)
    report = told(case, "clean")
    assert (report.do, report.changes, report.labour_min, report.outcomes) == ("stop", [], 0.0, [])
    assert report.why == CLEAN_NOW and report.belief.runs == 1 and report.sureness is None


def test_before_any_run_it_is_the_model_s_guess() -> None:
    assert "no run has been logged: this is the model's guess alone" in told(truck(1.2, "lobe-high")).why
    one_lobe = [building.lobe("lobe-mid", 3.6, phases_deg=(0.0,))]
    stock = building.catalog(
        [building.nozzle(0.80)], building.SCREWS[:1], building.PUMPS[:1], one_lobe, **building.EASY
    )
    alone = told(building.case(building.vehicle(front={"nozzle": "straight-0.80"}), stock))
    assert alone.do == "stop" and alone.why == "by the model it is right as it is; drive it, and log what is felt"


def test_slack_is_taken_out_first() -> None:
    def of_slack(report: NextReport) -> list[str]:
        return [note for note in report.notes if "slack" in note]

    assert of_slack(after("stumble")) == []
    assert of_slack(after("stumble", slack_mm=0.2)) == [
        "front: take the 0.2 mm slack out of the linkage first; it is reckoned as set"
    ]
    assert of_slack(after("stumble", slack_mm=0.05)) == [], "that is none"


def test_sizes_that_were_felt_stand_beside_it() -> None:
    (note,) = after("stumble").notes
    assert note == "front nozzle, with this pump and lobe: 0.65 mm (25.6 thou) was felt too small"


def test_a_belief_in_figures() -> None:
    case = small()
    trials = [run("stumble", case), run("dull", case, at=AT + timedelta(hours=1)),
              run("smoke", case, at=AT + timedelta(hours=2), day={"warm": False})]  # fmt: skip
    belief = belief_of(case, trials)
    figures = summary(belief)
    assert (figures.runs, figures.left_out, figures.doubted) == (2, 1, [])
    assert figures.engine.late_first_fuel == round(belief.middle.first_fuel, 3)
    assert figures.engine.late_main_circuit == round(belief.middle.main_circuit, 3)
    ends = (figures.late_first_fuel_90_percent, figures.late_main_circuit_90_percent)
    middles = (figures.engine.late_first_fuel, figures.engine.late_main_circuit)
    for (low, high), middle, axis in zip(ends, middles, (FIRST_FUEL, MAIN_CIRCUIT), strict=True):
        assert low < middle < high
        inside = belief.masses[(axis >= low) & (axis <= high)].sum()
        assert inside == pytest.approx(0.9, abs=0.06), "to a point of the grid at either end"


def test_nothing_is_drilled_for_a_trial() -> None:
    case = building.case(vehicle(front={"nozzle": "straight-0.80"}), STOCK)
    works = {option.work for option in case.options[SLOTS["front.nozzle"]]}
    report = told(case, "stumble", stock={})
    assert "redrill" in works and not [one for one in report.changes if one.slot == "front.nozzle"]


def test_only_what_is_on_the_shelf() -> None:
    report = told(truck(), "stumble", stock={"straight-0.80": 1, "lobe-high": 0})
    assert {change.code for change in report.changes} == {"straight-0.80"}
    assert told(truck(), "stumble", stock={}).changes == []


def test_both_circuits_cannot_have_the_only_one_on_the_shelf() -> None:
    case = building.case(two_circuits(), STOCK)
    for count in (1, 2):
        report = told(case, "stumble", "stumble", stock={"straight-0.80": count, "straight-0.85": count})
        codes = [change.code for change in report.changes]
        assert all(codes.count(code) <= count for code in codes)


def test_nothing_to_try_is_an_answer() -> None:
    """A lobe made for the other pump's lever, and no other part in the catalogue or on the shelf."""
    car = vehicle(TRUCK, front={"lobe": "lobe-long", "phase_deg": 4})
    stock = building.catalog(
        (nozzle(0.80),), lobes=(*LOBES[:1], lobe("lobe-long", 4.6, lever="long", phases_deg=(4.0,)))
    )
    report = told(building.case(car, stock), stock={})
    assert (report.do, report.changes, report.labour_min, report.outcomes) == ("nothing", [], 0, [])
    assert "nothing on the shelf that may be tried keeps every rule" in report.why and ELSEWHERE in report.why


def test_where_nothing_is_likely_to_be_right_it_says_so() -> None:
    """Only nozzles far too small for an engine that stumbles with each of them."""
    tiny = [building.nozzle(mm, length_mm=2.0) for mm in (0.30, 0.33)]
    stock = building.catalog(
        tiny, screws=building.SCREWS[:1], pumps=building.PUMPS[:1], lobes=building.LOBES[1:2], **building.EASY
    )
    report = told(building.case(building.vehicle(front={"nozzle": "straight-0.33"}), stock), "stumble", "stumble")
    assert report.do == "nothing" and ELSEWHERE in report.why


def test_what_is_felt_now_counts_as_a_run() -> None:
    now = what_next(known_by(small(), [], symptom_felt("stumble", "at-once")))
    assert [one.to for one in now.changes] == [one.to for one in after("stumble").changes]
    assert now.belief.felt_now and now.belief.runs == 0


def test_a_pull_that_goes_flat_asks_for_volume() -> None:
    flat = trial_of(truck(0.6), AT, Felt(word="flat"), Conditions()).model_copy(update={"number": 1})
    report = what_next(known_by(truck(0.6), [flat]))
    larger = [one for one in report.changes if one.slot == "front.nozzle" and one.to > one.from_]
    assert not larger or len(report.changes) > 1, "a shot that runs out asks for volume, not for a larger nozzle"


def test_of_parts_that_are_run_once_more_no_chances_are_told() -> None:
    """Smoke has just been felt of them: that it has a chance of 2 % by the model nobody would believe."""
    report = told(building.case(building.vehicle(front={"nozzle": "straight-0.75"}), SMALL), "smoke")
    assert (report.do, report.changes, len(report.outcomes)) == ("try", [], 4)
    felt = next_text(report).partition("If it is felt")[2].partition("stands behind")[0]
    assert "too much fuel: " in felt and "%" not in felt
    assert "%" in next_text(after("stumble")).partition("If it is felt")[2].partition("stands behind")[0]
