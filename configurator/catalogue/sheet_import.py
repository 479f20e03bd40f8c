"""A supplier's spreadsheet taken into a workshop's own catalogue: which heading is which column, and what comes of it.

A heading may name a unit, as `Bore (in)` does: bare numbers below it are in that unit. A row whose code is there
already corrects what the sheet says of it; any other is added.
"""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial
from pathlib import Path
from typing import Literal, get_origin

from pydantic import Field, ValidationError

from configurator.catalogue.load import FAMILIES, check_family, lacking_columns, load_catalog
from configurator.catalogue.own import (
    AS_ITS_KIND,
    CODE_OF,
    Planned,
    RowChanged,
    Said,
    full_names,
    plan,
    rows_of,
    short_names,
)
from configurator.catalogue.references import key_column
from configurator.catalogue.sheet import read_sheet
from configurator.errors import BadInput, BadSize, Fault
from configurator.files.declared import Record, figure, unit_of
from configurator.files.faults import FaultPlace, faults_of
from configurator.files.reading import LEAST_LIKENESS, Row, read_table
from configurator.files.writing import one_writer_at_a_time, write_whole
from configurator.reports import CURRENCY_TOLD, Answer
from configurator.units.units import parse_length_mm

CALLED: Mapping[str, tuple[str, ...]] = {
    "code": ("part", "number", "item", "article", "reference"),
    "name": ("supplier", "company"),
    "diameter_mm": ("bore", "size", "hole", "orifice", "drill"),
    "price": ("cost", "each", "net", "retail"),
    "style": ("type", "kind"),
    "capacity_cc": ("volume",),
    "thickness_mm": ("height",),
    "passage_area_mm2": ("passage",),
}
"""What price lists call a column, besides its own name."""
_IN_BRACKETS = re.compile(r"[(\[]\s*([^()\[\]]+?)\s*[)\]]\s*$")
_AT_THE_END = re.compile(r"[\s,_](mm|in|inch|inches|thou|thousandths)\.?$", re.IGNORECASE)
_PLAIN_POWERS = str.maketrans({"\u00b2": "2", "\u00b3": "3", "^": None})
_BARE_NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)")
_CURRENCY = re.compile(r"[A-Z]{3}|[^\w\s.,+-]")
"""A code such as GBP, or a sign of money."""
SIGNS: Mapping[str, tuple[str, ...]] = {"\u00a3": ("GBP",), "\u20ac": ("EUR",), "$": ("USD", "CAD", "AUD", "NZD")}
MAPPINGS = "imports"
"""Folder in a catalogue that keeps mappings."""


class SheetMapping(Record):
    """Which heading of a sheet is which column, and what is the same in all its rows."""

    family: str = figure("family of the catalogue that its rows belong to")
    headings: dict[str, str] = figure("heading by column", default={})
    same: dict[str, str] = figure("text by column, the same in all rows", default={})


class _MappingRow(Record):
    """One row of a kept mapping."""

    family: str = figure("family of the catalogue")
    column: str = figure("column of the family")
    heading: str = figure("heading of the sheet", default="")
    text: str = figure("what stands in every row, where no heading says it", default="")


class ImportReport(Answer):
    """Answer of `tipin catalogue import`: what a sheet brings, row by row."""

    file: str = Field(description="the spreadsheet")
    catalogue: str = Field(description="folder of the catalogue")
    family: str = Field(description="family of its rows")
    did: Literal["previewed", "imported"] = Field(description="previewed: nothing is written")
    headings: dict[str, str] = Field(description="heading taken for each column")
    unused: list[str] = Field(description="headings that were not asked for")
    added: list[RowChanged] = Field(description="rows that are new")
    changed: list[RowChanged] = Field(description="rows that are there and say something else")
    alike: int = Field(description="number of rows that are there as the sheet says")
    passed_over: int = Field(description="rows left out because their code is not in the catalogue")
    faults: list[str] = Field(description="what is wrong with the sheet, row by row; with any, nothing is written")
    currency: str = Field(description=CURRENCY_TOLD)


@dataclass(frozen=True)
class SheetPlanned:
    """A preview, and what it takes to write it."""

    report: ImportReport
    planned: Planned
    mapping: SheetMapping

    def write(self, keep_as: str | None = None) -> ImportReport:
        """Write what was previewed, and its mapping under a name if one is given; raises BadInput with every fault of
        the sheet."""
        directory = self.planned.directory
        place = _kept_in(directory, keep_as) if keep_as else None
        with one_writer_at_a_time(directory):
            self.planned.write()
        if place is not None:
            _keep(place, self.mapping)
        return self.report.model_copy(update={"did": "imported"})


