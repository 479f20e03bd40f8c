"""The example cars, put into a folder that is still empty, to look around with."""

from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.catalogue.load import shipped_catalog_dir
from configurator.errors import BadInput, Fault
from configurator.files.reading import read_bytes
from configurator.web.workshop import Workshop


def routes(workshop: Workshop) -> list[Route]:
    return [Route("/examples", partial(_examples, workshop), methods=["POST"])]


async def _examples(workshop: Workshop, request: Request) -> Response:
    await run_in_threadpool(_put_in, workshop)
    return RedirectResponse("/", 303)


def _put_in(workshop: Workshop) -> None:
    listing = workshop.folder.listing()
    files = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))
    there = {filed.name for filed in listing.vehicles}
    if there - {file.stem for file in files} or listing.broken:
        raise BadInput([Fault("The examples", "", "go into an empty folder only", "a folder without cars of your own")])
    for file in files:
        workshop.folder.add(file.name, read_bytes(file))
