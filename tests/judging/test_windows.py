"""Windows of real combinations, parts of a catalogue on whole vehicles, against simulating them again at other f."""

from dataclasses import dataclass
from functools import cache
from typing import Any

import building
import numpy as np
import pytest

from configurator.judging.case import Case
from configurator.physics import verdict
from configurator.physics.verdict import FACTOR_RANGE
from configurator.slots.columns import JudgedShots
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

STEP = 1.012
"""A little more than the ratio of neighbouring factors of the window's search (1.1 %)."""

CARS = {
    "truck": ("front", building.vehicle()),
    "heavy, tall gears": ("front", building.vehicle(driveline={"mass_kg": 3000, "overall_ratio": 4.0})),
    "long manifold": ("front", building.vehicle(manifold={"distance_to_valves_mm": 450})),
    "rear circuit": ("rear", building.two_circuits()),
    "fast idle, high up": ("front", building.vehicle(engine={"idle_rpm": 1100, "altitude_m": 1500})),
    "gentle opening from a cruise": ("front", building.vehicle(tip_in={"start": "cruise", "opening_time_s": 0.4})),
}
each_car = pytest.mark.parametrize("name", CARS)


@dataclass(frozen=True)
class Trial:
    """Every combination of one circuit that can be worked out: place in the table, its shot, and its window."""

    case: Case
    circuit: str
    places: list[tuple[int, ...]]
    shots: verdict.ShotFlows
    low: np.ndarray
    high: np.ndarray

    def meets(self, factor: float, which: slice | np.ndarray = slice(None)) -> np.ndarray:
        """Whether combinations meet the demand when simulated at a factor."""
        circuit = self.case.circuits[self.circuit]
        hole, flood = verdict.spells(circuit.event, self.shots.take(which), factor, circuit.allowed)
        return np.asarray((hole <= circuit.allowed.hole_s) & (flood <= circuit.allowed.flood_s))


@cache
def trial(name: str) -> Trial:
    circuit, car = CARS[name]
    sizes = [building.nozzle(size) for size in (0.70, 0.80, 0.81, 0.90, 1.00, 1.10)]
    case = building.case(car, building.catalog(nozzles=sizes, operations=[], spacers=[]))
    window: JudgedShots = case.columns(circuit, case.options, with_windows=True).shot
    places = [tuple(map(int, place[:4])) for place in np.argwhere(np.isfinite(window.hole_ms))]
    parts: list[list[Any]] = [
        [case.options[Slot(circuit, slot)][place[axis]].figures for place in places]
        for axis, slot in enumerate(CIRCUIT_SLOTS)
    ]
    own = case.circuits[circuit]
    nozzles, screws, pumps, mounts = parts
    shot = own.deliver(nozzles, screws, pumps, mounts, np.zeros(len(places)))
    shots = verdict.ShotFlows(own.flow_kg_s(shot), own.film_share(nozzles))
    low, high = (np.array([end[place][0, 0] for place in places]) for end in (window.window_low, window.window_high))
    return Trial(case, circuit, places, shots, low, high)


def at_the_edge(factor: float) -> bool:
    return not FACTOR_RANGE[0] * 1.001 < factor < FACTOR_RANGE[1] / 1.001


@each_car
def test_just_inside_its_ends_a_window_meets_and_just_outside_it_does_not(name: str) -> None:
    tried = trial(name)
    wide = np.flatnonzero(tried.high > tried.low * STEP)
    assert len(wide) > 10
    for index in wide[:: max(1, len(wide) // 8)]:
        only, low, high = np.array([index]), float(tried.low[index]), float(tried.high[index])
        assert tried.meets(low * 1.003, only) and tried.meets(high / 1.003, only), (tried.places[index], low, high)
        assert at_the_edge(low) or not tried.meets(low / STEP, only), (tried.places[index], low)
        assert at_the_edge(high) or not tried.meets(high * STEP, only), (tried.places[index], high)


@each_car
def test_a_window_is_the_range_found_by_trying_every_factor(name: str) -> None:
    """Whatever is tried inside a window meets, the next factor beyond an end does not; and none meets without one."""
    tried = trial(name)
    factors = np.geomspace(FACTOR_RANGE[0] * 1.005, FACTOR_RANGE[1] / 1.005, 37)
    meets = np.array([tried.meets(float(factor)) for factor in factors])
    for index, place in enumerate(tried.places):
        low, high = float(tried.low[index]), float(tried.high[index])
        if np.isnan(low):
            assert not meets[:, index].any(), (place, factors[meets[:, index]])
            continue
        inside = (factors > low * STEP) & (factors < high / STEP)
        assert meets[inside, index].all(), (place, low, high, factors[inside & ~meets[:, index]])
        below, above = np.flatnonzero(factors < low / STEP)[-1:], np.flatnonzero(factors > high * STEP)[:1]
        assert at_the_edge(low) or not meets[below, index].any(), (place, low, factors[below])
        assert at_the_edge(high) or not meets[above, index].any(), (place, high, factors[above])


@each_car
def test_a_table_at_once_is_each_combination_by_itself(name: str) -> None:
    """Volume, spells and window do not depend on what else is worked out with them."""
    tried = trial(name)
    case, circuit = tried.case, tried.circuit
    table: JudgedShots = case.columns(circuit, case.options, with_windows=True).shot
    for place in tried.places[:: max(1, len(tried.places) // 5)]:
        listed = {slot: options[:1] for slot, options in case.options.items()}
        for slot, index in zip(CIRCUIT_SLOTS, place, strict=True):
            listed[Slot(circuit, slot)] = (case.options[Slot(circuit, slot)][index],)
        alone = case.columns(circuit, listed, with_windows=True).shot
        for figure, one in vars(alone).items():
            of_many = getattr(table, figure)[place][0, 0]
            np.testing.assert_allclose(np.squeeze(one), of_many, rtol=1e-9, err_msg=figure)


def test_a_combination_meets_exactly_where_its_window_holds_f() -> None:
    """The rules on hole and flood, read from a case's table, say what the windows say."""
    tried = trial("truck")
    limits = tried.case.catalog.limits
    seen: set[bool] = set()
    for factor in (0.5, 1.0, 1.6):
        shot: JudgedShots = tried.case.at(factor).columns("front", tried.case.options).shot
        for place, low, high in zip(tried.places, tried.low, tried.high, strict=True):
            hole, flood = (float(spell[place][0, 0]) for spell in (shot.hole_ms, shot.flood_ms))
            meets = hole <= limits.hole_most_ms and flood <= limits.flood_most_ms
            if low * STEP < factor < high / STEP:
                assert meets
            elif not low / STEP < factor < high * STEP:
                assert not meets
            seen.add(meets)
    assert seen == {True, False}
