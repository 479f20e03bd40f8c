"""One combination at a time by scipy's solve_ivp: the same equations, written again from the event's inputs.

The pump is integrated once, mixture and pull once for each engine. Both are plain Python with one table a system,
looked up once a call, which is what takes least here.
"""

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from configurator.arrays import Array
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.demand import Circuit
from configurator.physics.lateness import Lateness
from configurator.physics.pull import relative_work
from configurator.slots.columns import Mount

PULL_LAG_S, RISE, SAG_FROM_S = 0.1, (0.50, 0.85), 0.2


@dataclass(frozen=True)
class Tolerance:
    """How solve_ivp is asked to integrate."""

    method: str
    rtol: float
    most_step_s: float

    def __str__(self) -> str:
        return f"{self.method}, rtol {self.rtol:g}, steps up to {self.most_step_s * 1e3:g} ms"

    def solve(self, rates: Callable[[float, Any], list[float]], start: list[float], scale: float, at_s: Array) -> Array:
        done = solve_ivp(
            rates, (0.0, float(at_s[-1])), start, method=self.method, t_eval=at_s, rtol=self.rtol,
            atol=self.rtol * scale, max_step=self.most_step_s, first_step=1e-4,
        )  # fmt: skip
        return np.asarray(done.y)

    def until(
        self, zero: Callable[[float, Any], float], rates: Callable[[float, Any], list[float]], start: list[float],
        scale: float, at_s: Array,
    ) -> Array:  # fmt: skip
        """The first quantity at each time before another falls to zero."""
        zero.terminal, zero.direction = True, -1.0  # type: ignore[attr-defined]
        done = solve_ivp(
            rates, (float(at_s[0]), float(at_s[-1])), start, method=self.method, t_eval=at_s, events=zero,
            rtol=self.rtol, atol=self.rtol * scale, max_step=self.most_step_s, first_step=1e-4,
        )  # fmt: skip
        return np.asarray(done.y[0])


TIGHT = Tolerance("LSODA", 1e-8, 0.002)
CANDIDATES = tuple(
    Tolerance(method, rtol, step)
    for rtol, step in ((1e-2, 0.1), (1e-2, 0.04), (1e-3, 0.1), (1e-3, 0.04), (1e-3, 0.02), (1e-4, 0.02), (1e-4, 0.01))
    for method in ("RK23", "LSODA", "RK45")
)
"""The quickest of these that is accurate enough is the one to beat."""


class Table:
    """Straight lines between rows of several quantities over time."""

    def __init__(self, time_s: Array, *columns: Array) -> None:
        self._time_s, self._rows = time_s.tolist(), np.column_stack(columns).tolist()

    def at(self, time_s: float) -> list[float]:
        cell = min(max(bisect_right(self._time_s, time_s) - 1, 0), len(self._time_s) - 2)
        low, high = self._time_s[cell], self._time_s[cell + 1]
        part = (time_s - low) / (high - low)
        return [a + part * (b - a) for a, b in zip(self._rows[cell], self._rows[cell + 1], strict=True)]


