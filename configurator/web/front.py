"""The first page: the cars, newest work first, and a new vehicle file put into the folder."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.advice.over_unknown import unknown_of
from configurator.book.car_records import NOTHING_BOOKED
from configurator.book.last_work import LastWork
from configurator.errors import TipinError
from configurator.views.book import day_words
from configurator.views.felt_signs import felt_sign
from configurator.views.tables import counted
from configurator.web.folder import Added, Filed
from configurator.web.mending import refused_file
from configurator.web.pages import as_label, car_path, page
from configurator.web.state import CarState, state_by_last_run
from configurator.web.workshop import Workshop

SEARCHED_FROM = 10
"""Cars from which on there is a field to look for one."""
SHOWN_AT_ONCE = 20
_NEVER = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True)
class CarRow:
    """A car on the first page: its state in a line, and its last run. at : when that was."""

    filed: Filed
    state: CarState
    last: str
    at: datetime


def routes(workshop: Workshop) -> list[Route]:
    return [
        Route("/", partial(_front, workshop)),
        Route("/upload", partial(_upload, workshop), methods=["POST"]),
        Route("/safety", _safety),
        Route("/favicon.ico", _icon),
    ]


async def _front(workshop: Workshop, request: Request) -> Response:
    query = request.query_params
    return await run_in_threadpool(_shown, workshop, find=query.get("find", "").strip(), everything="all" in query)


def _shown(
    workshop: Workshop,
    *,
    find: str = "",
    everything: bool = False,
    refused: Sequence[str] = (),
    there_already: str = "",
) -> Response:
    listing, work, now = workshop.folder.listing(), workshop.last_work(), datetime.now(UTC)
    rows = [_row(workshop, filed, work.get(filed.vehicle.name), now) for filed in listing.vehicles]
    found = [row for row in rows if find.casefold() in f"{row.filed.vehicle.name} {row.filed.name}".casefold()]
    found.sort(key=lambda row: row.at, reverse=True)
    shown = found if everything or find else found[:SHOWN_AT_ONCE]
    return page(
        "front.html", 400 if refused else 200, rows=shown, more=len(found) - len(shown), cars=len(rows), find=find,
        searched=len(rows) >= SEARCHED_FROM, listing=listing, folder=str(workshop.folder.path), refused=refused,
        there_already=there_already, shelf=sum(workshop.stock().values()),
    )  # fmt: skip


def _row(workshop: Workshop, filed: Filed, work: LastWork | None, now: datetime) -> CarRow:
    state = workshop.state(filed, work.version if work else NOTHING_BOOKED)
    run = work.last if work else None
    state = state or state_by_last_run(run)
    if work is not None and work.runs and run is None:
        return CarRow(filed, state, f"{counted(work.runs, 'run')}, left out", _NEVER)
    if work is None or run is None:
        unknown = len(list(unknown_of(filed.vehicle)))
        said = f"{counted(unknown, 'figure')} not known" if unknown else "no run yet"
        return CarRow(filed, state, said, _NEVER)
    was = felt_sign(run.felt.word if run.felt else None).was
    return CarRow(filed, state, f"{counted(work.runs, 'run')}; {was}, {day_words(run.at, now)}", run.at)


async def _upload(workshop: Workshop, request: Request) -> Response:
    async with request.form(max_files=1, max_fields=5) as form:
        file = form.get("file")
        if not isinstance(file, UploadFile):
            raise HTTPException(400, "No file was sent.")
        content = await file.read()
    try:
        added: Added = await run_in_threadpool(workshop.folder.add, file.filename or "", content)
    except TipinError as error:
        if (refused := refused_file(file.filename or "", content, error)) is not None:
            return refused
        return await run_in_threadpool(partial(_shown, workshop, refused=error.told(as_label).splitlines()))
    if added.new:
        return RedirectResponse(car_path(added.name), 303)
    return await run_in_threadpool(partial(_shown, workshop, there_already=added.name))


async def _icon(request: Request) -> Response:
    return RedirectResponse("/static/icon.svg", 308)  # for a page that names no icon, such as the card


async def _safety(request: Request) -> Response:
    return page("safety.html")
