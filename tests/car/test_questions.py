"""A car from answers: every example can be answered, what is not known is left out, and the file says all of it."""

import tomllib
from dataclasses import replace
from pathlib import Path

import make_pad_picture
import pytest

from configurator.car.described import answers_of, faults_of_answer, tables_of, text_of_car, with_line
from configurator.car.fitted import resolve_fitted, vehicle_for
from configurator.car.questions import MORE, QUESTIONS, Question, asked_of
from configurator.car.standard import STANDARD_PARTS
from configurator.car.unknown import LEFT_OUT, TAKEN
from configurator.car.vehicle import ManifoldTable
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.catalogue.parts import PumpFigures
from configurator.errors import BadInput
from configurator.judging.case import Case

SHIPPED = load_catalog(shipped_catalog_dir())
EVERY = (*QUESTIONS, *MORE)
PAPER = {
    "name": "Ridge coupe", "engine_size": "350 cu in", "gearbox": "manual", "gears": "4.10 x 2.52 first",
    "tyres": "235/60R15", "weight": "3,200 lb", "barrels": "4", "flow": "600 cfm", "front_nozzle": "31 thou",
}  # fmt: skip


@pytest.mark.parametrize("question", EVERY, ids=lambda one: one.key)
def test_what_a_question_gives_as_an_example_can_be_answered(question: Question) -> None:
    assert faults_of_answer(question, {question.key: question.example}, SHIPPED) == []
    for word in question.choices:
        assert faults_of_answer(question, {question.key: word}, SHIPPED) == []


@pytest.mark.parametrize("question", EVERY, ids=lambda one: one.key)
def test_what_need_not_be_known_is_said_to_be_taken(question: Question) -> None:
    faults = faults_of_answer(question, {question.key: ""}, SHIPPED)
    assert bool(faults) != bool(question.if_unknown)
    assert bool(faults) == (
        question.key in {"name", "engine_size", "gearbox", "barrels", "front_nozzle", "rear_nozzle"}
    )


@pytest.mark.parametrize(
    ("key", "answer", "says"),
    [
        ("engine_size", "5 hp", "'hp' is no unit of volume"), ("engine_size", "12", "12"),
        ("tyres", "205/60", "205/60"),
        ("barrels", "3", "'3' is none of them"), ("front_pump", "pump-6cc", "no pump-6cc"),
        ("front_nozzle", "straight-0.83", "no straight-0.83"),
        ("front_lobe", "lobe-fell@way", "way"),
    ],
)  # fmt: skip
def test_an_answer_at_fault_is_told_at_its_question(key: str, answer: str, says: str) -> None:
    question = next(one for one in EVERY if one.key == key)
    faults = faults_of_answer(question, {key: answer}, SHIPPED)
    assert faults and says in " ".join(f"{fault.problem} {fault.expected}" for fault in faults)


def test_a_car_off_a_paper() -> None:
    text = text_of_car(PAPER, EVERY)
    vehicle = vehicle_for(tomllib.loads(text), "paper", SHIPPED)
    assert vehicle.engine.displacement_cc == pytest.approx(5735.47, abs=0.01)
    assert vehicle.driveline.mass_kg == pytest.approx(1451.5, abs=0.1)
    assert vehicle.driveline.overall_ratio == pytest.approx(10.332)
    assert vehicle.carburettor.rated_flow_m3_min == pytest.approx(16.99, abs=0.01)
    assert vehicle.left_out == {("engine", "idle_rpm")}
    front = resolve_fitted(vehicle, SHIPPED).front
    assert (front.pump.code, front.feed_screw.code, front.lobe.code) == ("pump-3cc", "screw-plain", "lobe-fell")
    assert front.nozzle.diameter_mm == pytest.approx(0.7874)
    assert "# idle_rpm is not known: 850 rev/min is taken, 650 to 1100 rev/min reckoned with" in text
    assert 'displacement_cc = "350 cu in"  # How large is the engine?' in text


def test_what_is_left_out_is_taken_and_known_to_be() -> None:
    fewest = {"name": "x", "engine_size": "2 l", "gearbox": "manual", "barrels": "2", "front_nozzle": "0.7"}
    vehicle = vehicle_for(tables_of(fewest), "fewest", SHIPPED)
    assert vehicle.left_out == {place for place, figure in LEFT_OUT.items() if figure.transmission != "converter"}
    assert vehicle.carburettor.rated_flow_m3_min == 6.4 and vehicle.driveline.mass_kg == 1200


