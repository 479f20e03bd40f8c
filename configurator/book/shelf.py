"""The shelf against the catalogue: its list with families and values, and changes to it as they are asked for."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError

from configurator.book.book import Book
from configurator.book.stock import MOST_OF_ONE, StockMove
from configurator.catalogue.load import FAMILIES, Catalog
from configurator.errors import BadInput, Fault, one_line
from configurator.files.declared import Code, Record, Whole, figure
from configurator.files.faults import FaultPlace, faults_of
from configurator.files.reading import did_you_mean, read_table
from configurator.reports import Answer, Report

LONGEST_WHY = 500
NO_GOODS = ("operations", "suppliers", "offers", "limits")
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
    """Answer of `tipin stock`."""

    book: str = Field(description="the book: a file, or the URL of a database without its password")
    rows: list[ShelfRow] = Field(description="what is on the shelf, in the order of the catalogue")
    value: float = Field(description="value of all rows that have one, in the workshop's currency")
    moved: list[StockMove] = Field(description="movements just booked; with --history all there are, oldest first")


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
    return StockReport(book=book, rows=rows, value=total, moved=moved)


@dataclass(frozen=True)
class Booking:
    """What is to be done with the shelf: numbers by code."""

    action: Literal["add", "take", "count"]
    numbers: Mapping[str, int]
    why: str


def read_change(
    catalog: Catalog,
    action: Literal["add", "take", "count"] | None,
    code: str | None,
    number: int | None,
    why: str | None,
    table: Path | None,
    history: bool,
) -> Booking | None:
    """The change that the words of `tipin stock` ask for; None where they only ask to look. Raises BadInput."""
    jobs = [name for name, given in (("--import", table), ("--history", history), (action, action)) if given]
    if len(jobs) > 1:
        raise BadInput([Fault(f"stock {' '.join(map(str, jobs))}", "", "are different jobs", "one of them at a time")])
    if why is not None and not (action or table):
        raise BadInput([Fault(f"--why {why}", "", "goes with a movement only", "add, take, count or --import as well")])
    if why is not None and len(why) > LONGEST_WHY:
        raise BadInput([Fault("--why", "", f"{len(why)} characters", f"at most {LONGEST_WHY}")])
    if why is not None and not why.isprintable():
        raise BadInput([Fault("--why", "", "holds signs that cannot be printed", "text on one line")])
    if table is not None:
        return Booking("add", read_quantities(table, catalog), why or f"from {one_line(table.name)}"[:LONGEST_WHY])
    if action is None:
        return None
    place = " ".join(str(word) for word in ("stock", action, code, number) if word is not None)
    if code is None or number is None:
        lacking = "code and number are missing" if code is None else "the number is missing"
        example = f"for example stock {action} {code or next(iter(catalog.nozzles))} 2"
        raise BadInput([Fault(place, "", lacking, remedy=example)])
    fault = _unknown(code, catalog, place, "")
    if fault is not None:
        raise BadInput([fault])
    least = 0 if action == "count" else 1
    if not least <= number <= MOST_OF_ONE:
        raise BadInput([Fault(place, "", f"{number} is no number to {action}", f"{least} to {MOST_OF_ONE}")])
    return Booking(action, {code: number}, why or {"add": "added", "take": "taken", "count": "counted"}[action])


def change_shelf(book: Book, change: Booking) -> list[StockMove]:
    """Do a change; returns the movements booked. All of it or nothing."""
    if change.action == "add":
        return book.add_stock(change.numbers, change.why)
    ((code, number),) = change.numbers.items()
    if change.action == "take":
        return [book.move_stock(code, -number, change.why)]
    return [book.count_stock(code, number, change.why)]


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
