"""The tip-in in a trace: the steepest opening of the throttle, and the moment at which it began.

Each reading gives way to the median of three, so that a glitch opens nothing; the rest is evened out. The beginning is
where the line through a fifth and four fifths of the move meets the level before it.
"""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.errors import BadInput, Fault

GRID_S = 0.005
EVENED_S = 0.03
RISE_WITHIN_S = 0.3
LEAST_RISE = 0.15
"""Share of full opening that makes a tip-in, within RISE_WITHIN_S."""
STEEP_WITHIN_S = 0.08
"""Time over which steepness is taken."""
LOOK_S = 0.7
LIKE_THE_STEEPEST = 0.5
APART_S = 2.0


@dataclass(frozen=True)
class Opened:
    """When the throttle began to open, how long it took, and when it was half closed again, all [s] of the trace;
    others : further tip-ins in the trace."""

    start_s: float
    opening_s: float
    closed_s: float
    others: int


def find_tip_in(file: str, time_s: Array, throttle: Array) -> Opened:
    """The steepest tip-in of a trace; throttle is a share of full opening, nan where there is no reading.

    Raises BadInput where nothing opens far enough.
    """
    seen = np.isfinite(throttle)
    grid = np.arange(time_s[0], time_s[-1], GRID_S)
    even = _evened(np.interp(grid, time_s[seen], np.median(_windows(throttle[seen], 1), axis=-1)))
    wide, narrow = round(RISE_WITHIN_S / GRID_S), round(STEEP_WITHIN_S / GRID_S)
    padded = np.pad(even, wide, mode="edge")
    rise = padded[wide:] - padded[:-wide]
    if rise.max() < LEAST_RISE:
        found = f"the throttle opens by {max(float(rise.max()), 0.0):.0%} of its travel at most"
        expected = f"a tip-in: at least {LEAST_RISE:.0%} within {RISE_WITHIN_S:g} s"
        raise BadInput([Fault(file, "throttle", found, expected, "record the throttle snapped open")])
    padded = np.pad(even, narrow // 2, mode="edge")
    centred = rise[wide // 2 : wide // 2 + len(even)]
    steep = np.where(centred >= LEAST_RISE, padded[2 * (narrow // 2) :] - padded[: len(even)], 0.0)
    middle = int(np.argmax(steep))
    look = round(LOOK_S / GRID_S)
    before, after = even[max(0, middle - look) : middle + 1], even[middle : middle + look]
    low, high = float(np.percentile(before, 10)), float(np.percentile(after, 90))
    low = float(np.median(before[before <= low + 0.2 * (high - low)]))
    high = float(np.median(after[after >= high - 0.2 * (high - low)]))
    fifth, half, four_fifths = (low + share * (high - low) for share in (0.2, 0.5, 0.8))
    middle += round(_crossing(even[middle:], half, falling=False))
    middle -= round(_crossing(even[middle::-1], half, falling=True))
    first = _crossing(even[middle::-1], fifth, falling=True)
    last = _crossing(even[middle:], four_fifths, falling=False)
    opening_s = (first + last) * GRID_S / 0.6
    start_s = float(grid[middle]) - first * GRID_S - opening_s * 0.2
    opened = middle + int(np.ceil(last))
    closed = np.flatnonzero(even[opened:] < half)
    closed_s = float(grid[opened + closed[0]]) if len(closed) else np.inf
    return Opened(max(start_s, float(time_s[0])), opening_s, closed_s, _others(steep))


def _evened(values: Array) -> Array:
    """Each value as the mean of its neighbours within EVENED_S."""
    return np.asarray(_windows(values, round(EVENED_S / GRID_S / 2)).mean(axis=-1))


def _windows(values: Array, half: int) -> Array:
    """Each value with as many neighbours on either side, shape (n, 2 half + 1)."""
    padded = np.pad(values, half, mode="edge")
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1))


def _crossing(values: Array, level: float, *, falling: bool) -> float:
    """Steps until a level is first crossed, by parts of a step; the whole length where it is not."""
    depth = (level - values) if falling else (values - level)
    beyond = np.flatnonzero(depth >= 0.0)
    if not len(beyond):
        return float(len(values) - 1)
    index = int(beyond[0])
    if index == 0:
        return 0.0
    return index - float(depth[index] / (depth[index] - depth[index - 1]))


def _others(steep: Array) -> int:
    """How many other moves are nearly as steep as the steepest, each well apart."""
    apart, least = round(APART_S / GRID_S), LIKE_THE_STEEPEST * steep.max()
    left = steep.copy()
    count = -1
    while left.max() >= least:
        at = int(np.argmax(left))
        left[max(0, at - apart) : at + apart] = 0.0
        count += 1
    return count
