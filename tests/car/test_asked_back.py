"""An answer that can mean two things is asked back, other words of the trade are understood, and no answer that a file
could not hold is taken."""

import tomllib

import pytest

from configurator.car.described import answers_of, faults_of_answer, faults_of_answers, not_asked, tables_of
from configurator.car.questions import MORE, QUESTIONS, Question
from configurator.car.vehicle import vehicle_of
from configurator.catalogue.load import load_catalog, shipped_catalog_dir

SHIPPED = load_catalog(shipped_catalog_dir())
CAR = {"name": "x", "engine_size": "2 l", "gearbox": "manual", "barrels": "2", "front_nozzle": "0.7"}


def asked(key: str) -> Question:
    return next(one for one in (*QUESTIONS, *MORE) if one.key == key)


def told(key: str, answer: str) -> str:
    return " ".join(map(str, faults_of_answer(asked(key), {key: answer}, SHIPPED)))


@pytest.mark.parametrize(
    ("key", "answer", "says"),
    [
        ("engine_size", "283", "283 cc or 283 cu in? write the unit"),
        ("gears", "4.10", "is the axle alone? write it with its gear, 4.10 x 2.52 first, or all in one, 10.3 overall"),
        ("gears", "4.1:1 axle", "is the axle alone?"),
        ("idle_vacuum", "55 kPa", "55 kPa vacuum or 55 kPa absolute?"),
        ("idle_vacuum", "40", "40 mmHg, 40 kPa vacuum or 40 kPa absolute?"),
        ("idle_vacuum", "14", "14 inHg, 14 kPa vacuum or 14 kPa absolute?"),
        ("idle_vacuum", "0.5 bar", "0.5 bar vacuum or 0.5 bar absolute?"),
        ("idle_vacuum", "7psi", "7 psi vacuum or 7 psi absolute?"),
        ("front_lobe", "50:3.4", "1 reading beside the closed stop; 3 or more are needed"),
        ("front_lobe", "0:0 30:2 50:3,4", "2 readings beside the closed stop"),
    ],
)
def test_what_can_mean_two_things_is_asked_back(key: str, answer: str, says: str) -> None:
    assert says in told(key, answer)


@pytest.mark.parametrize(
    ("key", "answer"),
    [
        ("engine_size", "283 cc"), ("engine_size", "283 cu in"), ("engine_size", "1600"), ("gears", "4.10 x 1 fourth"),
        ("gears", "4.1 overall"), ("gears", "10.3"), ("idle_vacuum", "55 kPa vacuum"), ("idle_vacuum", "8 psi vacuum"),
        ("idle_vacuum", "55 kPa absolute"), ("idle_vacuum", "380 mmHg"), ("front_lobe", "15:1.1 30:1.9 55:2.8"),
    ],
)  # fmt: skip
def test_what_means_one_thing_is_taken(key: str, answer: str) -> None:
    assert told(key, answer) == ""


def test_a_figure_of_a_file_is_in_its_declared_unit_and_offered_as_that() -> None:
    tables = {"engine": {"displacement_cc": 400, "idle_pressure_kpa": 40}, "driveline": {"overall_ratio": 4.1}}
    offered = answers_of(tables)
    assert [offered[key] for key in ("engine_size", "idle_vacuum", "gears")] == [
        "400 cc", "40 kPa absolute", "4.1 overall",
    ]  # fmt: skip
    vehicle = vehicle_of(tables_of({**CAR, **offered}), "again")
    assert (vehicle.engine.displacement_cc, vehicle.driveline.overall_ratio) == (400, 4.1)
    assert vehicle.engine.idle_pressure_kpa == 40
    bare = tomllib.loads('name = "x"\n[engine]\ndisplacement_cc = 283\n')
    assert (
        bare["engine"]["displacement_cc"] == 283
        and vehicle_of({**tables_of(CAR), "engine": bare["engine"]}, "bare").engine.displacement_cc == 283
    )


