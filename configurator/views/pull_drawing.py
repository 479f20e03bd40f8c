"""The pull after tip-in as a drawing of the page: the best that the air can give, as fitted, and with the next step."""

from collections.abc import Iterator, Mapping

import numpy as np

from configurator.arrays import Array
from configurator.judging.pull import PullGiven
from configurator.views.drawing import WIDE, drawing, element, key_of_lines, path
from configurator.views.pull_pictures import says_of_pull

TOP, GROUND, HIGH, EDGE = 12.0, 168.0, 228.0, 4.0
POINTS_SHOWN = 61
PULL_SHOWN_MS = 1200.0
"""What is felt comes before."""
MOST_SHOWN_PERCENT = 108.0


def pull_drawing(fitted: PullGiven, then: PullGiven | None) -> str:
    """One circuit's pull as fitted, and with the next step where there is one."""
    pulls: Mapping[str, PullGiven] = {"as fitted": fitted} | ({"next": then} if then else {})
    return drawing(says_of_pull(pulls), HIGH, _elements(fitted, then))


def _elements(fitted: PullGiven, then: PullGiven | None) -> Iterator[str]:
    time_ms = np.linspace(0.0, PULL_SHOWN_MS, POINTS_SHOWN)

    def line(pull: PullGiven, percent: Array) -> list[tuple[float, float]]:
        heights = np.interp(time_ms, pull.mixture.time_ms, percent)
        across = EDGE + time_ms / PULL_SHOWN_MS * (WIDE - 2 * EDGE)
        down = GROUND - np.clip(heights, -5.0, MOST_SHOWN_PERCENT) / MOST_SHOWN_PERCENT * (GROUND - TOP)
        return list(zip(across.tolist(), down.tolist(), strict=True))

    best, now = line(fitted, fitted.best_percent), line(fitted, fitted.given_percent)
    yield path("missing", [*best, *reversed(now)], closed=True)
    yield path("axis", [(EDGE, GROUND), (WIDE - EDGE, GROUND)])
    yield path("best", best)
    yield path("fitted", now)
    if then is not None:
        yield path("next", line(then, then.given_percent))
    yield element("text", "soft", "foot down", x=EDGE, y=GROUND + 18)
    yield element("text", "soft", f"{PULL_SHOWN_MS / 1e3:g} s", x=WIDE - EDGE, y=GROUND + 18, text_anchor="end")
    following = [("next", "next", 70)] if then is not None else []
    yield from key_of_lines(
        EDGE, GROUND + 47, (("best", "best there is", 132), ("fitted", "as fitted", 106), *following)
    )
