"""The catalogue: a directory with one table a family, checked as a whole.

Every fault of every file is found in one reading, each with its file, row and column, so that a workshop mends a file
once and not once for every fault.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from types import MappingProxyType

from pydantic import ValidationError

from configurator.errors import BadInput, Fault, TipinError
from configurator.faults import Place, faults_of
from configurator.fields import Record
from configurator.limits import Limit, Limits
from configurator.parts import (
    Consumable,
    FeedScrew,
    Lobe,
    NozzlePart,
    Operation,
    Pump,
    Spacer,
    Stocked,
)
from configurator.read_files import Row, did_you_mean, read_table
from configurator.supply import DrillBit, Kit, Offer, Supplier

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
    }
)
"""File name without its ending, and the model of its rows."""
MAY_BE_ABSENT = ("offers", "kits", "drill_bits")
"""Families that a catalogue can do without: their file may be missing or hold no row."""


SOLD = (Stocked, Offer, Kit, DrillBit)
"""Rows that name a supplier."""


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

    def family_of(self, code: str) -> str:
        """Name of the family that has this code; empty if none has."""
        families = (name for name in FAMILIES if name != "limits")
        return next((name for name in families if code in getattr(self, name)), "")


@dataclass(frozen=True)
class _Family:
    """One file as far as it could be read: its rows, and the records of those without fault."""

    file: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    records: tuple[tuple[Row, Record], ...]

    @property
    def key(self) -> str:
        return "name" if self.file.endswith("limits.csv") else "code"

    def codes(self) -> set[str]:
        """Codes written in the file, those of rows with other faults too."""
        return {row.cells[self.key] for row in self.rows if self.key in row.cells}

    def fault(self, row: Row, column: str, problem: str, expected: str = "", remedy: str = "") -> Fault:
        return Fault(self.file, f"row {row.number}, column {column}", problem, expected, remedy)


def shipped_catalog_dir() -> Path:
    """Directory of the catalogue that comes with the program: inside an installed package, else beside it."""
    here = Path(__file__).resolve().parent
    for directory in (here / "shipped_catalog", here.parent / "catalog"):
        if (directory / "nozzles.csv").is_file():
            return directory
    raise TipinError(f"the shipped catalogue is missing beside {here}; name one with --catalog, or install again")


def load_catalog(directory: Path | str) -> Catalog:
    """Read and check a whole catalogue; raises BadInput with every fault of every file."""
    directory = Path(directory)
    _check_directory(directory)
    faults: list[Fault] = []
    families = {name: _read_family(directory / f"{name}.csv", model, faults) for name, model in FAMILIES.items()}
    limits = _limits(families["limits"], faults)
    faults += _repeated(families)
    faults += _references(families)
    if faults or limits is None:
        raise BadInput(sorted(faults, key=lambda fault: _file_order(fault.file)))
    by_code = {
        name: MappingProxyType({row.cells[family.key]: record for row, record in family.records})
        for name, family in families.items()
    }
    rows = by_code.pop("limits")
    return Catalog(directory=directory, limits=limits, limit_rows=rows, **by_code)  # type: ignore[arg-type]


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


def _read_family(path: Path, model: type[Record], faults: list[Fault]) -> _Family:
    optional = path.stem in MAY_BE_ABSENT
    if optional and not path.exists():
        return _Family(str(path), (), (), ())
    try:
        table = read_table(path)
    except BadInput as error:
        faults += error.faults
        return _Family(str(path), (), (), ())
    faults += table.faults
    known = list(model.model_fields)
    for column in table.columns:
        if column not in known:
            remedy = did_you_mean(column, known) or f"the columns are {', '.join(known)}"
            faults.append(Fault(str(path), f"column {column}", "is not a column of this table", remedy=remedy))
    if not table.rows and not optional:
        faults.append(Fault(str(path), "", "has no rows below its heading", "at least one"))
    lacking = [
        name for name, declared in model.model_fields.items()
        if declared.is_required() and name not in table.columns and not _filled_by_another(name, table.columns)
    ]  # fmt: skip
    faults += [
        Fault(str(path), f"column {name}", "is missing", model.model_fields[name].description or "") for name in lacking
    ]
    records = []
    for row in table.rows:

        def place(loc: Place, row: Row = row) -> str:
            return f"row {row.number}" + (f", column {loc[0]}" if loc else "")

        cells = {name: cell for name, cell in row.cells.items() if name in known}
        try:
            records.append((row, model.model_validate(cells)))
        except ValidationError as error:
            found = faults_of(error, model, str(path), place)
            faults += [fault for fault in found if not any(fault.place == place((name,)) for name in lacking)]
    return _Family(str(path), table.columns, table.rows, tuple(records))


def _filled_by_another(name: str, columns: tuple[str, ...]) -> bool:
    """Columns that another can stand for: capacity by that of ten strokes, a lobe's lift and duration by its table."""
    another = {
        "capacity_cc": "capacity_ten_strokes_cc",
        "total_lift_mm": "table",
        "duration_deg": "table",
    }
    return another.get(name) in columns


