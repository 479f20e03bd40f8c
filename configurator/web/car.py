"""The page of a car: one sentence, the next step, what is fitted, the runs."""

import secrets
from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from configurator.advice.part_that_would_do import with_parts_that_would_do
from configurator.advice.propose import ProposalRequest
from configurator.advice.pull_expected import pull_expected
from configurator.advice.sure_proposal import proposal_of
from configurator.learning.as_known import SURE_ENOUGH
from configurator.learning.trial_entry import says_little
from configurator.reports import ProposeReport
from configurator.views.measured_pull_drawing import measured_pull_drawing
from configurator.views.proposal import nothing_does
from configurator.web.car_view import run_rows, shown_of_car
from configurator.web.pages import is_part, page
from configurator.web.step_words import step_told
from configurator.web.work import Searches
from configurator.web.workshop import Setting, Workshop

DRAWINGS = {"pull": "The pull", "ladder": "The ladder"}


def routes(workshop: Workshop, work: Searches) -> list[Route]:
    return [
        Route("/car/{name}", partial(_car, workshop)),
        Route("/car/{name}/judged", partial(_judged, workshop, work)),
        Route("/car/{name}/ways", partial(_ways, workshop, work)),
        Route("/car/{name}/runs", partial(_runs, workshop)),
        Route("/car/{name}/drawing/{what}/{number:int}", partial(_drawing, workshop, work)),
    ]


async def _car(workshop: Workshop, request: Request) -> Response:
    """At once, with the next step where it is known already."""
    setting = await run_in_threadpool(workshop.setting, request.path_params["name"])
    return await run_in_threadpool(_page, workshop, request, setting)


async def _judged(workshop: Workshop, work: Searches, request: Request) -> Response:
    """With the next step, however long that takes."""
    setting = await run_in_threadpool(workshop.setting, request.path_params["name"])
    await work.answer(request, "", partial(workshop.judged, setting))
    return await run_in_threadpool(_page, workshop, request, setting)


def _page(workshop: Workshop, request: Request, setting: Setting) -> Response:
    judged = workshop.judged_before(setting)
    shown = shown_of_car(workshop, setting, judged)
    number = request.query_params.get("recorded", "")
    run = next((run for run in setting.runs if str(run.number) == number), None)
    measured = workshop.measured_in(run.number if run else None)
    notes = [*says_little(run), *measured.notes] if run else []
    pulled = ""
    if run and measured.pull:
        next_parts = judged.report.changes if judged else ()
        model = pull_expected(setting.known, run, measured.pull.pull, next_parts)
        pulled = measured_pull_drawing(measured.pull, model)
    return page(
        "car.html", key=secrets.token_hex(16), recorded=run, notes=notes, pulled=pulled, **shown,
        headers={"vary": "HX-Request"},
    )  # fmt: skip


async def _ways(workshop: Workshop, work: Searches, request: Request) -> Response:
    """As `tipin propose` tells them."""
    setting = await run_in_threadpool(workshop.setting, request.path_params["name"])
    report = await work.answer(request, "", partial(_proposed, setting))
    return page(
        "ways_part.html" if is_part(request) else "ways.html", setting=setting, report=report, step_told=step_told,
        nothing=nothing_does(report.conflict) if report.conflict else "",
    )  # fmt: skip


def _proposed(setting: Setting) -> ProposeReport:
    return with_parts_that_would_do(proposal_of(setting.known, ProposalRequest()), setting.known, SURE_ENOUGH)


async def _runs(workshop: Workshop, request: Request) -> Response:
    setting = await run_in_threadpool(workshop.setting, request.path_params["name"])
    return page("runs.html", setting=setting, runs=run_rows(setting), key=secrets.token_hex(16))


async def _drawing(workshop: Workshop, work: Searches, request: Request) -> Response:
    """A drawing of the page by itself, as large as the screen."""
    what, number = request.path_params["what"], request.path_params["number"]
    setting = await run_in_threadpool(workshop.setting, request.path_params["name"])
    if what not in DRAWINGS:
        raise HTTPException(404)
    judged = await work.answer(request, "", partial(workshop.judged, setting))
    drawings = judged.pulls if what == "pull" else judged.ladders
    if not 0 < number <= len(drawings):
        raise HTTPException(404)
    return page("drawing.html", setting=setting, title=DRAWINGS[what], drawn=drawings[number - 1])
