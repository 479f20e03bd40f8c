"""The verdict on combinations: hole, flood, and the window of demand factors each one covers.

hole is the longest spell below the lean limit, flood the longest above the rich limit. The demand factor f multiplies
the wall film's time constant and the main circuit's lag: it gathers what the model cannot know of one engine. The hole
deepens with f and the flood with 1/f, so what a combination covers is an interval, its window.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from configurator.arrays import Array, Indices, Mask
from configurator.physics.spells import (
    Level,
    Levels,
    MixtureLimit,
    ShotFlows,
    SpellMeter,
    longest_spells,
    metered,
    mixture,
)
from configurator.physics.tip_in import CircuitEvent

__all__ = [
    "FACTOR_RANGE", "JUMP_S", "LEVELS", "Allowed", "Levels", "ShotFlows", "SpellMeter", "Windows", "longest_spells",
    "metered", "mixture", "shot_needed", "spells", "spells_at", "window_levels", "windows",
]  # fmt: skip

LEVELS = 257
COARSE_STEP = 32
BLOCK = 8192
"""Combinations worked out at once: as many as a core's own cache holds rows of."""
FEW_CELLS = 8192
"""Combinations times levels that are worked out at every level right away."""
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

    @property
    def limits(self) -> tuple[MixtureLimit, MixtureLimit]:
        """The limits that a hole and a flood lie beyond."""
        return (self.lean_phi, -1.0), (self.rich_phi, 1.0)


def spells(event: CircuitEvent, shots: ShotFlows, factor: float, allowed: Allowed) -> tuple[Array, Array]:
    """Hole and flood [s] of n combinations at one demand factor, each of shape (n,)."""
    levels = Levels.of(event, np.array([factor]))
    hole, flood = longest_spells(event, levels, shots, [0], allowed.limits)
    return hole[0], flood[0]


