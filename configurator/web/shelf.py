"""The shelf: what is there, and parts put on it, taken off and counted."""

import secrets
from collections.abc import Mapping
from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.book.book import find_book, open_book
from configurator.book.shelf import check_parts, read_why, shelf_codes, stock_report
from configurator.book.usual_place import place_of_book
from configurator.errors import BadInput, TipinError
from configurator.views.book import day_words
from configurator.web.pages import as_label, page
from configurator.web.posted import form_key, posted
from configurator.web.workshop import Workshop

MOVES_SHOWN = 10
DONE = {"add": "added", "take": "taken", "count": "counted"}


def routes(workshop: Workshop) -> list[Route]:
    return [
        Route("/shelf", partial(_move, workshop), methods=["POST"]),
        Route("/shelf", partial(_shelf, workshop)),
    ]


async def _shelf(workshop: Workshop, request: Request) -> Response:
    return await run_in_threadpool(_shown, workshop, {"code": request.query_params.get("code", "")})


def _shown(workshop: Workshop, typed: Mapping[str, str], refused: tuple[str, ...] = ()) -> Response:
    book = find_book(workshop.book)
    if book is None:
        report = stock_report(place_of_book(workshop.book), {}, workshop.catalog, [])
    else:
        with book:
            report = stock_report(book.place, book.stock(), workshop.catalog, book.stock_history())
    came = {move.code: move for move in report.moved if move.change > 0}
    return page(
        "shelf.html", 400 if refused else 200, report=report, came=came, moves=report.moved[: -MOVES_SHOWN - 1 : -1],
        codes=shelf_codes(workshop.catalog), typed=typed, refused=refused, key=secrets.token_hex(16), day=day_words,
    )  # fmt: skip


async def _move(workshop: Workshop, request: Request) -> Response:
    words, _ = await posted(request)
    try:
        await run_in_threadpool(_moved, workshop, words)
    except TipinError as error:
        refused = tuple(error.told(as_label).splitlines())
        return await run_in_threadpool(_shown, workshop, words, refused)
    return RedirectResponse("/shelf", 303)


def _moved(workshop: Workshop, words: Mapping[str, str]) -> None:
    """As `tipin stock add`, `take` and `count` do it."""
    do, code, number = words.get("do", ""), words.get("code", "").strip(), _number(words.get("number", ""))
    if do not in DONE:
        raise BadInput.in_field("do", do, "is nothing that is done on a shelf", "put on, take off or count")
    if number == 0 and do != "count":
        raise BadInput.in_field("number", "0", "moves nothing", "1 or more")
    check_parts(code, number, workshop.catalog)
    why = read_why(words.get("why") or None, DONE[do])

    key = form_key(words)
    with open_book(workshop.book) as book:
        if do == "count":
            book.count_stock(code, number, why, key)
        else:
            book.move_stock(code, number if do == "add" else -number, why, key)


def _number(text: str) -> int:
    """How many; plain digits alone."""
    if not (text.strip().isdecimal() and text.isascii()):
        raise BadInput.in_field("number", text[:20], "is no number", "digits, such as 2")
    return int(text[:12])