@pytest.mark.parametrize(
    ("key", "answer", "means"),
    [
        ("front_pump", "standard pump", "standard"), ("front_pump", "Large pump", "large"),
        ("front_pump", "the pump", "the pump"), ("front_screw", "free flow", "free-flow"),
        ("front_screw", "free-flow screw", "free-flow"), ("front_screw", "plain one", "plain"),
        ("gearbox", "stick", "manual"), ("gearbox", "auto", "automatic"), ("gearbox", "converter", "automatic"),
        ("gearbox", "manual gearbox", "manual"), ("gearbox", "", ""), ("gearbox", "-", "-"), ("barrels", "four", "4"),
        ("barrels", "2 barrels", "2"), ("front_pump", "pump-3cc", "pump-3cc"), ("front_pump", "42 cc", "42 cc"),
        ("idle_speed", "idk", ""), ("weight", "dunno", ""), ("flow", "Unknown", ""), ("tyres", "not known", ""),
        ("stall_speed", "?", ""), ("checked", "no", "no"), ("name", "Auto", "Auto"),
    ],
)  # fmt: skip
def test_other_words_of_the_trade_are_understood(key: str, answer: str, means: str) -> None:
    assert asked(key).meant(answer) == means


def test_words_are_understood_wherever_an_answer_comes_from() -> None:
    words = {
        **CAR,
        "front_pump": "large pump",
        "front_screw": "plain screw",
        "front_nozzle": "1/32 in",
        "weight": "idk",
    }
    vehicle = vehicle_of(tables_of(words), "words")
    assert (vehicle.fitted.front.pump, vehicle.fitted.front.feed_screw) == ("large", "plain")
    assert ("driveline", "mass_kg") in vehicle.left_out and faults_of_answers(words, SHIPPED) == []


@pytest.mark.parametrize(
    ("key", "answer", "wants"),
    [
        ("front_pump", "standrd", "standard, large, what ten strokes gave, such as 42 cc or a code of the catalogue"),
        ("front_pump", "the usual", "standard, large, what ten strokes gave"),
        ("front_screw", "free flowing", "plain, free-flow or a code of the catalogue"),
        ("gearbox", "manul", "manual, automatic or free"), ("idle_vacuum", "5 miles", "an answer such as 16 inHg"),
        ("tyres", "205", "an answer such as 205/60R15"),
        ("engine_size", "?", "an answer such as 350 cu in"), ("front_nozzle", "", "an answer such as 31 thou"),
    ],
)  # fmt: skip
def test_a_refused_answer_is_told_what_its_own_question_wants(key: str, answer: str, wants: str) -> None:
    (fault,) = faults_of_answer(asked(key), {key: answer}, SHIPPED)
    assert fault.expected.startswith(wants)


def test_a_lobe_of_several_positions_asks_for_the_one_in_use() -> None:
    (fault,) = faults_of_answer(asked("front_lobe"), {"front_lobe": "lobe-fell"}, SHIPPED)
    assert fault.problem == "its mounting position is not said"
    assert fault.expected == "lobe-fell@0 or lobe-fell@6 or lobe-fell@12"
    for answer in fault.expected.split(" or "):
        assert faults_of_answer(asked("front_lobe"), {"front_lobe": answer}, SHIPPED) == []


def test_what_is_told_beyond_the_ten_questions_is_checked_as_well() -> None:
    (fault,) = faults_of_answers({**CAR, "opening": "fast"}, SHIPPED)
    assert fault.place == "opening" and "not a number with a unit" in fault.problem


def test_a_vacuum_that_leaves_no_idle_is_told_before_a_file_is_written() -> None:
    (fault,) = faults_of_answers({**CAR, "idle_vacuum": "5 inHg"}, SHIPPED)
    assert fault.place == "idle_vacuum" and "leaves 84 kPa" in fault.problem and fault.expected == "9 to 21 inHg"


def test_a_wrong_answer_brings_no_false_faults_of_others() -> None:
    wrong = {**CAR, "gearbox": "manul", "tyres": "205/60R15", "stall_speed": "1900", "rear_opens": "35 deg"}
    faults = faults_of_answers(wrong, SHIPPED)
    assert [fault.place for fault in faults] == ["gearbox"]
    assert [fault.place for fault in not_asked(wrong, wrong, faults)] == ["rear_opens"]
    right = {**wrong, "gearbox": "manual"}
    assert [fault.place for fault in not_asked(right, right, [])] == ["stall_speed", "rear_opens"]
