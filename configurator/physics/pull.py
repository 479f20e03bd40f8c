"""What the driver feels: the pull that a mixture gives, against the pull that the same air would give at its best.

    pull = T(p) g(phi) - load          best = T(p) - load          both through a first-order lag (seat and driveline)

T is the torque that the air gives at its best mixture, in proportion to the manifold's pressure; g is the work per air
at an equivalence ratio over the most there is. The load balances the engine at the start. A pair of barrels has its
share of the air; the rest is taken to be at its best, so that each circuit answers for its own.

Pulls are told in shares of the best that comes within the time looked at. Averages over a cycle: cylinders are not told
apart, and nothing shorter than a cycle (two turns) is seen.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from configurator.arrays import Array, Reals
from configurator.physics.tip_in import CircuitEvent

FUEL_AIR_CYCLE = (
    (0.50, 0.5593), (0.55, 0.6081), (0.60, 0.6560), (0.65, 0.7028), (0.70, 0.7486), (0.75, 0.7934), (0.80, 0.8369),
    (0.85, 0.8790), (0.90, 0.9194), (0.95, 0.9572), (1.00, 0.9891), (1.05, 0.9996), (1.10, 1.0000), (1.15, 0.9969),
    (1.20, 0.9921), (1.30, 0.9798), (1.40, 0.9659), (1.50, 0.9511), (1.60, 0.9357), (1.80, 0.9030), (2.00, 0.8679),
    (2.20, 0.8303), (2.50, 0.7734),
)  # fmt: skip
"""Equivalence ratio, and indicated work per mass of air over the most there is: constant-volume fuel-air cycle of
iso-octane at a compression ratio of 8.5, frozen compression from 0.9 bar and 350 K, equilibrium burning and expansion.
Computed with a chemistry library (tests/physics/test_pull.py does it again)."""
LEAN_BURNS_PHI, RICH_BURNS_PHI = (0.5, 0.7), (2.3, 1.6)
"""Where the charge no longer burns at all, and from where it burns in time: assumed, beyond what a cycle can tell."""
PULL_LAG_S = 0.1
"""Lag of what stands between piston and seat, unless told: assumed; a trace of acceleration would settle it."""
RISE = (0.50, 0.85)
"""Shares of the best over whose reaching a delay is averaged: a single crossing would be a knife edge."""
SAG_FROM_S = 0.2
"""A fall before this is part of the delay."""
LEAN_SIDE_PHI = (1.00, 1.10)
"""What is lost of the pull is lost to too little fuel below the first, to too much above the second, to some of both
between."""
SMOKE_PHI, FULL_SMOKE_PHI, MOST_SMOKE = 1.2, 1.5, 2.0
"""Time counts as smoke in proportion, from the first mixture on, once at the second, at most so many times."""
POP_BACK_PHI = (0.70, 0.65)
"""Below the second the charge still burns when the valve opens: assumed. Between them it counts in part."""

_PHI, _WORK = np.array(FUEL_AIR_CYCLE).T


def relative_work(phi: Reals) -> Reals:
    """Work per air at equivalence ratios, over the most there is: the fuel-air cycle, less what burns too slowly.

    >>> relative_work(np.array([0.4, 0.8, 1.1, 2.5])).round(3)
    array([0.   , 0.837, 1.   , 0.   ])
    """
    burns = _ramp(phi, *LEAN_BURNS_PHI) * _ramp(phi, *RICH_BURNS_PHI)
    return np.asarray(np.interp(phi, _PHI, _WORK) * burns)


def _ramp(phi: Reals, nothing: float, whole: float) -> Reals:
    """From 0 at one mixture to 1 at the other, without a corner at either."""
    share = np.clip((phi - nothing) / (whole - nothing), 0.0, 1.0)
    return np.asarray(share * share * (3.0 - 2.0 * share))


FINE_PHI, MOST_PHI = 5e-4, 4.0
_TABLED = np.arange(0.5 * FINE_PHI, MOST_PHI + FINE_PHI, FINE_PHI)
_LOST = (1.0 - relative_work(_TABLED)).astype(np.float32)
_LOST_LEAN = (_LOST * _ramp(_TABLED, LEAN_SIDE_PHI[1], LEAN_SIDE_PHI[0])).astype(np.float32)
_POPS = _ramp(_TABLED, *POP_BACK_PHI).astype(np.float32)
"""What is lost of the work, the lean part of it, and whether it pops back: looked up in the middle of cells so fine."""


@dataclass(frozen=True)
class FeltPulls:
    """What is felt of combinations, arrays of one shape.

    delay_ms : how much later than the best the pull comes, averaged over its rise; lean_delay_ms : as much of it as is
    missing fuel. lean_sag_percent, rich_sag_percent : deepest later fall below what was there before, less what the
    best itself falls, in per cent of the best, and when [ms]. smoke_ms : time of black smoke. pop_back_cycles : engine
    cycles in which the charge may still burn as the inlet opens.
    """

    delay_ms: Array
    lean_delay_ms: Array
    lean_sag_percent: Array
    lean_sag_at_ms: Array
    rich_sag_percent: Array
    rich_sag_at_ms: Array
    smoke_ms: Array
    pop_back_cycles: Array

    @property
    def rich_delay_ms(self) -> Array:
        return self.delay_ms - self.lean_delay_ms


@dataclass(frozen=True)
class Pulling:
    """The best pull of an event at every so many of its times, behind a lag, and what others are measured against."""

    event: CircuitEvent
    step: int = 1
    lag_s: float = PULL_LAG_S

    @cached_property
    def time_s(self) -> Array:
        return self.event.time_s[:: self.step]

    @cached_property
    def best(self) -> Array:
        """The best pull over the most that it comes to, (times,)."""
        return self._best_pa / self.most_pa

    @cached_property
    def _best_pa(self) -> Array:
        pressure = self.event.pressure_pa
        return lagged(self.event.time_s, (pressure - pressure[0])[:, None], self.lag_s)[:: self.step, 0]

    @property
    def most_pa(self) -> float:
        return max(float(self._best_pa.max()), 1.0)

    def given(self, phi: Reals) -> Array:
        """The pull of mixtures over the most that the best comes to, (times, n); phi : (times, n)."""
        weight = (self.event.pressure_pa * self.event.air_share)[:: self.step] / self.most_pa
        missing = lagged(self.time_s, weight[:, None] * (1.0 - relative_work(phi)), self.lag_s)
        return np.asarray(self.best[:, None] - missing)

    def delay_ms(self, phi: Reals) -> Array:
        """How much later than the best the pull of mixtures comes, and no more of them: (n,); phi : (times, n)."""
        highest = np.maximum.accumulate(self.given(phi))
        of_best = np.maximum.accumulate(self.best)
        return np.asarray(1e3 * self._lasts_s @ (_unrisen(highest) - _unrisen(of_best)[:, None]))

    @cached_property
    def _lasts_s(self) -> Array:
        """The time that each time stands for."""
        interval = np.diff(self.time_s)
        return np.asarray(0.5 * (np.append(interval, 0.0) + np.append(0.0, interval)))

    @cached_property
    def _rows(self) -> list[list[float]]:
        """Figures of every time: weight of what is lost, the lag's three, the best, what the best has not risen and has
        fallen, the time it stands for, whether a sag counts, smoke and cycles that it stands for, the time."""
        event, every, interval = self.event, slice(None, None, self.step), np.diff(self.time_s)
        weight = (event.pressure_pa * event.air_share)[every] / self.most_pa
        keep = np.exp(-interval / self.lag_s)
        part = self.lag_s / interval * (1.0 - keep)
        lag = np.array([np.append(0.0, column) for column in (keep, part - keep, 1.0 - part)])
        highest = np.maximum.accumulate(self.best)
        lasts = self._lasts_s
        judged = event.judged[every] * lasts
        rows: list[list[float]] = np.array([
            weight, *lag, self.best, _unrisen(highest), highest - self.best, 1e3 * lasts,
            self.time_s >= SAG_FROM_S, 1e3 * judged, judged * event.speed_rpm[every] / 120.0, 1e3 * self.time_s,
        ]).T.tolist()  # fmt: skip
        return rows

    def felt(self, filmed: Reals, sooner: Reals, missed: Reals, base: Reals, *, pops: bool = True) -> FeltPulls:
        """What is felt of mixtures base + filmed + missed sooner, in the shape that these come to at one time. filmed,
        sooner, base : times first; missed : of no time. pops : whether to count pop backs and when sags are deepest,
        too; else 0."""
        shape = np.broadcast_shapes(filmed.shape[1:], missed.shape, base.shape[1:])
        zeros = np.zeros((13, *shape), dtype=np.float32)
        before, lean_before, missing, lean, peak, delay, lean_delay, smoke, popped, *sags = zeros
        lean_sag, lean_at, rich_sag, rich_at = sags
        missed = missed.astype(np.float32)
        for time, row in enumerate(self._rows):
            weight, keep, old, new, best, unrisen, fallen, lasts_ms, counts, smokes_ms, cycles, time_ms = row
            phi = missed * sooner[time] + base[time]
            phi += filmed[time]
            place = np.clip(phi * np.float32(1.0 / FINE_PHI), 0.0, len(_TABLED) - 1).astype(np.int32)
            now, lean_now = _LOST.take(place), _LOST_LEAN.take(place)
            now *= weight
            lean_now *= weight
            if time:
                for state, was, come in ((missing, before, now), (lean, lean_before, lean_now)):
                    state *= keep
                    was *= old
                    state += was
                    was[:] = come
                    was *= new
                    state += was
            before, lean_before = now, lean_now
            pull = best - missing
            np.maximum(peak, pull, out=peak)
            part = lean / (missing + np.float32(1e-9))
            late = _unrisen(peak)
            late -= unrisen
            late *= lasts_ms
            delay += late
            late *= part
            lean_delay += late
            if counts:
                fall = peak - pull
                fall -= fallen
                np.maximum(fall, 0.0, out=fall)
                of_lean = fall * part
                fall -= of_lean
                for sag, at, deep in ((lean_sag, lean_at, of_lean), (rich_sag, rich_at, fall)):
                    if pops:
                        at[deep > sag] = time_ms
                    np.maximum(sag, deep, out=sag)
            if smokes_ms:
                phi -= np.float32(SMOKE_PHI)
                phi *= np.float32(1.0 / (FULL_SMOKE_PHI - SMOKE_PHI))
                np.clip(phi, 0.0, MOST_SMOKE, out=phi)
                phi *= smokes_ms
                smoke += phi
                if pops:
                    popped += cycles * _POPS.take(place)
        told = (delay, lean_delay, 100.0 * lean_sag, lean_at, 100.0 * rich_sag, rich_at, smoke, popped)
        return FeltPulls(*(np.asarray(figure, dtype=np.float64) for figure in told))


def lagged(time_s: Array, values: Array, lag_s: float) -> Array:
    """Values after a first-order lag, from rest at 0, exact for values that run straight from time to time.

    d y/dt = (x - y) / lag; with x = a + b t over a step of h: y' = x' - b lag + (y - x + b lag) exp(-h/lag).
    """
    out = np.zeros_like(values)
    for step, interval in enumerate(np.diff(time_s)):
        slope = (values[step + 1] - values[step]) * (lag_s / interval)
        keep = np.exp(-interval / lag_s)
        out[step + 1] = values[step + 1] - slope + (out[step] - values[step] + slope) * keep
    return out


def _unrisen(highest: Reals) -> Reals:
    """Share of the rise, from its lower to its upper end, that the highest pull so far has not reached; its integral
    over time is the time of reaching a level, averaged over the levels."""
    low, high = RISE
    short = np.clip(highest, low, high)
    return np.asarray((high - short) / (high - low), dtype=short.dtype)
