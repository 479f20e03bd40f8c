"""The verdict on combinations: hole, flood, and the window of demand factors each one covers.

hole is the longest spell below the lean limit, flood the longest above the rich limit. The demand factor f multiplies
the wall film's time constant and the main circuit's lag: it gathers what the model cannot know of one engine. The hole
deepens with f and the flood with 1/f, so what a combination covers is an interval, its window.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from configurator.physics.fuel_path import Array
from configurator.physics.tip_in import CircuitEvent

Columns = NDArray[np.intp]

LEVELS = 257
COARSE_STEP = 32
BLOCK = 8192
JUMP_S = 0.02
"""A spell that changes by more within one level (1.1 % of f) is two spells that merged."""
FACTOR_RANGE = (0.25, 4.0)
"""Demand factors looked at; a window's end at one of them means at or beyond it."""
Limit = tuple[float, float]
"""Equivalence ratio, and the side that counts: +1 above it, -1 below."""


@dataclass(frozen=True)
class Allowed:
    """Mixture limits [phi] and the longest spells allowed beyond them [s]."""

    lean_phi: float
    rich_phi: float
    hole_s: float
    flood_s: float

    @property
    def limits(self) -> tuple[Limit, Limit]:
        """The limits that a hole and a flood lie beyond."""
        return (self.lean_phi, -1.0), (self.rich_phi, 1.0)


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


