"""The catalogue: a directory with one table a family, checked as a whole.

Every fault of every file is found in one reading, each with its file, row and column, so that a workshop mends a file
once and not once for every fault.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pydantic import ValidationError

from configurator.catalogue.cache import Families, collector_paused, keep, key_of, recall
from configurator.catalogue.limits import Limit, Limits
from configurator.catalogue.parts import (
    Consumable,
    FeedScrew,
    Lobe,
    NozzlePart,
    Operation,
    Pump,
    Spacer,
)
from configurator.catalogue.references import Family, references_lost, repeated
from configurator.catalogue.settings import CatalogSetting
from configurator.catalogue.supply import DrillBit, Kit, Offer, Supplier
from configurator.errors import BadInput, Fault, TipinError
from configurator.files.declared import Record
from configurator.files.faults import FaultPlace, faults_of
from configurator.files.reading import Row, Table, did_you_mean, read_bytes, table_of, text_of

FAMILIES: Mapping[str, type[Record]] = MappingProxyType(
    {
        "nozzles": NozzlePart,
        "feed_screws": FeedScrew,
        "pumps": Pump,
        "lobes": Lobe,
        "spacers": Spacer,
        "consumables": Consumable,
        "operations": Operation,
        "suppliers": Supplier,
        "offers": Offer,
        "kits": Kit,
        "drill_bits": DrillBit,
        "limits": Limit,
        "settings": CatalogSetting,
    }
)
"""File name without its ending, and the model of its rows."""
MAY_BE_ABSENT = ("offers", "kits", "drill_bits", "settings")
"""Families that a catalogue can do without: their file may be missing or hold no row."""
LARGEST_TABLE_BYTES = 50_000_000


@dataclass(frozen=True)
class Catalog:
    """Each family by code, in the order of its file; limits by attribute, and as rows with their basis and source."""

    directory: Path
    nozzles: Mapping[str, NozzlePart]
    feed_screws: Mapping[str, FeedScrew]
    pumps: Mapping[str, Pump]
    lobes: Mapping[str, Lobe]
    spacers: Mapping[str, Spacer]
    consumables: Mapping[str, Consumable]
    operations: Mapping[str, Operation]
    suppliers: Mapping[str, Supplier]
    limits: Limits
    limit_rows: Mapping[str, Limit]
    offers: Mapping[str, Offer] = field(default_factory=dict)
    kits: Mapping[str, Kit] = field(default_factory=dict)
    drill_bits: Mapping[str, DrillBit] = field(default_factory=dict)
    settings: Mapping[str, CatalogSetting] = field(default_factory=dict)

    @property
    def currency(self) -> str:
        """What stands behind a price; empty where the catalogue names none."""
        return self.settings["currency"].value if "currency" in self.settings else ""

    def family_of(self, code: str) -> str:
        """Name of the family that has this code; empty if none has."""
        families = (name for name, model in FAMILIES.items() if "code" in model.model_fields)
        return next((name for name in families if code in getattr(self, name)), "")


def shipped_catalog_dir() -> Path:
    """Directory of the catalogue that comes with the program: inside an installed package, else beside it."""
    here = Path(__file__).resolve().parent.parent
    for directory in (here / "shipped_catalog", here.parent / "catalog"):
        if (directory / "nozzles.csv").is_file():
            return directory
    raise TipinError(f"the shipped catalogue is missing beside {here}; name another, or install again")


def check_family(name: str) -> None:
    """Raise BadInput unless there is a family of this name."""
    if name not in FAMILIES:
        known = list(FAMILIES)
        raise BadInput([Fault(name, "", "is no family", f"one of {', '.join(known)}", did_you_mean(name, known))])


def load_catalog(directory: Path | str, instead: Mapping[str, bytes] = MappingProxyType({})) -> Catalog:
    """Read and check a whole catalogue, or take it as it was checked before; raises BadInput with every fault of every
    file.

    instead : by family, what its file would hold in place of what it holds.
    """
    directory = Path(directory)
    _check_directory(directory)
    faults: list[Fault] = []
    contents = {name: instead.get(name) or _content(directory / f"{name}.csv", faults) for name in FAMILIES}
    with collector_paused():
        key = key_of(contents)
        found = recall(key, FAMILIES)
        if found is None:
            found = _checked(directory, contents, faults)
            keep(key, found)
    limit_rows = found["limits"]
    limits = Limits.model_validate({name: row.value for name, row in limit_rows.items()})
    families: dict[str, Any] = {name: MappingProxyType(found[name]) for name in FAMILIES if name != "limits"}
    return Catalog(directory=directory, limits=limits, limit_rows=MappingProxyType(limit_rows), **families)


def _checked(directory: Path, contents: Mapping[str, bytes | None], faults: list[Fault]) -> Families:
    """The records of every family by code, each checked by itself and against the others; raises BadInput."""
    families = {
        name: _read_family(name, str(directory / f"{name}.csv"), content, faults) for name, content in contents.items()
    }
    faults += _faults_of_limits(families["limits"])
    faults += repeated(families)
    faults += references_lost(families)
    if faults:
        raise BadInput(sorted(faults, key=lambda fault: _file_order(fault.file)))
    return {name: family.by_code() for name, family in families.items()}


def _file_order(file: str) -> int:
    stem = Path(file).stem
    return list(FAMILIES).index(stem) if stem in FAMILIES else -1


def _check_directory(directory: Path) -> None:
    try:
        found = (
            "" if directory.is_dir() else "is not a directory" if directory.exists() else "there is no such directory"
        )
    except (OSError, ValueError) as error:
        found = f"cannot be read ({getattr(error, 'strerror', None) or error})"
    if found:
        files = ", ".join(f"{name}.csv" for name in FAMILIES)
        raise BadInput([Fault(str(directory), "", found, f"a catalogue directory with {files}")])


def _content(path: Path, faults: list[Fault]) -> bytes | None:
    """What is in a family's file; None if it is absent, or cannot be read, which is a fault then."""
    if path.stem in MAY_BE_ABSENT and not path.exists():
        return None
    try:
        return read_bytes(path, LARGEST_TABLE_BYTES)
    except BadInput as error:
        faults += error.faults
        return None


