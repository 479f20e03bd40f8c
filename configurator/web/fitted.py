"""'This is fitted now', told on the page: the next step taken, parts chosen by hand, and an entry taken back."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.book.fitting import Fitting
from configurator.book.fitting_entry import enter_fitting
from configurator.web.pages import car_path
from configurator.web.posted import form_key, posted
from configurator.web.workshop import Workshop


def routes(workshop: Workshop) -> list[Route]:
    return [
        Route("/car/{name}/fit", partial(_fit, workshop), methods=["POST"]),
        Route("/car/{name}/fit/{entry:int}/undo", partial(_undo, workshop), methods=["POST"]),
    ]


async def _fit(workshop: Workshop, request: Request) -> Response:
    words, pins = await posted(request)
    name = request.path_params["name"]
    number = await run_in_threadpool(_told, workshop, name, words, pins)
    if words.get("then") == "card":
        return RedirectResponse(f"{car_path(name, 'card')}?entry={number}", 303)
    return RedirectResponse(car_path(name), 303)


def _told(workshop: Workshop, name: str, words: Mapping[str, str], pins: Sequence[str]) -> int | None:
    now, key = datetime.now(UTC), form_key(words)
    if number := workshop.entered(Fitting, key):
        return number
    told, _ = enter_fitting(
        workshop.car_at(name, now), pins, now, old_to_shelf="old_to_shelf" in words,
        new_from_shelf="new_from_shelf" in words,
    )  # fmt: skip
    return workshop.fit(told, key)


async def _undo(workshop: Workshop, request: Request) -> Response:
    name, entry = request.path_params["name"], request.path_params["entry"]
    await run_in_threadpool(_undone, workshop, name, entry)
    return RedirectResponse(car_path(name), 303)


def _undone(workshop: Workshop, name: str, entry: int) -> None:
    car = workshop.folder.vehicle(name).vehicle.name
    with workshop.book_there() as book:
        book.undo_fitting(entry, car)
