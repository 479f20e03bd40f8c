"""The shelf against the catalogue: its list with families and values, and what may be booked on it."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from pydantic import Field, ValidationError

from configurator.book.stock import MOST_OF_ONE, StockMove
from configurator.catalogue.load import FAMILIES, Catalog
from configurator.errors import BadInput, Fault, one_line
from configurator.files.declared import Code, Record, Whole, figure
from configurator.files.faults import FaultPlace, faults_of
from configurator.files.reading import did_you_mean, read_table
from configurator.reports import CURRENCY_TOLD, Answer, Report

LONGEST_WHY = 500
NO_GOODS = ("operations", "suppliers", "offers", "limits", "settings")
"""Families of the catalogue that are nothing to put on a shelf."""


class _Counted(Record):
    """A row of a table of quantities."""

    code: Code = figure("code of the part")
    quantity: Whole = figure("how many to put on the shelf", ge=0, le=MOST_OF_ONE)


class ShelfRow(Report):
    """One part on the shelf."""

    code: str = Field(description="code of the part")
    family: str = Field(description="family of the catalogue; empty if the catalogue has no such part any more")
    quantity: int = Field(description="how many there are")
    price: float | None = Field(description="price of one; null where the catalogue has none")
    value: float | None = Field(description="price of them all; null where the catalogue has none")


class StockReport(Answer):
    """Answer of every command of `tipin stock`."""

    book: str = Field(description="the book: a file, or the URL of a database without its password")
    rows: list[ShelfRow] = Field(description="what is on the shelf, in the order of the catalogue")
    value: float = Field(description="value of all rows that have one, in the workshop's currency")
    currency: str = Field("", description=CURRENCY_TOLD)
    moved: list[StockMove] = Field(description="movements just booked, or all there are in a history, oldest first")


def shelf_codes(catalog: Catalog) -> dict[str, str]:
    """Family by code, of everything that can be on a shelf, in the order of the catalogue."""
    families = (name for name in FAMILIES if name not in NO_GOODS)
    return {code: family for family in families for code in getattr(catalog, family)}


def stock_report(book: str, stock: Mapping[str, int], catalog: Catalog, moved: list[StockMove]) -> StockReport:
    """The shelf as the catalogue knows it; parts that it no longer has stand last."""
    families = shelf_codes(catalog)
    places = {code: place for place, code in enumerate(families)}
    rows = []
    for code in sorted(stock, key=lambda code: (places.get(code, len(places)), code)):
        family = families.get(code, "")
        price = getattr(getattr(catalog, family)[code], "price", None) if family else None
        value = None if price is None else round(price * stock[code], 2)
        rows.append(ShelfRow(code=code, family=family, quantity=stock[code], price=price, value=value))
    total = round(sum(row.value or 0.0 for row in rows), 2)
    return StockReport(book=book, rows=rows, value=total, currency=catalog.currency, moved=moved)


def check_parts(code: str, number: int, catalog: Catalog) -> None:
    """Raises BadInput unless this is the code of something that can be on a shelf, and a number there can be."""
    fault = _unknown(code, catalog, "", "")
    if fault is not None:
        raise BadInput([replace(fault, field="code")])
    if number > MOST_OF_ONE:
        raise BadInput.in_field("number", str(number), "is too many", f"at most {MOST_OF_ONE}")


def read_why(why: str | None, otherwise: str) -> str:
    """What a movement is for, as it is kept; raises BadInput for what cannot be."""
    if why is not None and len(why) > LONGEST_WHY:
        raise BadInput.in_field("why", "", f"{len(why)} characters", f"at most {LONGEST_WHY}")
    if why is not None and not why.isprintable():
        raise BadInput.in_field("why", "", "holds signs that cannot be printed", "text on one line")
    return why or one_line(otherwise)[:LONGEST_WHY]


def _unknown(code: str, catalog: Catalog, file: str, place: str) -> Fault | None:
    known = shelf_codes(catalog)
    if code in known:
        return None
    family = catalog.family_of(code)
    problem = f"{code} is one of the {family}, not goods" if family else f"no part has the code {code}"
    remedy = did_you_mean(code, list(known))
    return Fault(file, place, problem, "a code of the catalogue", f"{remedy} `tipin parts` lists them".strip())


def read_quantities(path: Path, catalog: Catalog) -> dict[str, int]:
    """Quantities by code from a table with the columns code and quantity; raises BadInput with every fault."""
    table = read_table(path)
    known = list(_Counted.model_fields)
    faults = list(table.faults)
    for column in table.columns:
        if column not in known:
            remedy = did_you_mean(column, known) or "the columns are code and quantity"
            faults.append(Fault(str(path), f"column {column}", "is not a column of this table", remedy=remedy))
    faults += [
        Fault(str(path), f"column {name}", "is missing", _Counted.model_fields[name].description or "")
        for name in known if name not in table.columns
    ]  # fmt: skip
    if faults:
        raise BadInput(faults)
    if not table.rows:
        raise BadInput([Fault(str(path), "", "has no rows below its heading", "at least one")])
    rows: dict[str, tuple[int, int]] = {}
    for row in table.rows:

        def place(loc: FaultPlace, number: int = row.number) -> str:
            return f"row {number}" + (f", column {loc[0]}" if loc else "")

        try:
            counted = _Counted.model_validate(row.cells)
        except ValidationError as error:
            faults += faults_of(error, _Counted, str(path), place)
            continue
        fault = _unknown(counted.code, catalog, str(path), place(("code",)))
        if fault is not None:
            faults.append(fault)
        elif counted.code in rows:
            twice = f"{counted.code} is already in row {rows[counted.code][0]}"
            faults.append(Fault(str(path), place(("code",)), twice, "each code once"))
        else:
            rows[counted.code] = (row.number, counted.quantity)
    if faults:
        raise BadInput(faults)
    return {code: quantity for code, (_, quantity) in rows.items()}
