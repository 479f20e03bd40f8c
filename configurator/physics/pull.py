"""What the driver feels: the pull that a mixture gives, against the pull that the same air would give at its best.

    pull = T(p) g(phi) - load          best = T(p) - load          both through a first-order lag (seat and driveline)

T is the torque that the air gives at its best mixture, in proportion to the manifold's pressure; g is the work per air
at an equivalence ratio over the most there is. The load balances the engine at the start. A pair of barrels has its
share of the air; the rest is taken to be at its best, so that each circuit answers for its own.

Pulls are told in shares of the best that comes within the time looked at. Averages over a cycle: cylinders are not told
apart, and nothing shorter than a cycle (two turns) is seen.
"""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Reals

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
"""Lag of what stands between piston and seat: assumed; a trace of acceleration would settle it."""
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


@dataclass(frozen=True)
class Pulls:
    """Pull at each time in shares of the most that the best comes to: best, shape (times,), and given, (times, n).

    lean_part : how much of what is missing of the best is missing for want of fuel, 0 to 1; the rest is too much of it.
    """

    time_s: Array
    best: Array
    given: Array
    lean_part: Array


@dataclass(frozen=True)
class FeltPulls:
    """What is felt of n combinations, arrays of shape (n,).

    delay_ms : how much later than the best the pull comes, averaged over its rise. lean_delay_ms : how much of that is
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


def pulls(time_s: Array, pressure_pa: Array, air_share: Array, phi: Array, lag_s: float) -> Pulls:
    """The pull of n mixtures over a tip-in.

    time_s, pressure_pa, air_share : shape (times,); share of the engine's air that has the mixture. phi : (times, n).
    lag_s : time constant of what stands between piston and seat.
    """
    lost = (pressure_pa * air_share)[:, None] * (1.0 - relative_work(phi))
    best = lagged(time_s, (pressure_pa - pressure_pa[0])[:, None], lag_s)
    lean = lagged(time_s, lost * _ramp(phi, LEAN_SIDE_PHI[1], LEAN_SIDE_PHI[0]), lag_s)
    missing = lagged(time_s, lost, lag_s)
    most = max(float(best.max()), 1.0)
    part = np.divide(lean, missing, out=np.full_like(lean, 0.5), where=missing > 1e-9 * most)
    return Pulls(time_s, best[:, 0] / most, (best - missing) / most, part)


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


def felt(found: Pulls, speed_rpm: Array, phi: Array, air_share: Array) -> FeltPulls:
    """What is felt of pulls. speed_rpm, air_share : shape (times,); phi : (times, n)."""
    steps = np.diff(found.time_s)[:, None]
    missing = _unrisen(found.given) - _unrisen(found.best)[:, None]
    lean = found.lean_part
    best_fall = np.maximum.accumulate(found.best) - found.best
    fall = np.maximum.accumulate(found.given, axis=0) - found.given - best_fall[:, None]
    fall = np.where(found.time_s[:, None] >= SAG_FROM_S, np.maximum(fall, 0.0), 0.0)
    counts = np.where(air_share > 0.0, 1.0, 0.0)[:, None]
    smoke = np.clip((phi - SMOKE_PHI) / (FULL_SMOKE_PHI - SMOKE_PHI), 0.0, MOST_SMOKE) * counts
    pops = _ramp(phi, *POP_BACK_PHI) * counts * (speed_rpm / 120.0)[:, None]
    sags = [(fall * side).max(axis=0) for side in (lean, 1.0 - lean)]
    times = [found.time_s[(fall * side).argmax(axis=0)] for side in (lean, 1.0 - lean)]
    return FeltPulls(
        delay_ms=1e3 * _sum(missing, steps), lean_delay_ms=1e3 * _sum(missing * lean, steps),
        lean_sag_percent=100.0 * sags[0], lean_sag_at_ms=1e3 * times[0],
        rich_sag_percent=100.0 * sags[1], rich_sag_at_ms=1e3 * times[1],
        smoke_ms=1e3 * _sum(smoke, steps), pop_back_cycles=_sum(pops, steps),
    )  # fmt: skip


def _unrisen(pull: Array) -> Array:
    """Share of the rise, from its lower to its upper end, that the highest pull so far has not reached; its integral
    over time is the time of reaching a level, averaged over the levels."""
    low, high = RISE
    return np.clip((high - np.maximum.accumulate(pull, axis=0)) / (high - low), 0.0, 1.0)


def _ramp(phi: Reals, nothing: float, whole: float) -> Reals:
    """From 0 at one mixture to 1 at the other, without a corner at either."""
    share = np.clip((phi - nothing) / (whole - nothing), 0.0, 1.0)
    return np.asarray(share * share * (3.0 - 2.0 * share))


def _sum(values: Array, steps: Array) -> Array:
    """Integral over time, trapezoidal; values (times, n), steps (times - 1, 1)."""
    return np.asarray((0.5 * (values[1:] + values[:-1]) * steps).sum(axis=0))
