"""A vehicle file from answers: its tables, what is wrong with an answer, and its text with what is not known beside
it."""

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from configurator.car.fitted import resolve_fitted, vehicle_for
from configurator.car.questions import (
    DONT_KNOW,
    MORE,
    NUMBER_WORDS,
    QUESTIONS,
    Answers,
    Question,
    asked_of,
    ten_strokes,
)
from configurator.car.standard import LARGE_PUMP, STANDARD_PUMP, like_of_capacity
from configurator.car.two_meanings import as_answer, asked_back
from configurator.car.vehicle import IDLE_PRESSURE_RANGE_KPA
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, Fault
from configurator.files.declared import CODE_PATTERN
from configurator.physics.atmosphere import STANDARD_PRESSURE_PA
from configurator.units.quantities import MERCURY_INCH_PA

CAR = "car"
"""What faults of a car that is no file yet are said to lie in."""
TO_COME: Mapping[str, object] = {
    "name": "car", "engine.displacement_cc": 3000, "driveline.transmission": "free", "carburettor.barrels": 2,
    "fitted.front.nozzle": {"diameter": 0.8, "style": "straight"},
}  # fmt: skip
"""What stands for answers still to come, while those given are checked."""
IDLE_PRESSURE, WHEEL_RADIUS = "[engine] idle_pressure_kpa", "[driveline] wheel_radius_m"
"""Keys that take other figures than their questions ask for."""
CODE = re.compile(CODE_PATTERN)
TO_COME_OF_TWO = {"carburettor.barrels": 4, "fitted.rear.nozzle": TO_COME["fitted.front.nozzle"]}


def tables_of(answers: Answers) -> dict[str, Any]:
    """The tables of a vehicle file. Parts of a circuit that nobody knows are those that usually go together."""
    written: dict[str, object] = {}
    for question in (*asked_of(answers), *(one for one in MORE if one.asked(answers))):
        written |= question.written(answers.get(question.key, DONT_KNOW))
    return _nested(_with_usual_parts(written, two=answers.get("pumps") == "2"))


def _with_usual_parts(written: dict[str, object], *, two: bool) -> dict[str, object]:
    for circuit in ("front", "rear") if two else ("front",):
        at = f"fitted.{circuit}"
        pump = written.setdefault(f"{at}.pump", STANDARD_PUMP.code)
        ten_cc = pump.get("capacity_ten_strokes_cc") if isinstance(pump, dict) else None
        large = pump == LARGE_PUMP.code or (isinstance(ten_cc, int | float) and like_of_capacity(ten_cc) == LARGE_PUMP)
        written.setdefault(f"{at}.feed_screw", "free-flow" if large else "plain")
        written.setdefault(f"{at}.lobe", "large" if large else "standard")
    return written


def _nested(written: Mapping[str, object]) -> dict[str, Any]:
    tables: dict[str, Any] = {}
    for place, value in written.items():
        *path, key = place.split(".")
        table = tables
        for name in path:
            table = table.setdefault(name, {})
        table[key] = value
    return tables


def faults_of_answer(question: Question, answers: Answers, catalog: Catalog) -> list[Fault]:
    """What is wrong with the answer to a question, the others taken as they are or will be."""
    answer = question.meant(answers[question.key])
    if answer == DONT_KNOW:
        return [] if question.if_unknown else [Fault(CAR, question.key, "is needed", question.wants)]
    in_figures = question.or_number_from is not None and answer[:1].isdigit()
    in_words = answer in question.choices or (question.or_code and bool(CODE.fullmatch(answer)))
    if question.choices and not in_figures and not in_words:
        return [Fault(CAR, question.key, f"'{answer[:40]}' is none of them", question.wants)]
    if which := asked_back(question.key, answer):
        return [Fault(CAR, question.key, which)]
    cc, least = ten_strokes(answer) if in_figures else None, question.or_number_from or 0.0
    if isinstance(cc, int | float) and cc < least:
        expected = f"what ten full strokes gave, {least:g} cc or more"
        return [Fault(CAR, question.key, f"{cc:g} cc is what one stroke gives", expected)]
    places = question.written(answer)
    rear = any(place.startswith("fitted.rear") for place in places)
    needed = {**TO_COME, **(TO_COME_OF_TWO if rear else {})}
    tables = _nested(_with_usual_parts({**needed, **places}, two=rear))
    found = [fault for fault in _faults(tables, catalog) if _lies_in(fault, places)]
    keys = [key for value in places.values() if isinstance(value, dict) for key in value]
    found = [fault for fault in found if fault.place.endswith(tuple(keys))] or found if keys else found
    first, _, rest = answer.partition(" ")
    if first.lower() in NUMBER_WORDS and not question.or_code:
        remedy = f"write it in figures: {NUMBER_WORDS[first.lower()]} {rest}".rstrip()
        return [replace(fault, remedy=remedy) for fault in found]
    return [_as_asked(fault, question, answer) for fault in found]


