"""A workshop's own catalogue: made from the shipped one, rows added, cells corrected.

Every change is checked as the whole catalogue with it is read, and a file is written whole or not at all. What is not
said of a new row, and hangs on the workshop rather than on the part, is as it is in most rows of its kind.
"""

import os
import re
import shutil
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, Literal, get_origin

from pydantic import Field, ValidationError

from configurator.catalogue.load import FAMILIES, LARGEST_TABLE_BYTES, Catalog, load_catalog, shipped_catalog_dir
from configurator.catalogue.references import key_column
from configurator.errors import BadInput, Fault
from configurator.files.declared import Record, unit_of
from configurator.files.faults import faults_of
from configurator.files.reading import did_you_mean, read_bytes
from configurator.files.table_text import TableText, new_table
from configurator.files.writing import one_writer_at_a_time, write_whole
from configurator.reports import CURRENCY_TOLD, Answer, Report
from configurator.units.units import closeness_mm

CODE_OF: Mapping[str, Callable[[Any], str]] = {
    "nozzles": lambda nozzle: f"{nozzle.style}-{nozzle.diameter_mm:.2f}",
    "pumps": lambda pump: f"pump-{pump.capacity_cc:g}cc",
    "spacers": lambda spacer: f"spacer-{spacer.thickness_mm:g}",
    "drill_bits": lambda drill: f"drill-{drill.diameter_mm:.2f}",
}
"""The code of a row that was given none, from kind and size; families that are not here go by names."""
AS_ITS_KIND = ("supplier", "labour_min", "redrillable")
"""Columns that a new row takes from those of its kind, where most of them agree."""
MOST_OF_ITS_KIND = 0.75
"""Share of the rows of a kind that is most of them: a few parts from elsewhere change nothing."""
_NO_CODE_YET = "new"

Word = tuple[str, str]
_THOUSANDS_AND_HUNDREDTHS = (
    r"(?P<whole>[0-9]{1,3}(?P<sign>[., '\u2019])[0-9]{3}(?:(?P=sign)[0-9]{3})*)"
    r"(?!(?P=sign))[.,](?P<behind>[0-9]{1,2})"
)
Words = Mapping[str, str]
ChosenWords = frozenset[Word]
"""The words chosen for a row, each with its column."""
FaultTold = Callable[[Fault, str], Fault]
"""A fault of a row as its giver knows the place: by field, or by the row of another file; with the column at fault."""


class RowChanged(Report):
    """A row that was added or corrected, or would be."""

    code: str = Field(description="its code, or name")
    cells: dict[str, str] = Field(description="what was written, column to text")
    before: dict[str, str] = Field({}, description="what stood there, for a row that was there already")
    as_its_kind: list[str] = Field([], description="columns that were not said and are as in most rows of its kind")


class CatalogueReport(Answer):
    """Answer of `tipin catalogue new`, `add` and `set`: what was written into a catalogue."""

    catalogue: str = Field(description="its folder")
    family: str = Field("", description="family of the rows; empty where the whole catalogue was made")
    did: Literal["made", "added", "corrected", "left"] = Field(
        description="what was done; left: every row stood there as it was said"
    )
    rows: list[RowChanged] = Field([], description="the rows written")
    currency: str = Field("", description=CURRENCY_TOLD)


@dataclass(frozen=True)
class Said:
    """What is said of one row: cells by column, and how its faults are told.

    code : of the row that is there; None for a new one.  corrects : a row of the same code is corrected, not a fault.
    """

    cells: Mapping[str, str]
    code: str | None
    told: FaultTold
    corrects: bool = False


@dataclass
class Planned:
    """Changes of one family's file that can be looked at before they are written."""

    directory: Path
    family: str
    currency: str
    before: bytes
    content: bytes = b""
    added: list[RowChanged] = field(default_factory=list)
    changed: list[RowChanged] = field(default_factory=list)
    alike: int = 0
    faults: list[Fault] = field(default_factory=list)

    def write(self) -> None:
        """Put the file in place, whole; raises BadInput with every fault there is, or if somebody has changed the file
        since it was read, and then writes nothing."""
        path = self.directory / f"{self.family}.csv"
        if self.faults:
            raise BadInput(self.faults)
        if self.added or self.changed:
            if _bytes_of(path) != self.before:
                problem, expected = "was changed while this was worked out", "nobody else at work on it"
                raise BadInput([Fault(str(path), "", problem, expected, "do it again")])
            write_whole(path, self.content)


