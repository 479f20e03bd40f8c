"""The catalogue: what it holds, a price put right, a part added; written only where it is the workshop's own."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, get_args, get_origin
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from configurator.book.shelf import shelf_codes
from configurator.catalogue.listing import list_parts
from configurator.catalogue.load import FAMILIES
from configurator.catalogue.own import AS_ITS_KIND, CODE_OF, add_row, correct_row, is_shipped, short_names
from configurator.errors import BadInput, Fault
from configurator.files.declared import unit_of
from configurator.web.pages import as_label, page
from configurator.web.posted import posted
from configurator.web.workshop import Workshop

ROWS_SHOWN = 30
MOST_TOLD = 3
"""Figures told of a part in a list."""
PRICED = tuple(name for name, model in FAMILIES.items() if "price" in model.model_fields)
"""Families of what costs something."""
_SAID_APART = {"code", "price", "labour_min"}
OWN_CODE = "own_code"
Cells = Mapping[str, str]


@dataclass(frozen=True)
class CatalogueField:
    """A field for one figure of a new part. words : to choose from; empty where it is typed. optional : told only by
    who knows it. faults : what is wrong with what was typed."""

    column: str
    label: str
    says: str
    words: tuple[str, ...]
    optional: bool
    typed: str
    faults: tuple[str, ...]


def routes(workshop: Workshop) -> list[Route]:
    return [
        Route("/catalogue", partial(_families, workshop)),
        Route("/catalogue/{family}", partial(_add, workshop), methods=["POST"]),
        Route("/catalogue/{family}", partial(_family, workshop)),
        Route("/catalogue/{family}/{code}", partial(_correct, workshop), methods=["POST"]),
        Route("/catalogue/{family}/{code}", partial(_part, workshop)),
    ]


async def _families(workshop: Workshop, request: Request) -> Response:
    return await run_in_threadpool(_shown_families, workshop)


def _shown_families(workshop: Workshop) -> Response:
    many = {row["family"]: row["rows"] for row in list_parts(workshop.catalog, None, []).rows}
    return page(
        "catalogue.html", families=[(name, words_of_family(name), many[name]) for name in PRICED],
        own=_is_own(workshop), place=str(workshop.catalog.directory),
    )  # fmt: skip


def _is_own(workshop: Workshop) -> bool:
    return not is_shipped(workshop.catalog.directory)


def words_of_family(family: str) -> str:
    """A family as people say it.

    >>> words_of_family("feed_screws")
    'Feed screws'
    """
    return family.replace("_", " ").capitalize()


async def _family(workshop: Workshop, request: Request) -> Response:
    query, family = request.query_params, _known(request)
    find, everything = query.get("find", "").strip(), "all" in query
    return await run_in_threadpool(_shown, workshop, family, find, everything, {})


def _known(request: Request) -> str:
    """The family of an address. Raises a 404."""
    family = str(request.path_params["family"])
    if family not in PRICED:
        raise HTTPException(404)
    return family


def _shown(
    workshop: Workshop, family: str, find: str, everything: bool, typed: Cells, faults: Sequence[Fault] = ()
) -> Response:
    """A family: its rows, and below them the form for another one, as it was filled in if it was refused."""
    rows = list_parts(workshop.catalog, family, []).rows
    told = _told_apart(rows)
    found = [row for row in rows if find.casefold() in " ".join(row.values()).casefold()]
    fields = _fields(family, tuple(workshop.catalog.suppliers), typed, faults)
    named = {field.column for field in fields}
    return page(
        "family.html", 400 if faults else 200, family=family, called=words_of_family(family), find=find,
        rows=[(row["code"], _told(family, row, told), row["price"]) for row in
              (found if everything else found[:ROWS_SHOWN])],
        more=0 if everything else max(0, len(found) - ROWS_SHOWN), many=len(rows), own=_is_own(workshop), fields=fields,
        refused=[_of_field(fault) for fault in faults if _column_of(fault) not in named],
        open=bool(faults),
    )  # fmt: skip


def _told_apart(rows: Sequence[Cells]) -> list[str]:
    """The columns that tell the rows of a family apart, the first few."""
    columns = [name for name in rows[0] if name not in _SAID_APART] if rows else []
    return [name for name in columns if len({row[name] for row in rows}) > 1][:MOST_TOLD]


def _told(family: str, row: Cells, columns: Sequence[str]) -> str:
    return ", ".join(_figure(family, name, row[name]) for name in columns if row[name])


def _figure(family: str, column: str, cell: str) -> str:
    """A figure with its unit and, where it is no word, what it is of."""
    unit = unit_of(FAMILIES[family].model_fields[column])
    if column == "diameter_mm" or not cell[:1].isdigit():
        return f"{_name(family, column)} {cell}" if cell in ("yes", "no") else cell
    return f"{_name(family, column)} {cell} {unit if unit != 'currency' else ''}".rstrip()


def _name(family: str, column: str) -> str:
    short = {full: name for name, full in short_names(family).items()}
    return short[column].replace("_", " ")


def _fields(family: str, suppliers: tuple[str, ...], typed: Cells, faults: Sequence[Fault]) -> list[CatalogueField]:
    """A field for each column; those that must be filled in first, and the code, where it is made from kind and size,
    behind them."""
    fields = []
    for column, declared in FAMILIES[family].model_fields.items():
        unit = unit_of(declared)
        left = not declared.is_required() or column in AS_ITS_KIND or (column == "code" and family in CODE_OF)
        name = _name(family, column).capitalize()
        says = tuple(_of_field(fault) for fault in faults if _column_of(fault) == column)
        fields.append(
            CatalogueField(
                column, f"{name}, {unit}" if unit and unit != "currency" else name, declared.description or "",
                suppliers if column == "supplier" else _words(declared.annotation), left, typed.get(column, ""), says,
            )
        )  # fmt: skip
    return sorted(fields, key=lambda field: field.optional)


def _words(annotation: Any) -> tuple[str, ...]:
    if annotation is bool:
        return ("yes", "no")
    return tuple(map(str, get_args(annotation))) if get_origin(annotation) is not None and all(
        isinstance(word, str) for word in get_args(annotation)
    ) else ()  # fmt: skip


def _column_of(fault: Fault) -> str:
    return "code" if fault.field == OWN_CODE else fault.field


def _of_field(fault: Fault) -> str:
    """A fault without the file that it would lie in, and the field beside which it stands."""
    expected = fault.expected.replace(" currency", "")  # its unit in a declaration: a workshop has one of its own
    place = "" if fault.file else fault.place
    return replace(fault, file="", place=place, field="", expected=expected).told(as_label)


async def _add(workshop: Workshop, request: Request) -> Response:
    family = _known(request)
    words, _ = await posted(request)
    return await run_in_threadpool(_added, workshop, family, words)


def _added(workshop: Workshop, family: str, words: Cells) -> Response:
    """As `tipin catalogue add` does it."""
    cells = {name: text for name in FAMILIES[family].model_fields if (text := words.get(name, "").strip())}
    try:
        report = add_row(workshop.catalog.directory, family, cells)
    except BadInput as error:
        return _shown(workshop, family, "", False, cells, error.faults)
    workshop.catalogue_changed()
    return RedirectResponse(f"{_path(family, report.rows[0].code)}?written=yes", 303)


def _path(family: str, code: str) -> str:
    return f"/catalogue/{family}/{quote(code, safe='')}"


async def _part(workshop: Workshop, request: Request) -> Response:
    family, code = _known(request), request.path_params["code"]
    written = "written" in request.query_params
    return await run_in_threadpool(_shown_part, workshop, family, code, "", written)


def _shown_part(
    workshop: Workshop, family: str, code: str, typed: str, written: bool, refused: Sequence[str] = ()
) -> Response:
    rows = list_parts(workshop.catalog, family, []).rows
    row = next((row for row in rows if row["code"] == code), None)
    if row is None:
        raise HTTPException(404)
    told = [
        (_name(family, name).capitalize(), _with_unit(family, name, cell))
        for name, cell in row.items() if cell and name not in ("code", "price")
    ]  # fmt: skip
    amount = f"{getattr(workshop.catalog, family)[code].price:.2f}"
    return page(
        "part.html", 400 if refused else 200, family=family, called=words_of_family(family), code=code, told=told,
        on_shelf=code in shelf_codes(workshop.catalog), price=row["price"],
        amount=typed or amount, own=_is_own(workshop), refused=refused, written=written,
        currency=workshop.catalog.currency,
    )  # fmt: skip


def _with_unit(family: str, column: str, cell: str) -> str:
    unit = unit_of(FAMILIES[family].model_fields[column])
    return cell if column == "diameter_mm" or unit in ("", "currency") else f"{cell} {unit}"


async def _correct(workshop: Workshop, request: Request) -> Response:
    family, code = _known(request), request.path_params["code"]
    words, _ = await posted(request)
    return await run_in_threadpool(_corrected, workshop, family, code, words.get("price", "").strip())


def _corrected(workshop: Workshop, family: str, code: str, price: str) -> Response:
    """As `tipin catalogue set CODE price=...` does it."""
    if code not in getattr(workshop.catalog, family):
        raise HTTPException(404)
    try:
        correct_row(workshop.catalog.directory, code, {"price": price})
    except BadInput as error:
        return _shown_part(workshop, family, code, price, False, [_of_field(fault) for fault in error.faults])
    workshop.catalogue_changed()
    return RedirectResponse(f"{_path(family, code)}?written=yes", 303)
