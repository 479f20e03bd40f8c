"""Reference regions of the documentation, made from the rules, the pydantic models and the modules themselves."""

import ast
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from functools import cache
from pathlib import Path

from console_blocks import ROOT
from declared import bounds, default, json_type, kind, models_in, plain, said, unit_in_name
from pydantic import BaseModel
from test_house import ROOMS

from configurator.advice.comparison import CompareReport
from configurator.advice.next_step import NextReport
from configurator.advice.sensitivity import LIMIT_RANGES, VEHICLE_RANGES, SensitivityReport
from configurator.advice.standing import AvailabilityReport
from configurator.basis import ASSUMED, COMMON_PRACTICE
from configurator.book.fitted_told import FittedReport
from configurator.book.shelf import StockReport
from configurator.car.unknown import LEFT_OUT
from configurator.car.vehicle import MANIFOLD_TO_DISPLACEMENT, Vehicle
from configurator.card import Card
from configurator.catalogue.limits import Limits
from configurator.catalogue.listing import PartsReport
from configurator.catalogue.load import FAMILIES, Catalog, load_catalog
from configurator.catalogue.own import CatalogueReport
from configurator.catalogue.sheet_import import ImportReport
from configurator.learning.pull_told import PullsCompared
from configurator.learning.trial_entry import TrialReport
from configurator.ordering.report import OrderReport
from configurator.physics import circuits, film, lateness, pull, tip_in
from configurator.physics.assumptions import Assumptions
from configurator.reports import CheckReport, ProposeReport, SizeReport
from configurator.rules import RULES, WRONG, Rule, as_found, fit, fuel_side

Rows = Iterable[Sequence[str]]
REPORTS: dict[str, type[BaseModel]] = {
    "check": CheckReport, "size": SizeReport, "propose": ProposeReport, "parts": PartsReport,
    "catalogue add": CatalogueReport, "catalogue import": ImportReport,
    "assumptions": SensitivityReport, "trial add": TrialReport, "trial compare": PullsCompared,
    "fit": FittedReport, "stock list": StockReport,
    "next": NextReport, "why": AvailabilityReport, "compare": CompareReport,
    "card": Card, "order": OrderReport,
}  # fmt: skip


@cache
def _catalog() -> Catalog:
    return load_catalog(ROOT / "catalog")


def _table(headings: Sequence[str], rows: Rows) -> str:
    lines = [headings, ["---"] * len(headings), *rows]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines)


def rules(_: str) -> str:
    """Every rule, subject by subject."""
    parts = []
    for subject in (fuel_side, fit, as_found):
        title = (subject.__doc__ or "").strip().removeprefix("Rules on ").rstrip(".")
        parts.append(f"## {title[0].upper()}{title[1:]}")
        parts += [_rule(rule) for rule in RULES.values() if rule.reads.__module__ == subject.__name__]
    return "\n\n".join(parts)


def _rule(rule: Rule) -> str:
    row = _catalog().limit_rows.get(rule.limit)
    basis, source = (row.basis, row.source) if row else (rule.basis, rule.source)
    facts = [
        ("Reads", ", ".join(f"`{slot}`" for slot in rule.slots) or "what was found on the car"),
        ("Asked of", {"circuit": "each circuit", "car": "the car", "job": "a list of changes"}[rule.scope]),
        ("Severity", rule.severity),
        ("Where it does not hold", WRONG[rule.kind]),
        (
            "Margin",
            f"by how much the quantity stays {'below' if rule.at_most else 'above'} its limit, in `{rule.unit}`",
        ),
        ("Figure", f"`{rule.limit}`, shipped as {plain(row.value)} {row.unit}".strip() if row else ""),
        ("Basis", f"{basis}: {source}" if source else basis),
        ("Usually mended by", rule.mend),
        ("If not measured", rule.unknown),
    ]
    return f"### {rule.id}\n\n{rule.statement}\n\n" + "\n".join(f"- {name}: {says}" for name, says in facts if says)


