"""The fuel after a tip-in and what is felt of it once more, written from the text of the modules as ordinary code.

One shot in one engine at a time: mains behind their lag, idle, walls, gas and the driver's lag as one system of
equations for scipy's solve_ivp; what is felt is then read off the pull, as a person with a
ruler would. The figures that the text names stand here again. From the program come the air's own history, the film's
coefficients and idle flow.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from configurator.arrays import Array
from configurator.physics.air import Driveline, Engine
from configurator.physics.assumptions import Assumptions
from configurator.physics.atmosphere import standard_atmosphere
from configurator.physics.lateness import Lateness
from configurator.physics.pull import FUEL_AIR_CYCLE
from configurator.physics.tip_in import Fuel, Opening, Throttles, TipIn, simulate

AIR, PETROL, ASSUMED = standard_atmosphere(0.0), Fuel(740.0, 0.45e-3, 14.6), Assumptions()
GRID_S = 0.0005
KNOWN_PHI, KNOWN_WORK = np.array(FUEL_AIR_CYCLE).T


@dataclass(frozen=True)
class Made:
    """An engine at the sea with a carburettor of two equal pairs of barrels, and how it is opened; SI."""

    volume_m3: float = 4.6e-3
    area_m2: float = 20e-4
    displacement_m3: float = 5.7e-3
    inertia_kg_m2: float = 2.1
    start: tuple[float, float] = (38e3, 800.0)
    opening_s: float = 0.15
    distance_m: float = 0.35
    rear_circuit: bool = False

    @classmethod
    def by_chance(cls, seed: int) -> "Made":
        chance = np.random.default_rng(seed)
        displacement = float(np.exp(chance.uniform(np.log(1.5e-3), np.log(7.5e-3))))
        return cls(
            displacement_m3=displacement, volume_m3=displacement * chance.uniform(0.3, 1.5),
            area_m2=displacement * chance.uniform(0.2, 0.55), inertia_kg_m2=displacement * chance.uniform(200.0, 600.0),
            start=(chance.uniform(32e3, 60e3), chance.uniform(650.0, 1600.0)), opening_s=chance.uniform(0.1, 0.35),
            distance_m=chance.uniform(0.1, 0.4), rear_circuit=bool(seed % 2),
        )  # fmt: skip

    @cached_property
    def tip_in(self) -> TipIn:
        return simulate(
            Engine(self.displacement_m3, 0.82, self.volume_m3, 0.94e6), Driveline(self.inertia_kg_m2),
            Throttles(self.area_m2, self.area_m2, 25.0, AIR.density_kg_m3),
            Opening(*self.start, 1.1, 1.0, self.opening_s), AIR, PETROL, ASSUMED, self.distance_m, self.rear_circuit,
        )  # fmt: skip

    def main(self, air_kg_s: float, late: float) -> tuple[float, float]:
        """What a pair's main circuit settles at [kg/s], and its lag [s], for the air through the pair."""
        signal = 4.0 * (air_kg_s / self.area_m2) ** 2 / (2.0 * AIR.density_kg_m3)
        lip = 740.0 * 9.80665 * 0.012 * late**0.5
        flows = max(0.0, 1.0 - lip / signal) if signal > 0.0 else 0.0
        return air_kg_s * 1.15 / 14.6 * flows**0.5, late * 0.12 * (2000.0 / max(signal, 1.0)) ** 0.5


def rounded_shots(time_s: Array, sizes: Sequence[tuple[float, float, float]]) -> Array:
    """Mean flow in each step [kg/s], (steps, n), of shots given as volume [cc], time of the peak [s], decay [s]."""
    middle, interval = 0.5 * (time_s[1:] + time_s[:-1]), np.diff(time_s)
    columns = []
    for volume_cc, peak_s, decay_s in sizes:
        shape = np.minimum(middle / peak_s, 1.0) * np.exp(-np.maximum(middle - peak_s, 0.0) / decay_s)
        columns.append(volume_cc * 740e-6 * shape / float(shape @ interval))
    return np.array(columns).T


@dataclass(frozen=True)
class Course:
    """What one shot leads to, arrays over time_s: mixture, the circuit's share of the air, speed; pull and best over
    the most of the best, and what share of the pull that is missing is missing to too little fuel."""

    time_s: Array
    phi: Array
    air_share: Array
    speed_rpm: Array
    pull: Array
    best: Array
    lean_part: Array