def _read_family(name: str, file: str, content: bytes | None, faults: list[Fault]) -> Family:
    model = FAMILIES[name]
    if content is None:
        return Family(name, file, model)
    try:
        table = table_of(text_of(content, file), file)
    except BadInput as error:
        faults += error.faults
        return Family(name, file, model)
    faults += table.faults
    faults += [_unknown_column(file, column, model) for column in table.columns if column not in model.model_fields]
    if not table.rows and name not in MAY_BE_ABSENT:
        faults.append(Fault(file, "", "has no rows below its heading", "at least one"))
    lacking = lacking_columns(model, table.columns)
    faults += [
        Fault(file, f"column {column}", "is missing", model.model_fields[column].description or "")
        for column in lacking
    ]
    return Family(name, file, model, table.rows, _records(model, file, table, lacking, faults))


def _unknown_column(file: str, column: str, model: type[Record]) -> Fault:
    known = list(model.model_fields)
    remedy = did_you_mean(column, known) or f"the columns are {', '.join(known)}"
    return Fault(file, f"column {column}", "is not a column of this table", remedy=remedy)


def lacking_columns(model: type[Record], columns: tuple[str, ...]) -> list[str]:
    """Columns that a table ought to have."""
    return [
        column for column, declared in model.model_fields.items()
        if declared.is_required() and column not in columns and not _filled_by_another(column, columns)
    ]  # fmt: skip


def _records(
    model: type[Record], file: str, table: Table, lacking: Sequence[str], faults: list[Fault]
) -> tuple[tuple[Row, Record], ...]:
    """Every row that is in order with what it says; the faults of the others go to faults."""
    records = []
    known, validated = set(model.model_fields), model.__pydantic_validator__.validate_python
    all_known = known.issuperset(table.columns)
    for row in table.rows:
        cells = row.cells if all_known else {column: cell for column, cell in row.cells.items() if column in known}
        try:
            records.append((row, validated(cells)))
        except ValidationError:
            try:
                records.append((row, model.model_validate(cells)))  # it may have units
            except ValidationError as error:
                faults += _faults_of_row(error, model, file, row, lacking)
    return tuple(records)


def _faults_of_row(
    error: ValidationError, model: type[Record], file: str, row: Row, lacking: Sequence[str]
) -> list[Fault]:
    """The faults of a row, but for the columns that all rows lack."""

    def place(loc: FaultPlace) -> str:
        return f"row {row.number}" + (f", column {loc[0]}" if loc else "")

    known_of = {place((column,)) for column in lacking}
    return [fault for fault in faults_of(error, model, file, place) if fault.place not in known_of]


def _filled_by_another(name: str, columns: tuple[str, ...]) -> bool:
    """Columns that another can stand for: capacity by that of ten strokes, a lobe's lift and duration by its table."""
    another = {
        "capacity_cc": "capacity_ten_strokes_cc",
        "total_lift_mm": "table",
        "duration_deg": "table",
    }
    return another.get(name) in columns


def _faults_of_limits(family: Family) -> list[Fault]:
    """Unknown or missing names, units other than the declared ones, and values."""
    if not family.rows:
        return []
    faults: list[Fault] = []
    known, rows = list(Limits.model_fields), {}
    for row, record in family.records:
        assert isinstance(record, Limit)
        if record.name in Limits.gone:
            faults.append(
                family.fault(row, "name", f"{record.name} is a limit no more", remedy=Limits.gone[record.name])
            )
            continue
        if record.name not in known:
            faults.append(
                family.fault(row, "name", f"there is no limit {record.name}", remedy=did_you_mean(record.name, known))
            )
            continue
        declared = Limits.model_fields[record.name].json_schema_extra
        unit = declared["unit"] if isinstance(declared, dict) else ""
        if record.unit != unit:
            expected = str(unit) if unit else "an empty cell"
            faults.append(family.fault(row, "unit", f"{record.name} is given in '{record.unit}'", expected))
        rows[record.name] = (row, record.value)
    for name in known:
        if name not in family.codes():
            remedy = f"add a row {name}: {Limits.model_fields[name].description}"
            faults.append(Fault(family.file, "", f"the limit {name} is missing", remedy=remedy))
    if any(name not in rows for name in known):
        return faults

    def place(loc: FaultPlace) -> str:
        return f"row {rows[str(loc[0])][0].number}, column value" if loc else ""

    try:
        Limits.model_validate({name: value for name, (_, value) in rows.items()})
    except ValidationError as error:
        faults += faults_of(error, Limits, family.file, place)
    return faults