def limits(_: str) -> str:
    """Limits as shipped, with how far each may be moved."""
    rows = [
        (f"`{row.name}`", plain(row.value), row.unit, bounds(Limits.model_fields[row.name]), row.basis, row.source,
         row.says)
        for row in _catalog().limit_rows.values()
    ]  # fmt: skip
    return _table(("name", "shipped", "unit", "accepted", "basis", "source", "what it is for"), rows)


def families(_: str) -> str:
    """One section a family."""
    parts = []
    for name, model in FAMILIES.items():
        about = " ".join((model.__doc__ or "").split())
        parts += [f"### {name}.csv", about, _fields(model, "column")]
    return "\n\n".join(parts)


TAKEN_LINK = "[taken](#what-is-left-out)"
"""Of a figure that can be left out."""


def _fields(model: type[BaseModel], heading: str, leave_out: str = "", place: str = "") -> str:
    rows = [
        (f"`{name}`", kind(field), said(field, "unit"), bounds(field),
         TAKEN_LINK if (place, name) in LEFT_OUT else default(field), field.description or "",
         "; ".join(filter(None, (said(field, "basis"), said(field, "source")))))
        for name, field in model.model_fields.items() if name != leave_out
    ]  # fmt: skip
    return _table((heading, "kind", "unit", "bounds", "default", "meaning", "basis"), rows)


def vehicle(_: str) -> str:
    """Every table of a vehicle file; tables of one shape share a section."""
    places: dict[type[BaseModel], list[str]] = {}
    _collect(Vehicle, "", places)
    parts = []
    for model, names in places.items():
        title = ", ".join(f"[{name}]" for name in names) if names != [""] else "Above every table"
        parts += [f"### {title}", " ".join((model.__doc__ or "").split()), _fields(model, "key", "code", names[0])]
    return "\n\n".join(parts)


def _collect(model: type[BaseModel], place: str, places: dict[type[BaseModel], list[str]]) -> None:
    places.setdefault(model, []).append(place)
    for name, field in model.model_fields.items():
        for inner in models_in(field.annotation):
            _collect(inner, f"{place}.{name}" if place else name, places)


def reports(_: str) -> str:
    """The reports, each behind its command, and the parts they are made of."""
    parts, done = [], set()
    for command, report in REPORTS.items():
        parts += [f"## `tipin {command} --json`"]
        waiting = [report]
        while waiting:
            model = waiting.pop(0)
            if model not in done:
                done.add(model)
                parts += [f"### {model.__name__}", " ".join((model.__doc__ or "").split()), _keys(model)]
                waiting += [inner for field in model.model_fields.values() for inner in models_in(field.annotation)]
    return "\n\n".join(parts)


def _keys(model: type[BaseModel]) -> str:
    rows = [
        (f"`{field.alias or name}`", json_type(field.annotation), unit_in_name(name), field.description or "")
        for name, field in model.model_fields.items()
    ]
    return _table(("key", "value", "unit", "meaning"), rows)


def assumed_figures(_: str) -> str:
    """Figures of the model that nobody can measure on the car."""
    rows = [
        (f"`{item.name}`", plain(item.default), item.metadata["unit"],
         f"{plain(item.metadata['low'])} to {plain(item.metadata['high'])}", item.metadata["says"],
         item.metadata["basis"])
        for item in fields(Assumptions)
    ]  # fmt: skip
    return _table(("figure", "value", "unit", "range", "meaning", "basis"), rows)


def assumed_limits(_: str) -> str:
    """Limits of the verdict, which are ours."""
    rows = [
        (f"`{name}`", plain(row.value), row.unit, f"{plain(low)} to {plain(high)}", row.says, row.basis)
        for name, (low, high) in LIMIT_RANGES.items() for row in (_catalog().limit_rows[name],)
    ]  # fmt: skip
    return _table(("limit", "shipped", "unit", "range", "meaning", "basis"), rows)


