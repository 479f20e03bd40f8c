"""A trial run, from the form on the bench into the book."""

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from urllib.parse import urlencode

from anyio import to_thread
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.errors import BadInput, Fault, TipinError
from configurator.learning.trial_entry import enter_trial, read_when
from configurator.slots.wishes import chosen_parts
from configurator.web.bench import ATTENDED, refused_run
from configurator.web.fields import text_fields
from configurator.web.pages import as_label, car_path
from configurator.web.workshop import Workshop

MOST_FIELDS = 60
_KEY = re.compile(r"[0-9a-f]{32}", re.ASCII)


def routes(workshop: Workshop) -> list[Route]:
    return [
        Route("/car/{name}/run", partial(_record, workshop), methods=["POST"]),
        Route("/car/{name}/run", _to_bench),  # where a browser stands after a run that was refused
    ]


async def _to_bench(request: Request) -> Response:
    return RedirectResponse(car_path(request.path_params["name"]), 303)


async def _record(workshop: Workshop, request: Request) -> Response:
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        fields = text_fields(form)
    words, pins = dict(fields), [value for key, value in fields if key == "pin"]
    name = request.path_params["name"]
    try:
        return await run_in_threadpool(_recorded, workshop, name, words, pins)
    except TipinError as error:
        felt = [("symptom", words.get("symptom", "")), ("moment", words.get("symptom_moment", ""))]
        query = QueryParams([*felt, *(("pin", pin) for pin in pins)])
        says = error.told(as_label).splitlines()
        return await to_thread.run_sync(refused_run, workshop, name, query, words, says, limiter=ATTENDED)


def _recorded(workshop: Workshop, name: str, words: Mapping[str, str], pins: Sequence[str]) -> Response:
    now = datetime.now(UTC)
    if not _KEY.fullmatch(words.get("key", "")):
        raise BadInput([Fault("The run", "", "comes from no form of this page", "", "send it from here")])
    if not words.get("felt"):
        raise BadInput.in_field("word", "", "nothing is chosen", "what was felt in the run")
    # With the microsecond two runs that say the same stay two, also in a file that carries them to another book.
    said = {name: text for name, word in words.items() if (text := word.strip())}
    when = said.get("when")
    at = read_when(when, now).replace(microsecond=now.microsecond) if when else now
    day = {
        "air_temperature_c": said.get("air_temperature"),
        "altitude_m": said.get("altitude"),
        "air_pressure_kpa": said.get("pressure"),
        "fuel": said.get("fuel"), "warm": "cold" not in words,
    }  # fmt: skip
    felt = {"word": words["felt"], **{field: words.get(field) or None for field in ("strength", "moment")}}
    case = workshop.case_at(name, at)
    choice = chosen_parts(case.options, pins)
    run = enter_trial(case, choice, at, felt, day, clean_after_ms=said.get("clean_after"), note=said.get("note", ""))
    # The key tells one page from another: sent twice, by a double click or a reload, it is still the same run.
    number = workshop.record(run, (name, tuple(sorted(words.items())), tuple(pins)))
    # The symptom stays behind: it would count once more, beside the run that now stands for it. So do the parts chosen:
    # by the run they are what is fitted.
    return RedirectResponse(f"{car_path(name)}?{urlencode({'recorded': number or ''})}#runs", 303)
