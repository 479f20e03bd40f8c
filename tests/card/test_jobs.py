"""Jobs on the card that a life hangs on, by each kind of change; measures before and after, worked by hand."""

from functools import cache

import building
import pytest
from card_making import case_of, jobs_with

from configurator.card import Card, CardStep

CASE = building.case()


@cache
def plain(*words: str) -> Card:
    """The card of the test truck with these parts."""
    return jobs_with(CASE, *words)


def steps(card: Card, title: str) -> list[CardStep]:
    return [step for section in card.sections if title in section.title for step in section.steps]


def texts(card: Card, title: str) -> list[str]:
    return [step.text.lower() for step in steps(card, title)]


@pytest.mark.parametrize(
    "words",
    [(), ("front.lobe=lobe-low@0",), ("front.lobe=lobe-mid@8",), ("front.pump=pump-large",), ("spacer=spacer-6",),
     ("front.nozzle=straight-0.90",), ("pad_relief=1mm",)],
    ids=lambda words: " ".join(words) or "nothing",
)  # fmt: skip
def test_before_any_start_the_throttle_is_opened_and_snaps_shut(words: tuple[str, ...]) -> None:
    """A throttle that sticks open kills: a new lobe on its shaft is the likeliest to make it stick."""
    card = plain(*words)
    first = texts(card, "Before the first start")[0]
    assert "throttle opens fully and snaps shut by itself; one that sticks open kills" in first
    assert sum("snaps shut" in step.text for section in card.sections for step in section.steps) == 1


@pytest.mark.parametrize(
    ("words", "there"),
    [((), False), (("front.lobe=lobe-low@0",), False), (("front.nozzle=straight-0.90",), True),
     (("front.feed_screw=screw-free",), True), (("front.pump=pump-large",), True), (("spacer=spacer-6",), True)],
    ids=lambda words: " ".join(words) if isinstance(words, tuple) else None,
)  # fmt: skip
def test_leaks_are_looked_for_wherever_fuel_was_opened(words: tuple[str, ...], there: bool) -> None:
    said = texts(plain(*words), "Before the first start")
    assert any("leaks with the fuel pump primed" in text for text in said) is there


@pytest.mark.parametrize(
    ("words", "squirts", "gaskets"),
    [(("front.lobe=lobe-low@0",), False, False), (("front.nozzle=straight-0.90",), True, True),
     (("front.feed_screw=screw-free",), True, True), (("front.pump=pump-large",), True, True),
     (("spacer=spacer-6",), False, True)],
    ids=lambda words: " ".join(words) if isinstance(words, tuple) else None,
)  # fmt: skip
def test_what_was_opened_is_tried_and_counted(words: tuple[str, ...], squirts: bool, gaskets: bool) -> None:
    said = texts(plain(*words), "Before the first start")
    assert any("every orifice squirts at once" in text for text in said) is squirts
    counted = next(text for text in said if "counted: none left over" in text)
    assert ("old gaskets" in counted) is gaskets
    assert any("air cleaner on; earth lead back" in text for text in said)


def test_first_checks_say_what_the_file_says_of_them() -> None:
    car = building.vehicle(confirmed={"float_level": True, "idle_mixture": False, "idle_speed": False})
    card = jobs_with(building.case(car))
    level, mixture, speed = steps(card, "First checks")
    assert level.how == "Set, says the vehicle file: look again"
    assert mixture.how == speed.how == "Not confirmed yet"
    assert (mixture.kind, mixture.boxes) == ("write", ["turns out"])
    assert (speed.kind, speed.unit, speed.expected) == ("measure", "rev/min", "650 rev/min")
    (section,) = [section for section in card.sections if section.title == "First checks"]
    assert any("First checks open: 2 of 3 not confirmed" in caution for caution in section.cautions)
    assert not any("first checks open" in line for line in [*card.mind, *card.against])


def test_faults_that_no_part_mends_come_before_the_spanners() -> None:
    car = building.vehicle(carburettor={"jets_redrilled": True}, front={"slack_mm": 0.3})
    card = jobs_with(building.easy_case(car), "front.nozzle=straight-0.90")
    titles = [section.title for section in card.sections]
    assert titles.index("Put right first: no part mends it") < titles.index("Take apart")
    said = texts(card, "Put right first")
    assert len(said) == 2 and any("jets were redrilled" in text for text in said)
    assert any("lack in the pump linkage: 0.30 mm" in text for text in said)
    assert card.ok, "they are put right on the card"


def test_room_for_a_pump_is_worked_out_from_what_stands_between() -> None:
    """14 mm of the small pump and 1.5 mm of air: 15.5 mm without a spacer; 6 mm less on one of 6 mm; the larger pump of
    19 mm wants 20.5 mm, and 1 mm less of a pad cut by 1 mm."""
    blind = building.vehicle({**building.TRUCK, "manifold": {"volume_cc": 4800, "bonnet_clearance_mm": 30}})

    def room(*words: str) -> str:
        card = jobs_with(building.case(blind), *words)
        (step,) = [step for step in steps(card, "Measure") if "to the manifold pad" in step.text]
        return step.expected

    assert room("spacer=spacer-6").startswith("at least 9.5 mm")
    assert room("front.pump=pump-large").startswith("at least 20.5 mm")
    assert room("front.pump=pump-large", "pad_relief=1mm").startswith("at least 19.5 mm")
    unchanged = jobs_with(building.case(blind), "front.nozzle=straight-0.90")
    assert not [step for step in steps(unchanged, "Measure") if "manifold pad" in step.text]


