"""The verdict on combinations: hole, flood, and the window of demand factors each one covers.

hole is the longest spell below the lean limit, flood the longest above the rich limit. The demand factor f multiplies
the wall film's time constant and the main circuit's lag: it gathers what the model cannot know of one engine. The hole
deepens with f and the flood with 1/f, so what a combination covers is an interval, its window.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from configurator.physics.fuel_path import Array
from configurator.physics.tip_in import CircuitEvent

Columns = NDArray[np.intp]

LEVELS = 257
BLOCK = 2048
JUMP_S = 0.02
"""A spell that changes by more within one level (1.1 % of f) is two spells that merged."""
FACTOR_RANGE = (0.25, 4.0)
"""Demand factors looked at; a window's end at one of them means at or beyond it."""


@dataclass(frozen=True)
class Allowed:
    """Mixture limits [phi] and the longest spells allowed beyond them [s]."""

    lean_phi: float
    rich_phi: float
    hole_s: float
    flood_s: float


@dataclass(frozen=True)
class Shots:
    """Shots of n combinations: mean flow per step [kg/s], shape (steps, n), and share landing on the walls, (n,)."""

    flow_kg_s: Array
    film_share: Array

    @property
    def count(self) -> int:
        return len(self.film_share)

    def take(self, which: slice | Columns) -> "Shots":
        return Shots(np.ascontiguousarray(self.flow_kg_s[:, which]), self.film_share[which])


@dataclass(frozen=True)
class Levels:
    """An event at several demand factors, worked out once for all combinations; row t, one column a factor.

    base_phi : mixture without a shot, (times, k). keep, gain : the film after a step is keep film + gain flow,
    (steps, k). release : equivalence ratio per film mass, (times, k). per_flow : the same per prompt flow, (times,).
    """

    factors: Array
    base_phi: Array
    keep: Array
    gain: Array
    release: Array
    per_flow: Array

    @classmethod
    def of(cls, event: CircuitEvent, factors: Array) -> "Levels":
        per_flow = event.fuel.stoichiometric_ratio / np.maximum(event.air_kg_s, 1e-9)
        tau = event.film_tau_s[:, None] * factors
        mean = 0.5 * (tau[1:] + tau[:-1])
        keep = np.exp(-np.diff(event.time_s)[:, None] / mean)
        base = event.base_fuel(factors) * per_flow[:, None]
        return cls(factors, base, keep, (1.0 - keep) * mean, per_flow[:, None] / tau, per_flow)


def mixture(levels: Levels, shots: Shots, level: Columns) -> Iterator[Array]:
    """Equivalence ratio of n combinations, one row of shape (n,) a time; level is each one's column of the levels."""
    film = np.zeros(len(level))
    flow = shots.flow_kg_s
    before = flow[0]
    for time in range(len(levels.base_phi)):
        after = flow[time] if time < len(flow) else flow[-1]
        if time:
            film *= levels.keep[time - 1].take(level)
            film += levels.gain[time - 1].take(level) * (before * shots.film_share)
        prompt = (before + after) * (0.5 * levels.per_flow[time])
        prompt *= 1.0 - shots.film_share
        prompt += film * levels.release[time].take(level)
        prompt += levels.base_phi[time].take(level)
        yield prompt
        before = after


class SpellMeter:
    """Longest time a depth spends above zero [s], fed one row of shape (n,) at a time; linear between rows.

    A spell that touches the end of the event counts as long as it was seen.
    """

    def __init__(self, count: int) -> None:
        self.longest_s = np.zeros(count)
        self._run = np.zeros(count)
        self._above: Array | None = None
        self._size = np.zeros(count)

    def pause(self) -> None:
        """The rows before do not count: a spell starts anew."""
        self._above = None
        self._run[:] = 0.0

    def feed(self, depth: Array, interval_s: float) -> None:
        above, size = np.maximum(depth, 0.0), np.abs(depth)
        if self._above is not None:
            part = self._above + above
            part *= interval_s
            self._size += size
            self._size += 1e-300
            part /= self._size
            self._run += part
            np.maximum(self.longest_s, self._run, out=self.longest_s)
            self._run *= depth > 0.0
        self._above, self._size = above, size