def new_catalog(directory: Path, currency: str = "") -> CatalogueReport:
    """A copy of the shipped catalogue in a folder that is not there or is empty, whole or not at all; raises BadInput.

    currency : what is to stand behind every price; empty for none.
    """
    place = directory.absolute()
    beside = place.parent / f".{place.name}.{os.getpid()}"
    try:
        if place.exists() and (found := _in_the_way(place)):
            raise BadInput([Fault(str(directory), "", found, "a folder that is not there yet, or an empty one")])
        beside.mkdir()
        for name in FAMILIES:
            shutil.copyfile(shipped_catalog_dir() / f"{name}.csv", beside / f"{name}.csv")
        if currency:
            plan(beside, "settings", [Said({"name": "currency", "value": currency}, None, _of_currency)]).write()
        if place.exists():
            place.rmdir()
        os.replace(beside, place)
    except (OSError, ValueError) as error:
        problem = f"cannot be made ({getattr(error, 'strerror', None) or error})"
        raise BadInput([Fault(str(directory), "", problem, "a folder in a folder there is")]) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    return CatalogueReport(catalogue=str(directory), did="made", currency=currency)


def _in_the_way(place: Path) -> str:
    """Why a catalogue cannot take the place of what is there; empty if it can."""
    if not place.is_dir():
        return "is no folder"
    if place.samefile(Path.cwd()):
        return "is the folder you are in"
    return "is not empty" if any(place.iterdir()) else ""


def _of_currency(fault: Fault, column: str) -> Fault:
    return Fault("", "", fault.problem, fault.expected, fault.remedy, "currency")


def add_row(directory: Path, family: str, cells: Mapping[str, str]) -> CatalogueReport:
    """Add a row to a family, its cells as text by column; raises BadInput, its faults by field."""
    with one_writer_at_a_time(directory):
        planned = plan(directory, family, [Said(cells, None, in_field)])
        planned.write()
    return _report(planned, planned.added, "added")


def correct_row(directory: Path, code: str, cells: Mapping[str, str]) -> CatalogueReport:
    """Put something else into cells of the row with a code, or of a limit or setting by its name; raises BadInput."""
    catalog = load_catalog(directory)
    families = {key: name for name in FAMILIES for key in rows_of(catalog, name)}
    if code not in families:
        meant = did_you_mean(code, list(families))
        raise BadInput([Fault(str(directory), code, "no row has this code", "a code or a name there is", meant)])
    family = families[code]
    path = directory / f"{family}.csv"

    def in_row(fault: Fault, column: str) -> Fault:
        return Fault(str(path), ", ".join(filter(None, [code, column])), fault.problem, fault.expected, fault.remedy)

    with one_writer_at_a_time(directory):
        planned = plan(directory, family, [Said(full_names(family, cells), code, in_row)])
        planned.write()
    return _report(planned, planned.changed, "corrected")


def _report(planned: Planned, rows: list[RowChanged], did: Literal["added", "corrected"]) -> CatalogueReport:
    return CatalogueReport(
        catalogue=str(planned.directory), family=planned.family, did=did if rows else "left", rows=rows,
        currency=planned.currency,
    )  # fmt: skip


def plan(directory: Path, family: str, said: Iterable[Said]) -> Planned:
    """What a family's file would become by what is said, with every fault of it. Raises BadInput for a catalogue that
    cannot be used as it is, and for the shipped one, which stays as it came."""
    if is_shipped(directory):
        problem, expected = "is the catalogue that came with the program, and stays as it is", "a catalogue of your own"
        raise BadInput([Fault(str(directory), "", problem, expected, "`tipin catalogue new DIR` makes one")])
    catalog, model, path = load_catalog(directory), FAMILIES[family], directory / f"{family}.csv"
    there = _bytes_of(path)
    planned = Planned(directory, family, catalog.currency, there)
    table = TableText(there if there.strip() else new_table(list(model.model_fields)), str(path))
    key, rows = key_column(model), dict(rows_of(catalog, family))
    agreed = _agreed_in(model, rows.values())
    numbers, givers = table.numbers_by(key), dict[int, Said]()
    for one in said:
        try:
            row = _row_said(family, one, rows, lambda code: table.cells_of(numbers[code]), agreed)
            code, twice = row.cells.get(key, row.code), numbers.get(row.code) in givers
            if twice or catalog.family_of(code) not in ("", family):
                problem = f"'{code}' is said twice" if twice else f"'{code}' is one of the {catalog.family_of(code)}"
                raise BadInput([one.told(Fault("", "", problem, f"each {key} once"), key)])
        except BadInput as error:
            planned.faults += error.faults
            continue
        if row.code not in numbers:
            numbers[row.code] = table.add_row(row.cells)
            planned.added.append(row)
        elif row.cells:
            table.set_cells(numbers[row.code], row.cells)
            planned.changed.append(row)
        else:
            planned.alike += 1
        givers[numbers[row.code]] = one
    planned.content = table.content()
    if not planned.faults:
        planned.faults = _faults_read(planned, givers)
    return planned


