"""One combination at a time by scipy's solve_ivp: the same equations, written again from the event's inputs.

The pump is integrated once, the mixture once for each demand factor tried. Both are plain Python with one table a
system, looked up once a call, which is what takes least here. A window is searched as sparingly as its definition
allows: outward from f = 1 by steps of 1.41 while the demand is met, then each end halved down to 1.1 %.
"""

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from configurator.arrays import Array, Mask
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.demand import Circuit
from configurator.physics.verdict import FACTOR_RANGE, JUMP_S, LEVELS
from configurator.slots.columns import Mount

COARSE = 32
TOP = LEVELS - 1
FACTORS = np.geomspace(*FACTOR_RANGE, LEVELS)


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
    without_a_shot: dict[float, Array] = field(default_factory=dict)
    """Fuel in the gas without a shot by factor, where combinations share it."""
    tries: int = 0

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

    def _phi(self, factor: float, flow_kg_s: Array, tolerance: Tolerance, *, shared: bool) -> Array:
        """Mixture at the event's times."""
        event, assumed = self.circuit.event, self.circuit.assumed
        film_share = assumed.shot_film_share - assumed.aimed_gain * (self.nozzle.style == "aimed")
        mains, scale = len(event.mains), float(event.film_start_kg)
        flows = [column for main in event.mains for column in (main.steady_kg_s, main.lag_s)]
        table = Table(
            event.time_s, event.film_tau_s, event.film_share, event.common_idle_kg_s, event.idle_kg_s, event.air_share,
            event.drawn_per_s, flow_kg_s, *flows,
        )  # fmt: skip

        def base_rates(at_s: float, state: Any) -> list[float]:
            tau, share, idle, own_idle, own_air, drawn, _, *figures = table.at(at_s)
            now, tau = state.tolist(), tau * factor
            lags = [(figures[2 * i] - now[i]) / (factor * figures[2 * i + 1]) for i in range(mains)]
            main, (own, common, gas) = sum(now[:mains]), now[mains : mains + 3]
            into = (1.0 - share) * (main + own_idle) + (own + own_air * common) / tau
            return [*lags, share * main - own / tau, share * idle - common / tau, into - drawn * gas]

        def shot_rates(at_s: float, state: Any) -> list[float]:
            tau, *_, drawn, flow = table.at(at_s)[:7]
            film, gas = state.tolist()
            off = film / (tau * factor)
            return [film_share * flow - off, (1.0 - film_share) * flow + off - drawn * gas]

        def rates(at_s: float, state: Any) -> list[float]:
            return [*base_rates(at_s, state[:-2]), *shot_rates(at_s, state[-2:])]

        start = [*(main.start_kg_s for main in event.mains), 0.0, factor * event.film_start_kg, event.gas_start_kg]
        if not shared:
            state = tolerance.solve(rates, [*start, 0.0, 0.0], scale, event.time_s)
            without, shot = state[-3], state[-1]
        else:
            if factor not in self.without_a_shot:
                self.without_a_shot[factor] = tolerance.solve(base_rates, start, scale, event.time_s)[-1]
            without = self.without_a_shot[factor]
            shot = tolerance.solve(shot_rates, [0.0, 0.0], scale, event.time_s)[-1]
        return np.asarray((without + shot) * event.fuel.stoichiometric_ratio / event.air_kg)

    def at(self, factor: float, tolerance: Tolerance) -> tuple[float, float, float]:
        """Volume [m3], hole and flood [s] at a demand factor."""
        flow, volume = self.shot_m3_s(tolerance)
        return (volume, *self._spells(factor, flow * self.circuit.event.fuel.density_kg_m3, tolerance, shared=False))

    def _spells(self, factor: float, flow_kg_s: Array, tolerance: Tolerance, *, shared: bool) -> tuple[float, float]:
        event, allowed = self.circuit.event, self.circuit.allowed
        phi = self._phi(factor, flow_kg_s, tolerance, shared=shared)
        return (longest_above(event.time_s, allowed.lean_phi - phi, event.judged),
                longest_above(event.time_s, phi - allowed.rich_phi, event.judged))  # fmt: skip

    def window(self, tolerance: Tolerance, *, shared: bool) -> tuple[float, float]:
        """The demand factors covered, of a combination that covers one of a coarse step at least; nan for none."""
        allowed, flow = self.circuit.allowed, self.shot_m3_s(tolerance)[0] * self.circuit.event.fuel.density_kg_m3
        known: dict[int, tuple[float, float]] = {}

        def over(level: int) -> tuple[float, float]:
            if level not in known:
                hole, flood = self._spells(float(FACTORS[level]), flow, tolerance, shared=shared)
                known[level] = (hole - allowed.hole_s, flood - allowed.flood_s)
                self.tries += 1
            return known[level]

        def meets(level: int) -> bool:
            return max(over(level)) <= 0.0

        self.tries = 0
        nearest = sorted(range(0, LEVELS, COARSE), key=lambda level: abs(level - TOP // 2))
        start = next((level for level in nearest if meets(level)), None)
        if start is None:
            return math.nan, math.nan
        return self._end(start, -1, over, meets), self._end(start, 1, over, meets)

    def _end(
        self, start: int, way: int, over: Callable[[int], tuple[float, float]], meets: Callable[[int], bool]
    ) -> float:
        """One end of the window: outward by coarse steps while the demand is met, halved, and a straight line last."""
        inside, outside = start, start + way * COARSE
        while 0 <= outside <= TOP and meets(outside):
            inside, outside = outside, outside + way * COARSE
        if not 0 <= outside <= TOP:
            return float(FACTORS[inside])
        while abs(outside - inside) > 1:
            middle = (inside + outside) // 2
            inside, outside = (middle, outside) if meets(middle) else (inside, middle)
        shares = [
            -before / (after - before) if after - before < JUMP_S else 0.0
            for before, after in zip(over(inside), over(outside), strict=True)
            if after > 0.0
        ]
        log = np.log(FACTORS)
        return math.exp(log[inside] + min(shares) * (log[outside] - log[inside]))


def longest_above(time_s: Array, depth: Array, counts: Mask) -> float:
    """Longest time that straight lines between samples spend above zero [s] while they count."""
    time_s, depth = time_s[counts], depth[counts]
    if not len(depth):
        return 0.0
    above = depth > 0.0
    edge = np.flatnonzero(above[1:] != above[:-1])
    when = time_s[edge] + (time_s[edge + 1] - time_s[edge]) * depth[edge] / (depth[edge] - depth[edge + 1])
    marks = np.concatenate([time_s[:1][above[:1]], when, time_s[-1:][above[-1:]]])
    return float(np.max(marks[1::2] - marks[::2], initial=0.0))
