"""The trends that every tuner expects, over random cars; common practice, no source.

Each car has a screw that never limits and, unless said, the large pump with its tallest lobe; one figure is changed.
The smallest orifice is the first whose pull comes at once, run on between the sizes of a sweep.
"""

from functools import cache
from typing import Any

import numpy as np
import pytest
from random_cars import Figures, case_with, changed, random_car
from stumbling import felt

from configurator.arrays import Array
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.slots.columns import JudgedShots
from configurator.slots.options import Option
from configurator.slots.slot import Slot

CARS = range(14)
SWEEP_MM = np.geomspace(0.35, 2.2, 24)
STOCK = load_catalog(shipped_catalog_dir())
LARGE = {"nozzle": "straight-0.80", "feed_screw": "screw-wide", "pump": "pump-5cc", "lobe": "lobe-pike", "phase_deg": 0}
SMALL = LARGE | {"pump": "pump-3cc", "lobe": "lobe-fell"}
LITTLE = SMALL | {"lobe": "lobe-beck"}
STEP_MM = 0.03
"""The catalogue's sizes lie 0.02 to 0.03 mm apart."""


def sized(car: Figures, sizes_mm: Array, fitted: dict[str, Any]) -> JudgedShots:
    """What is felt with each size of nozzle, (sizes,)."""
    case = case_with(car, STOCK, fitted)
    listed: dict[Slot, tuple[Option, ...]] = {slot: (option,) for slot, option in case.as_fitted.items()}
    listed[Slot("front", "nozzle")] = tuple(
        Option("", FittedNozzle(diameter_mm=size, style="straight", length_mm=3.0 * size), "none")
        for size in sizes_mm.tolist()
    )
    return case.columns("front", listed).shot.at((slice(None), 0, 0, 0, 0, 0))


def smallest_mm(car: Figures) -> float:
    """nan where no size of the sweep comes at once, or all do."""
    late = sized(car, SWEEP_MM, LARGE).delay_ms - STOCK.limits.delay_most_ms
    place = int(np.argmax(late <= 0.0))
    if place == 0:
        return float("nan")
    return float(np.interp(0.0, [late[place], late[place - 1]], [SWEEP_MM[place], SWEEP_MM[place - 1]]))


@cache
def as_they_are() -> tuple[float, ...]:
    return tuple(smallest_mm(random_car(seed)) for seed in CARS)


@pytest.mark.parametrize(
    ("table", "key", "by", "plus", "side"),
    [
        ("manifold", "distance_to_valves_mm", 1.0, 150.0, 1), ("engine", "air_temperature_c", 1.0, -20.0, 1),
        ("carburettor", "rated_flow_m3_min", 1.25, 0.0, 1), ("engine", "altitude_m", 1.0, 1500.0, -1),
        ("engine", "idle_pressure_kpa", 1.0, 8.0, -1),
    ],
    ids=["greater distance", "colder", "more carburettor", "higher, jets matched", "less idle vacuum"],
)  # fmt: skip
def test_all_else_equal_the_nozzle_moves_the_way_the_trade_knows(
    table: str, key: str, by: float, plus: float, side: int
) -> None:
    """In 95 % of the cars in which it moves by more than a step of the catalogue."""
    cars = [random_car(seed) for seed in CARS]
    after = [smallest_mm(changed(car, table, **{key: car[table][key] * by + plus})) for car in cars]
    moved = side * (np.array(after) - np.array(as_they_are()))
    moved = moved[np.abs(moved) > STEP_MM]
    assert len(moved) >= 3 and np.mean(moved > 0.0) >= 0.95


@pytest.mark.parametrize(
    ("table", "key"),
    [("engine", "displacement_cc"), ("engine", "idle_pressure_kpa"), ("manifold", "volume_cc"),
     ("tip_in", "opening_time_s")],
)  # fmt: skip
def test_one_per_cent_of_any_input_is_no_step_of_the_nozzle(table: str, key: str) -> None:
    after = [
        smallest_mm(changed(random_car(seed), table, **{key: random_car(seed)[table][key] * 1.01})) for seed in CARS
    ]
    moved = np.abs(np.array(after) - np.array(as_they_are()))
    assert np.nanmax(moved) < STEP_MM and np.nanmax(moved) > 1e-4


