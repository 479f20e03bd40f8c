"""How much the answer moves when a figure that nobody measured is moved across its range."""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from pydantic import Field

from configurator.arrays import Array
from configurator.car.fitted import FittedNozzle
from configurator.car.unknown import RANGES, Place
from configurator.car.vehicle import Vehicle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.judging.demand import Circuit, delivered_in
from configurator.judging.tip_in_of_car import (
    MOST_START_PRESSURE,
    ZERO_CELSIUS_K,
    idle_pressure_kpa,
    surroundings_of,
)
from configurator.physics.assumptions import Assumptions
from configurator.reports import Answer, Report
from configurator.slots.columns import Mount
from configurator.slots.options import Choice
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

LIMIT_RANGES = {"delay_most_ms": (25.0, 80.0)}
"""Limits of ours that the nozzle hangs on, and the range each might lie in (assumed)."""
VEHICLE_RANGES = {
    ("engine", "volumetric_efficiency"): (0.75, 0.90),
    ("engine", "air_temperature_c"): (0.0, 35.0),
    ("engine", "idle_pressure_kpa"): RANGES["engine", "idle_pressure_kpa"].ends,
    ("engine", "inertia_kg_m2"): (0.08, 0.30),
    ("manifold", "distance_to_valves_mm"): RANGES["manifold", "distance_to_valves_mm"].ends,
    ("manifold", "volume_cc"): RANGES["manifold", "volume_cc"].ends,
    ("carburettor", "rear_opens_at_deg"): RANGES["carburettor", "rear_opens_at_deg"].ends,
    ("fuel", "density_kg_m3"): (720.0, 775.0),
    ("fuel", "viscosity_mpa_s"): (0.37, 0.75),
    ("fuel", "stoichiometric_ratio"): (14.0, 14.8),
    ("tip_in", "opening_time_s"): RANGES["tip_in", "opening_time_s"].ends,
}
"""Defaults of the vehicle file that an owner may not know, with their ranges: density EN 228; the rest assumed. The
manifold's is for each litre of displacement."""
TRIED_MM = np.linspace(0.35, 1.80, 30)
"""Orifices worked out; between them the delay runs straight."""


class SmallestOver(Report):
    """The smallest orifice that comes at once, to 0.01 mm; null where none from 0.35 to 1.8 mm does."""

    smallest_mm: float | None = Field(description="as assumed, mm")
    at_low_mm: float | None = Field(description="with the figure at its low end")
    at_high_mm: float | None = Field(description="with the figure at its high end")

    @property
    def moves(self) -> tuple[bool, float]:
        """Whether an answer comes or goes, and how far it moves."""
        ends = [end for end in (self.smallest_mm, self.at_low_mm, self.at_high_mm) if end is not None]
        return 0 < len(ends) < 3, max(ends) - min(ends) if ends else 0.0


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
    fitted: SmallestOver = Field(description="with screw, pump and lobe as fitted")
    proposed: SmallestOver | None = Field(description="as proposed; null where nothing else is")


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


def sensitivity(case: Case, circuit: str, fitted: Choice, proposed: Choice | None) -> SensitivityReport:
    """Every assumed figure across its range, with screw, pump and lobe of one choice and of another; widest effect on
    either first."""
    choices = [fitted] if proposed is None else [fitted, proposed]
    bored = Bored(circuit, choices)
    figures, rows = list(_figures(case)), []
    now, *moved = bored.smallest_mm([case, *(end for f in figures for end in (f.at_low, f.at_high))])
    for f, at_low, at_high in zip(figures, moved[::2], moved[1::2], strict=True):
        ends = zip(now, at_low, at_high, strict=True)
        over = [SmallestOver(smallest_mm=mm, at_low_mm=low_mm, at_high_mm=high_mm) for mm, low_mm, high_mm in ends]
        rows.append(
            Sensitivity(
                figure=f.name, says=f.says, unit=f.unit, basis=f.basis, value=f.value, low=f.low, high=f.high,
                fitted=over[0], proposed=over[1] if proposed else None,
            )
        )  # fmt: skip
    rows.sort(key=lambda row: max(one.moves for one in (row.fitted, row.proposed) if one), reverse=True)
    return SensitivityReport(vehicle=case.vehicle.name, circuit=circuit, rows=rows)


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
    for (table, key), (low, high) in VEHICLE_RANGES.items():
        high = highest(vehicle, (table, key), high)
        part = getattr(vehicle, table)
        if key == "rear_opens_at_deg" and vehicle.carburettor.barrels == 2:
            continue
        if key == "volume_cc":
            low, high = (round(end * vehicle.engine.displacement_cc / 1000) for end in (low, high))
        extra = type(part).model_fields[key].json_schema_extra
        at_low, at_high = (with_figures(case, {(table, key): end}) for end in (low, high))
        yield _Figure(
            f"{table}.{key}", type(part).model_fields[key].description or "", str(extra["unit"]), str(extra["basis"]),
            _value(case, table, key), low, high, at_low, at_high,
        )  # fmt: skip


