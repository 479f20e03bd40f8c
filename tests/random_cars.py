"""Cars that are no shipped example: carburettor, gearing and manifold in proportion to the engine, in wide bounds."""

from dataclasses import replace
from functools import cache
from typing import Any

import building
import numpy as np

from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.judging.case import Case

Figures = dict[str, dict[str, Any]]
FRONT = {"nozzle": "straight-0.80", "feed_screw": "screw-wide", "pump": "pump-3cc", "lobe": "lobe-fell", "phase_deg": 0}
"""What is fitted, of the shipped catalogue; the screw never limits."""


@cache
def random_car(seed: int) -> Figures:
    """The tables of a vehicle file of a car with one pump circuit."""
    chance = np.random.default_rng(1000 + seed)
    litres = float(np.exp(chance.uniform(np.log(1.3), np.log(8.0))))
    line: dict[str, Any] = {"transmission": str(chance.choice(["manual", "manual", "manual", "converter"]))}
    idle_rpm = float(chance.uniform(650, 1100))
    if line["transmission"] == "manual":
        line |= {
            "mass_kg": float(chance.uniform(650, 1300)) + 100.0 * litres, "overall_ratio": float(chance.uniform(6, 12)),
            "wheel_radius_m": 0.31,
        }  # fmt: skip
    else:
        line |= {"stall_rpm": float(chance.uniform(1400, 2600))}
    return {
        "engine": {"displacement_cc": 1e3 * litres, "idle_rpm": idle_rpm, "air_temperature_c": 15.0,
                   "altitude_m": float(chance.uniform(0, 1000)), "inertia_kg_m2": 0.05 * litres,
                   "idle_pressure_kpa": float(chance.uniform(32, 55))},
        "driveline": line,
        "manifold": {"volume_cc": 1e3 * litres * float(chance.uniform(0.4, 1.2)),
                     "distance_to_valves_mm": float(chance.uniform(120, 350))},
        "carburettor": {"barrels": int(chance.choice([2, 4])), "test_depression_in_hg": 1.5,
                        "rated_flow_m3_min": litres * float(chance.uniform(2.0, 4.5))},
        "tip_in": {"opening_time_s": float(chance.uniform(0.1, 0.3))},
    }  # fmt: skip


def changed(figures: Figures, table: str, **values: Any) -> Figures:
    """The same car with some figures of one table changed."""
    return figures | {table: figures[table] | values}


@cache
def few_parts() -> Catalog:
    """The shipped catalogue with so few parts that many cars find nothing among them."""
    shipped = load_catalog(shipped_catalog_dir())
    return replace(
        shipped, nozzles={code: shipped.nozzles[code] for code in ("straight-0.72", "straight-0.80")},
        lobes={code: shipped.lobes[code] for code in ("lobe-fell", "lobe-moor")},
        pumps={"pump-3cc": shipped.pumps["pump-3cc"]}, operations={},
    )  # fmt: skip


def case_with(figures: Figures, catalog: Catalog, fitted: dict[str, Any] | None = None) -> Case:
    """The car in front of a catalogue."""
    vehicle = building.vehicle({"name": "random", "fitted": {"front": fitted or FRONT}, **figures})
    return Case.of(vehicle, catalog)


def two_circuit_car(seed: int) -> Vehicle:
    """A car with two pump circuits that is no example, of a size that building.EASY has parts for."""
    chance = np.random.default_rng(seed)
    litres = float(chance.uniform(3.0, 6.0))
    return building.two_circuits(
        name=f"car {seed}",
        engine={"displacement_cc": 1e3 * litres, "idle_rpm": float(chance.uniform(650, 1000))},
        driveline={"mass_kg": float(chance.uniform(900, 1700)), "overall_ratio": float(chance.uniform(5, 11))},
        manifold={"volume_cc": 1e3 * litres * float(chance.uniform(0.5, 1.1)), "rear_pad_clearance_mm": 16},
        carburettor={"rated_flow_m3_min": litres * float(chance.uniform(3.0, 4.5)),
                     "rear_opens_at_deg": float(chance.uniform(25, 50))},
        tip_in={"opening_time_s": float(chance.uniform(0.1, 0.3))},
    )  # fmt: skip