@pytest.mark.parametrize("key, by", [("mass_kg", 1.5), ("overall_ratio", 0.75)])
def test_a_heavier_car_or_a_taller_gear_goes_flatter_with_the_same_parts(key: str, by: float) -> None:
    """With a little shot, which runs out: in 95 % of the manual cars and nozzles with which it moves."""
    moved: list[float] = []
    for car in map(random_car, CARS):
        if car["driveline"]["transmission"] == "manual":
            slower = changed(car, "driveline", **{key: car["driveline"][key] * by})
            sags = [sized(one, np.array([0.6, 0.8, 1.0]), LITTLE).lean_sag_percent for one in (car, slower)]
            moved += (sags[1] - sags[0]).tolist()
    deeper = np.array([sag for sag in moved if abs(sag) > 0.5])
    assert len(deeper) >= 10 and np.mean(deeper > 0.0) >= 0.95, moved


@cache
def swept(seed: int) -> JudgedShots:
    return sized(random_car(seed), SWEEP_MM, SMALL)


@pytest.mark.parametrize("seed", CARS)
def test_a_larger_nozzle_is_less_late_for_want_of_fuel_and_sooner_spent(seed: int) -> None:
    """Along one sweep. Smoke has no such course: a larger nozzle is richer at once, and less so later."""
    shot = swept(seed)
    assert np.all(np.diff(shot.lean_delay_ms) < 1.0)
    assert np.all(np.diff(shot.ends_ms) < 0.1) and np.all(np.diff(shot.peak_cc_s) > -1e-3)


def test_what_meets_is_one_range_of_sizes() -> None:
    """Never a gap in it."""
    most, ranges = STOCK.limits, []
    for seed in CARS:
        shot = swept(seed)
        lean = (shot.delay_ms <= most.delay_most_ms) & (shot.lean_sag_percent <= most.sag_most_percent)
        rich = (shot.smoke_ms <= most.smoke_most_ms) & (shot.rich_sag_percent <= most.sag_most_percent)
        ranges.append(int(np.sum(np.diff(np.pad((lean & rich).astype(int), 1)) == 1)))
    assert max(ranges) == 1 and sum(ranges) >= 3, ranges


def test_three_quarters_of_the_smallest_hesitates() -> None:
    for seed, size in zip(CARS, as_they_are(), strict=True):
        if np.isfinite(size) and 0.75 * size > 0.3:
            late_ms = sized(random_car(seed), np.array([0.75 * size]), LARGE).delay_ms[0]
            assert late_ms > 1.2 * STOCK.limits.delay_most_ms, (seed, late_ms)


@pytest.mark.parametrize("seed", [0, 3, 6])
def test_the_experiment_of_a_stumble_that_acts_back_begins_at_what_is_judged(seed: int) -> None:
    """Delay and both sags written anew; acting back they are others, but not by far."""
    case = case_with(random_car(seed), STOCK, LITTLE)
    judged = sized(random_car(seed), np.array([0.6]), LITTLE)
    choice = case.as_fitted | {
        Slot("front", "nozzle"): Option("", FittedNozzle(diameter_mm=0.6, style="straight", length_mm=1.8), "none")
    }
    plain, back = (felt(case, choice, acts_back=acts) for acts in (False, True))
    for name in ("delay_ms", "lean_sag_percent", "rich_sag_percent"):
        assert getattr(plain, name) == pytest.approx(float(getattr(judged, name)[0]), abs=0.05, rel=1e-3)
    assert 0.1 < abs(back.delay_ms - plain.delay_ms) < 0.3 * max(plain.delay_ms, 30.0)
