"""Rows that name other rows: a code once in the whole catalogue, and nothing named that is not there."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

from configurator.catalogue.parts import Lobe, Pump, Stocked
from configurator.catalogue.supply import DrillBit, Kit, Offer
from configurator.errors import Fault
from configurator.files.declared import Record
from configurator.files.reading import Row, did_you_mean

MOST_WORDS_COMPARED = 250_000
"""Known codes that are compared with unknown ones before no more is said of what was probably meant: it takes long."""

SOLD = (Stocked, Offer, Kit, DrillBit)
"""Rows that name a supplier."""
_PARTS_NAMED_IN: Mapping[type[Record], tuple[str, ...]] = {Pump: ("comes_with",), Kit: ("contents",), Offer: ("part",)}


def key_column(model: type[Record]) -> str:
    """The column by which a family's rows are told apart."""
    return "code" if "code" in model.model_fields else "name"


@dataclass(frozen=True)
class Family:
    """One file as far as it could be read: its rows, and the records of those without fault."""

    name: str
    file: str
    model: type[Record]
    rows: tuple[Row, ...] = ()
    records: tuple[tuple[Row, Record], ...] = ()

    @property
    def key(self) -> str:
        return key_column(self.model)

    def codes(self) -> set[str]:
        """Codes written in the file, those of rows with other faults too."""
        key = self.key
        return {row.cells[key] for row in self.rows if key in row.cells}

    def by_code(self) -> dict[str, Record]:
        key = self.key
        return {row.cells[key]: record for row, record in self.records}

    def fault(self, row: Row, column: str, problem: str, expected: str = "", remedy: str = "") -> Fault:
        return Fault(self.file, f"row {row.number}, column {column}", problem, expected, remedy)


def repeated(families: Mapping[str, Family]) -> list[Fault]:
    """A code is used once in the whole catalogue; a limit's name once in its file."""
    faults = []
    first: dict[tuple[str, str], tuple[Family, Row]] = {}
    for family in families.values():
        key = family.key
        for row in family.rows:
            code = row.cells.get(key)
            if code is None:
                continue
            earlier = first.setdefault((key, code), (family, row))
            if earlier[1] is not row:
                where = f"{Path(earlier[0].file).name} row {earlier[1].number}"
                faults.append(family.fault(row, key, f"'{code[:60]}' is already used in {where}", f"each {key} once"))
    return faults


@dataclass(frozen=True)
class _Reference:
    """A column that names something elsewhere in the catalogue: what there is to name, and what to say of the rest."""

    column: str
    there: Collection[str]
    problem: str
    remedy: Callable[[str], str] = lambda _: ""
    expected: str = ""

    def lost(self, record: Record) -> list[str]:
        """What a row names that is not there."""
        cell = record.__dict__[self.column]
        return [name for name in ((cell,) if isinstance(cell, str) else cell) if name not in self.there]


def references_lost(families: Mapping[str, Family]) -> list[Fault]:
    """Words that name another row: suppliers, what a pump comes with, and the lever by which a lobe suits a pump."""
    references = _references_of(families)
    faults = [
        family.fault(row, one.column, one.problem.format(name), one.expected, one.remedy(name))
        for family in families.values()
        for row, record in family.records if family.model in references
        for one in references[family.model]
        for name in one.lost(record)
    ]  # fmt: skip
    return faults + _circular(families["pumps"])


def _references_of(families: Mapping[str, Family]) -> dict[type[Record], list[_Reference]]:
    """The columns of each family that name something, as far as what they name was read."""
    suppliers = families["suppliers"].codes()
    fitted = {name: families[name].codes() for name in ("nozzles", "feed_screws", "pumps", "lobes", "spacers")}
    parts = set().union(*fitted.values())
    named, meant = parts | families["consumables"].codes(), _meant(parts, "add it to its family, or take it out")
    of_pumps, of_lobes = (
        {row.cells["lever"] for row in families[name].rows if "lever" in row.cells} for name in ("pumps", "lobes")
    )
    found: dict[type[Record], list[_Reference]] = {}
    if suppliers:
        of_supplier = _Reference(
            "supplier", suppliers, "no supplier has the code {}", _meant(suppliers, "add it to suppliers.csv")
        )
        found = {family.model: [of_supplier] for family in families.values() if issubclass(family.model, SOLD)}
    lever_of: tuple[tuple[type[Record], set[str], str], ...] = (
        (Lobe, of_pumps, "no pump has a lever '{}'"), (Pump, of_lobes, "no lobe is made for a lever '{}'"),
    )  # fmt: skip
    for part, levers, problem in lever_of:
        if levers:
            expected = f"one of {', '.join(sorted(levers))}"
            found.setdefault(part, []).append(_Reference("lever", levers, problem, _meant(levers, ""), expected))
    if all(fitted.values()):
        for model, columns in _PARTS_NAMED_IN.items():
            of_part = [_Reference(column, named, "no part has the code {}", meant) for column in columns]
            found.setdefault(model, []).extend(of_part)
    return found


def _meant(known: Collection[str], otherwise: str) -> Callable[[str], str]:
    """Says what an unknown code was probably meant to be, or otherwise."""
    most = 1 + MOST_WORDS_COMPARED // (1 + len(known))

    @cache
    def meant(code: str) -> str:
        enough = meant.cache_info().misses > most
        return ("" if enough else did_you_mean(code, sorted(known))) or otherwise

    return meant


def _circular(pumps: Family) -> list[Fault]:
    kits = {record.code: record.comes_with for _, record in pumps.records if isinstance(record, Pump)}
    try:
        TopologicalSorter(kits).prepare()
    except CycleError as error:
        cycle = list(reversed(error.args[1]))
        row = next(row for row in pumps.rows if row.cells.get("code") == cycle[0])
        problem = f"pumps come with each other in a circle: {' -> '.join(cycle)}"
        return [pumps.fault(row, "comes_with", problem, remedy="take one of them out of its comes_with")]
    return []