@pytest.mark.parametrize("said", ["15 inHg", "15 inHg vacuum", '15"', "15 inch"])
def test_a_gauge_shows_vacuum_whether_that_is_said_or_not(said: str) -> None:
    tables = tables_of({**PAPER, "idle_vacuum": said})
    vehicle = vehicle_for(tables, "gauge", SHIPPED)
    assert vehicle.engine.idle_vacuum_kpa == pytest.approx(15 * 3.386389)


def test_a_standard_part_that_is_not_sold_is_itself() -> None:
    bare = replace(SHIPPED, pumps={code: pump for code, pump in SHIPPED.pumps.items() if code != "pump-3cc"})
    front = resolve_fitted(vehicle_for(tables_of(PAPER), "bare", bare), bare).front
    assert (front.pump.code, front.pump.capacity_cc) == ("standard", 3.0)


def test_two_pumps_are_asked_for_one_after_the_other() -> None:
    asked = [question.key for question in asked_of({**PAPER, "pumps": "2"})]
    assert asked.count("front_nozzle") == 1 and "rear_nozzle" in asked
    assert "rear_nozzle" not in [question.key for question in asked_of(PAPER)]
    both = {**PAPER, "pumps": "2", "rear_nozzle": "straight-0.80", "front_pump": "large", "rear_lobe": "lobe-fell@6"}
    fitted = vehicle_for(tables_of(both), "both", SHIPPED).fitted
    assert fitted.rear is not None and (fitted.rear.lobe, fitted.rear.phase_deg) == ("lobe-fell", 6)
    assert (fitted.front.pump, fitted.front.lobe, fitted.front.feed_screw) == ("large", "large", "free-flow")


def test_a_car_like_another_begins_with_its_answers() -> None:
    tables = tomllib.loads((shipped_catalog_dir() / "examples" / "roadster.toml").read_text())
    offered = answers_of(tables)
    assert offered["engine_size"] == "3200" and offered["front_lobe"] == "lobe-fell@6" and "name" not in offered
    again = vehicle_for(tables_of({"name": tables["name"], **offered}), "again", SHIPPED)
    assert again.engine == vehicle_for(tables, "roadster", SHIPPED).engine.model_copy(update={"altitude_m": 0.0})


def test_a_figure_found_later_takes_the_place_of_what_was_not_known() -> None:
    text = text_of_car(PAPER, EVERY)
    question = next(one for one in QUESTIONS if one.key == "idle_speed")
    after = with_line(text, question, "900")
    assert "idle_rpm is not known" not in after and tomllib.loads(after)["engine"]["idle_rpm"] == 900
    pad = next(one for one in MORE if one.key == "pad")
    assert tomllib.loads(with_line(after, pad, "18 mm"))["manifold"]["pad_clearance_mm"] == "18 mm"


def test_the_page_has_every_figure_that_can_be_left_out() -> None:
    page = (Path(__file__).parents[2] / "docs" / "vehicle.md").read_text()
    for (_, key), figure in TAKEN.items():
        row = next(line for line in page.splitlines() if line.startswith(f"| `{key}` | {figure.taken:g}"))
        assert row.endswith(f"| {figure.low:g} | {figure.high:g} |")


CAPACITIES = [
    ("42", 42.0, "large"),
    ("42 cc", 42.0, "large"),
    ("26 cc in ten", 26.0, "standard"),
    ("1.8 cu in", 29.5, "standard"),
]


@pytest.mark.parametrize(("said", "ten_cc", "like"), CAPACITIES)
def test_a_pump_without_a_code_by_its_capacity_alone(said: str, ten_cc: float, like: str) -> None:
    """All else is as of the class it is nearer to, its stroke too: the diaphragm is as much larger as it holds more."""
    tables = tomllib.loads(text_of_car({**PAPER, "front_pump": said}, EVERY))
    assert set(tables["fitted"]["front"]["pump"]) == {"capacity_ten_strokes_cc"}
    front = resolve_fitted(vehicle_for(tables, "paper", SHIPPED), SHIPPED).front
    model = STANDARD_PARTS["pump"][like]
    assert isinstance(model, PumpFigures) and front.pump.code is None
    assert front.pump.capacity_ten_strokes_cc == pytest.approx(ten_cc, abs=0.05)
    assert front.pump.spring_preload_n == model.spring_preload_n and front.pump.lever == model.lever == front.lobe.lever
    stroke_mm = [1000 * pump.capacity_cc / pump.diaphragm_area_mm2 for pump in (front.pump, model)]
    assert stroke_mm[0] == pytest.approx(stroke_mm[1], rel=1e-3)


