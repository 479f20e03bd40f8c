"""Whether the page is well, for whoever looks after the machine: one word, without a token."""

import os
from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from configurator.book.book import find_book
from configurator.errors import TipinError
from configurator.web.guard import HEALTH
from configurator.web.workshop import Workshop


def routes(workshop: Workshop) -> list[Route]:
    return [Route(HEALTH, partial(_health, workshop))]


async def _health(workshop: Workshop, request: Request) -> Response:
    fault = await run_in_threadpool(_fault, workshop)
    return PlainTextResponse(fault or "well", 503 if fault else 200)


def _fault(workshop: Workshop) -> str:
    """What is wrong, without a word of what stands in folder or book: anybody may ask."""
    if not os.access(workshop.folder.path, os.R_OK | os.X_OK):
        return "the folder cannot be read"
    try:
        if book := find_book(workshop.book):
            with book:
                pass
    except TipinError:
        return "the book cannot be opened"
    return ""
