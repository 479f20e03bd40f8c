"""What is seen of a pull from outside, by whatever records a car: how late it comes, and how far it falls.

The same is looked for in a recording and in the pull of the model, so that the two can be set side by side:

    level   mean of the pull from 1.0 to 1.8 s after it begins
    rise    time from the beginning to the pull, averaged over its rise from RISE[0] to RISE[1] of that level
    sag     deepest later fall below what was there before, in per cent of that level

The rise less that of the best pull of the same air is the delay, as physics.pull has it. The beginning is the
throttle's where somebody recorded it. Else it is where the pull first moves, either way, by MOVED_SHARE of the level:
what passes before that is not seen. So only a part of a delay is, and of the model's pull the same part.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from configurator.arrays import Array, Reals
from configurator.physics.pull import RISE, SAG_FROM_S
from configurator.physics.tip_in import event_times

STEP_S = 0.01
SEEN_TIMES_S: Array = STEP_S * np.arange(-40.0, 241.0)
"""Times at which a pull is looked at, from its beginning as far as that is known [s]."""
SMOOTHINGS_S = (0.03, 0.06, 0.10)
"""Standard deviations of the bell by which a pull is smoothed, as its noise asks for: assumed."""
MOVED_SHARE = 0.08
"""Of the level: what a pull has to move by to be seen to begin (assumed)."""
LEVEL_S = (1.0, 1.8)
"""When a pull is at its level, from its beginning on (assumed)."""


@dataclass(frozen=True)
class PullsSeen:
    """What is seen of n pulls, (n,): when they begin [s], and their level in the unit they came in; the rise is not a
    number where a pull never moves or comes to no level."""

    begins_s: Array
    level: Array
    rise_ms: Array
    sag_percent: Array
    sag_at_ms: Array


def seen_in(pulls: Reals, begins_s: float | None = None) -> PullsSeen:
    """What is seen of pulls, (SEEN_TIMES_S, n), at rest at 0 at first. begins_s : when the throttle begins to open;
    None where nobody recorded it."""
    count = pulls.shape[1]
    begins = np.full(count, 0.0 if begins_s is None else begins_s)
    level = _mean_between(pulls, begins)
    with np.errstate(divide="ignore", invalid="ignore"):
        for _ in range(2 if begins_s is None else 0):
            begins = _first_moves_s(np.abs(pulls / level))
            level = _mean_between(pulls, begins)
        share = pulls / level
    after = np.clip((SEEN_TIMES_S[:, None] - begins) / STEP_S + 0.5, 0.0, 1.0)
    highest = np.maximum.accumulate(share)
    low, high = RISE
    unrisen = (high - np.clip(highest, low, high)) / (high - low)
    rise_ms = 1e3 * STEP_S * (unrisen * after).sum(axis=0)
    counts = (SEEN_TIMES_S[:, None] >= begins + SAG_FROM_S) & (SEEN_TIMES_S[:, None] <= begins + LEVEL_S[1])
    fall = np.where(counts, highest - share, 0.0)
    deepest = fall.argmax(axis=0)
    sound = np.isfinite(begins) & (level > 0.0)
    return PullsSeen(
        begins, level, np.where(sound, rise_ms, np.nan), np.where(sound, 100.0 * fall.max(axis=0), np.nan),
        1e3 * (SEEN_TIMES_S[deepest] - begins),
    )  # fmt: skip


def _first_moves_s(moved: Array) -> Array:
    """When each first moves by MOVED_SHARE, by parts of a step; not a number where it never does."""
    beyond = moved > MOVED_SHARE
    first = np.maximum(beyond.argmax(axis=0), 1)
    own = np.arange(moved.shape[1])
    before, now = moved[first - 1, own], moved[first, own]
    part = np.clip((MOVED_SHARE - before) / np.where(now > before, now - before, 1.0), 0.0, 1.0)
    return np.where(beyond.any(axis=0), SEEN_TIMES_S[first] - STEP_S * (1.0 - part), np.nan)


def _mean_between(pulls: Reals, begins_s: Array) -> Array:
    """Mean of each pull while it is at its level."""
    summed = np.vstack([np.zeros((1, pulls.shape[1])), np.cumsum(pulls, axis=0)])
    place = [(begins_s + end - SEEN_TIMES_S[0]) / STEP_S for end in LEVEL_S]
    first, last = (np.nan_to_num(np.clip(one, 0, len(summed) - 1)).round().astype(int) for one in place)
    own = np.arange(pulls.shape[1])
    return np.asarray((summed[last, own] - summed[first, own]) / np.maximum(last - first, 1))


@lru_cache(maxsize=len(SMOOTHINGS_S))
def smoothed_at(smoothing_s: float) -> Array:
    """What makes a pull at the times of an event into one at SEEN_TIMES_S, smoothed by a bell of that standard
    deviation: (SEEN_TIMES_S, event times). Before an event the pull is 0, after it as it was at its end."""
    times = event_times()
    around = STEP_S * np.arange(-len(SEEN_TIMES_S), 2 * len(SEEN_TIMES_S))
    place = np.clip(np.searchsorted(times, around, side="right") - 1, 0, len(times) - 2)
    part = np.clip((around - times[place]) / (times[place + 1] - times[place]), 0.0, 1.0)
    between = np.zeros((len(around), len(times)))
    rows = np.arange(len(around))
    between[rows, place], between[rows, place + 1] = 1.0 - part, part
    between[around <= 0.0] = 0.0
    bell = np.exp(-0.5 * ((SEEN_TIMES_S[:, None] - around) / smoothing_s) ** 2)
    return np.asarray(bell / bell.sum(axis=1, keepdims=True) @ between)
