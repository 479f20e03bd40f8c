"""A trial run, from the form on the bench into the book."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from functools import partial
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.case import Case
from configurator.errors import BadInput, Fault
from configurator.web.pages import car_path
from configurator.web.workshop import Workshop
from configurator.workshop.book import open_book
from configurator.workshop.records import Trial
from configurator.workshop.trial_entry import chosen_parts, enter_trial, read_when

MOST_FIELDS = 60
CLOCKS_APART = timedelta(minutes=1)


def routes(workshop: Workshop) -> list[Route]:
    return [Route("/car/{name}/run", partial(_record, workshop), methods=["POST"])]


async def _record(workshop: Workshop, request: Request) -> Response:
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        words = {key: value for key, value in form.items() if isinstance(value, str)}
        pins = [value for value in form.getlist("pin") if isinstance(value, str)]
    return await run_in_threadpool(_recorded, workshop, request.path_params["name"], words, pins)


def _recorded(workshop: Workshop, name: str, words: Mapping[str, str], pins: list[str]) -> Response:
    case, now = Case.of(workshop.folder.vehicle(name).vehicle, workshop.catalog), datetime.now(UTC)
    day = {
        "air_temperature_c": _number(words, "air_temperature", "air temperature"),
        "altitude_m": _number(words, "altitude", "altitude"),
        "air_pressure_kpa": _number(words, "pressure", "air pressure"),
        "fuel": words.get("fuel", "").strip() or None, "warm": "cold" not in words,
    }  # fmt: skip
    felt = {"word": words.get("felt") or None, "strength": words.get("strength") or None}
    run = enter_trial(
        case, chosen_parts(case, pins), _moment(words, now), felt, day,
        clean_after_ms=_number(words, "clean_after", "time to a clean pull"), note=words.get("note", "").strip(),
    )  # fmt: skip
    with open_book(workshop.book) as book:
        added = book.add_new_trials([run])
        number = added[0].number if added else _number_of(run, book.trials(run.vehicle, with_undone=True))
    # The symptom stays behind: it would count once more, beside the run that now stands for it.
    query = [("pin", pin) for pin in pins] + [("recorded", str(number or ""))]
    return RedirectResponse(f"{car_path(name)}?{urlencode(query)}#runs", 303)


def _moment(words: Mapping[str, str], now: datetime) -> datetime:
    """When a run was driven. The form carries the moment at which it was made, to the microsecond: sent twice, by a
    double click or a reload, it makes the very same run, and the book holds that once."""
    try:
        opened = datetime.fromisoformat(words.get("opened", "")).astimezone(UTC)
    except (ValueError, OverflowError):
        raise BadInput([Fault("run", "", "comes from no form of this page", "", "open the page again")]) from None
    if opened > now + CLOCKS_APART:
        raise BadInput([Fault("run", "", "comes from a form that is still to be made", "", "open the page again")])
    when = words.get("when", "").strip()
    return read_when(when, now).replace(microsecond=opened.microsecond) if when else opened


def _number(words: Mapping[str, str], field: str, name: str) -> float | None:
    text = words.get(field, "").strip().replace(",", ".")
    try:
        return float(text) if text else None
    except ValueError:
        raise BadInput([Fault(name, "", f"'{text[:40]}' is not a number", "a number, or nothing")]) from None


def _number_of(run: Trial, runs: list[Trial]) -> int | None:
    same = run.model_copy(update={"number": None})
    return next((one.number for one in runs if one.model_copy(update={"number": None, "undone": False}) == same), None)
