"""How much the answer moves when a figure that nobody measured is moved across its range."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
from pydantic import Field

from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import IDLE_PRESSURE_RANGE_KPA
from configurator.judging.case import Case, margins
from configurator.judging.demand import MOST_START_PRESSURE, ZERO_CELSIUS_K, idle_pressure_kpa, surroundings_of
from configurator.judging.table import DEMAND
from configurator.physics.assumptions import Assumptions
from configurator.reports import Answer, Report
from configurator.rules import RULES
from configurator.slots.options import Choice, Option
from configurator.slots.slot import Slot

LIMIT_RANGES = {"delay_most_ms": (25.0, 80.0), "sag_most_percent": (3.0, 12.0), "smoke_most_ms": (80.0, 400.0)}
"""Limits of the verdict that are ours, and the range each might lie in (assumed)."""
VEHICLE_RANGES = {
    ("engine", "volumetric_efficiency"): (0.75, 0.90),
    ("engine", "air_temperature_c"): (0.0, 35.0),
    ("engine", "idle_pressure_kpa"): IDLE_PRESSURE_RANGE_KPA,
    ("engine", "inertia_kg_m2"): (0.08, 0.30),
    ("manifold", "distance_to_valves_mm"): (150.0, 400.0),
    ("fuel", "density_kg_m3"): (720.0, 775.0),
    ("fuel", "viscosity_mpa_s"): (0.37, 0.75),
    ("fuel", "stoichiometric_ratio"): (14.0, 14.8),
    ("tip_in", "opening_time_s"): (0.10, 0.30),
}
"""Defaults of the vehicle file that an owner may not know, with their ranges: density EN 228; the rest assumed."""
TRIED_MM = np.arange(0.40, 1.601, 0.01)


class Sensitivity(Report):
    """One figure across its range."""

    figure: str = Field(
        description="name; as in a vehicle file's [assumed], limits.csv, or table.key of a vehicle file"
    )
    says: str = Field(description="what it is")
    unit: str = Field(description="its unit")
    basis: str = Field(description="what it rests on")
    value: float = Field(description="value in use")
    low: float = Field(description="low end of its range")
    high: float = Field(description="high end of its range")
    smallest_mm: float | None = Field(description="smallest orifice as assumed, mm; null if none up to 1.6 mm does")
    smallest_at_low_mm: float | None = Field(description="the same with the figure at its low end")
    smallest_at_high_mm: float | None = Field(description="the same with the figure at its high end")


class SensitivityReport(Answer):
    """Answer of `tipin assumptions`."""

    vehicle: str = Field(description="name in the vehicle file")
    circuit: str = Field(description="front or rear")
    rows: list[Sensitivity] = Field(description="one entry a figure, widest effect first")


@dataclass(frozen=True)
class _Figure:
    name: str
    says: str
    unit: str
    basis: str
    value: float
    low: float
    high: float
    at_low: Case
    at_high: Case


def sensitivity(case: Case, circuit: str, choice: Choice) -> SensitivityReport:
    """Every assumed figure across its range, with screw, pump and lobe of the choice; widest effect first."""
    now = _smallest_mm(case, circuit, choice)
    rows = [
        Sensitivity(
            figure=f.name, says=f.says, unit=f.unit, basis=f.basis, value=f.value, low=f.low, high=f.high,
            smallest_mm=now,
            smallest_at_low_mm=_smallest_mm(f.at_low, circuit, choice),
            smallest_at_high_mm=_smallest_mm(f.at_high, circuit, choice),
        )
        for f in _figures(case)
    ]  # fmt: skip
    return SensitivityReport(vehicle=case.vehicle.name, circuit=circuit, rows=sorted(rows, key=_effect, reverse=True))


def _effect(row: Sensitivity) -> tuple[bool, float]:
    ends = [end for end in (row.smallest_at_low_mm, row.smallest_at_high_mm, row.smallest_mm) if end is not None]
    return len(ends) < 3, max(ends) - min(ends) if ends else 0.0


def _figures(case: Case) -> Iterator[_Figure]:
    vehicle, catalog = case.vehicle, case.catalog
    for item in fields(Assumptions):
        meta = item.metadata

        def assuming(value: float, name: str = item.name) -> Case:
            changed = vehicle.model_copy(update={"assumed": vehicle.assumed | {name: value}})
            return replace(case, car=replace(case.car, vehicle=changed))

        yield _Figure(
            item.name, meta["says"], meta["unit"], meta["basis"], getattr(case.car.assumed, item.name),
            meta["low"], meta["high"], assuming(meta["low"]), assuming(meta["high"]),
        )  # fmt: skip
    for name, (low, high) in LIMIT_RANGES.items():
        row = catalog.limit_rows[name]

        def limited(value: float, name: str = name) -> Case:
            changed = replace(catalog, limits=catalog.limits.model_copy(update={name: value}))
            return replace(case, car=replace(case.car, catalog=changed))

        yield _Figure(name, row.says, row.unit, row.basis, row.value, low, high, limited(low), limited(high))
    most_kpa = MOST_START_PRESSURE * surroundings_of(vehicle).pressure_pa / 1e3
    for (table, key), (low, high) in VEHICLE_RANGES.items():
        high = min(high, round(most_kpa - 0.05, 1)) if key == "idle_pressure_kpa" else high
        part = getattr(vehicle, table)
        extra = type(part).model_fields[key].json_schema_extra

        def owned(value: float, table: str = table, key: str = key) -> Case:
            changed = getattr(vehicle, table).model_copy(update={key: value})
            return replace(case, car=replace(case.car, vehicle=vehicle.model_copy(update={table: changed})))

        yield _Figure(
            f"{table}.{key}", type(part).model_fields[key].description or "", str(extra["unit"]), str(extra["basis"]),
            _value(case, table, key), low, high, owned(low), owned(high),
        )  # fmt: skip


def _value(case: Case, table: str, key: str) -> float:
    """A key of the vehicle file, or what stands for it where it is left out."""
    if key == "idle_pressure_kpa":
        return round(idle_pressure_kpa(case.vehicle), 1)
    value: float | None = getattr(getattr(case.vehicle, table), key)
    return round(surroundings_of(case.vehicle).temperature_k - ZERO_CELSIUS_K, 1) if value is None else value


def _smallest_mm(case: Case, circuit: str, choice: Choice) -> float | None:
    """The smallest orifice, to 0.01 mm, that meets the demand with the choice's screw, pump, lobe and nozzle style."""
    slot = Slot(circuit, "nozzle")
    now = choice[slot].read(FittedNozzle)
    nozzles = tuple(Option("", now.resized(float(size)), "none") for size in TRIED_MM)
    listed = {other: (option,) for other, option in choice.items()} | {slot: nozzles}
    figures = case.columns(circuit, listed)
    meets = np.all([margins(RULES[rule], figures).ravel() >= 0 for rule in DEMAND], axis=0)
    return round(float(TRIED_MM[np.argmax(meets)]), 2) if meets.any() else None