def test_what_one_stroke_gives_is_not_taken_for_ten() -> None:
    question = next(one for one in EVERY if one.key == "front_pump")
    (fault,) = faults_of_answer(question, {"front_pump": "3 cc"}, SHIPPED)
    assert (fault.problem, fault.expected) == (
        "3 cc is what one stroke gives", "what ten full strokes gave, 8 cc or more",
    )  # fmt: skip
    (fault,) = faults_of_answer(question, {"front_pump": "42 hp"}, SHIPPED)
    assert "'hp' is no unit of volume" in fault.problem


@pytest.mark.parametrize("pump", ["", "large", "pump-5cc", "42 cc"])
@pytest.mark.parametrize("said", ["15:1.1 30:1.9 55:2.8", "0:0 15:1,1 30:1,9 55:2,8"])
def test_a_lobe_by_three_readings_of_a_dial_gauge(pump: str, said: str) -> None:
    """It works the pump that is in, whichever that is, and was read as it is mounted."""
    tables = tomllib.loads(text_of_car({**PAPER, "front_pump": pump, "front_lobe": said}, EVERY))
    front = resolve_fitted(vehicle_for(tables, "paper", SHIPPED), SHIPPED).front
    assert front.lobe.table == ((0.0, 0.0), (15.0, 1.1), (30.0, 1.9), (55.0, 2.8))
    assert (front.lobe.total_lift_mm, front.lobe.duration_deg, front.phase_deg) == (2.8, 55.0, 0.0)
    assert front.lobe.lever == front.pump.lever
    assert Case.of(vehicle_for(tables, "paper", SHIPPED), SHIPPED).circuits["front"]


def test_readings_at_fault_are_told_as_that() -> None:
    question = next(one for one in EVERY if one.key == "front_lobe")
    for said, says in (
        ("15", "not a list of angle:lift pairs"),
        ("15:1.1 12:3 40:3", "not greater than the one before"),
    ):
        (fault,) = faults_of_answer(question, {"front_lobe": said}, SHIPPED)
        assert says in fault.problem


@pytest.mark.parametrize(
    ("key", "answer", "remedy"),
    [("engine_size", "1,3", 'did you mean "1.3 l"?'), ("engine_size", "two litres", "write it in figures: 2 litres")],
)
def test_an_answer_that_is_nearly_one_says_what_may_be_meant(key: str, answer: str, remedy: str) -> None:
    question = next(one for one in EVERY if one.key == key)
    assert [fault.remedy for fault in faults_of_answer(question, {key: answer}, SHIPPED)] == [remedy]


def test_a_number_in_words_is_a_choice() -> None:
    barrels = next(one for one in EVERY if one.key == "barrels")
    assert [barrels.meant(said) for said in ("two", "Four", "4", "six", "")] == ["2", "4", "4", "six", ""]


def test_standard_parts_are_no_fault_of_a_file_that_has_another() -> None:
    tables = tables_of({**PAPER, "front_lobe": "15:1.1 12:3"})
    with pytest.raises(BadInput) as caught:
        vehicle_for(tables, "x", SHIPPED)
    assert [fault.place for fault in caught.value.faults] == ["[fitted.front] lobe"]


def test_key_and_question_of_the_pad_name_the_picture_of_where_the_gauge_goes() -> None:
    pad = next(one for one in EVERY if one.key == "pad")
    key = ManifoldTable.model_fields["pad_clearance_mm"].description or ""
    named = str(make_pad_picture.PLACE.relative_to(Path(__file__).parents[2]))
    assert named in pad.help and named in key
    assert make_pad_picture.PLACE.read_text(encoding="utf-8") == make_pad_picture.picture()


def test_a_car_like_another_keeps_a_pump_told_by_ten_strokes_and_a_lobe_told_by_readings() -> None:
    """They became the usual ones, and the lobe was then made for another pump's lever."""
    lobe = "0:0 15:1.1 30:1.9 55:2.8"
    front = {"pump": {"capacity_ten_strokes_cc": 45}, "lobe": {"table": lobe}, "nozzle": "straight-0.80"}
    found = answers_of({"fitted": {"front": front, "rear": {"pump": {"capacity_ten_strokes_cc": 12}}}})
    assert (found["front_pump"], found["front_lobe"], found["rear_pump"]) == ("45 cc in ten", lobe, "12 cc in ten")
    assert tables_of({**PAPER, **found, "pumps": "1"})["fitted"]["front"]["pump"] == {"capacity_ten_strokes_cc": 45}
    assert "front_lobe" not in answers_of({"fitted": {"front": {"lobe": {"table": lobe, "lever": "long"}}}})
