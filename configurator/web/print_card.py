"""The job card of a choice, to print."""

from datetime import date
from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from configurator.advice.work import combination_of
from configurator.card import card_of
from configurator.slots.wishes import choose
from configurator.views.card import PAPERS, card_html, card_pdf, card_pictures
from configurator.web.guard import PRINTED_POLICY
from configurator.web.workshop import Workshop

RECORD = "Log the run on the bench page of this car."


def routes(workshop: Workshop) -> list[Route]:
    return [Route("/car/{name}/card", partial(_card, workshop))]


async def _card(workshop: Workshop, request: Request) -> Response:
    return await run_in_threadpool(_printed, workshop, request)


def _printed(workshop: Workshop, request: Request) -> Response:
    query = request.query_params
    setting, pins = workshop.asked(request.path_params["name"], query)
    choice = choose(setting.case.options, pins.listed)
    known, felt = setting.known, setting.known.felt_with(choice)
    combination = combination_of(known.case, choice, pins.title, pins.listed, known.believed, felt)
    card = card_of(known, choice, combination, date.today(), setting.symptom, record=RECORD)
    html = card_html(card, card_pictures(setting.case, choice))
    headers = {"content-security-policy": PRINTED_POLICY}
    if query.get("format") != "pdf":
        return HTMLResponse(html, headers=headers)
    paper = query.get("paper", "a4")
    content = card_pdf(html, paper if paper in PAPERS else "a4")
    return Response(content, media_type="application/pdf", headers=headers | {"content-disposition": "inline"})