def test_room_under_the_bonnet_is_measured_before_a_spacer_goes_in() -> None:
    """A spacer of 6 mm lifts the air cleaner by 7 mm; 10 mm of air are to be left: 17 mm."""
    blind = building.vehicle({**building.TRUCK, "manifold": {"volume_cc": 4800, "pad_clearance_mm": 22}})
    card = jobs_with(building.case(blind), "spacer=spacer-6")
    first = steps(card, "Take apart")[0]
    assert first.text == "Room under the closed bonnet as it is" and first.expected.startswith("at least 17 mm")
    known = plain("spacer=spacer-6")
    assert "bonnet" not in steps(known, "Take apart")[0].text
    without = jobs_with(building.case(blind), "front.pump=pump-large")
    assert not [text for text in texts(without, "Take apart") if "bonnet" in text]


def test_clearances_ask_for_what_nobody_measured() -> None:
    limits = ("at most 0.05 mm (0.002 in)", "at least 0.38 mm (0.015 in)")
    unmeasured = steps(plain(), "clearances")
    assert [step.expected.removeprefix("each ") for step in unmeasured] == list(limits)
    assert "feeler gauge" in unmeasured[0].how and "turns of the adjuster" in unmeasured[0].how
    assert "overtravel clearance" in unmeasured[1].how
    done = building.vehicle(front={"slack_mm": 0.0, "preload_mm": 0.0, "overtravel_mm": 0.5})
    assert [step.how for step in steps(jobs_with(building.case(done)), "clearances")] == ["", ""]
    again = steps(jobs_with(building.case(done), "front.lobe=lobe-low@0"), "clearances")
    assert "set slack and overtravel clearance again" in again[0].how.lower()


def test_two_circuits_say_once_what_is_the_same_and_apart_what_is_not() -> None:
    card = jobs_with(building.case(building.two_circuits()), "rear.lobe=lobe-low@0")
    closed, full = steps(card, "clearances")
    assert closed.how.lower().startswith("front: ") and "; rear: set slack" in closed.how.lower()
    assert full.boxes == ["front", "rear"]
    assert full.how.lower().startswith("front: measure the overtravel"), "the rear one was set anew"
    assert any("mark how the rear lobe sits: lobe-mid at 0 deg" in text for text in texts(card, "Take apart"))


def test_the_road_test_is_of_the_tip_in_that_was_judged() -> None:
    said = " ".join(texts(plain(), "Road test"))
    assert "opened from idle in about 0.15 s; three runs" in said
    cruise = building.vehicle(
        tip_in={"start": "cruise", "cruise_pressure_kpa": 55, "cruise_rpm": 2100, "opening_time_s": 0.2}
    )
    said = " ".join(texts(jobs_with(building.case(cruise)), "Road test"))
    assert "opened from a cruise at 2100 rev/min in about 0.2 s" in said


def test_each_orifice_of_an_old_nozzle_that_nobody_measured_meets_the_gauge() -> None:
    card = plain("front.nozzle=straight-0.90")
    old, new = [step for step in steps(card, "Measure") if "pin gauge" in step.text]
    assert (old.boxes, new.boxes) == (["1", "2"], ["1", "2"])
    assert old.text.startswith("Old nozzle straight-0.80: each") and new.text.startswith(
        "New nozzle straight-0.90: each"
    )
    assert old.expected.startswith("0.80 mm") and new.expected.startswith("0.90 mm")
    assert new.how == "More than 0.02 mm (0.8 thou) off: say so before it goes in"
    measured = building.vehicle(front={"nozzle_measured": "0.81 mm"})
    (only,) = [s for s in steps(jobs_with(building.case(measured), "front.nozzle=straight-0.90"), "Measure")
               if "pin gauge" in s.text]  # fmt: skip
    assert only.text.startswith("New nozzle")


def test_every_example_s_card_has_its_throttle_check() -> None:
    card = jobs_with(case_of("roadster"), "front.lobe=lobe-crag@0")
    assert "snaps shut by itself" in texts(card, "Before the first start")[0]


def test_a_spacer_comes_off_where_there_is_one_and_goes_on_where_one_is_to_be() -> None:
    """On a car with one of 6 mm: another takes its place, or none does; a nozzle leaves it where it is."""
    fitted = building.TRUCK["fitted"] | {"spacer": "spacer-6"}
    case = building.case(building.vehicle({**building.TRUCK, "fitted": fitted}))

    def said(car: Card) -> tuple[bool, bool, bool]:
        apart, together = texts(car, "Take apart"), texts(car, "Put together")
        return (
            any("take spacer-6" in text and "off with its gaskets" in text for text in apart),
            any(text.startswith("fit spacer-13, ports in line") for text in together),
            any("no spacer goes back" in text for text in together),
        )

    assert said(jobs_with(case, "spacer=spacer-13")) == (True, True, False)
    assert said(jobs_with(case, "spacer=none")) == (True, False, True)
    assert said(jobs_with(case, "front.nozzle=straight-0.90")) == (False, False, False)
    assert said(plain("spacer=spacer-13")) == (False, True, False)
    pieces = [step for step in steps(plain("front.nozzle=straight-0.90"), "Take apart") if step.unit == "pieces"]
    assert len(pieces) == 1 and "count the pieces" in pieces[0].text, "the discharge check falls out"
