"""Which way a car pulls in a recording of three axes, however the phone lies in it.

Up is where gravity points when nothing else does: the middle of each axis, since a car mostly stands or cruises. What
is left lies flat, and the pulls show the line along which the car goes: the axis of the largest steps. Which of its two
ends is forward, the tip-ins tell (learning.recording.tip_ins).
"""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.errors import BadInput, Fault
from configurator.learning.recording.recording_file import Recording
from configurator.learning.recording.smoothing import Evenly, evenly, smoothed

COARSE_S = 0.1
STEP_BEFORE_S, STEP_AFTER_S = (-0.9, -0.1), (0.3, 1.1)
"""What a step is the difference of: means from its time on."""
LARGE_STEP = 0.5
"""Over the largest: what counts for the line of the pulls."""
ONE_LINE = 3.0
"""How much more of the steps lies along the line than across it, for the line to be sure."""
LEAST_STEP_M_S2 = 0.25
"""Less than this is no tip-in of any car (assumed)."""


@dataclass(frozen=True)
class AlongTheCar:
    """Acceleration along the line of the pulls [m/s2] at even times, forward or backward, and sentences on it."""

    along: Evenly
    notes: tuple[str, ...]


def along_the_car(recording: Recording) -> AlongTheCar:
    """Raises BadInput where nothing pulls."""
    even = evenly(recording.time_s, recording.values)
    rest = np.median(even.values, axis=0)
    flat = even.values - rest
    if recording.has_gravity:
        up = rest / np.linalg.norm(rest)
        flat = flat - (flat @ up)[:, None] * up
    steps = steps_in(smoothed(flat, even.step_s, COARSE_S), even.step_s)
    size = np.linalg.norm(steps, axis=1)
    if not size.max() > LEAST_STEP_M_S2:
        found = f"its largest step is {float(size.max()):.2f} m/s2"
        expected = f"a tip-in: more than {LEAST_STEP_M_S2:g} m/s2 within a second"
        raise BadInput(
            [Fault(recording.file, "", found, expected, "record the throttle snapped open, the car in gear")]
        )
    large = steps[size > LARGE_STEP * size.max()]
    spread, axes = np.linalg.eigh(large.T @ large)
    notes = []
    if spread[-1] < ONE_LINE**2 * spread[-2]:
        notes.append("the pulls do not lie on one line: drive straight, and fix the phone so that it cannot turn")
    return AlongTheCar(Evenly(even.time_s, (flat @ axes[:, -1])[:, None]), tuple(notes))


def steps_in(values: Array, step_s: float) -> Array:
    """How much more there is from each time on than before it, (m, k); 0 near both ends."""
    count = len(values)
    summed = np.vstack([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    edges = [round(edge / step_s) for edge in (*STEP_BEFORE_S, *STEP_AFTER_S)]
    steps = np.zeros_like(values)
    inner = np.arange(-edges[0], count - edges[-1])
    if len(inner):
        before = (summed[inner + edges[1]] - summed[inner + edges[0]]) / (edges[1] - edges[0])
        after = (summed[inner + edges[3]] - summed[inner + edges[2]]) / (edges[3] - edges[2])
        steps[inner] = after - before
    return steps
