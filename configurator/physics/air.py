"""The air side of a tip-in: throttles open, the manifold fills, the engine picks up speed.

One manifold volume, isothermal, filled through all throttles and emptied by the engine (mean values over a cycle):

    dp/dt = (R T / V) (m_throttle - m_cylinders)        m_cylinders = ve p Vd N / (120 R T)

Near full opening a small pressure difference moves all the air, so the pressure is integrated implicitly (two-stage
SDIRK, L-stable, second order); the air that passed is summed with the same weights, so mass is conserved.
Torque follows the air; the mixture does not act back on it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.physics.atmosphere import GAS_CONSTANT_AIR, Surroundings
from configurator.physics.throttle import air_flow

_GAMMA = 1.0 - 1.0 / math.sqrt(2.0)


@dataclass(frozen=True)
class Engine:
    """Four-stroke engine and its manifold, SI; speed in rev/min."""

    displacement_m3: float
    volumetric_efficiency: float
    manifold_m3: float
    work_per_air_j_kg: float

    def drawn(self, pressure_pa: float, speed_rpm: float, temperature_k: float) -> float:
        """Air drawn by the cylinders [kg/s] (speed-density)."""
        volume_flow = self.volumetric_efficiency * self.displacement_m3 * speed_rpm / 120.0
        return pressure_pa * volume_flow / (GAS_CONSTANT_AIR * temperature_k)

    def torque(self, pressure_pa: float, temperature_k: float) -> float:
        """Indicated torque [N m]: work per air times air per radian; independent of speed at one pressure."""
        return self.work_per_air_j_kg * self.drawn(pressure_pa, 60.0, temperature_k) / (2.0 * math.pi)


@dataclass(frozen=True)
class Driveline:
    """What the engine has to turn: inertia at the crankshaft [kg m2], the speed at which it stops gaining [rev/min],
    and, behind a converter, the stall speed, above the speed at the start."""

    inertia_kg_m2: float
    stall_rpm: float | None = None
    most_rpm: float = np.inf

    @property
    def ceiling_rpm(self) -> float:
        """Speed it never passes: a converter's stall speed, or where the driver lifts."""
        return min(self.most_rpm, np.inf if self.stall_rpm is None else self.stall_rpm)

    def pull(
        self, engine: Engine, temperature_k: float, full_pa: float, start: tuple[float, float]
    ) -> Callable[[float, float], tuple[float, float]]:
        """Speed gained [rev/min per s] and how much less of it per rev/min [1/s], for a pressure [Pa] and speed.

        At the start (pressure, speed) the load balances the engine. In gear it stays; a converter's load grows with
        the square of speed and balances full pressure at stall speed.
        """
        start_pa, start_rpm = start
        load = engine.torque(start_pa, temperature_k)
        per_torque = 30.0 / (math.pi * self.inertia_kg_m2)
        slip = 0.0
        if self.stall_rpm is not None:
            spare = engine.torque(full_pa, temperature_k) - load
            slip = spare / max(self.stall_rpm**2 - start_rpm**2, 1.0)

        def gained(pressure_pa: float, speed_rpm: float) -> tuple[float, float]:
            torque = engine.torque(pressure_pa, temperature_k) - load - slip * (speed_rpm**2 - start_rpm**2)
            return per_torque * torque, per_torque * slip * 2.0 * speed_rpm

        return gained


@dataclass(frozen=True)
class AirHistory:
    """Pressure [Pa], speed [rev/min], throttle and cylinder air [kg/s] at each time; air passed in each step [kg]."""

    time_s: Array
    pressure_pa: Array
    speed_rpm: Array
    throttle_kg_s: Array
    cylinder_kg_s: Array
    throttle_step_kg: Array
    cylinder_step_kg: Array


def fill_manifold(
    time_s: Array,
    throttle_area_m2: Array,
    engine: Engine,
    driveline: Driveline,
    air: Surroundings,
    start: tuple[float, float],
) -> AirHistory:
    """Pressure, speed and air flows while the throttles open as given.

    time_s, throttle_area_m2 : shape (times,), effective area [m2] of all throttles; start : pressure [Pa] and speed
    [rev/min]. Air mass balance closes to rounding.
    """
    kelvin = air.temperature_k
    stiffness = GAS_CONSTANT_AIR * kelvin / engine.manifold_m3
    gained = driveline.pull(engine, kelvin, air.pressure_pa, start)
    pressure, speed = start
    ceiling = max(driveline.ceiling_rpm, speed)
    rows = [
        (pressure, speed, air_flow(float(throttle_area_m2[0]), air, pressure), engine.drawn(pressure, speed, kelvin))
    ]
    passed = []
    for step in range(len(time_s) - 1):
        interval = float(time_s[step + 1] - time_s[step])
        area_now, area_next = float(throttle_area_m2[step]), float(throttle_area_m2[step + 1])
        middle_rpm = _sped_up(speed, gained(pressure, speed), 0.5 * interval, ceiling)
        flows: list[tuple[float, float]] = []
        known = pressure
        for weight, node in ((0.0, _GAMMA), (1.0 - _GAMMA, 1.0)):
            area = area_now + node * (area_next - area_now)
            if flows:
                known = pressure + interval * weight * stiffness * (flows[0][0] - flows[0][1])
            pull = engine.drawn(1.0, middle_rpm, kelvin)
            stage = _implicit_pressure(known, interval * _GAMMA * stiffness, area, pull, air)
            flows.append((air_flow(area, air, stage), pull * stage))
        through, drawn = ((1.0 - _GAMMA) * flows[0][k] + _GAMMA * flows[1][k] for k in (0, 1))
        before = pressure
        pressure += interval * stiffness * (through - drawn)
        speed = _sped_up(speed, gained(0.5 * (before + pressure), speed), interval, ceiling)
        passed.append((through * interval, drawn * interval))
        rows.append((pressure, speed, air_flow(area_next, air, pressure), engine.drawn(pressure, speed, kelvin)))
    table, steps = np.array(rows), np.array(passed)
    return AirHistory(time_s, *table.T, *steps.T)


def _sped_up(speed_rpm: float, pull: tuple[float, float], interval_s: float, ceiling_rpm: float) -> float:
    """Speed after a step, never past the ceiling: linearly implicit midpoint, stable where a converter is stiff."""
    gained, damping = pull
    return min(speed_rpm + interval_s * gained / (1.0 + 0.5 * interval_s * damping), ceiling_rpm)


def _implicit_pressure(known_pa: float, factor: float, area_m2: float, pull: float, air: Surroundings) -> float:
    """Root of p = known + factor (m_throttle(p) - pull p): one, since the right side falls with p. Regula falsi, with
    the stale end's weight halved (Illinois)."""
    ambient = air.pressure_pa

    def excess(pressure: float) -> float:
        return pressure - known_pa - factor * (air_flow(area_m2, air, pressure) - pull * pressure)

    low, high = 0.0, max(ambient, known_pa)
    f_low, f_high = excess(low), excess(high)
    if f_low >= 0.0:
        return low
    side = 0
    for _ in range(100):
        trial = high - f_high * (high - low) / (f_high - f_low)
        value = excess(trial)
        if abs(value) < 1e-3 or high - low < 1e-6:
            return trial
        if value > 0.0:
            high, f_high = trial, value
            f_low = 0.5 * f_low if side == 1 else f_low
            side = 1
        else:
            low, f_low = trial, value
            f_high = 0.5 * f_high if side == -1 else f_high
            side = -1
    return 0.5 * (low + high)
