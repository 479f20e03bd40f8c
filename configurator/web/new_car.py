"""A car by questions: one a page, what was answered in the address, and the file written whole at the end.

The address is the draft: going back, a reload and a phone that was switched off lose nothing.
"""

from collections.abc import Iterator, Mapping
from functools import partial
from hashlib import sha256
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.car.described import answers_of, faults_of_answer, faults_of_answers, text_of_car
from configurator.car.questions import DONT_KNOW, MORE, QUESTIONS, Answers, Question, asked_of
from configurator.car.understood import understood
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, Fault
from configurator.files.reading import toml_of
from configurator.web.fields import text_fields
from configurator.web.folder import ENDING, Added
from configurator.web.pages import car_path, page
from configurator.web.workshop import Workshop

LONGEST_ANSWER = 200
_PLACE = "/new"
_ASKED, _SHOWN, _NOT_KNOWN, _OR_CODE, _LIKE = "at", "show", "unknown", "code", "like"
"""Fields beside the answers: the question just answered, one to look at again, one not known, a code typed instead, and
the file of a car that is nearly the same."""
_KEYS = frozenset(question.key for question in QUESTIONS)


def routes(workshop: Workshop) -> list[Route]:
    return [
        Route(_PLACE, partial(_ask, workshop)),
        Route(_PLACE, partial(_write, workshop), methods=["POST"]),
    ]


async def _ask(workshop: Workshop, request: Request) -> Response:
    return await run_in_threadpool(_asked, workshop, request.query_params)


def _asked(workshop: Workshop, query: Mapping[str, str]) -> Response:
    """The question asked for, the one just answered if its answer is at fault, the next one, or what was answered."""
    answers, like = _answers(query), query.get(_LIKE, "")
    asked = {question.key: question for question in asked_of(answers)}
    if shown := asked.get(query.get(_SHOWN, "")):
        return _question(workshop, shown, answers, like, [])
    if just := asked.get(query.get(_ASKED, "")):
        given = {just.key: DONT_KNOW, **answers}
        unanswered = [] if just.key in answers else [Fault("", just.key, "nothing is chosen", "one of them")]
        faults = unanswered or faults_of_answer(just, given, workshop.catalog) or _name_taken(workshop, just, given)
        if faults:
            return _question(workshop, just, answers, like, faults)
    for question in asked.values():
        if question.key not in answers:
            return _question(workshop, question, answers, like, [])
    return _summary(answers, [])


def _answers(fields: Mapping[str, str]) -> dict[str, str]:
    """What was answered, in the order of the questions; a choice not taken is not answered."""
    given = {key: answer.strip()[:LONGEST_ANSWER] for key, answer in fields.items() if key in _KEYS}
    if unknown := fields.get(_NOT_KNOWN):
        given[unknown] = DONT_KNOW
    elif code := fields.get(_OR_CODE, "").strip():
        given[fields.get(_ASKED, "")] = code[:LONGEST_ANSWER]
    return {question.key: given[question.key] for question in QUESTIONS if question.key in given}


def _name_taken(workshop: Workshop, question: Question, answers: Answers) -> list[Fault]:
    taken = question.key == "name" and any(
        filed.vehicle.name == answers["name"] for filed in workshop.folder.listing().vehicles
    )
    return [Fault("", question.key, "is the name of another car here", "a name of its own")] if taken else []


def _question(workshop: Workshop, question: Question, answers: Answers, like: str, faults: list[Fault]) -> Response:
    asked = [one.key for one in asked_of(answers)]
    number = asked.index(question.key) + 1
    carried = {_LIKE: like} if like else {}
    others = {key: answer for key, answer in answers.items() if key != question.key}
    offered = _offered(workshop, like) if like and question.key not in answers else {}
    back = _address({**answers, **carried}, asked[number - 2]) if number > 1 else ""
    cars = workshop.folder.listing().vehicles if number == 1 else ()
    return page(
        "question.html", 400 if faults else 200, question=question, number=number, of=len(asked),
        others=others | (carried if number > 1 else {}), answer={**offered, **answers}.get(question.key, DONT_KNOW),
        back=back, says=[_says(fault) for fault in faults], codes=sorted(_codes(question, workshop.catalog)),
        cars=cars, like=like, place=_PLACE,
    )  # fmt: skip


def _offered(workshop: Workshop, like: str) -> Answers:
    """What another car's file answers; raises NotThere."""
    return answers_of(toml_of(workshop.folder.written(like).text, like))


def _address(answers: Answers, show: str) -> str:
    return f"{_PLACE}?{urlencode({**answers, _SHOWN: show})}"


def _says(fault: Fault) -> str:
    expected = f"expected {fault.expected}" if fault.expected else ""
    return "; ".join(filter(None, [fault.problem, expected, fault.remedy]))


def _codes(question: Question, catalog: Catalog) -> Iterator[str]:
    """Codes of the catalogue that a question may be answered with."""
    _, _, part = question.key.partition("_")
    families: Mapping[str, Mapping[str, Any]] = {
        "nozzle": catalog.nozzles, "pump": catalog.pumps, "screw": catalog.feed_screws,
    }  # fmt: skip
    yield from families.get(part, {})
    if part == "lobe":
        yield from (f"{code}@{phase:g}" for code, lobe in catalog.lobes.items() for phase in lobe.phases_deg)


def _summary(answers: Answers, faults: list[Fault]) -> Response:
    asked = [
        (one, _address(answers, one.key), understood(one, answers[one.key]))
        for one in asked_of(answers) if one.key in answers
    ]  # fmt: skip
    asks = {question.key: question.asks for question in QUESTIONS}
    wrong = [(asks.get(fault.place, ""), _says(fault)) for fault in faults]
    back = asked[-1][1] if asked else _PLACE
    return page(
        "described.html", 400 if faults else 200, asked=asked, answers=answers, wrong=wrong, back=back, place=_PLACE
    )


async def _write(workshop: Workshop, request: Request) -> Response:
    async with request.form(max_files=0, max_fields=2 * len(QUESTIONS)) as form:
        answers = _answers(dict(text_fields(form)))
    return await run_in_threadpool(_written, workshop, answers)


def _written(workshop: Workshop, answers: Answers) -> Response:
    if faults := faults_of_answers(answers, workshop.catalog):
        return _summary(answers, faults)
    content = text_of_car(answers, [*QUESTIONS, *MORE]).encode()
    digest = sha256(content).hexdigest()
    # The names first: what is sent twice at the same instant may be there by the time that contents are compared.
    taken = _name_taken(workshop, QUESTIONS[0], answers)
    for filed in workshop.folder.listing().vehicles:
        if filed.digest == digest:  # sent twice
            return RedirectResponse(car_path(filed.name), 303)
    if taken:
        return _summary(answers, taken)
    try:
        added: Added = workshop.folder.add(answers["name"] + ENDING, content)
    except BadInput as error:
        return _summary(answers, [Fault("", "", str(fault)) for fault in error.faults])
    return RedirectResponse(car_path(added.name), 303)