def highest(vehicle: Vehicle, place: Place, high: float) -> float:
    """The high end of a figure's range for this car: no idle has the air's own pressure in the manifold."""
    if place != ("engine", "idle_pressure_kpa"):
        return high
    most_kpa = MOST_START_PRESSURE * surroundings_of(vehicle).pressure_pa / 1e3
    return min(high, round(most_kpa - 0.05, 1))


def with_figures(case: Case, figures: Mapping[Place, float]) -> Case:
    """The case with figures of the vehicle file put in."""
    vehicle = case.vehicle
    for (table, key), value in figures.items():
        changed = getattr(vehicle, table).model_copy(update={key: value})
        vehicle = vehicle.model_copy(update={table: changed})
    return replace(case, car=replace(case.car, vehicle=vehicle))


def _value(case: Case, table: str, key: str) -> float:
    """A key of the vehicle file, or what stands for it where it is left out."""
    vehicle = case.vehicle
    value: float | None = getattr(getattr(vehicle, table), key)
    if value is not None:
        return value
    if key == "idle_pressure_kpa":
        return round(idle_pressure_kpa(vehicle), 1)
    if key == "volume_cc":
        return round(vehicle.manifold_volume_m3 * 1e6)
    if key == "rear_opens_at_deg":
        return vehicle.carburettor.rear_start_deg
    return round(surroundings_of(vehicle).temperature_k - ZERO_CELSIUS_K, 1)


class Bored:
    """Choices of one circuit's parts, each with its nozzle bored to every size tried, and how late they pull.

    What they deliver is worked out once for all cases in which throttle, depression and fuel are the same: most figures
    move the mixture alone.
    """

    def __init__(self, circuit: str, choices: Sequence[Choice]) -> None:
        nozzle, screw, pump, lobe = (Slot(circuit, slot) for slot in CIRCUIT_SLOTS)
        every = [choice for choice in choices for _ in TRIED_MM]
        self._circuit, self._choices = circuit, choices
        self._nozzles = [
            choice[nozzle].read(FittedNozzle).resized(size) for choice in choices for size in TRIED_MM.tolist()
        ]
        self._screws = [choice[screw].read(FeedScrewFigures) for choice in every]
        self._pumps = [choice[pump].read(PumpFigures) for choice in every]
        self._mounts = [choice[lobe].read(Mount) for choice in every]
        self._changed = [([choice[pump].changed], [choice[lobe].changed]) for choice in choices]
        self._flows: dict[Hashable, Array] = {}

    def smallest_mm(self, cases: Sequence[Case]) -> list[list[float | None]]:
        """For each case the smallest orifice of each choice, to 0.01 mm, whose pull comes at once; none where lobe and
        lever do not go together. Cases share a linkage."""
        self._deliver(cases)
        return [self._smallest_mm(case) for case in cases]

    def _smallest_mm(self, case: Case) -> list[float | None]:
        circuit, most_ms = case.circuits[self._circuit], case.catalog.limits.delay_most_ms
        responses = circuit.verdict.supply.responses(self._flows[_hangs_on(circuit)])
        late_ms = circuit.verdict.delay_ms(responses, 1.0 - circuit.film_share(self._nozzles), case.engine)
        meets = [mount.lobe.lever == pump.lever for mount, pump in zip(self._mounts, self._pumps, strict=True)]
        by_choice = np.where(meets, late_ms, np.inf).reshape(len(self._choices), -1)
        return [_first_within(delay_ms, most_ms) for delay_ms in by_choice]

    def _deliver(self, cases: Sequence[Case]) -> None:
        """Work out what was not before, those together that are with the same fuel."""
        together: dict[Hashable, dict[tuple[Hashable, ...], Circuit]] = {}
        for case in cases:
            circuit = case.circuits[self._circuit]
            hangs_on = _hangs_on(circuit)
            if hangs_on not in self._flows:
                together.setdefault(hangs_on[2:], {})[hangs_on] = circuit
        slack_mm = [cases[0].slack_mm(self._circuit, *changed).item() for changed in self._changed]
        for circuits in together.values():
            shots = delivered_in(
                list(circuits.values()), self._nozzles, self._screws, self._pumps, self._mounts,
                np.repeat(slack_mm, len(TRIED_MM)),
            )  # fmt: skip
            for (hangs_on, circuit), shot in zip(circuits.items(), shots, strict=True):
                self._flows[hangs_on] = circuit.flow_kg_s(shot)


def _hangs_on(circuit: Circuit) -> tuple[Hashable, ...]:
    """What a delivery hangs on besides parts and linkage: throttle, depression, fuel and the screw's coefficient."""
    event, assumed = circuit.event, circuit.assumed
    fuel = (event.fuel.density_kg_m3, event.fuel.viscosity_pa_s)
    return event.throttle_deg.tobytes(), event.pull_pa(assumed).tobytes(), *fuel, assumed.screw_coefficient


def _first_within(delay_ms: Array, most_ms: float) -> float | None:
    place = int(np.argmax(delay_ms <= most_ms))
    if delay_ms[place] > most_ms:
        return None
    if place == 0:
        return float(TRIED_MM[0])
    over, under = delay_ms[place - 1] - most_ms, most_ms - delay_ms[place]
    return round(float(TRIED_MM[place - 1] + (TRIED_MM[place] - TRIED_MM[place - 1]) * over / (over + under)), 2)