def mixture(levels: Levels, shots: Shots, level: Columns | int) -> Iterator[Array]:
    """Equivalence ratio of n combinations, one row of shape (n,) a time; level is each one's column of the levels, or
    one for all."""
    film = np.zeros(shots.count)
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

    A spell that touches the end of the event counts as long as it was seen. Where no row is above zero there is nothing
    to measure, and most of the time there is not.
    """

    def __init__(self, count: int) -> None:
        self.longest_s = np.zeros(count)
        self._run = np.zeros(count)
        self._before: Array | None = None
        self._was_above = False

    def pause(self) -> None:
        """The rows before do not count: a spell starts anew."""
        self._before, self._was_above = None, False
        self._run[:] = 0.0

    def feed(self, depth: Array, interval_s: float) -> None:
        is_above = bool(depth.max() > 0.0)
        if self._before is not None and (is_above or self._was_above):
            part = np.maximum(self._before, 0.0)
            part += np.maximum(depth, 0.0)
            part *= interval_s
            size = np.abs(self._before)
            size += np.abs(depth)
            size += 1e-300
            part /= size
            self._run += part
            np.maximum(self.longest_s, self._run, out=self.longest_s)
            self._run *= depth > 0.0
        self._before, self._was_above = depth, is_above


def _longest(
    event: CircuitEvent, levels: Levels, shots: Shots, level: Columns | int, limits: Sequence[Limit]
) -> list[Array]:
    """Longest spell [s] beyond each limit, each of shape (n,)."""
    meters = [SpellMeter(shots.count) for _ in limits]
    for time, phi in enumerate(mixture(levels, shots, level)):
        interval = event.time_s[time] - event.time_s[time - 1] if time else 0.0
        for meter, (limit, side) in zip(meters, limits, strict=True):
            if event.judged[time]:
                meter.feed((phi - limit) * side, interval)
            else:
                meter.pause()
    return [meter.longest_s for meter in meters]


def spells(event: CircuitEvent, shots: Shots, factor: float, allowed: Allowed) -> tuple[Array, Array]:
    """Hole and flood [s] of n combinations at one demand factor, each of shape (n,)."""
    levels = Levels.of(event, np.array([factor]))
    hole, flood = _longest(event, levels, shots, 0, allowed.limits)
    return hole, flood


def spells_at(event: CircuitEvent, shots: Shots, factors: Array, allowed: Allowed) -> tuple[Array, Array]:
    """Hole and flood [s] of n combinations at each of k demand factors, each of shape (n, k)."""
    levels, n, k = Levels.of(event, factors), shots.count, len(factors)
    hole, flood = np.empty(n * k), np.empty(n * k)
    for first in range(0, n * k, BLOCK):
        block = np.arange(first, min(first + BLOCK, n * k))
        hole[block], flood[block] = _longest(event, levels, shots.take(block // k), block % k, allowed.limits)
    return hole.reshape(n, k), flood.reshape(n, k)


@dataclass(frozen=True)
class Windows:
    """Demand factors covered, arrays of shape (n,); both nan where a combination covers none."""

    low: Array
    high: Array


def windows(event: CircuitEvent, shots: Shots, allowed: Allowed) -> Windows:
    """Window of each combination: the connected range of f that it covers, nearest to f = 1.

    As a rule the flood ends where f rises and the hole begins, but a hole can also open at small f, where film and shot
    come off before the main circuit takes over. So nothing is taken for granted: levels are looked at a factor of 1.41
    apart; where none of them meets, the one that comes nearest to it is followed to where it comes nearest of all. From
    a level that meets both ends are bisected over 257 factors a constant ratio apart (1.1 %) and interpolated within
    the last step; where a spell jumps there (two dips that merge) the end is the last factor that met. An end at
    FACTOR_RANGE means at or beyond it.
    """
    levels = Levels.of(event, np.geomspace(*FACTOR_RANGE, LEVELS))
    low, high = np.empty(shots.count), np.empty(shots.count)
    for first in range(0, shots.count, BLOCK):
        block = slice(first, first + BLOCK)
        low[block], high[block] = _windows_of_block(_Judge(event, levels, shots.take(block), allowed))
    return Windows(low, high)


def _windows_of_block(judge: "_Judge") -> tuple[Array, Array]:
    """Both ends of each window, nan where no level meets."""
    coarse = np.arange(0, LEVELS, COARSE_STEP)
    over = np.array([judge.beyond(int(level)) for level in coarse])
    meets = np.all(over <= 0.0, axis=1)
    column, last = np.arange(meets.shape[1]), len(coarse) - 1
    away = np.abs(np.arange(last + 1) - last // 2)[:, None]
    start = np.argmin(np.where(meets, away, 10 * LEVELS), axis=0)
    end = start.copy()
    for _ in range(last):
        start -= (start > 0) & meets[np.maximum(start - 1, 0), column]
        end += (end < last) & meets[np.minimum(end + 1, last), column]
    found = np.any(meets, axis=0)
    ends = np.full((2, len(column)), np.nan)
    inner, outer = np.array([start, end]), np.array([np.maximum(start - 1, 0), np.minimum(end + 1, last)])
    ends[:, found] = judge.levels.factors[coarse[inner[:, found]]]
    side, which = np.nonzero(found & (inner != outer))
    if len(which):
        inner, outer = inner[side, which], outer[side, which]
        pair = (over[inner, :, which].T, over[outer, :, which].T)
        ends[side, which] = _bisected(judge.of(which), coarse[inner], coarse[outer], pair)
    rest = np.flatnonzero(~found)
    if len(rest):
        ends[:, rest] = _narrow_windows(judge.of(rest), coarse, over[:, :, rest])
    return ends[0], ends[1]


def _narrow_windows(judge: "_Judge", coarse: Columns, over: Array) -> tuple[Array, Array]:
    """Windows that lie between two coarse levels, of combinations that meet at none; nan where there is none."""
    column = np.arange(over.shape[2])
    at = coarse[np.argmin(over.max(axis=1), axis=0)]
    best = over[at // COARSE_STEP, :, column].T
    step = COARSE_STEP // 2
    while step:
        for trial in (np.maximum(at - step, 0), np.minimum(at + step, LEVELS - 1)):
            there = judge.beyond(trial)
            nearer = there.max(axis=0) < best.max(axis=0)
            at, best = np.where(nearer, trial, at), np.where(nearer, there, best)
        step //= 2
    ends = np.full((2, len(column)), np.nan)
    which = np.flatnonzero(np.all(best <= 0.0, axis=0))
    if len(which):
        judge, at, best = judge.of(which), at[which], best[:, which]
        for side, outer in enumerate((at // COARSE_STEP, np.minimum(at // COARSE_STEP + 1, len(coarse) - 1))):
            ends[side, which] = _bisected(judge, at, coarse[outer], (best, over[outer, :, which].T))
    return ends[0], ends[1]


@dataclass(frozen=True)
class _Judge:
    """How far the spells of n combinations lie beyond what is allowed, at any level of f."""

    event: CircuitEvent
    levels: Levels
    shots: Shots
    allowed: Allowed

    def of(self, which: Columns) -> "_Judge":
        """The same judge for some of the combinations."""
        return _Judge(self.event, self.levels, self.shots.take(which), self.allowed)

    def beyond(self, level: Columns | int) -> Array:
        """Hole and flood less what is allowed [s], shape (2, n); level is each one's, or one for all."""
        if self.shots.count * LEVELS <= BLOCK:
            return np.asarray(self._everywhere[:, np.arange(self.shots.count), level])
        return self._beyond(self.shots, level)

    @cached_property
    def _everywhere(self) -> Array:
        """The same at every level, (2, n, levels): a few combinations take no longer there than at one level."""
        count = self.shots.count
        every = self._beyond(self.shots.take(np.repeat(np.arange(count), LEVELS)), np.tile(np.arange(LEVELS), count))
        return every.reshape(2, count, LEVELS)

    def _beyond(self, shots: Shots, level: Columns | int) -> Array:
        hole, flood = _longest(self.event, self.levels, shots, level, self.allowed.limits)
        return np.array([hole - self.allowed.hole_s, flood - self.allowed.flood_s])


def _bisected(judge: _Judge, meets: Columns, fails: Columns, over: tuple[Array, Array]) -> Array:
    """Factor at which a combination ceases to meet, between a level that meets and one that fails, shape (n,); the
    level itself where the two are one. over : what judge.beyond gives at both."""
    inside, outside = over
    while np.any(np.abs(meets - fails) > 1):
        middle = (meets + fails) // 2
        trial = judge.beyond(middle)
        good = np.all(trial <= 0.0, axis=0)
        meets, fails = np.where(good, middle, meets), np.where(good, fails, middle)
        inside, outside = np.where(good, trial, inside), np.where(good, outside, trial)
    rise = outside - inside
    part = np.divide(-inside, rise, out=np.zeros_like(rise), where=(rise > 0.0) & (rise < JUMP_S))
    share = np.where(outside > 0.0, part, 1.0).min(axis=0)
    log = np.log(judge.levels.factors)
    return np.asarray(np.exp(log[meets] + np.clip(share, 0.0, 1.0) * (log[fails] - log[meets])))


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
