"""The application: every route, and what is answered when something goes wrong."""

import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from configurator.errors import TipinError, one_line
from configurator.solver.solution import Unsettled
from configurator.stopping import Stopped
from configurator.web import (
    bench,
    car,
    catalogue,
    examples,
    fitted,
    front,
    health,
    measure,
    mending,
    new_car,
    order,
    orders,
    phone,
    pictures,
    print_card,
    runs,
    shelf,
)
from configurator.web.folder import NotThere
from configurator.web.guard import Address, Guard
from configurator.web.own_certificate import OwnCertificate
from configurator.web.pages import HERE, as_label, trouble
from configurator.web.pictures import Pictures
from configurator.web.work import Searches
from configurator.web.workshop import Workshop

LEAST_COMPRESSED_BYTES = 500
_LOG = logging.getLogger("tipin")
LATER = "Something went wrong in tipin itself. What you had entered in the book is safe; the terminal says more."


def application(
    workshop: Workshop,
    address: Address,
    token: str | None = None,
    work: Searches | None = None,
    own: OwnCertificate | None = None,
) -> ASGIApp:
    """The whole page for one workshop, served at an address; with a token nobody gets in without it.

    work : where its searches run, for a server that has to stop them. own : the certificate made for it, if one was.
    """
    work, pencil, planned = work or Searches(), Pictures(), orders.ShownPlans(orders.MOST_SHOWN_PLANS)

    @asynccontextmanager
    async def while_it_runs(app: Starlette) -> AsyncIterator[None]:
        yield
        work.close()
        pencil.close()

    app = Starlette(
        routes=[
            *front.routes(workshop), *car.routes(workshop, work), *runs.routes(workshop), *measure.routes(workshop),
            *fitted.routes(workshop), *bench.routes(workshop), *shelf.routes(workshop), *catalogue.routes(workshop),
            *pictures.routes(workshop, pencil), *print_card.routes(workshop),
            *order.routes(workshop, work, pencil, planned), *orders.routes(workshop, planned),
            *new_car.routes(workshop), *mending.routes(workshop), *examples.routes(workshop),
            *phone.routes(address, token, own), *health.routes(workshop),
            Mount("/static", StaticFiles(directory=HERE / "static")),
        ],
        exception_handlers={
            HTTPException: _http, TipinError: _refused, ClientDisconnect: _gone, Exception: _unforeseen,
        },
        middleware=[Middleware(GZipMiddleware, LEAST_COMPRESSED_BYTES, compresslevel=6)],
        lifespan=while_it_runs,
    )  # fmt: skip
    app.router.redirect_slashes = False
    return Guard(app, address, token)


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    says = {404: "There is no such page here.", 405: "That cannot be done with this page."}
    told = error.detail if error.detail[-1:] == "." else says.get(error.status_code, error.detail)
    return trouble(error.status_code, told, error.headers)


async def _refused(request: Request, error: Exception) -> Response:
    """What is wrong, as the page names things."""
    assert isinstance(error, TipinError)
    status = 404 if isinstance(error, NotThere) else 409 if isinstance(error, Stopped | Unsettled) else 400
    return trouble(status, error.told(as_label))


async def _gone(request: Request, error: Exception) -> Response:
    """A phone went in the middle of sending: nobody reads an answer, and one line is enough of it."""
    client = request.client.host if request.client else "a client"
    _LOG.warning("tipin: %s went in the middle of %s %s", client, request.method, one_line(request.url.path))
    return Response(status_code=400)


async def _unforeseen(request: Request, error: Exception) -> Response:
    return trouble(500, LATER)
