"""The pump: a lobe lifts a lever, a spring between lever and diaphragm drives the fuel out.

While the override spring is compressed it sets the pressure; once it is back at its preload the diaphragm follows the
lever and delivers what the lever displaces. Assumes fuel without vapour and a diaphragm of constant area.
"""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Indices
from configurator.physics.fuel_path import FuelPath

LOOK_EVERY = 16
"""Steps after which it is looked whose shot is out."""
MOST_UNDER_WAY = 0.9
"""Share of combinations under way up to which the others are left out: it takes a while to pick them."""


@dataclass(frozen=True)
class PumpMechanism:
    """Diaphragm and override spring of each combination, arrays of shape (n,)."""

    diaphragm_area_m2: Array
    spring_preload_n: Array
    spring_rate_n_m: Array
    capacity_m3: Array

    def take(self, which: Indices) -> "PumpMechanism":
        """Some of the combinations."""
        return PumpMechanism(self.diaphragm_area_m2[which], self.spring_preload_n[which], self.spring_rate_n_m[which],
                    self.capacity_m3[which])  # fmt: skip


@dataclass(frozen=True)
class PumpedFuel:
    """What reaches the nozzle tip: volume delivered per step [m3], shape (steps, n), and spring left compressed [m]."""

    delivered_m3: Array
    compression_m: Array


def follower_travel(lift_m: Array, lever_ratio: Array, slack_m: Array | float, pump: PumpMechanism) -> Array:
    """Lever travel at the diaphragm beyond its place at idle [m], shape (times, n); row 0 is the idle.

    x = max(0, ratio lift - slack), no more than the diaphragm's full stroke, less the same at idle; slack below 0 is
    preload. What is lifted at idle is spent, and a fast idle costs part of the pump's capacity, too.
    """
    travel = np.clip(lever_ratio * lift_m - slack_m, 0.0, pump.capacity_m3 / pump.diaphragm_area_m2)
    return np.asarray(travel - travel[0])


def deliver(time_s: Array, follower_m: Array, pump: PumpMechanism, path: FuelPath, assist_pa: Array) -> PumpedFuel:
    """Fuel delivered while the lever moves as given, and never goes back.

    time_s : shape (times,) [s]; follower_m : shape (times, n) [m]; assist_pa : shape (times,) or (times, n) [Pa],
    depression at the nozzle tip less the static head. A dx/dt = CA sqrt(2 ((F0 + k s)/A + assist) / rho) while the
    spring is compressed by s, and never beyond the lever. Midpoint rule in time (second order); volume is conserved
    exactly, because what is delivered is what the diaphragm moved. A combination whose shot is out is left out from
    then on.
    """
    count = follower_m.shape[1]
    delivered, compression = np.zeros((len(time_s) - 1, count)), np.zeros(count)
    under_way, stroke = np.arange(count), _Stroke(pump, path)
    position, lever = np.zeros(count), follower_m[0]
    for step in range(len(time_s) - 1):
        if step % LOOK_EVERY == LOOK_EVERY - 1:
            left = np.flatnonzero(position < follower_m[-1].take(under_way))
            if len(left) < MOST_UNDER_WAY * len(under_way):
                under_way, stroke, position, lever = under_way[left], stroke.take(left), position[left], lever[left]
                assist_pa = assist_pa if assist_pa.ndim == 1 else assist_pa.take(left, axis=1)
        if not len(under_way):
            break
        everything = len(under_way) == count
        lever_before, lever = lever, follower_m[step + 1] if everything else follower_m[step + 1].take(under_way)
        interval = time_s[step + 1] - time_s[step]
        middle = 0.5 * (lever_before + lever)
        assist = 0.5 * (assist_pa[step] + assist_pa[step + 1])
        first = stroke.speed(lever_before - position, assist_pa[step]) * (0.5 * interval)
        first = np.minimum(first + position, middle)
        moved = position + stroke.speed(middle - first, assist) * interval
        moved = np.minimum(moved, lever, out=moved)
        delivered[step, slice(None) if everything else under_way] = (moved - position) * stroke.area_m2
        position = moved
    compression[under_way] = follower_m[-1].take(under_way) - position
    return PumpedFuel(delivered, compression)


class _Stroke:
    """Speed of the diaphragms at a compression of their springs; keeps the nozzles' coefficients from time to time."""

    def __init__(self, pump: PumpMechanism, path: FuelPath, coefficient: Array | None = None) -> None:
        self._pump, self._path, self._coefficient = pump, path, coefficient
        self.area_m2 = pump.diaphragm_area_m2
        self._preload_pa, self._rate_pa_m = pump.spring_preload_n / self.area_m2, pump.spring_rate_n_m / self.area_m2

    def take(self, which: Indices) -> "_Stroke":
        coefficient = None if self._coefficient is None else self._coefficient[which]
        return _Stroke(self._pump.take(which), self._path.take(which), coefficient)

    def speed(self, compression_m: Array, assist_pa: float | Array) -> Array:
        pressure = self._rate_pa_m * compression_m
        pressure += self._preload_pa
        pressure += assist_pa
        np.maximum(pressure, 0.0, out=pressure)
        through, self._coefficient = self._path.effective_area(pressure, self._coefficient)
        pressure *= 2.0 / self._path.fuel_density_kg_m3
        np.sqrt(pressure, out=pressure)
        pressure *= through
        pressure /= self.area_m2
        return pressure


def shot_duration(time_s: Array, delivered_m3: Array, share: float = 0.95) -> Array:
    """Time from tip-in until a share of the shot is out [s], shape (n,); linear within a step."""
    target = share * delivered_m3.sum(axis=0)
    duration, out = np.full(len(target), time_s[0]), np.zeros(len(target))
    for step, volume in enumerate(delivered_m3):
        before, out = out, out + volume
        which = np.flatnonzero((before < target) & (out >= target))
        if len(which):
            part = (target[which] - before[which]) / volume[which]
            duration[which] = time_s[step] + part * (time_s[step + 1] - time_s[step])
    return duration