def spells_at(event: CircuitEvent, shots: ShotFlows, factors: Array, allowed: Allowed) -> tuple[Array, Array]:
    """Hole and flood [s] of n combinations at each of k demand factors, each of shape (n, k)."""
    levels, n, k = Levels.of(event, factors), shots.count, len(factors)
    hole, flood = np.empty(n * k), np.empty(n * k)
    for first in range(0, n * k, BLOCK):
        block = np.arange(first, min(first + BLOCK, n * k))
        found = longest_spells(event, levels, shots.take(block // k), [block % k], allowed.limits)
        hole[block], flood[block] = found[0][0], found[1][0]
    return hole.reshape(n, k), flood.reshape(n, k)


@dataclass(frozen=True)
class Windows:
    """Demand factors covered, arrays of shape (n,); both nan where a combination covers none."""

    low: Array
    high: Array


def window_levels(event: CircuitEvent) -> Levels:
    """The event at every demand factor that windows look at: what does not depend on the combination."""
    return Levels.of(event, np.geomspace(*FACTOR_RANGE, LEVELS)).single()


def windows(event: CircuitEvent, shots: ShotFlows, allowed: Allowed, levels: Levels | None = None) -> Windows:
    """Window of each combination: the connected range of f that it covers, nearest to f = 1. levels : the event's
    window_levels, where they are at hand.

    As a rule the flood ends where f rises and the hole begins, but a hole can also open at small f, where film and shot
    come off before the main circuit takes over. So levels are looked at a factor of 1.41 apart, all of them. A narrower
    window lies between two of them where the lower has no hole, but a flood, and the upper no flood, but a hole; or
    where a hole grows to both sides of a level, which is then followed to where it comes nearest to meeting. Ends are
    bisected over 257 factors a constant ratio apart (1.1 %) and interpolated within the last step; where a spell jumps
    there (two dips that merge) the end is the last factor that met. An end at FACTOR_RANGE means at or beyond it.
    Single precision does: it moves an end by 1e-5, or to the next factor where a spell is about to jump.
    """
    levels, single = levels or window_levels(event), shots.single()
    ends = np.empty((2, shots.count))
    for first in range(0, shots.count, BLOCK):
        block = slice(first, first + BLOCK)
        ends[:, block] = _windows_of_block(_Judge(event, levels, single.take(block), allowed))
    return Windows(*ends)


def _windows_of_block(judge: "_Judge") -> Array:
    """Both ends of each window, shape (2, n), nan where no level meets."""
    coarse = np.arange(0, LEVELS, COARSE_STEP)
    over = judge.beyond([int(level) for level in coarse])
    inner, outer, deciding = _brackets(over <= 0.0)
    ends = np.full(inner.shape, np.nan)
    ends[inner >= 0] = judge.levels.factors[coarse[inner[inner >= 0]]]
    side, which = np.nonzero(inner != outer)
    if len(which):
        inside, outside, decides = inner[side, which], outer[side, which], deciding[:, side, which]
        bounds = (over[:, inside, which], over[:, outside, which])
        ends[side, which] = _bisected(judge.of(which), coarse[inside], coarse[outside], bounds, decides)
    hole = over[0]
    valley = (hole[1:-1] < hole[:-2]) & (hole[1:-1] < hole[2:]) & (over[1, 2:] <= 0.0)
    which = np.flatnonzero((inner[0] < 0) & valley.any(axis=0))
    if len(which):
        ends[:, which] = _windows_in_a_valley(judge.of(which), coarse, over[:, :, which])
    ends[:, np.isnan(ends).any(axis=0)] = np.nan
    return ends


def _brackets(within: Mask) -> tuple[Indices, Indices, Mask]:
    """Coarse levels between which the ends of windows lie: the inner and the outer one of each end, shape (2, n), one
    and the same at an edge, both -1 where there is no window; and whether hole and flood decide there, (2, 2, n).

    within : whether hole and flood are within what is allowed, (2, levels, n).
    """
    meets: Mask = np.asarray(within.all(axis=0))
    levels, count = meets.shape
    place, column, last = np.arange(levels)[:, None], np.arange(count), levels - 1
    start = np.where(meets, np.abs(2 * place - last), 2 * levels).argmin(axis=0)
    end = start.copy()
    for _ in range(last):
        start -= (start > 0) & meets[np.maximum(start - 1, 0), column]
        end += (end < last) & meets[np.minimum(end + 1, last), column]
    inner, outer = np.array([start, end]), np.array([np.maximum(start - 1, 0), np.minimum(end + 1, last)])
    deciding = np.ones((2, 2, count), dtype=bool)

    none = ~meets.any(axis=0)
    inner[:, none] = outer[:, none] = -1
    between = within[0, :-1] & within[1, 1:]
    narrow = none & between.any(axis=0)
    lower = np.where(between, np.abs(2 * place[:-1] + 1 - last), 2 * levels).argmin(axis=0)[narrow]
    inner[:, narrow], outer[:, narrow] = (lower + 1, lower), (lower, lower + 1)
    deciding[0, 0, narrow] = deciding[1, 1, narrow] = False
    return inner, outer, deciding


def _windows_in_a_valley(judge: "_Judge", coarse: Indices, over: Array) -> Array:
    """Windows around the level that comes nearest to meeting, shape (2, n), nan where it does not. over : at the coarse
    levels, of which none meets, shape (2, levels, n)."""
    count = over.shape[2]
    nearest = over.max(axis=0).argmin(axis=0)
    at, best, step = coarse[nearest], over[:, nearest, np.arange(count)], COARSE_STEP // 2
    while step:
        for trial in (np.maximum(at - step, 0), np.minimum(at + step, LEVELS - 1)):
            there = judge.beyond([trial])[:, 0]
            nearer = there.max(axis=0) < best.max(axis=0)
            at, best = np.where(nearer, trial, at), np.where(nearer, there, best)
        step //= 2
    ends, both = np.full((2, count), np.nan), np.ones((2, count), dtype=bool)
    which = np.flatnonzero(np.all(best <= 0.0, axis=0))
    if len(which):
        judge, at, best = judge.of(which), at[which], best[:, which]
        for side, outer in enumerate((at // COARSE_STEP, np.minimum(at // COARSE_STEP + 1, len(coarse) - 1))):
            bounds = (best, over[:, outer, which])
            ends[side, which] = _bisected(judge, at, coarse[outer], bounds, both[:, which])
    return ends


@dataclass(frozen=True)
class _Judge:
    """How far the spells of n combinations lie beyond what is allowed, at any level of f."""

    event: CircuitEvent
    levels: Levels
    shots: ShotFlows
    allowed: Allowed

    def of(self, which: Indices) -> "_Judge":
        """The same judge for some of the combinations."""
        return _Judge(self.event, self.levels, self.shots.take(which), self.allowed)

    def beyond(self, at: Sequence[Level]) -> Array:
        """Hole and flood less what is allowed [s], shape (2, k, n), at k levels."""
        if self.shots.count * LEVELS <= FEW_CELLS:
            column = np.arange(self.shots.count)
            return np.stack([self._everywhere[:, column, level] for level in at], axis=1)
        return self._beyond(self.shots, at)

    @cached_property
    def _everywhere(self) -> Array:
        """The same at every level, (2, n, levels): a few combinations take no longer there than at one level."""
        count = self.shots.count
        every = self.shots.take(np.repeat(np.arange(count), LEVELS))
        return self._beyond(every, [np.tile(np.arange(LEVELS), count)]).reshape(2, count, LEVELS)

    def _beyond(self, shots: ShotFlows, at: Sequence[Level]) -> Array:
        hole, flood = longest_spells(self.event, self.levels, shots, at, self.allowed.limits)
        return np.array([hole - self.allowed.hole_s, flood - self.allowed.flood_s])


def _bisected(judge: _Judge, inside: Indices, outside: Indices, over: tuple[Array, Array], deciding: Mask) -> Array:
    """Factor at which a combination ceases to meet, between a level inside its window and one outside, shape (n,); nan
    where it does not meet there after all. over : what judge.beyond gives at both; deciding : spells to go by, (2, n).
    """
    within, without = over
    while np.any(np.abs(inside - outside) > 1):
        middle = (inside + outside) // 2
        trial = judge.beyond([middle])[:, 0]
        good = np.all((trial <= 0.0) | ~deciding, axis=0)
        inside, outside = np.where(good, middle, inside), np.where(good, outside, middle)
        within, without = np.where(good, trial, within), np.where(good, without, trial)
    rise = without - within
    part = np.divide(-within, rise, out=np.zeros_like(rise), where=(rise > 0.0) & (rise < JUMP_S))
    share = np.clip(np.where(without > 0.0, part, 1.0).min(axis=0), 0.0, 1.0)
    log = np.log(judge.levels.factors)
    factor = np.exp(log[inside] + share * (log[outside] - log[inside]))
    return np.where(np.all(within <= 0.0, axis=0), factor, np.nan)


def shot_needed(event: CircuitEvent, phi_limit: float, film_share: float, factor: float) -> Array:
    """Pump flow [kg/s] that keeps the mixture exactly on a limit, mean over each step, shape (steps,), never negative.

    Film and gas solved for the shot, step by step: what the film gives back, and what the gas holds beyond the limit,
    is used up before more is asked for. Gas that is leaner than the limit before anything opens is taken to be on it.
    """
    levels = Levels.of(event, np.array([factor]))
    missing, needed = phi_limit - levels.base_phi[:, 0], np.zeros(len(event.time_s) - 1)
    shot_phi, film = max(0.0, float(missing[0])), 0.0
    for step in range(len(needed)):
        comes = levels.gas_keep[step] * shot_phi + film
        added = (1.0 - film_share) * levels.prompt[step] + film_share * levels.wetted[step, 0]
        if event.throttle_deg[step + 1] > 0.0:
            needed[step] = max(0.0, (missing[step + 1] - comes) / added)
        shot_phi = comes + added * needed[step]
        film = film * levels.film_keep[step, 0] + film_share * needed[step] * levels.film_gain[step, 0]
    return needed
