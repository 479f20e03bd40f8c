"""The parts order of the workshop: which vehicles on which day, and what to buy for them."""

import secrets
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from functools import partial
from hashlib import sha256

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from configurator.book.book import find_book
from configurator.car.vehicle import Vehicle
from configurator.errors import BadInput, Fault
from configurator.ordering.answer import answer
from configurator.ordering.job import job_of
from configurator.ordering.meeting import Appointment, Meeting, load_meeting, twin_faults
from configurator.ordering.plan import PurchaseWish
from configurator.ordering.report import OrderReport
from configurator.web.fields import number_typed
from configurator.web.orders import ShownPlans, supplier_name
from configurator.web.pages import is_part, page
from configurator.web.pictures import Pictures
from configurator.web.work import Searches
from configurator.web.workshop import Workshop

_NAME = "Parts order"
MOST_MONEY = 10_000_000.0
A_WEEK = timedelta(days=7)
"""Until the day that a form has filled in at first."""


def routes(workshop: Workshop, work: Searches, pictures: Pictures, planned: ShownPlans) -> list[Route]:
    return [
        Route("/order", partial(_form, workshop)),
        Route("/order/plan", partial(_plan, workshop, work, pictures, planned)),
        Route("/order/progress", partial(_progress, work)),
    ]


async def _form(workshop: Workshop, request: Request) -> Response:
    listing, query, today = await run_in_threadpool(workshop.folder.listing), request.query_params, date.today()
    return page(
        "order.html", listing=listing, query=query, ticked=set(query.getlist("car")), today=today.isoformat(),
        soon=(today + A_WEEK).isoformat(), sheet=secrets.token_hex(8), report=None, picture="", says="",
    )  # fmt: skip


async def _plan(
    workshop: Workshop, work: Searches, pictures: Pictures, planned: ShownPlans, request: Request
) -> Response:
    query = request.query_params
    sheet = _sheet(query.get("sheet", ""))
    progress = partial(work.tell, sheet)
    report = await work.answer(request, sheet, partial(_planned, workshop, query, progress))
    picture, says = await pictures.of_money(report) if report.curve else ("", "")
    key = sha256(report.model_dump_json().encode()).hexdigest()
    planned.get(key, lambda: report)
    template = "plan_part.html" if is_part(request) else "plan.html"
    named = partial(supplier_name, workshop.catalog)
    return page(template, report=report, picture=picture, says=says, key=key, named=named)


def _sheet(written: str) -> str:
    """What a search is known by, of the sheet that it is asked from; empty for none."""
    return written and f"order {written[:64]}"


async def _progress(work: Searches, request: Request) -> Response:
    """How far the plan of a sheet is, as `tipin order` tells it."""
    return PlainTextResponse(work.says(_sheet(request.query_params.get("sheet", ""))))


def _planned(workshop: Workshop, query: QueryParams, progress: Callable[[str], None]) -> OrderReport:
    """As `tipin order` does it. progress : is told in words what is being worked out."""
    meeting, vehicles = _meeting(workshop, query)
    budget = _amount(query.get("budget", ""))
    wish = PurchaseWish(
        None if budget is None else round(100 * budget), 1 if "one_supplier" in query else None,
        "fewest_deliveries" in query,
    )  # fmt: skip
    job = job_of(
        meeting, vehicles, workshop.catalog, find_book(workshop.book), wish, redrill="no_redrill" not in query,
        progress=progress,
    )  # fmt: skip
    return answer(job, progress=progress)


def _meeting(workshop: Workshop, query: QueryParams) -> tuple[Meeting, Sequence[Vehicle]]:
    """What is to be ready: as a workshop file says, or the vehicles ticked."""
    if file := query.get("workshop"):
        return load_meeting(workshop.folder.workshop(file), within=workshop.folder.path)
    today, ticked = date.today(), list(dict.fromkeys(query.getlist("car")))
    if not ticked:
        raise BadInput([Fault("order", "", "no vehicle is ticked", "at least one, with its day")])
    vehicles = [workshop.folder.vehicle(name).vehicle for name in ticked]
    faults = twin_faults(vehicles, "order", "")
    appointments = []
    for name in ticked:
        try:
            day = _day(name, query.get(f"day:{name}", ""), today)
            appointments.append(Appointment(file=name, day=day))
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(faults)
    sure = _sure(query.get("sure", ""))
    return Meeting(name=_NAME, today=today, sureness=sure, vehicle=tuple(appointments)), vehicles


def _day(name: str, text: str, today: date) -> date:
    expected = f"a day such as {today.isoformat()}, or later"
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput([Fault("order", name, f"'{text[:40]}' is no day", expected)]) from None
    if day < today:
        raise BadInput([Fault("order", name, f"{day.isoformat()} is past", expected)])
    return day


def _sure(text: str) -> float:
    percent = number_typed(text or "90") or 0.0
    if not 1 <= percent <= 99.9:
        raise BadInput([Fault("order", "how sure", f"'{text[:40]}' cannot be meant", "1 to 99.9 %")])
    return percent / 100


def _amount(text: str) -> float | None:
    if not text.strip():
        return None
    amount = number_typed(text)
    if amount is None or amount > MOST_MONEY:
        raise BadInput([Fault("order", "most to spend", f"'{text[:40]}' is no amount", "a number, or nothing")])
    return amount