def assumed_defaults(_: str) -> str:
    """Defaults that stand where a vehicle file is silent."""
    places: dict[type[BaseModel], list[str]] = {}
    _collect(Vehicle, "", places)
    rows = []
    for model, names in places.items():
        for name, field in model.model_fields.items():
            ours = said(field, "basis") in (ASSUMED, COMMON_PRACTICE) and not field.is_required()
            if ours and (default(field) or "by default" in (field.description or "")):
                span = VEHICLE_RANGES.get((names[0], name))
                low_high = f"{plain(span[0])} to {plain(span[1])}" if span else ""
                basis = "; ".join(filter(None, (said(field, "basis"), said(field, "source"))))
                key = f"[{names[0]}] {name}" if names[0] else name
                rows.append((f"`{key}`", default(field), said(field, "unit"), low_high, field.description or "", basis))
    return _table(("key", "default", "unit", "range", "meaning", "basis"), rows)


def fixed_figures(_: str) -> str:
    """Figures that stand in the modules: no file moves them."""
    low_bar, high_bar = film.PRESSURE_RANGE_BAR
    low_late, high_late = lateness.LATENESS_RANGE
    rows = [
        ("share of its later air from which a pair of barrels answers for its mixture", tip_in.JUDGED_FROM_AIR_SHARE,
         "", "`physics/tip_in.py`"),
        ("booster depression at which the main circuit's lag is stated", circuits.SIGNAL_REFERENCE_PA, "Pa",
         "`physics/circuits.py`"),
        ("pressure inside which the wall film's coefficients are used", f"{low_bar:g} to {high_bar:g}", "bar",
         "`physics/film.py`"),
        ("speed up to which they are used", film.SPEED_RANGE_KRPM[1] * 1000, "rev/min", "`physics/film.py`"),
        ("time that is looked at after tip-in", tip_in.UNTIL_S, "s", "`physics/tip_in.py`"),
        ("how late first fuel and main circuit may be, times the model's", f"{low_late:g} to {high_late:g}", "",
         "`physics/lateness.py`"),
        ("mixture at which nothing burns, and from which it burns in time, lean side",
         f"{pull.LEAN_BURNS_PHI[0]:g}, {pull.LEAN_BURNS_PHI[1]:g}", "phi", "`physics/pull.py`"),
        ("the same, rich side", f"{pull.RICH_BURNS_PHI[0]:g}, {pull.RICH_BURNS_PHI[1]:g}", "phi", "`physics/pull.py`"),
        ("mixture from which there is smoke, and full smoke", f"{pull.SMOKE_PHI:g}, {pull.FULL_SMOKE_PHI:g}", "phi",
         "`physics/pull.py`"),
        ("nozzle coefficient in the rule on the feed screw", fuel_side.NOMINAL_NOZZLE_COEFFICIENT, "",
         "`rules/fuel_side.py`"),
        ("manifold volume over displacement, if the file is silent", MANIFOLD_TO_DISPLACEMENT, "", "`car/vehicle.py`"),
    ]  # fmt: skip
    return _table(
        ("figure", "value", "unit", "where"), [(says, plain(v), unit, where) for says, v, unit, where in rows]
    )


def house(_: str) -> str:
    """Rooms from top to bottom; under each its modules with the first sentence of their docstrings."""
    package = ROOT / "configurator"
    built = [
        [r for r in rooms if (package / f"{r}.py").exists() or (package / r / "__init__.py").exists()]
        for rooms in ROOMS
    ]
    lines = []
    for number, rooms in enumerate(filter(None, built), 1):
        lines.append(f"{number}. {', '.join(f'`{room}`' for room in rooms)}")
        lines += [f"    - `{path.relative_to(package)}`: {_about(path)}" for room in rooms for path in _modules(room)]
    return "\n".join(lines)


def _modules(room: str) -> list[Path]:
    folder = ROOT / "configurator" / room
    return sorted(folder.glob("*.py")) if folder.is_dir() else [folder.with_suffix(".py")]


def _about(path: Path) -> str:
    text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or "starts the command line"
    return text.split("\n\n")[0].replace("\n", " ").split(". ")[0].rstrip(".")


def file(name: str) -> str:
    """A file of the repository as it is."""
    return f"```{Path(name).suffix[1:]}\n{(ROOT / name).read_text(encoding='utf-8').strip()}\n```"


MADE: dict[str, Callable[[str], str]] = {
    made.__name__: made
    for made in (
        rules, limits, families, vehicle, reports, assumed_figures, assumed_limits, assumed_defaults, fixed_figures,
        house, file,
    )
}  # fmt: skip
