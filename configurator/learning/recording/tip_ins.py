"""The tip-ins in a pull over time: a rise to one of the highest pulls there are, after a steady stretch.

A brake let go rises too, but from far below to nothing; a lift falls. Which end of a phone is forward is told by which
way there are more tip-ins; of as many, which way the first is.
"""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.learning.recording.forward import steps_in
from configurator.learning.recording.smoothing import Evenly, smoothed

LOOKED_AT_S = 0.06
"""What a pull is smoothed by to find tip-ins in it."""
REST_PERCENTILE, TOP_PERCENTILE = 30.0, 98.0
RISES_TO, STARTS_WITHIN = 0.5, (-0.6, 0.3)
"""Over the whole range of the pull: what a tip-in rises to, and where it starts from."""
TIP_INS_APART_S = 2.0
HALF_WITHIN_S = (-1.2, 1.2)
THROTTLE_WITHIN_S = (-1.0, 0.3)
"""Where the throttle begins to open, from the time at which half of the pull is there."""
THROTTLE_MOVES = 0.06
"""Over its whole range: what it has to open by to be seen to begin."""


@dataclass(frozen=True)
class TipInFound:
    """A tip-in: when half of its pull is first there [s], and when its throttle begins to open, if that was logged."""

    half_s: float
    throttle_s: float | None = None


def tip_ins_in(pull: Evenly) -> list[TipInFound]:
    """The tip-ins of a pull, (m, 1), that is forward above 0."""
    values = smoothed(pull.values[:, 0], pull.step_s, LOOKED_AT_S)
    rest, top = np.percentile(values, [REST_PERCENTILE, TOP_PERCENTILE])
    whole = float(top - rest)
    if not whole > 0.0:
        return []
    steps = steps_in(values[:, None], pull.step_s)[:, 0]
    left, found = steps.copy(), []
    apart = round(TIP_INS_APART_S / pull.step_s)
    while left.max() > RISES_TO * whole:
        at = int(np.argmax(left))
        left[max(0, at - apart) : at + apart] = 0.0
        before = float(np.mean(values[max(0, at - round(0.9 / pull.step_s)) : max(1, at - round(0.1 / pull.step_s))]))
        low, high = (rest + end * whole for end in STARTS_WITHIN)
        after = before + steps[at]
        if low <= before <= high and after >= rest + RISES_TO * whole:
            found.append(TipInFound(_half_s(pull.time_s, values, at, 0.5 * (before + after))))
    return sorted(found, key=lambda one: one.half_s)


def _half_s(time_s: Array, values: Array, at: int, half: float) -> float:
    """When the pull first comes past a level about a place: a pull that drowns comes past it once more."""
    step = float(time_s[1] - time_s[0])
    first, last = (int(np.clip(at + round(edge / step), 0, len(values) - 1)) for edge in HALF_WITHIN_S)
    risen = np.flatnonzero((values[first:last] < half) & (values[first + 1 : last + 1] >= half))
    return float(time_s[first + risen[0]]) if len(risen) else float(time_s[at])


def is_forward(pull: Evenly) -> bool:
    """Whether a pull along a car of which nobody knows the front is forward above 0."""
    ways = [tip_ins_in(pull), tip_ins_in(Evenly(pull.time_s, -pull.values))]
    (count, first), (other, other_first) = ((len(way), way[0].half_s if way else np.inf) for way in ways)
    return count > other or (count == other and first <= other_first)


def with_throttle(found: TipInFound, time_s: Array, throttle: Array) -> TipInFound:
    """The same with the time at which the throttle begins to open: where the line through a fifth and a half of its
    move meets the level before. throttle : nan where it was not read."""
    seen = np.isfinite(throttle)
    near = seen & (time_s >= found.half_s + THROTTLE_WITHIN_S[0]) & (time_s <= found.half_s + THROTTLE_WITHIN_S[1])
    if near.sum() < 4:
        return found
    times, values = time_s[near], throttle[near]
    whole = float(np.percentile(throttle[seen], 99.0) - np.percentile(throttle[seen], 1.0))
    low, high = float(np.median(values[: max(3, len(values) // 4)])), float(np.max(values))
    if high - low < 0.3 * whole or high - low < THROTTLE_MOVES * whole:
        return found
    fifth, half = (low + share * (high - low) for share in (0.2, 0.5))
    past = int(np.argmax(values >= half))
    early = np.flatnonzero(values[: past + 1] < fifth)
    if not len(early) or past == 0:
        return found
    place = int(early[-1])
    at_fifth = float(np.interp(fifth, values[place : place + 2], times[place : place + 2]))
    at_half = float(np.interp(half, values[past - 1 : past + 1], times[past - 1 : past + 1]))
    return TipInFound(found.half_s, at_fifth - (at_half - at_fifth) * 2.0 / 3.0)