def is_shipped(directory: Path) -> bool:
    """Whether a catalogue is the one that came with the program."""
    return directory.resolve() == shipped_catalog_dir().resolve()


def _bytes_of(path: Path) -> bytes:
    """What is in a family's file; nothing where it is left out."""
    return read_bytes(path, LARGEST_TABLE_BYTES) if path.exists() else b""


def _row_said(
    family: str, one: Said, rows: dict[str, Any], there: Callable[[str], Words], agreed: Callable[[ChosenWords], Words]
) -> RowChanged:
    """The row that was said, checked by itself and entered among the rows; raises BadInput.

    there : what the file says of a row, by code.  agreed : what most rows of a kind have alike.
    """
    model, key = FAMILIES[family], key_column(FAMILIES[family])
    cells = {column: _with_points(model, column, text.strip()) for column, text in one.cells.items()}
    taken: Words = {}
    before = rows[one.code] if one.code is not None else rows.get(cells.get(key, "")) if one.corrects else None
    if before is None:
        of_kind = agreed(frozenset((name, word) for name, word in cells.items() if _is_choice(model, name)))
        taken = {name: text for name, text in of_kind.items() if not cells.get(name)}
    coded = bool(cells.get(key)) or before is not None or family not in CODE_OF
    kept = taken if before is None else there(getattr(before, key))
    given = {**kept, **cells} | ({} if coded else {key: _NO_CODE_YET})
    try:
        record = model.model_validate({column: text for column, text in given.items() if text})
    except ValidationError as error:
        found = faults_of(error, model, "", lambda loc: str(loc[0]) if loc else "")
        raise BadInput([one.told(fault, fault.place) for fault in found]) from None
    code = getattr(record, key) if coded else CODE_OF[family](record)
    if before is None and one.corrects and code in rows:
        return _row_said(family, replace(one, code=code), rows, there, agreed)
    if code in rows and rows[code] is not before:
        problem, expected = f"'{code}' is there already", f"a {key} of its own, or to correct the row there is"
        raise BadInput([one.told(Fault("", "", problem, expected), key)])
    rows[code] = record.model_copy(update={key: code})
    said = [name for name in model.model_fields if name in {*taken, *cells}]
    if before is None:
        written = {name: _cell_text(record, name) for name in said if name != key}
        return RowChanged(code=code, cells={key: code} | written, as_its_kind=list(taken))
    moved = [name for name in said if not _same(name, getattr(record, name), getattr(before, name), one)]
    return RowChanged(
        code=getattr(before, key), cells={name: _cell_text(record, name) if cells[name] else "" for name in moved},
        before={name: _cell_text(before, name) for name in moved},
    )  # fmt: skip


def _with_points(model: type[Record], column: str, text: str) -> str:
    """A number, or a list of them, with its decimal commas as points; three digits behind a comma may be thousands,
    unless hundredths behind them tell.

    >>> _with_points(FAMILIES["pumps"], "price", "47,50"), _with_points(FAMILIES["lobes"], "phases_deg", "0 6,5 12")
    ('47.50', '0 6.5 12')
    >>> [_with_points(FAMILIES["pumps"], "price", text) for text in ("1.112,50", "1 112,50", "1,112.50", "1.112.50")]
    ['1112.50', '1112.50', '1112.50', '1.112.50']
    """
    declared = model.model_fields.get(column)
    if declared is None or declared.annotation is str:
        return text
    if get_origin(declared.annotation) is not tuple and (parts := re.fullmatch(_THOUSANDS_AND_HUNDREDTHS, text)):
        return f"{re.sub('[^0-9]', '', parts['whole'])}.{parts['behind']}"
    return re.sub(r"(?<![\d.,])(\d+),(\d{1,2})(?![\d,.])", r"\1.\2", text)


