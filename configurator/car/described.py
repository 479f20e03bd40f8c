"""A vehicle file from answers: its tables, what is wrong with an answer, and its text with what is not known beside
it."""

import json
from collections.abc import Iterable, Mapping
from typing import Any

from configurator.car.fitted import resolve_fitted, vehicle_for
from configurator.car.questions import DONT_KNOW, MORE, QUESTIONS, Answers, Question, asked_of
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, Fault

CAR = "car"
"""What faults of a car that is no file yet are said to lie in."""
TO_COME: Mapping[str, object] = {
    "name": "car", "engine.displacement_cc": 3000, "driveline.transmission": "free", "carburettor.barrels": 2,
    "fitted.front.nozzle": {"diameter": 0.8, "style": "straight"},
}  # fmt: skip
"""What stands for answers still to come, while those given are checked."""
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
        pump = written.setdefault(f"{at}.pump", "standard")
        written.setdefault(f"{at}.feed_screw", "free-flow" if pump == "large" else "plain")
        written.setdefault(f"{at}.lobe", "large" if pump == "large" else "standard")
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
    answer = answers[question.key]
    if answer == DONT_KNOW:
        wanted = " or ".join(question.choices) or question.example
        return [] if question.if_unknown else [Fault(CAR, question.key, "is needed", wanted)]
    if question.choices and answer not in question.choices and not (question.or_code and answer[:1].isalpha()):
        return [Fault(CAR, question.key, f"'{answer[:40]}' is none of them", " or ".join(question.choices))]
    places = question.written(answer)
    rear = any(place.startswith("fitted.rear") for place in places)
    needed = {**TO_COME, **(TO_COME_OF_TWO if rear else {})}
    tables = _nested(_with_usual_parts({**needed, **places}, two=rear))
    return [fault for fault in _faults(tables, catalog) if _lies_in(fault, places)]


def faults_of_answers(answers: Answers, catalog: Catalog) -> list[Fault]:
    """What is wrong with all answers, and with what is not answered; each fault in the place of its question."""
    return [
        Fault("", question.key, fault.problem, fault.expected, fault.remedy)
        for question in asked_of(answers)
        for fault in faults_of_answer(question, {question.key: DONT_KNOW, **answers}, catalog)
    ]


def _lies_in(fault: Fault, places: Iterable[str]) -> bool:
    """Whether a fault lies in one of these keys."""
    there = fault.place.replace("[", "").replace("]", "").replace(" ", ".")
    return any(there == place or there.startswith(f"{place}.") for place in places)


def _faults(tables: dict[str, Any], catalog: Catalog) -> list[Fault]:
    try:
        resolve_fitted(vehicle_for(tables, CAR, catalog), catalog)
    except BadInput as error:
        return list(error.faults)
    return []


def answers_of(tables: Mapping[str, Any]) -> dict[str, str]:
    """What a vehicle file answers, its name left out; of a part without a code only a straight nozzle's size."""
    flat = {
        f"{heading}.{key}": value for heading, table in _flat(tables) for key, value in table.items()
        if not isinstance(value, bool)
    }  # fmt: skip
    found = {one.key: str(flat[one.place]) for one in (*QUESTIONS, *MORE) if one.place in flat and one.key != "name"}
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