def mapping_of(
    family: str | None, headings: Mapping[str, str], same: Mapping[str, str], kept: SheetMapping | None = None
) -> SheetMapping:
    """A mapping as it was said, its columns with or without their unit, over one that was kept; raises BadInput."""
    family = family or (kept.family if kept else None)
    if family is None:
        raise BadInput.in_field("family", "", "is missing", "nozzles, pumps or another family")
    check_family(family)
    before = kept or SheetMapping(family=family)
    headings, same = full_names(family, headings), full_names(family, same)
    return SheetMapping(
        family=family, same={**before.same, **same},
        headings={**{name: text for name, text in before.headings.items() if name not in same}, **headings},
    )  # fmt: skip


def preview(directory: Path, file: Path, mapping: SheetMapping, *, only_known: bool = False) -> SheetPlanned:
    """What a sheet would bring, nothing written yet. Raises BadInput for a sheet or a mapping that cannot be used.

    only_known : rows with a code that is not in the catalogue are passed over.
    """
    family, model = mapping.family, FAMILIES[mapping.family]
    key, catalog = key_column(model), load_catalog(directory)
    table = read_sheet(file, mapping.headings.values())
    headings = _as_named(family, table.columns, mapping)
    used = SheetMapping(family=family, headings=headings, same=mapping.same)
    units = {
        column: _unit_in(str(file), heading, model, column, catalog.currency) for column, heading in headings.items()
    }
    known = rows_of(catalog, family)
    said = [_said(row, used, units, file) for row in table.rows]
    taken = [one for one in said if not only_known or one.cells.get(key) in known]
    if any(one.cells.get(key) not in known for one in taken):
        _check_complete(family, table.columns, used)
    planned = plan(directory, family, taken)
    planned.faults = [*table.faults, *planned.faults]
    report = ImportReport(
        file=str(file), catalogue=str(directory), family=family, did="previewed", headings=headings,
        unused=[heading for heading in table.columns if heading not in headings.values()], added=planned.added,
        changed=planned.changed, alike=planned.alike, passed_over=len(said) - len(taken),
        faults=[str(fault) for fault in planned.faults], currency=catalog.currency,
    )  # fmt: skip
    return SheetPlanned(report, planned, used)


def _as_named(family: str, columns: Sequence[str], mapping: SheetMapping) -> dict[str, str]:
    """The heading of every column: as said, and where a heading is the column's own name; raises BadInput."""
    gone = [heading for heading in mapping.headings.values() if heading not in columns]
    if gone:
        meant, known = _like(gone[0].lower(), columns), ", ".join(columns)
        remedy = f"did you mean {meant}?" if meant else ""
        raise BadInput.in_field("column", gone[0], "is no heading of this sheet", f"one of {known}", remedy)
    own = {name: column for short, column in short_names(family).items() for name in (short, column)}
    found = {own[heading]: heading for heading in columns if heading in own and own[heading] not in mapping.same}
    return found | mapping.headings


def _said(row: Row, mapping: SheetMapping, units: Mapping[str, str], file: Path) -> Said:
    """One row of the sheet in the columns of the catalogue."""
    cells = {
        column: _cell(mapping.family, column, row.cells[heading], units[column])
        for column, heading in mapping.headings.items() if heading in row.cells
    }  # fmt: skip
    return Said(mapping.same | cells, None, partial(_in_row, str(file), row.number, mapping.headings), corrects=True)


def _in_row(file: str, number: int, headings: Mapping[str, str], fault: Fault, column: str) -> Fault:
    """A fault of a row of the sheet, by its heading."""
    where = f"row {number}" + (f", column {headings.get(column, column)}" if column else "")
    return Fault(file, where, fault.problem, fault.expected, fault.remedy)


def _cell(family: str, column: str, text: str, unit: str) -> str:
    """What a cell says, as the catalogue writes it: codes and choices in small letters, a price without its currency,
    a bare number with the unit of its heading.

    >>> _cell("nozzles", "code", "NZ 083/A", ""), _cell("nozzles", "diameter_mm", "0.031", "in")
    ('nz-083-a', '0.031 in')
    """
    if column == "code":
        return re.sub(r"[^a-z0-9.-]+", "-", text.lower()).strip("-")
    if unit_of(FAMILIES[family].model_fields[column]) == "currency":
        return _plain_price(text, unit)
    if get_origin(FAMILIES[family].model_fields[column].annotation) is Literal:
        return text.lower()
    return f"{text} {unit}" if unit and _BARE_NUMBER.fullmatch(text) else text


def _plain_price(text: str, currency: str) -> str:
    """A price without its currency or the sign of it, with a decimal point; in another currency as it stands.

    >>> _plain_price("\u00a312,50", "GBP"), _plain_price("12.50 EUR", "EUR"), _plain_price("$9", "GBP")
    ('12.50', '12.50', '$9')
    """
    sign = next((sign for sign, names in SIGNS.items() if sign in text and currency in ("", *names)), currency)
    bare = text.replace(sign, "").strip() if sign else text
    return bare.replace(",", ".") if re.fullmatch(r"\d+,\d{1,2}", bare) else bare


