"""What an answer was read as is shown beside it, in the units that it was not given in."""

import pytest

from configurator.car.questions import MORE, QUESTIONS, Question
from configurator.car.understood import understood

READ_BACK = [
    ("weight", "3400", "3400 kg (7,496 lb)"), ("weight", "3,200 lb", "3,200 lb (1,451 kg)"),
    ("weight", "1.5 t", "1.5 t (1,500 kg, 3,307 lb)"), ("engine_size", "350 cu in", "350 cu in (5,735 cc)"),
    ("engine_size", "3.2 l", "3.2 l (3,200 cc, 195.3 cu in)"), ("idle_speed", "850", "850 rev/min"),
    ("idle_vacuum", "16 inHg", "16 inHg (54.18 kPa vacuum)"), ("idle_vacuum", '16"', '16" (54.18 kPa vacuum)'),
    ("idle_vacuum", "55 kPa vacuum", "55 kPa vacuum (16.24 inHg vacuum)"),
    ("flow", "600 cfm", "600 cfm (16.99 m3/min)"), ("gears", "4.10 x 2.52 first", "4.10 x 2.52 first (10.33 overall)"),
    ("gears", "10.3 overall", "10.3 overall"),
    ("tyres", "205/60R15", "205/60R15 (a rolling radius of 304.1 mm or 11.97 in)"),
    ("front_nozzle", "31 thou", "31 thou (0.7874 mm)"), ("front_nozzle", "0,8", "0,8 mm (31.5 thou)"),
    ("front_nozzle", "1/32 in", "1/32 in (0.7937 mm, 31.25 thou)"),
    ("front_nozzle", "#68", "#68 (0.7874 mm, 31 thou)"), ("front_nozzle", "straight-0.80", "straight-0.80"),
    ("front_pump", "42", "42 (42 cc in ten strokes)"), ("front_pump", "pump-3cc", "pump-3cc"),
    ("front_pump", "large pump", "large: about 50 cc in ten strokes; stands deeper below the bowl"),
    ("front_lobe", "lobe-fell@6", "lobe-fell@6"), ("gearbox", "stick", "manual: a clutch"),
    ("air_temperature", "68 F", "68 F (20 C)"), ("opening", "0.15 s", "0.15 s"), ("pad", "18 mm", "18 mm (0.7087 in)"),
    ("rear_opens", "35", "35 deg"), ("name", "Sam's coupe", "Sam's coupe"),
    ("weight", "idk", "not known: 1200 kg is taken, 750 to 1900 kg reckoned with"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "answer", "says"), READ_BACK)
def test_an_answer_is_read_back_in_both_units(key: str, answer: str, says: str) -> None:
    question = next(one for one in (*QUESTIONS, *MORE) if one.key == key)
    assert understood(question, answer) == says


@pytest.mark.parametrize("question", (*QUESTIONS, *MORE), ids=lambda one: one.key)
def test_no_key_of_the_file_and_no_braces_are_read_back(question: Question) -> None:
    for answer in (question.example, *question.choices, ""):
        says = understood(question, answer)
        assert says and not set(says) & set("{}=_") and (says.startswith(answer) or not answer)
