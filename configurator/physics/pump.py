"""The pump: a lobe lifts a lever, a spring between lever and diaphragm drives the fuel out.

While the override spring is compressed it sets the pressure; once it is back at its preload the diaphragm follows the
lever and delivers what the lever displaces. Assumes fuel without vapour and a diaphragm of constant area.
"""

from dataclasses import dataclass

import numpy as np

from configurator.physics.fuel_path import Array, FuelPath


def front_loaded_lift(angle_deg: Array, total_lift_m: Array, duration_deg: Array, nose: Array) -> Array:
    """Lift [m] of a lobe whose flank is steepest at first: L (1 - (1 - u)^nose), u = angle/duration held in 0 to 1."""
    share = np.clip(angle_deg / duration_deg, 0.0, 1.0)
    return np.asarray(total_lift_m * (1.0 - (1.0 - share) ** nose))


def measured_lift(angle_deg: Array, table_deg: Array, table_m: Array) -> Array:
    """Lift [m] from a table measured with a dial gauge, monotone between its points and level outside them.

    Monotone cubic interpolation with the harmonic-mean slopes of Fritsch & Butland, SIAM J. Sci. Stat. Comput. 5
    (1984): no overshoot between readings.
    """
    width, rise = np.diff(table_deg), np.diff(table_m)
    secant = rise / width
    slope = np.zeros_like(table_m)
    slope[0], slope[-1] = secant[0], secant[-1]
    before, after = secant[:-1], secant[1:]
    inner = (before > 0.0) & (after > 0.0)
    w_before, w_after = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        slope[1:-1] = np.where(inner, (w_before + w_after) / (w_before / before + w_after / after), 0.0)
    angle = np.clip(angle_deg, table_deg[0], table_deg[-1])
    cell = np.clip(np.searchsorted(table_deg, angle, side="right") - 1, 0, len(width) - 1)
    u = (angle - table_deg[cell]) / width[cell]
    return np.asarray(
        table_m[cell] * (1 + 2 * u) * (1 - u) ** 2
        + table_m[cell + 1] * u**2 * (3 - 2 * u)
        + width[cell] * (slope[cell] * u * (1 - u) ** 2 - slope[cell + 1] * u**2 * (1 - u))
    )


@dataclass(frozen=True)
class Pump:
    """Diaphragm and override spring of each combination, arrays of shape (n,)."""

    diaphragm_area_m2: Array
    spring_preload_n: Array
    spring_rate_n_m: Array
    capacity_m3: Array


@dataclass(frozen=True)
class Shot:
    """What reaches the nozzle tip: volume delivered per step [m3], shape (steps, n), and spring left compressed [m]."""

    delivered_m3: Array
    compression_m: Array


def follower_travel(lift_m: Array, lever_ratio: Array, slack_m: Array | float, pump: Pump) -> Array:
    """Lever travel at the diaphragm beyond its place at idle [m], shape (times, n); row 0 is the idle.

    x = max(0, ratio lift - slack), no more than the diaphragm's full stroke, less the same at idle; slack below 0 is
    preload. What is lifted at idle is spent, and a fast idle costs part of the pump's capacity, too.
    """
    travel = np.clip(lever_ratio * lift_m - slack_m, 0.0, pump.capacity_m3 / pump.diaphragm_area_m2)
    return np.asarray(travel - travel[0])


def deliver(time_s: Array, follower_m: Array, pump: Pump, path: FuelPath, assist_pa: Array) -> Shot:
    """Fuel delivered while the lever moves as given.

    time_s : shape (times,) [s]; follower_m : shape (times, n) [m]; assist_pa : shape (times,) [Pa], depression at the
    nozzle tip less the static head. A dx/dt = CA sqrt(2 ((F0 + k s)/A + assist) / rho) while the spring is compressed
    by s, and never beyond the lever. Midpoint rule in time (second order); volume is conserved exactly, because what
    is delivered is what the diaphragm moved.
    """
    count = follower_m.shape[1]
    position, coefficient = np.zeros(count), None
    delivered = np.zeros((len(time_s) - 1, count))
    area = pump.diaphragm_area_m2
    preload, rate = pump.spring_preload_n / area, pump.spring_rate_n_m / area

    def speed(compression: Array, assist: float) -> Array:
        nonlocal coefficient
        pressure = np.maximum(preload + rate * compression + assist, 0.0)
        through, coefficient = path.effective_area(pressure, coefficient)
        return np.asarray(through * np.sqrt(2.0 * pressure / path.fuel_density_kg_m3) / area)

    for step in range(len(time_s) - 1):
        interval = time_s[step + 1] - time_s[step]
        middle = 0.5 * (follower_m[step] + follower_m[step + 1])
        assist = 0.5 * (assist_pa[step] + assist_pa[step + 1])
        first = np.minimum(speed(follower_m[step] - position, assist_pa[step]) * 0.5 * interval + position, middle)
        moved = np.minimum(position + speed(middle - first, assist) * interval, follower_m[step + 1])
        delivered[step] = (moved - position) * area
        position = moved
    return Shot(delivered, follower_m[-1] - position)


def shot_duration(time_s: Array, delivered_m3: Array, share: float = 0.95) -> Array:
    """Time from tip-in until a share of the shot is out [s], shape (n,); linear within a step."""
    out = np.vstack([np.zeros(delivered_m3.shape[1]), np.cumsum(delivered_m3, axis=0)])
    target = share * out[-1]
    after = np.maximum(np.argmax(out >= target, axis=0), 1)
    column = np.arange(out.shape[1])
    low, high = out[after - 1, column], out[after, column]
    part = np.divide(target - low, high - low, out=np.zeros_like(target), where=high > low)
    return np.asarray(time_s[after - 1] + part * (time_s[after] - time_s[after - 1]))
