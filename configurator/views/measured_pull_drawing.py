"""A recorded pull as a drawing of the page: every tip-in thin, their mean bold, and the model's: best, fitted, next."""

from collections.abc import Iterator

import numpy as np

from configurator.arrays import Array
from configurator.learning.recording.pull_model import ModelPull
from configurator.learning.recording.recording import MeasuredPull
from configurator.views.drawing import WIDE, drawing, element, key_of_lines, path
from configurator.views.measured_pull_pictures import says_of_measured_pull

_TOP, _GROUND, _HIGH, _EDGE = 12.0, 168.0, 252.0, 4.0
_POINTS_SHOWN = 71
_FROM_MS, _TO_MS = -200.0, 1200.0
_LEAST_SHOWN, _MOST_SHOWN = -0.15, 1.2
"""Of the pull over its level."""


def measured_pull_drawing(measured: MeasuredPull, model: ModelPull) -> str:
    """One recording against the model."""
    return drawing(says_of_measured_pull(measured, model), _HIGH, _elements(measured, model))


def _elements(measured: MeasuredPull, model: ModelPull) -> Iterator[str]:
    time_ms = np.linspace(_FROM_MS, _TO_MS, _POINTS_SHOWN)
    across = _EDGE + (time_ms - _FROM_MS) / (_TO_MS - _FROM_MS) * (WIDE - 2 * _EDGE)

    def down(shares: Array) -> Array:
        return _GROUND - np.clip(shares, _LEAST_SHOWN, _MOST_SHOWN) / _MOST_SHOWN * (_GROUND - _TOP)

    def line(course: Array) -> list[tuple[float, float]]:
        heights = down(np.interp(time_ms, model.time_ms, course))
        return list(zip(across.tolist(), heights.tolist(), strict=True))

    begins = float(np.interp(0.0, time_ms, across))
    yield path("axis", [(_EDGE, _GROUND), (WIDE - _EDGE, _GROUND)])
    yield path("rung", [(begins, _TOP), (begins, _GROUND)])
    courses = np.array([one.course for one in measured.tip_ins])
    for course in courses:
        yield path("tip-in", line(course))
    yield path("best", line(model.best))
    yield path("fitted", line(model.given))
    if model.following is not None:
        yield path("next", line(model.following))
    yield path("measured", line(courses.mean(axis=0)))
    starts = "throttle opens" if measured.pull.from_throttle else "pull first moves"
    yield element("text", "soft", starts, x=begins, y=_GROUND + 26)
    yield element("text", "soft", f"{_TO_MS / 1e3:g} s", x=WIDE - _EDGE, y=_GROUND + 26, text_anchor="end")
    yield from key_of_lines(_EDGE, _GROUND + 50, (("measured", "measured", 122), ("tip-in", "each tip-in", 110)))
    following = [("next", "next", 70)] if model.following is not None else []
    model_lines = (("best", "best there is", 132), ("fitted", "model, fitted", 132), *following)
    yield from key_of_lines(_EDGE, _GROUND + 74, model_lines)