def _same(column: str, value: Any, before: Any, one: Said) -> bool:
    """Whether a cell says what stands there; a supplier's 0.0315 in is the 0.80 mm that is sold as that."""
    if column == "diameter_mm" and one.corrects and value and before:
        return bool(abs(value - before) < closeness_mm(one.cells[column]))
    return bool(value == before)


def _is_choice(model: type[Record], column: str) -> bool:
    """Whether a column takes one of a few words, and so says of what kind a row is."""
    return column in model.model_fields and get_origin(model.model_fields[column].annotation) is Literal


def _agreed_in(model: type[Record], rows: Iterable[Any]) -> Callable[[ChosenWords], Words]:
    """What most rows of a kind have alike of what a workshop decides; a kind goes by the words chosen for it."""
    held = list(rows)

    @cache
    def agreed(chosen: ChosenWords) -> Words:
        alike = [row for row in held if all(getattr(row, name) == word for name, word in chosen)]
        found: dict[str, str] = {}
        for name in AS_ITS_KIND if alike else ():
            if name in model.model_fields:
                text, times = Counter(_cell_text(row, name) for row in alike).most_common(1)[0]
                found |= {name: text} if times >= MOST_OF_ITS_KIND * len(alike) else {}
        return found

    return agreed


def _cell_text(record: Any, name: str) -> str:
    """A value as a file has it: a plain number in the column's own unit, prices and diameters to hundredths."""
    value = getattr(record, name)
    if value is None or value == ():
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(":".join(map(_number_text, item)) if isinstance(item, tuple) else _number_text(item)
                        for item in value)  # fmt: skip
    in_hundredths = name in ("price", "diameter_mm") and round(value, 2) == value
    return f"{value:.2f}" if in_hundredths else _number_text(value)


def _number_text(value: Any) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _faults_read(planned: Planned, givers: Mapping[int, Said]) -> list[Fault]:
    """What the reader of catalogues finds at fault in the file as it would be, as the givers of its rows know them and
    in their order; faults of other rows and files after them, as they stand."""
    try:
        load_catalog(planned.directory, {planned.family: planned.content})
    except BadInput as error:
        of_row: dict[int, list[Fault]] = {number: [] for number in givers}
        others = []
        for fault in error.faults:
            row, _, column = fault.place.removeprefix("row ").partition(", column ")
            own = fault.file == str(planned.directory / f"{planned.family}.csv") and row.isdecimal()
            if own and int(row) in givers:
                of_row[int(row)].append(givers[int(row)].told(fault, column))
            else:
                others.append(fault)
        return [*(fault for found in of_row.values() for fault in found), *others]
    return []


def in_field(fault: Fault, column: str) -> Fault:
    """A fault of what was asked for: its column is the field."""
    field_named = "own_code" if column == "code" else column
    return Fault("", "", fault.problem, fault.expected, fault.remedy, field_named)


def rows_of(catalog: Catalog, family: str) -> Mapping[str, Any]:
    """The rows of a family by code or name."""
    found: Mapping[str, Any] = catalog.limit_rows if family == "limits" else getattr(catalog, family)
    return found


def short_names(family: str) -> dict[str, str]:
    """The columns of a family by the names people say: without the unit that they are kept in.

    >>> short_names("drill_bits")
    {'code': 'code', 'supplier': 'supplier', 'price': 'price', 'diameter': 'diameter_mm'}
    """
    model = FAMILIES[family]
    endings = {
        name: f"_{unit_of(model.model_fields[name]).lower().replace('/', '_per_')}" for name in model.model_fields
    }
    return {name.removesuffix(ending) if ending != "_" else name: name for name, ending in endings.items()}


def full_names(family: str, cells: Mapping[str, str]) -> dict[str, str]:
    """Cells by column, where they are named with or without the unit; raises BadInput for a column there is not."""
    names = short_names(family)
    unknown = [name for name in cells if name not in names and name not in names.values()]
    if unknown:
        problem, known = f"{family} have no column {unknown[0]}", list(names)
        meant = did_you_mean(unknown[0], known)
        raise BadInput([Fault(family, "", problem, f"one of {', '.join(known)}", meant)])
    return {names.get(name, name): text for name, text in cells.items()}
