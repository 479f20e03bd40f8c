"""Measure a run: the page on which a phone records the pull; the recording goes into the book with its run."""

from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from configurator.web.pages import page
from configurator.web.workshop import Workshop

STARTS_AFTER_S, LASTS_S = (10, 30, 60), (45, 60, 80)
"""To choose from: time to put the phone away and drive off, and for three to six tip-ins. A phone reads up to 100 times
a second, and what it may send at once holds about 80 s of that."""


def routes(workshop: Workshop) -> list[Route]:
    return [Route("/car/{name}/measure", partial(_measure, workshop))]


async def _measure(workshop: Workshop, request: Request) -> Response:
    setting = await run_in_threadpool(workshop.setting, request.path_params["name"])
    return page("measure.html", setting=setting, starts_after_s=STARTS_AFTER_S, lasts_s=LASTS_S)
