"""Trial runs: the form of three taps, into the book, and one taken back."""

import secrets
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from hashlib import sha256
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.book.records import Trial
from configurator.errors import BadInput, Fault, TipinError
from configurator.judging.feelings import MOMENT_SAYS, MOMENTS, SYMPTOMS
from configurator.learning.pull_told import pull_in_words
from configurator.learning.trial_entry import enter_trial, read_when
from configurator.slots.wishes import chosen_parts
from configurator.web.pages import as_label, car_path, page
from configurator.web.posted import SentFile, form_key, posted_with_files
from configurator.web.sent_files import (
    SENT_COLUMNS,
    SENT_LAG,
    SENT_PULL,
    SENT_PULL_COLUMNS,
    SENT_TRACE,
    measured_of,
    recorded_of,
)
from configurator.web.workshop import RunMeasured, Workshop

Files = Mapping[str, SentFile]
OF_FILES = (SENT_PULL, SENT_PULL_COLUMNS, SENT_TRACE, SENT_LAG, SENT_COLUMNS)


def routes(workshop: Workshop) -> list[Route]:
    return [
        Route("/car/{name}/run", partial(_record, workshop), methods=["POST"]),
        Route("/car/{name}/run", partial(_form, workshop)),
        Route("/car/{name}/run/{number:int}/undo", partial(_undo, workshop), methods=["POST"]),
    ]


async def _form(workshop: Workshop, request: Request) -> Response:
    query = request.query_params
    return await run_in_threadpool(
        _shown, workshop, request.path_params["name"], query, {"felt": query.get("felt", "")}
    )


def _shown(
    workshop: Workshop, name: str, query: QueryParams, typed: Mapping[str, str], error: TipinError | None = None
) -> Response:
    """The form, as it was filled in if it was refused; what was fitted is what is fitted now, or chosen."""
    refused = error.told(as_label).splitlines() if error else []
    faults = error.faults if isinstance(error, BadInput) else ()
    amiss = {field: [fault.told(as_label) for fault in faults if fault.field == field] for field in OF_FILES}
    setting, pins = workshop.asked(name, query)
    parts = {str(slot): option.label for slot, option in setting.case.as_fitted.items() if option.label != "none"}
    parts |= workshop.combination(setting, pins).parts if pins.words else {}
    return page(
        "run.html", 400 if refused else 200, setting=setting, pins=pins.words, parts=parts, typed=typed,
        refused=refused, amiss=amiss, key=secrets.token_hex(16), moments=MOMENT_SAYS,
    )  # fmt: skip


async def _record(workshop: Workshop, request: Request) -> Response:
    words, pins, files = await posted_with_files(request, (SENT_TRACE, SENT_PULL))
    name = request.path_params["name"]
    try:
        return await run_in_threadpool(_recorded, workshop, name, words, pins, files)
    except TipinError as error:
        query = QueryParams([("pin", pin) for pin in pins])
        return await run_in_threadpool(_shown, workshop, name, query, words, error)


def _recorded(workshop: Workshop, name: str, words: Mapping[str, str], pins: Sequence[str], files: Files) -> Response:
    # The key tells one page from another: sent twice, by a double tap or a reload, it is still the same run.
    key = _digest(form_key(words), name, words, pins, files)
    number = workshop.entered(Trial, key) or _new_run(workshop, name, words, pins, files, key)
    return RedirectResponse(f"{car_path(name)}?{urlencode({'recorded': number or ''})}", 303)


def _new_run(
    workshop: Workshop, name: str, words: Mapping[str, str], pins: Sequence[str], files: Files, key: str
) -> int | None:
    now = datetime.now(UTC)
    if not words.get("felt") and SENT_PULL not in files:
        raise BadInput.in_field("word", "", "nothing is chosen", "how it pulled")
    said = {name: text for name, word in words.items() if (text := word.strip())}
    # Kept on a phone that was out of reach, it is of when it was typed there; a phone's clock may be ahead.
    typed_at = min(datetime.fromtimestamp(_typed_ms(said, now) / 1e3, UTC), now)
    # With the microsecond two runs that say the same stay two, also in a file that carries them to another book.
    at = read_when(said["when"], now) if "when" in said else typed_at
    at = at if at.microsecond else at.replace(microsecond=now.microsecond)
    day = {
        "air_temperature_c": said.get("air_temperature"),
        "altitude_m": said.get("altitude"),
        "air_pressure_kpa": said.get("pressure"),
        "fuel": said.get("fuel"), "warm": "cold" not in words,
    }  # fmt: skip
    case = workshop.car_at(name, at).case
    measured, recorded = measured_of(case, files.get(SENT_TRACE), said), recorded_of(case, files.get(SENT_PULL), said)
    run = enter_trial(
        case, chosen_parts(case.options, pins), at, _felt(words), day, clean_after_ms=said.get("clean_after"),
        trace=measured.spells if measured else None, pull=recorded.pull if recorded else None,
        note=said.get("note", ""),
    )  # fmt: skip
    notes = list(measured.notes) if measured else []
    if recorded is not None:
        told = pull_in_words(run, workshop.records_of(case.vehicle.name), case.catalog)
        notes += [f"{says[0].upper()}{says[1:]}." for says in (*(told.says if told else ()), *recorded.notes)]
    return workshop.record(run, key, RunMeasured(tuple(notes), recorded))


def _felt(words: Mapping[str, str]) -> dict[str, str | None]:
    """What was felt, as the form has it; without a feeling how strongly and when say nothing."""
    word, moment = words.get("felt") or None, words.get("moment") or None
    if word is None:
        return {"word": None, "strength": None, "moment": None}
    if moment in MOMENTS and word in SYMPTOMS and moment not in SYMPTOMS[word].moments:
        moment = None  # the form asks it of every feeling where no style hides it; of this one it says nothing
    return {"word": word, "strength": words.get("strength") or None, "moment": moment}


def _typed_ms(said: Mapping[str, str], now: datetime) -> float:
    """When it was typed [ms since 1970], as the page's script says; now where it does not."""
    text = said.get("typed_at", "")
    return float(text) if text.isdecimal() and text.isascii() and len(text) < 15 else now.timestamp() * 1e3


def _digest(key: str, name: str, words: Mapping[str, str], pins: Sequence[str], files: Files) -> str:
    """Another one for every form and whatever is entered in it: two runs from one page, gone back to, are two."""
    return sha256(repr((key, name, sorted(words.items()), list(pins), sorted(files.items()))).encode()).hexdigest()


async def _undo(workshop: Workshop, request: Request) -> Response:
    name, number = request.path_params["name"], request.path_params["number"]
    await run_in_threadpool(_undone, workshop, name, number)
    return RedirectResponse(f"{car_path(name)}#runs", 303)


def _undone(workshop: Workshop, name: str, number: int) -> None:
    car = workshop.folder.vehicle(name).vehicle.name
    with workshop.book_there() as book:
        held = book.records(car)
        unread = {one.number for one in held.set_aside if one.kind == "run"}
        if number not in unread and all(run.number != number for run in held.runs):
            raise BadInput([Fault(f"run {number}", "", "is none of this car that counts", "one of its list")])
        book.undo_trial(number)