def _limits(family: _Family, faults: list[Fault]) -> Limits | None:
    """The limits by name; faults for unknown or missing names, units other than the declared ones, and values."""
    if not family.rows:
        return None
    known, rows = list(Limits.model_fields), {}
    for row, record in family.records:
        assert isinstance(record, Limit)
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
        return None

    def place(loc: Place) -> str:
        return f"row {rows[str(loc[0])][0].number}, column value" if loc else ""

    try:
        return Limits.model_validate({name: value for name, (_, value) in rows.items()})
    except ValidationError as error:
        faults += faults_of(error, Limits, family.file, place)
        return None


def _repeated(families: Mapping[str, _Family]) -> list[Fault]:
    """A code is used once in the whole catalogue; a limit's name once in its file."""
    faults = []
    first: dict[tuple[str, str], tuple[_Family, Row]] = {}
    for family in families.values():
        for row in family.rows:
            code = row.cells.get(family.key)
            if code is None:
                continue
            earlier = first.setdefault((family.key, code), (family, row))
            if earlier[1] is not row:
                where = f"{Path(earlier[0].file).name} row {earlier[1].number}"
                faults.append(
                    family.fault(
                        row, family.key, f"'{code[:60]}' is already used in {where}", f"each {family.key} once"
                    )
                )
    return faults


def _references(families: Mapping[str, _Family]) -> list[Fault]:
    """Codes that name another row: suppliers, what a pump comes with, and the lever a lobe is made for."""
    faults = []
    suppliers = families["suppliers"].codes()
    fitted = {name: families[name].codes() for name in ("nozzles", "feed_screws", "pumps", "lobes", "spacers")}
    parts = set().union(*fitted.values())
    consumables = families["consumables"].codes()
    levers = {row.cells["lever"] for row in families["pumps"].rows if "lever" in row.cells}
    for family in families.values():
        for row, record in family.records:
            if isinstance(record, SOLD) and suppliers and record.supplier not in suppliers:
                meant = did_you_mean(record.supplier, sorted(suppliers)) or "add it to suppliers.csv"
                faults.append(
                    family.fault(row, "supplier", f"no supplier has the code {record.supplier}", remedy=meant)
                )
            if isinstance(record, Lobe) and levers and record.lever not in levers:
                problem = f"no pump has a lever '{record.lever}'"
                faults.append(family.fault(row, "lever", problem, f"one of {', '.join(sorted(levers))}"))
            for column, codes in _named_parts(record):
                for code in codes:
                    if all(fitted.values()) and code not in parts | consumables:
                        meant = did_you_mean(code, sorted(parts)) or "add it to its family, or take it out"
                        faults.append(family.fault(row, column, f"no part has the code {code}", remedy=meant))
    return faults + _circular(families["pumps"])


def _named_parts(record: Record) -> list[tuple[str, tuple[str, ...]]]:
    """Columns of a row that name other parts, with the codes in them."""
    if isinstance(record, Pump):
        return [("comes_with", record.comes_with)]
    if isinstance(record, Kit):
        return [("contents", record.contents)]
    return [("part", (record.part,))] if isinstance(record, Offer) else []


def _circular(pumps: _Family) -> list[Fault]:
    kits = {record.code: record.comes_with for _, record in pumps.records if isinstance(record, Pump)}
    try:
        TopologicalSorter(kits).prepare()
    except CycleError as error:
        cycle = list(reversed(error.args[1]))
        row = next(row for row in pumps.rows if row.cells.get("code") == cycle[0])
        problem = f"pumps come with each other in a circle: {' -> '.join(cycle)}"
        return [pumps.fault(row, "comes_with", problem, remedy="take one of them out of its comes_with")]
    return []