@dataclass
class OneAtATime:
    """One combination in one circuit; slack none."""

    circuit: Circuit
    nozzle: FittedNozzle
    screw: FeedScrewFigures
    pump: PumpFigures
    mount: Mount

    def shot_m3_s(self, tolerance: Tolerance) -> tuple[Array, float]:
        """Pump flow at the event's times [m3/s], and the volume [m3]. While the spring could drive the fuel out faster
        than the lever comes, the diaphragm is where the lever is; else solve_ivp integrates until it catches up."""
        event, pump = self.circuit.event, self.pump
        pull_pa = event.pull_pa(self.circuit.assumed)
        lift = self.mount.lift_mm(event.throttle_deg) * 1e-3 * pump.lever_ratio
        travel = np.clip(lift, 0.0, pump.capacity_m3 / pump.diaphragm_area_m2)
        lever = travel - travel[0]
        lever_speed = np.append(np.diff(lever) / np.diff(event.time_s), 0.0)
        table, area = Table(event.time_s, lever, pull_pa), pump.diaphragm_area_m2

        def spring_speed(compression: float, assist_pa: float) -> float:
            pressure = (pump.spring_preload_n + pump.spring_rate_n_m * max(compression, 0.0)) / area + assist_pa
            return self._path_m3_s(max(pressure, 0.0)) / area

        def rates(at_s: float, state: Any) -> list[float]:
            lever_m, assist_pa = table.at(at_s)
            return [spring_speed(lever_m - float(state[0]), assist_pa)]

        def compression(at_s: float, state: Any) -> float:
            return table.at(at_s)[0] - float(state[0])

        position, step, last = lever.copy(), 0, len(lever) - 1
        while step < last:
            if lever_speed[step] <= spring_speed(0.0, float(pull_pa[step])):
                step += 1
                continue
            out = tolerance.until(compression, rates, [float(lever[step])], float(lever[-1]), event.time_s[step:])
            position[step : step + len(out)] = out
            step += len(out)
        flow = np.diff(position) * area / np.diff(event.time_s)
        middle = 0.5 * (event.time_s[1:] + event.time_s[:-1])
        return np.interp(event.time_s, middle, flow), float(position[-1] * area)

    def _path_m3_s(self, pressure_pa: float) -> float:
        """Flow through screw and nozzle: two restrictions in series, the nozzle's coefficient by Reynolds number."""
        fuel, nozzle = self.circuit.event.fuel, self.nozzle
        diameter = nozzle.diameter_mm * 1e-3
        screw = self.circuit.assumed.screw_coefficient * self.screw.passage_area_m2
        area = nozzle.orifices * math.pi / 4.0 * diameter**2
        slender = nozzle.length_mm / nozzle.diameter_mm
        ideal = math.sqrt(2.0 * pressure_pa / fuel.density_kg_m3)
        ultimate = 0.810 if slender < 2.0 else 0.827 - 0.0085 * slender
        coefficient = 0.78
        for _ in range(2):
            share = screw / math.hypot(coefficient * area, screw)
            reynolds = fuel.density_kg_m3 * ideal * share * diameter / fuel.viscosity_pa_s
            reynolds = min(max(reynolds, 10.0), 2e4)
            hump = 0.005 * slender / (1.0 + 7.5 * math.log10(0.00015 * reynolds) ** 2)
            coefficient = 1.0 / (1.0 / ultimate + 20.0 / reynolds * (1.0 + 2.25 * slender) - hump)
        nozzle_area = coefficient * area
        return nozzle_area * screw / math.hypot(nozzle_area, screw) * ideal

    def felt(self, engine: Lateness, tolerance: Tolerance) -> tuple[float, float, float, float]:
        """Volume [cc]; delay [ms], deepest fall [% of the best] and smoke [ms] in one engine."""
        flow, volume = self.shot_m3_s(tolerance)
        phi, missing = self._phi_and_missing(engine, flow * self.circuit.event.fuel.density_kg_m3, tolerance)
        event = self.circuit.event
        time_s, pressure = event.time_s, event.pressure_pa
        table = Table(time_s, pressure - pressure[0])
        best = tolerance.solve(lambda at, y: [(table.at(at)[0] - y[0]) / PULL_LAG_S], [0.0], 1e4, time_s)[0]
        given = (best - missing) / best.max()
        best = best / best.max()

        def late(pull: Array) -> float:
            highest = np.maximum.accumulate(pull)
            return float(np.trapezoid(np.clip((RISE[1] - highest) / (RISE[1] - RISE[0]), 0.0, 1.0), time_s))

        falls = [np.maximum.accumulate(pull) - pull for pull in (given, best)]
        smoke = np.clip((phi - 1.2) / 0.3, 0.0, 2.0) * event.judged
        fall = float(np.max((falls[0] - falls[1])[time_s >= SAG_FROM_S]))
        return volume * 1e6, 1e3 * (late(given) - late(best)), 100.0 * fall, 1e3 * float(np.trapezoid(smoke, time_s))

    def _phi_and_missing(self, engine: Lateness, flow_kg_s: Array, tolerance: Tolerance) -> tuple[Array, Array]:
        """Mixture at the event's times, and what is missing of the pull [Pa]."""
        event, assumed, late = self.circuit.event, self.circuit.assumed, engine.main_circuit
        straight = 1.0 - assumed.shot_film_share + assumed.aimed_gain * (self.nozzle.style == "aimed")
        film_share = 1.0 - straight / engine.first_fuel
        mains, scale = len(event.mains), float(event.film_start_kg)
        flows = [column for main in event.mains for column in (main.full_kg_s, main.signal_pa, main.lag_s)]
        table = Table(
            event.time_s, event.film_tau_s, event.film_share, event.common_idle_kg_s, event.idle_kg_s, event.air_share,
            event.drawn_per_s, flow_kg_s, event.fuel.stoichiometric_ratio / event.air_kg,
            event.pressure_pa * event.air_share, *flows,
        )  # fmt: skip

        def settled(full: float, signal: float, lip_pa: float) -> float:
            return full * math.sqrt(max(0.0, 1.0 - lip_pa * math.sqrt(late) / max(signal, 1e-9)))

        def rates(at_s: float, state: Any) -> list[float]:
            tau, share, idle, own_idle, own_air, drawn, shot, phi_per_kg, weight, *figures = table.at(at_s)
            now = state.tolist()
            lags = [
                (settled(figures[3 * i], figures[3 * i + 1], event.mains[i].lip_pa) - now[i])
                / (late * figures[3 * i + 2])
                for i in range(mains)
            ]
            main, (own, common, wet, gas, missing) = sum(now[:mains]), now[mains:]
            into = (1.0 - share) * (main + own_idle) + (1.0 - film_share) * shot + (own + wet + own_air * common) / tau
            lost = weight * (1.0 - float(relative_work(np.array(gas * phi_per_kg))))
            return [*lags, share * main - own / tau, share * idle - common / tau, film_share * shot - wet / tau,
                    into - drawn * gas, (lost - missing) / PULL_LAG_S]  # fmt: skip

        start = [*(main.start_kg_s for main in event.mains), 0.0, event.film_start_kg, 0.0, event.gas_start_kg, 0.0]
        state = tolerance.solve(rates, start, scale, event.time_s)
        return np.asarray(state[-2] * event.fuel.stoichiometric_ratio / event.air_kg), np.asarray(state[-1])