def _unit_in(file: str, heading: str, model: type[Record], column: str, currency: str) -> str:
    """The unit that a heading names for a figure, where it is not the column's own; for money the currency of the
    catalogue. Empty for none.

    Raises BadInput for a unit of length that is not read, and for prices in another currency.
    """
    found = _IN_BRACKETS.search(heading) or _AT_THE_END.search(heading)
    unit, own = found[1] if found else "", unit_of(model.model_fields[column])
    if own == "currency":
        if _CURRENCY.fullmatch(unit) and unit != currency and currency:
            problem = f"names the currency {unit}, and the catalogue's is {currency}"
            raise BadInput([Fault(file, f"column {heading}", problem, f"prices in {currency}")])
        return currency
    if not own or unit.lower().translate(_PLAIN_POWERS) == own.lower():
        return ""
    if unit and own == "mm":
        try:
            parse_length_mm(f"1 {unit}")
        except BadSize as error:
            problem = f"names the unit '{unit}', which is not read"
            raise BadInput([Fault(file, f"column {heading}", problem, error.accepted, "rename the heading")]) from None
    return unit


def _check_complete(family: str, columns: Sequence[str], mapping: SheetMapping) -> None:
    """Raise BadInput with every column that new rows need and that nothing was named for, and what may be meant."""
    named = (*mapping.headings, *mapping.same)
    made = ("code",) if family in CODE_OF else ()
    lacking = [name for name in lacking_columns(FAMILIES[family], named) if name not in (*AS_ITS_KIND, *made)]
    free = [heading for heading in columns if heading not in mapping.headings.values()]
    faults = [
        Fault(
            "",
            name,
            "is named by no heading, nor is one value for all rows",
            f"one of {', '.join(free)}",
            _meant(name, free),
            "column",
        )
        for name in lacking
    ]
    if faults:
        raise BadInput(faults)


def _meant(column: str, headings: Sequence[str]) -> str:
    """The heading that is most like a column, or like what price lists call it."""
    words = (column.rpartition("_")[0] or column, *CALLED.get(column, ()))
    meant = next(filter(None, (_like(word.replace("_", " "), headings) for word in words)), "")
    return f'did you mean {column}="{meant}"?' if meant else ""


def _like(word: str, headings: Sequence[str]) -> str:
    """The heading that has this word in it, or is most like it; empty if none is."""
    plain = {re.sub(r"[^a-z0-9]+", " ", _IN_BRACKETS.sub("", heading).lower()).strip(): heading for heading in headings}
    found = [text for text in plain if word in text.split()] or get_close_matches(word, plain, 1, LEAST_LIKENESS)
    return plain[found[0]] if found else ""


def _kept_in(directory: Path, name: str) -> Path:
    """Where a mapping of this name is kept; raises BadInput for a name that cannot be one."""
    if not re.fullmatch(r"[a-z0-9][a-z0-9.-]*", name):
        raise BadInput.in_field("keep_mapping", name, "is no name", "lower case letters, digits, dots and hyphens")
    return directory / MAPPINGS / f"{name}.csv"


def _keep(path: Path, mapping: SheetMapping) -> None:
    """Keep a mapping beside the catalogue, whole; raises BadInput."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(list(_MappingRow.model_fields))
    writer.writerows([mapping.family, column, heading, ""] for column, heading in mapping.headings.items())
    writer.writerows([mapping.family, column, "", text] for column, text in mapping.same.items())
    try:
        path.parent.mkdir(exist_ok=True)
    except OSError as error:
        raise BadInput([Fault(str(path), "", f"cannot be written ({error.strerror})")]) from None
    write_whole(path, out.getvalue())


def kept_by_name(directory: Path, name: str) -> SheetMapping:
    """A mapping that was kept; raises BadInput."""
    path = _kept_in(directory, name)
    table = read_table(path)
    rows, faults = list[_MappingRow](), list(table.faults)
    for row in table.rows:

        def place(loc: FaultPlace, number: int = row.number) -> str:
            return f"row {number}, column {loc[0]}"

        try:
            rows.append(_MappingRow.model_validate(row.cells))
        except ValidationError as error:
            faults += faults_of(error, _MappingRow, str(path), place)
    if len({row.family for row in rows}) != 1:
        faults.append(Fault(str(path), "column family", "names no family, or several", "one family in all rows"))
    if faults:
        raise BadInput(faults)
    headings = {row.column: row.heading for row in rows if row.heading}
    return mapping_of(rows[0].family, headings, {row.column: row.text for row in rows if not row.heading})
