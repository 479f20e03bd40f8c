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
from configurator.learning.trial_entry import enter_trial, read_when
from configurator.slots.wishes import chosen_parts
from configurator.web.pages import as_label, car_path, page
from configurator.web.posted import SentFile, form_key, posted_with_file
from configurator.web.sent_trace import SENT_COLUMNS, SENT_LAG, SENT_TRACE, measured_of
from configurator.web.workshop import Workshop

OF_A_TRACE = (SENT_TRACE, SENT_LAG, SENT_COLUMNS)


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
    traced = {field: [fault.told(as_label) for fault in faults if fault.field == field] for field in OF_A_TRACE}
    setting, pins = workshop.asked(name, query)
    parts = {str(slot): option.label for slot, option in setting.case.as_fitted.items() if option.label != "none"}
    parts |= workshop.combination(setting, pins).parts if pins.words else {}
    return page(
        "run.html", 400 if refused else 200, setting=setting, pins=pins.words, parts=parts, typed=typed,
        refused=refused, traced=traced, key=secrets.token_hex(16), moments=MOMENT_SAYS,
    )  # fmt: skip


async def _record(workshop: Workshop, request: Request) -> Response:
    words, pins, file = await posted_with_file(request, SENT_TRACE)
    name = request.path_params["name"]
    try:
        return await run_in_threadpool(_recorded, workshop, name, words, pins, file)
    except TipinError as error:
        query = QueryParams([("pin", pin) for pin in pins])
        return await run_in_threadpool(_shown, workshop, name, query, words, error)


def _recorded(
    workshop: Workshop, name: str, words: Mapping[str, str], pins: Sequence[str], file: SentFile | None
) -> Response:
    # The key tells one page from another: sent twice, by a double tap or a reload, it is still the same run.
    key = _digest(form_key(words), name, words, pins, file)
    number = workshop.entered(Trial, key) or _new_run(workshop, name, words, pins, file, key)
    return RedirectResponse(f"{car_path(name)}?{urlencode({'recorded': number or ''})}", 303)


def _new_run(
    workshop: Workshop, name: str, words: Mapping[str, str], pins: Sequence[str], file: SentFile | None, key: str
) -> int | None:
    now = datetime.now(UTC)
    if not words.get("felt"):
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
    moment = words.get("moment") or None
    if moment in MOMENTS and words["felt"] in SYMPTOMS and moment not in SYMPTOMS[words["felt"]].moments:
        moment = None  # the form asks it of every feeling where no style hides it; of this one it says nothing
    felt = {"word": words["felt"], "strength": words.get("strength") or None, "moment": moment}
    case = workshop.car_at(name, at).case
    measured = measured_of(case, file, said)
    run = enter_trial(
        case, chosen_parts(case.options, pins), at, felt, day, clean_after_ms=said.get("clean_after"),
        trace=measured.spells if measured else None, note=said.get("note", ""),
    )  # fmt: skip
    return workshop.record(run, key, measured.notes if measured else ())


def _typed_ms(said: Mapping[str, str], now: datetime) -> float:
    """When it was typed [ms since 1970], as the page's script says; now where it does not."""
    text = said.get("typed_at", "")
    return float(text) if text.isdecimal() and text.isascii() and len(text) < 15 else now.timestamp() * 1e3


def _digest(key: str, name: str, words: Mapping[str, str], pins: Sequence[str], file: SentFile | None) -> str:
    """Another one for every form and whatever is entered in it: two runs from one page, gone back to, are two."""
    return sha256(repr((key, name, sorted(words.items()), list(pins), file)).encode()).hexdigest()


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