def _as_asked(fault: Fault, question: Question, answer: str) -> Fault:
    """A fault of a figure, with what its question wants in place of what the key of the file takes."""
    if fault.place.endswith("phase_deg") and fault.problem == "is missing":
        phases = fault.expected.rpartition(": ")[2].split(" or ")
        return replace(
            fault,
            problem="its mounting position is not said",
            expected=" or ".join(f"{answer}@{one}" for one in phases),
        )
    not_sold = question.or_code and "catalogue has no" in fault.problem
    of_file = fault.place.endswith((IDLE_PRESSURE, WHEEL_RADIUS))
    return replace(fault, expected=question.wants) if not_sold or of_file else fault


def faults_of_answers(answers: Answers, catalog: Catalog) -> list[Fault]:
    """What is wrong with all answers, and with what is not answered, each fault in the place of its question; where
    each does by itself, what is wrong with them together."""
    questions = [*asked_of(answers), *(one for one in MORE if one.asked(answers) and one.key in answers)]
    found = [
        Fault("", question.key, fault.problem, fault.expected, fault.remedy)
        for question in questions
        for fault in faults_of_answer(question, {question.key: DONT_KNOW, **answers}, catalog)
    ]
    if found:
        return found
    return [
        Fault("", _question_at_fault(fault, questions, answers), fault.problem, fault.expected, fault.remedy)
        for fault in _faults(tables_of(answers), catalog)
    ]


def _question_at_fault(fault: Fault, questions: Iterable[Question], answers: Answers) -> str:
    """The question whose answer a fault of the file lies in; where it lies in none, its place in the file."""
    given = ((one.key, one.written(answers.get(one.key, DONT_KNOW))) for one in questions)
    return next((key for key, places in given if _lies_in(fault, places)), fault.place)


def not_asked(told: Answers, answers: Answers, faults: Iterable[Fault]) -> list[Fault]:
    """What was told although nobody asks that of such a car; what another answer, itself at fault, would have asked for
    is no fault."""
    every, mended = {one.key: one for one in (*QUESTIONS, *MORE)}, [answers]
    for key in {fault.place for fault in faults} & set(every):
        mended = [{**others, key: word} for others in mended for word in every[key].choices or (answers.get(key, ""),)]
    asked = {one.key for others in mended for one in (*asked_of(others), *MORE) if one.asked(others)}
    return [
        Fault("", key, "is not asked of such a car", "nothing here")
        for key, answer in told.items() if answer and key not in asked
    ]  # fmt: skip


def _lies_in(fault: Fault, places: Iterable[str]) -> bool:
    """Whether a fault lies in one of these keys."""
    there = re.sub(r"[\[\]]", "", fault.place).replace(" ", ".").replace("idle_vacuum_kpa", "idle_pressure_kpa")
    there = there.replace(".phase_deg", ".lobe")  # which is said with the lobe
    return any(there == place or there.startswith(f"{place}.") for place in places)


def _faults(tables: dict[str, Any], catalog: Catalog) -> list[Fault]:
    try:
        vehicle = vehicle_for(tables, CAR, catalog)
        resolve_fitted(vehicle, catalog)
    except BadInput as error:
        return list(error.faults)
    return _faults_of_vacuum(vehicle.engine.idle_vacuum_kpa)


def _faults_of_vacuum(vacuum_kpa: float | None) -> list[Fault]:
    """A vacuum that no idle has, at sea level, since no question asks how high the car lives."""
    air_kpa, (low_kpa, high_kpa) = STANDARD_PRESSURE_PA / 1e3, IDLE_PRESSURE_RANGE_KPA
    if vacuum_kpa is None or low_kpa <= air_kpa - vacuum_kpa <= high_kpa:
        return []
    found = f"leaves {air_kpa - vacuum_kpa:.0f} kPa of the air's {air_kpa:.0f} kPa, which no idle does"
    least, most = ((air_kpa - end_kpa) * 1e3 / MERCURY_INCH_PA for end_kpa in (high_kpa, low_kpa))
    return [Fault(CAR, "[engine] idle_vacuum_kpa", found, f"{least:.0f} to {most:.0f} inHg")]