def _meter(
    event: CircuitEvent, levels: Levels, shots: Shots, level: Columns, limits: Sequence[tuple[float, float]]
) -> list[Array]:
    """Longest spell [s] beyond each limit, given as (phi, sign): sign +1 counts above it, -1 below."""
    meters = [SpellMeter(len(level)) for _ in limits]
    for time, phi in enumerate(mixture(levels, shots, level)):
        interval = event.time_s[time] - event.time_s[time - 1] if time else 0.0
        for meter, (limit, sign) in zip(meters, limits, strict=True):
            if event.judged[time]:
                meter.feed((phi - limit) * sign, interval)
            else:
                meter.pause()
    return [meter.longest_s for meter in meters]


def spells(event: CircuitEvent, shots: Shots, factor: float, allowed: Allowed) -> tuple[Array, Array]:
    """Hole and flood [s] of n combinations at one demand factor, each of shape (n,)."""
    level = np.zeros(shots.count, dtype=np.intp)
    levels = Levels.of(event, np.array([factor]))
    hole, flood = _meter(event, levels, shots, level, ((allowed.lean_phi, -1.0), (allowed.rich_phi, 1.0)))
    return hole, flood


@dataclass(frozen=True)
class Windows:
    """Demand factors covered, arrays of shape (n,). Empty where low > high."""

    low: Array
    high: Array


def windows(event: CircuitEvent, shots: Shots, allowed: Allowed) -> Windows:
    """Window of each combination: from the f at which its flood ends to the f at which its hole begins.

    Bisection over 257 factors a constant ratio apart (1.1 %), then linear within the step; where a spell jumps there
    (two dips that merge) the end is the last factor that met. An end at FACTOR_RANGE means at or beyond it.
    """
    factors = np.geomspace(*FACTOR_RANGE, LEVELS)
    levels = Levels.of(event, factors)
    low, high = np.empty(shots.count), np.empty(shots.count)
    for first in range(0, shots.count, BLOCK):
        block = slice(first, first + BLOCK)
        part = shots.take(block)
        low[block] = _window_end(event, levels, part, (allowed.rich_phi, 1.0), allowed.flood_s, meets_above=True)
        high[block] = _window_end(event, levels, part, (allowed.lean_phi, -1.0), allowed.hole_s, meets_above=False)
    return Windows(low, high)


def _window_end(
    event: CircuitEvent, levels: Levels, shots: Shots, limit: tuple[float, float], most_s: float, *, meets_above: bool
) -> Array:
    """Factor at which a spell passes what is allowed; the spell falls with f where it meets above, else it grows."""
    last = len(levels.factors) - 1
    meets = np.full(shots.count, last if meets_above else 0)
    fails = np.full(shots.count, 0 if meets_above else last)
    ends = []
    for column in (meets, fails):
        ends.append(_meter(event, levels, shots, column, (limit,))[0])
    spell_meets, spell_fails = ends
    never, always = spell_meets > most_s, spell_fails <= most_s
    while np.any(np.abs(meets - fails) > 1):
        middle = (meets + fails) // 2
        spell = _meter(event, levels, shots, middle, (limit,))[0]
        good = spell <= most_s
        meets, fails = np.where(good, middle, meets), np.where(good, fails, middle)
        spell_meets, spell_fails = np.where(good, spell, spell_meets), np.where(good, spell_fails, spell)
    rise = spell_fails - spell_meets
    share = np.divide(most_s - spell_meets, rise, out=np.zeros_like(rise), where=(rise > 0) & (rise < JUMP_S))
    log = np.log(levels.factors)
    end = np.exp(log[meets] + np.clip(share, 0.0, 1.0) * (log[fails] - log[meets]))
    beyond = levels.factors[[0, last] if meets_above else [last, 0]]
    return np.asarray(np.where(always, beyond[0], np.where(never, beyond[1], end)))


def shot_needed(event: CircuitEvent, phi_limit: float, film_share: float, factor: float) -> Array:
    """Pump flow [kg/s] that keeps the mixture exactly on a limit, shape (times,), never negative.

    The film equation solved for the shot, step by step: what the film gives back is counted before more is asked for.
    """
    base = event.base_fuel(np.array([factor]))[:, 0]
    missing = phi_limit * event.air_kg_s / event.fuel.stoichiometric_ratio - base
    tau = event.film_tau_s * factor
    needed, mass = np.zeros_like(base), 0.0
    for step in range(len(event.time_s)):
        if step:
            interval = event.time_s[step] - event.time_s[step - 1]
            settled = needed[step - 1] * film_share * tau[step]
            mass = settled + (mass - settled) * np.exp(-interval / tau[step])
        if event.judged[step]:
            needed[step] = max(0.0, (missing[step] - mass / tau[step]) / (1.0 - film_share))
    return needed
