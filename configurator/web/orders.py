"""Orders that are kept: their list, each at an address of its own, and what every supplier sends of them."""

from collections import Counter
from collections.abc import Callable, Mapping
from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from configurator.book.book import Book, open_book
from configurator.book.orders import KeptOrder
from configurator.book.shelf import check_parts, shelf_codes
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput
from configurator.ordering.report import OrderLine, OrderReport
from configurator.views.order import supplier_csv, supplier_text
from configurator.web.fields import text_fields
from configurator.web.kept import KeptValues
from configurator.web.pages import page
from configurator.web.workshop import Workshop

MOST_SHOWN_PLANS = 64
MOST_ARRIVED = 1000
GOT = "got:"
ShownPlans = KeptValues[OrderReport]
"""Plans that were shown lately, by the key that a page carries."""


def routes(workshop: Workshop, planned: ShownPlans) -> list[Route]:
    one = "/orders/{number:int}"
    return [
        Route("/orders", partial(_list, workshop)),
        Route("/orders", partial(_keep, workshop, planned), methods=["POST"]),
        Route(one, partial(_order, workshop)),
        Route(one + "/{supplier}.csv", partial(_csv, workshop)),
        Route(one + "/{supplier}", partial(_parcel, workshop)),
        Route(one + "/{supplier}/sent", partial(_sent, workshop), methods=["POST"]),
        Route(one + "/{supplier}/arrived", partial(_arrived, workshop), methods=["POST"]),
    ]


def _kept(workshop: Workshop, number: int) -> tuple[KeptOrder, OrderReport]:
    """An order and what it says; raises a 404 where there is none."""

    def find(book: Book) -> KeptOrder | None:
        try:
            return book.orders.order(number)
        except BadInput:
            return None

    kept = workshop.look(find, None)
    if kept is None:
        raise HTTPException(404, "There is no such order.")
    return kept, OrderReport.model_validate_json(kept.record)


async def _list(workshop: Workshop, request: Request) -> Response:
    orders = await run_in_threadpool(workshop.look, lambda book: book.orders.all(), [])
    return page("orders.html", orders=orders, named=partial(supplier_name, workshop.catalog))


async def _keep(workshop: Workshop, planned: ShownPlans, request: Request) -> Response:
    async with request.form(max_files=0, max_fields=5) as form:
        key = dict(text_fields(form)).get("key", "")
    report = planned.find(key)
    if report is None:
        raise HTTPException(409, "That plan is not at hand any more. Plan it again, then keep it.")

    def keep() -> int:
        with open_book(workshop.book) as book:
            suppliers = [supplier.supplier for supplier in report.suppliers]
            return book.orders.keep(report.name, report.model_dump_json(), suppliers).number

    return RedirectResponse(f"/orders/{await run_in_threadpool(keep)}", 303)


async def _order(workshop: Workshop, request: Request) -> Response:
    kept, report = await run_in_threadpool(_kept, workshop, request.path_params["number"])
    return page("kept_order.html", kept=kept, report=report, named=partial(supplier_name, workshop.catalog))


def _lines(workshop: Workshop, request: Request) -> tuple[KeptOrder, OrderReport, str, list[OrderLine]]:
    """An order with the lines of one supplier; raises a 404 where it sends nothing."""
    kept, report = _kept(workshop, request.path_params["number"])
    supplier = request.path_params["supplier"]
    if kept.parcel(supplier) is None:
        raise HTTPException(404, "Nothing of this order comes from there.")
    return kept, report, supplier, [line for line in report.lines if line.supplier == supplier]


async def _parcel(workshop: Workshop, request: Request) -> Response:
    kept, report, supplier, lines = await run_in_threadpool(_lines, workshop, request)
    named = supplier_name(workshop.catalog, supplier)
    return page(
        "parcel.html", kept=kept, report=report, parcel=kept.parcel(supplier), supplier=supplier, named=named,
        total=next(one for one in report.suppliers if one.supplier == supplier),
        text=supplier_text(report, supplier, named),
        lines=[(line, _in_words(line, workshop.catalog)) for line in lines],
        brings=_brings(lines, workshop.catalog), got=GOT,
    )  # fmt: skip


async def _csv(workshop: Workshop, request: Request) -> Response:
    kept, report, supplier, _ = await run_in_threadpool(_lines, workshop, request)
    file = f'attachment; filename="order-{kept.number}-{supplier}.csv"'
    return PlainTextResponse(
        supplier_csv(report, supplier), media_type="text/csv", headers={"content-disposition": file}
    )


async def _sent(workshop: Workshop, request: Request) -> Response:
    return await run_in_threadpool(_marked, workshop, request, lambda book, number, by: book.orders.sent(number, by))


async def _arrived(workshop: Workshop, request: Request) -> Response:
    async with request.form(max_files=0, max_fields=MOST_ARRIVED) as form:
        got = {name.removeprefix(GOT): text for name, text in text_fields(form) if name.startswith(GOT)}
    came = {code: _count(code, text, workshop.catalog) for code, text in got.items()}
    return await run_in_threadpool(
        _marked, workshop, request, lambda book, number, by: book.orders.arrived(number, by, came)
    )


def _count(code: str, text: str, catalog: Catalog) -> int:
    """How many of a code came; raises BadInput as the commands of the shelf do."""
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise BadInput.in_field("number", text[:40], "is no number of parts", "a whole number, 0 for none")
    check_parts(code, int(text), catalog)
    return int(text)


def _marked(workshop: Workshop, request: Request, mark: Callable[[Book, int, str], object]) -> Response:
    kept, _, supplier, _ = _lines(workshop, request)
    with open_book(workshop.book) as book:
        mark(book, kept.number, supplier)
    return RedirectResponse(f"/orders/{kept.number}/{supplier}", 303)


def supplier_name(catalog: Catalog, supplier: str) -> str:
    """A supplier as people call it."""
    return catalog.suppliers[supplier].name if supplier in catalog.suppliers else supplier


def _in_words(line: OrderLine, catalog: Catalog) -> str:
    """What kind of thing a line is."""
    family = catalog.family_of(line.code)
    family = family if family != "offers" else catalog.family_of(catalog.offers[line.code].part)
    return family.replace("_", " ").removesuffix("s")


def _brings(lines: list[OrderLine], catalog: Catalog) -> Mapping[str, int]:
    """What goes on the shelf, by code: the part itself where a line is one, else what a pack or a kit holds."""
    known, came = shelf_codes(catalog), Counter[str]()
    for line in lines:
        for code, count in line.brings.items():
            came[line.code if code == line.part and line.code in known else code] += count
    return came