def answers_of(tables: Mapping[str, Any]) -> dict[str, str]:
    """What a vehicle file answers, its name left out; of a part without a code a straight nozzle's size, what a pump
    gives in ten strokes, and a lobe's readings."""
    flat = {
        f"{heading}.{key}": value for heading, table in _flat(tables) for key, value in table.items()
        if not isinstance(value, bool)
    }  # fmt: skip
    found = {
        one.key: as_answer(one.key, str(flat[one.place]))
        for one in (*QUESTIONS, *MORE) if one.place in flat and one.key != "name"
    }  # fmt: skip
    if found.get("gearbox") == "converter":
        found["gearbox"] = "automatic"
    found["pumps"] = "2" if "fitted.rear.nozzle" in flat else "1"
    for circuit in ("front", "rear"):
        nozzle, lobe = flat.get(f"fitted.{circuit}.nozzle"), flat.get(f"fitted.{circuit}.lobe")
        if isinstance(nozzle, dict) and set(nozzle) == {"diameter", "style"} and nozzle["style"] == "straight":
            nozzle = nozzle["diameter"]
        if isinstance(nozzle, str | int | float):
            found[f"{circuit}_nozzle"] = str(nozzle)
        if isinstance(lobe, str):
            phase_deg = flat.get(f"fitted.{circuit}.phase_deg")
            found[f"{circuit}_lobe"] = lobe if phase_deg is None else f"{lobe}@{phase_deg}"
        elif isinstance(lobe, dict) and set(lobe) == {"table"}:
            found[f"{circuit}_lobe"] = str(lobe["table"])
        if isinstance(pump := flat.get(f"fitted.{circuit}.pump"), dict) and set(pump) == {"capacity_ten_strokes_cc"}:
            found[f"{circuit}_pump"] = f"{pump['capacity_ten_strokes_cc']} cc in ten"
    return {key: answer for key, answer in found.items() if not answer.startswith("{")}


def question_of(figure: str) -> Question:
    """The question that asks for a figure of the vehicle file, by table and key."""
    return next(one for one in (*QUESTIONS, *MORE) if one.place == figure)


def with_line(text: str, question: Question, answer: str) -> str:
    """The text of a vehicle file with a figure put under its heading, in place of what said that it is not known."""
    heading, _, key = question.place.rpartition(".")
    ending = "\r\n" if "\r\n" in text else "\n"
    lines = [line for line in text.splitlines() if not line.startswith(f"# {key} is not known")]
    added = f"{key} = {_toml(question.written(answer)[question.place])}  # {question.asks}"
    if f"[{heading}]" in (line.strip() for line in lines):
        lines.insert([line.strip() for line in lines].index(f"[{heading}]") + 1, added)
    else:
        lines += ["", f"[{heading}]", added]
    return ending.join(lines) + ending


def text_of_car(answers: Answers, questions: Iterable[Question]) -> str:
    """The vehicle file, with what each figure is, and which were not known."""
    lines = [f"name = {_toml(answers['name'])}"]
    tables = tables_of(answers)
    questions = [question for question in questions if question.asked(answers)]
    said = {place: question for question in questions for place in question.written(answers.get(question.key, ""))}
    for heading, table in _flat(tables):
        lines += ["", f"[{heading}]"]
        for key, value in table.items():
            question = said.get(f"{heading}.{key}")
            lines.append(
                f"{key} = {_toml(value)}" + (f"  # {question.asks}" if question else "  # not said: the usual one")
            )
        lines += [
            f"# {_key(one)} is not known: {one.if_unknown}" for one in _unknown(questions, answers, heading, table)
        ]
    return "\n".join(lines) + "\n"


def _key(question: Question) -> str:
    return question.place.rpartition(".")[2]


def _unknown(questions: Iterable[Question], answers: Answers, heading: str, written: Iterable[str]) -> list[Question]:
    return [
        one for one in questions
        if one.place.rpartition(".")[0] == heading and not heading.startswith("fitted")
        and one.if_unknown and one.asked(answers) and not answers.get(one.key) and _key(one) not in written
    ]  # fmt: skip


def _flat(tables: Mapping[str, Any], above: str = "") -> Iterable[tuple[str, dict[str, Any]]]:
    """Headings with their own keys, those of a part in braces behind its key."""
    for name, table in tables.items():
        if not isinstance(table, dict):
            continue
        inner = {key: value for key, value in table.items() if isinstance(value, dict) and key in ("front", "rear")}
        own = {key: value for key, value in table.items() if key not in inner}
        if own:
            yield f"{above}{name}", own
        yield from _flat(inner, f"{above}{name}.")


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(value, ensure_ascii=False)
