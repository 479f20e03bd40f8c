"""The first page: what the folder holds, and a new vehicle file put into it."""

from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.errors import TipinError
from configurator.web.folder import Added
from configurator.web.mending import refused_file
from configurator.web.pages import as_label, car_path, page
from configurator.web.workshop import Workshop


def routes(workshop: Workshop) -> list[Route]:
    return [
        Route("/", partial(_front, workshop)),
        Route("/upload", partial(_upload, workshop), methods=["POST"]),
        Route("/safety", _safety),
        Route("/favicon.ico", _icon),
    ]


async def _front(workshop: Workshop, request: Request) -> Response:
    listing = await run_in_threadpool(workshop.folder.listing)
    return page("front.html", listing=listing, folder=str(workshop.folder.path), refused=[], there_already="")


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
        listing, says = await run_in_threadpool(workshop.folder.listing), error.told(as_label).splitlines()
        folder = str(workshop.folder.path)
        return page("front.html", 400, listing=listing, folder=folder, refused=says, there_already="")
    if added.new:
        return RedirectResponse(car_path(added.name), 303)
    listing, folder = await run_in_threadpool(workshop.folder.listing), str(workshop.folder.path)
    return page("front.html", listing=listing, folder=folder, refused=[], there_already=added.name)


async def _icon(request: Request) -> Response:
    return RedirectResponse("/static/icon.svg", 308)  # for a page that names no icon, such as the card


async def _safety(request: Request) -> Response:
    return page("safety.html")
