"""The trends that every tuner expects, over random cars; common practice, no source.

Each car has a large pump and a tall lobe, a screw that never limits, and one figure changed with all else equal.
The smallest orifice is that whose hole stays within its spell; the flood is another story.
"""

from functools import cache
from typing import Any

import building
import numpy as np
import pytest

from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case
from configurator.slots.columns import Mount
from configurator.slots.options import Option
from configurator.slots.slot import Slot

CARS = 70
SWEEP_MM = np.geomspace(0.25, 2.2, 220)
Figures = dict[str, dict[str, Any]]


@cache
def random_car(seed: int) -> Figures:
    """A car with a carburettor, gearing and manifold in proportion to its engine, each within wide bounds."""
    chance = np.random.default_rng(1000 + seed)
    litres = float(np.exp(chance.uniform(np.log(1.3), np.log(7.5))))
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
                   "altitude_m": float(chance.uniform(0, 1500)), "inertia_kg_m2": 0.05 * litres,
                   "idle_pressure_kpa": float(chance.uniform(32, 55))},
        "driveline": line,
        "manifold": {"volume_cc": 1e3 * litres * float(chance.uniform(0.4, 1.2)),
                     "distance_to_valves_mm": float(chance.uniform(120, 350))},
        "carburettor": {"barrels": int(chance.choice([2, 4])), "test_depression_in_hg": 1.5,
                        "rated_flow_m3_min": litres * float(chance.uniform(2.0, 4.5))},
        "tip_in": {"opening_time_s": float(chance.uniform(0.1, 0.3))},
    }  # fmt: skip


def smallest_mm(figures: Figures) -> float:
    """The smallest orifice whose hole stays within its spell; nan where none of the sweep does."""
    lobe = building.lobe("tall", 8.0, lever="long", phases_deg=(0.0,))
    screw, pump = building.screw("wide", 40.0), building.larger_pump(safe_stroke_mm=20.0, capacity_cc=8.0)
    front = {"nozzle": "straight-0.80", "feed_screw": "wide", "pump": "pump-large", "lobe": "tall", "phase_deg": 0}
    car = building.vehicle({"name": "random", "fitted": {"front": front}, **figures})
    case = building.case(car, building.catalog(screws=[screw], pumps=[pump], lobes=[lobe], operations=[], spacers=[]))
    assert isinstance(case.as_fitted[Slot("front", "lobe")].figures, Mount)
    return _smallest_of(case)


def _smallest_of(case: Case) -> float:
    listed: dict[Slot, tuple[Option, ...]] = {slot: (option,) for slot, option in case.as_fitted.items()}
    listed[Slot("front", "nozzle")] = tuple(
        Option("", FittedNozzle(diameter_mm=size, style="straight", length_mm=3.0 * size), "none")
        for size in SWEEP_MM.tolist()
    )
    meets = case.columns("front", listed).shot.hole_ms.ravel() <= case.catalog.limits.hole_most_ms
    return float(SWEEP_MM[np.argmax(meets)]) if meets.any() and not meets[0] else float("nan")


@cache
def as_they_are() -> tuple[float, ...]:
    return tuple(smallest_mm(random_car(seed)) for seed in range(CARS))


def changed(seed: int, table: str, key: str, by: float, plus: float) -> Figures:
    car = random_car(seed)
    return car | {table: car[table] | {key: car[table][key] * by + plus}}


@pytest.mark.parametrize(
    ("table", "key", "by", "plus", "share"),
    [
        ("manifold", "volume_cc", 1.3, 0.0, 0.95),
        ("manifold", "distance_to_valves_mm", 1.0, 150.0, 0.90),
        ("engine", "air_temperature_c", 1.0, -20.0, 0.98),
        ("carburettor", "rated_flow_m3_min", 1.25, 0.0, 0.98),
    ],
    ids=["larger manifold", "greater distance", "colder", "more carburettor"],
)
def test_all_else_equal_it_asks_for_a_larger_nozzle(table: str, key: str, by: float, plus: float, share: float) -> None:
    """In at least this share of the cars that have an answer; in the others it is the same to 1 %, in none smaller."""
    before = np.array(as_they_are())
    after = np.array([smallest_mm(changed(seed, table, key, by, plus)) for seed in range(CARS)])
    known = ~np.isnan(before)
    grown = np.where(np.isnan(after), np.inf, after)[known] > before[known]
    shrunk = after[known] < before[known]
    assert known.sum() >= 60
    assert grown.mean() >= share, np.flatnonzero(known)[~grown]
    assert not shrunk.any(), np.flatnonzero(known)[shrunk]