def course(made: Made, name: str, shot_kg_s: Array, film_share: float, engine: Lateness) -> Course:
    """The course of one circuit. shot_kg_s : mean flow in each step, (steps,); film_share : as modelled."""
    tip = made.tip_in
    event, time_s, idle_feeds = tip.circuits[name], tip.air.time_s, name == "front"
    missed = (1.0 - film_share) / engine.first_fuel
    pascal_per_kg = 287.05287 * AIR.temperature_k / made.volume_m3
    at = _between(time_s, np.array([
        tip.air.throttle_kg_s, tip.air.cylinder_kg_s, event.film_share, event.film_tau_s,
        tip.circuits["front"].idle_kg_s, tip.air.pressure_pa,
        *(made.area_m2 * np.sqrt(2.0 * AIR.density_kg_m3 * flow.signal_pa / 4.0) for flow in event.mains),
    ]))  # fmt: skip
    begin_pa = float(tip.air.pressure_pa[0])

    def rates(when: float, state: Any) -> list[float]:
        own_air, gas, common, own, sprayed, best, missing, lean, *mains = state
        throttle, cylinders, share, tau, idle, pressure, *through = at(when)
        step = min(int(np.searchsorted(time_s, when, side="right")), len(shot_kg_s)) - 1
        shot, air = float(shot_kg_s[step]), pressure / pascal_per_kg
        into_gas = (1.0 - share) * (sum(mains) + idle_feeds * idle) + missed * shot
        off = (own + sprayed + common * own_air) / tau
        behind = [made.main(each, engine.main_circuit) for each in through]
        phi = 14.6 * gas / (max(own_air, 1e-6) * air)
        lost = pressure * own_air * (1.0 - work(phi))
        return [
            (sum(through) - throttle * own_air) / air, into_gas + off - cylinders / air * gas,
            share * idle - common / tau, share * sum(mains) - own / tau, (1.0 - missed) * shot - sprayed / tau,
            (pressure - begin_pa - best) / 0.1, (lost - missing) / 0.1, (lost * lean_side(phi) - lean) / 0.1,
            *((steady - now) / lag for (steady, lag), now in zip(behind, mains, strict=True)),
        ]  # fmt: skip

    film_start = float(event.film_share[0] * event.film_tau_s[0]) * 1.1 * float(tip.air.cylinder_kg_s[0]) / 14.6
    gas_start = idle_feeds * 1.1 * begin_pa / pascal_per_kg / 14.6
    start = [float(idle_feeds), gas_start, film_start, 0.0, 0.0, 0.0, 0.0, 0.0]
    dense = np.linspace(0.0, time_s[-1], round(time_s[-1] / GRID_S) + 1)
    done = solve_ivp(
        rates, (0.0, time_s[-1]), [*start, *(flow.start_kg_s for flow in event.mains)], method="LSODA", t_eval=dense,
        max_step=0.004, rtol=1e-6, atol=1e-10,
    )  # fmt: skip
    own_air, gas, _, _, _, best, missing, lean, *_ = done.y
    air = np.interp(dense, time_s, tip.air.pressure_pa) / pascal_per_kg
    return Course(
        dense, 14.6 * gas / (np.maximum(own_air, 1e-6) * air), own_air,
        np.interp(dense, time_s, tip.air.speed_rpm), (best - missing) / best.max(), best / best.max(),
        lean / np.maximum(missing, 1e-3),
    )  # fmt: skip


def felt(told: Course) -> dict[str, float]:
    """What is felt of a course, by the names of FeltPulls, read off with a ruler."""
    time_s, steps = told.time_s, np.gradient(told.time_s)
    levels = np.linspace(0.50, 0.85, 2001)[1::2]
    highest, best_highest = (np.maximum.accumulate(np.maximum(pull, 0.0)) for pull in (told.pull, told.best))
    reached = [time_s[np.minimum(np.searchsorted(high, levels), len(time_s) - 1)] for high in (highest, best_highest)]
    waiting = np.searchsorted(levels, best_highest) - np.searchsorted(levels, highest)
    fall = np.where(time_s >= 0.2, np.maximum(highest - told.pull - (best_highest - told.best), 0.0), 0.0)
    of_lean, of_rich = fall * told.lean_part, fall * (1.0 - told.lean_part)
    counts = steps * (told.air_share >= 0.5 * told.air_share[-1])
    pops = np.array([fades(phi, 0.70, 0.65) for phi in told.phi])
    return {
        "delay_ms": 1e3 * float(np.mean(reached[0] - reached[1])),
        "lean_delay_ms": 1e3 * float(np.sum(waiting / len(levels) * told.lean_part * steps)),
        "lean_sag_percent": 100.0 * float(of_lean.max()), "lean_sag_at_ms": 1e3 * float(time_s[of_lean.argmax()]),
        "rich_sag_percent": 100.0 * float(of_rich.max()), "rich_sag_at_ms": 1e3 * float(time_s[of_rich.argmax()]),
        "smoke_ms": 1e3 * float(np.sum(np.clip((told.phi - 1.2) / 0.3, 0.0, 2.0) * counts)),
        "pop_back_cycles": float(np.sum(pops * counts * told.speed_rpm / 120.0)),
    }  # fmt: skip


def _between(time_s: Array, values: Array) -> Any:
    """Straight lines through several figures at once, (figures, times)."""
    slopes, columns = (np.diff(values) / np.diff(time_s)).T, values.T

    def at(when: float) -> list[float]:
        step = min(max(int(np.searchsorted(time_s, when, side="right")), 1), len(time_s) - 1) - 1
        found: list[float] = (columns[step] + (when - time_s[step]) * slopes[step]).tolist()
        return found

    return at


def work(phi: float) -> float:
    """Work per air over the most: the fuel-air cycle, fading to nothing from 0.7 to 0.5 and from 1.6 to 2.3."""
    return float(np.interp(phi, KNOWN_PHI, KNOWN_WORK)) * fades(phi, 0.5, 0.7) * fades(phi, 2.3, 1.6)


def lean_side(phi: float) -> float:
    """Share of what is lost that is lost to too little fuel: all below 1.00, none above 1.10."""
    return fades(phi, 1.10, 1.00)


def fades(phi: float, nothing: float, whole: float) -> float:
    """0 at one mixture, 1 at the other; the cubic that is level at both."""
    part = min(max((phi - nothing) / (whole - nothing), 0.0), 1.0)
    return part**2 * (3.0 - 2.0 * part)
