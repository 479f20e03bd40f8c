"""The job card of a choice, to print."""

from datetime import date
from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from configurator.advice.work import combination_of
from configurator.card import card_of
from configurator.slots.options import Choice
from configurator.slots.wishes import choose
from configurator.views.card import PAPERS, card_html, card_pdf, card_pictures
from configurator.web.guard import PRINTED_POLICY
from configurator.web.pages import car_path
from configurator.web.workshop import Setting, Workshop

RECORD = "Log the run on the page of this car."


def routes(workshop: Workshop) -> list[Route]:
    return [Route("/car/{name}/card", partial(_card, workshop))]


async def _card(workshop: Workshop, request: Request) -> Response:
    return await run_in_threadpool(_printed, workshop, request)


def _asked(workshop: Workshop, name: str, query: QueryParams) -> tuple[Setting, Choice, str]:
    """The car and the parts that a card is of: those that the book was told with an entry, for the car as it was
    before; else those of the address."""
    entry = query.get("entry", "")
    if not (entry.isdecimal() and entry.isascii() and len(entry) < 10):
        setting, pins = workshop.asked(name, query)
        return setting, choose(setting.case.options, pins.listed), pins.title
    setting, told = workshop.before(name, int(entry))
    choice = dict(setting.case.as_fitted)
    for slot, options in setting.case.options.items():
        choice[slot] = options.labelled(told.codes.get(str(slot), "")) or choice[slot]
    return setting, choice, f"Entry {entry} of what is fitted"


def _printed(workshop: Workshop, request: Request) -> Response:
    query = request.query_params
    setting, choice, title = _asked(workshop, request.path_params["name"], query)
    known = setting.known
    combination = combination_of(known.case, choice, title, [], known.believed, known.felt_with(choice))
    complaint = known.last_felt if known.last_felt and known.last_felt.side else None
    card = card_of(known, choice, combination, date.today(), complaint, record=RECORD)
    pdf = query.get("format") == "pdf"
    html = card_html(card, card_pictures(setting.case, choice), "" if pdf else car_path(setting.name))
    # The one script of ours keeps its ticks on the phone; none may stand in the page itself.
    headers = {"content-security-policy": f"{PRINTED_POLICY}; script-src 'self'"}
    if not pdf:
        return HTMLResponse(html, headers=headers)
    paper = query.get("paper", "a4")
    content = card_pdf(html, paper if paper in PAPERS else "a4")
    return Response(content, media_type="application/pdf", headers=headers | {"content-disposition": "inline"})
