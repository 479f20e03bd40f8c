"""The pull after tip-in against the best there is, with the mixture below: drawn into a figure, and in words."""

from collections.abc import Mapping
from itertools import repeat
from typing import Any

import numpy as np

from configurator.judging.pull import PullGiven
from configurator.views.mixture_pictures import MIXTURE_SHOWN_MS, PHI_AXIS, phi_span
from configurator.views.picture_style import (
    DARK,
    INK,
    LIGHT,
    MIDDLE,
    Figure,
    headed,
    house_style,
    key_below,
    laid_out,
    panels,
    titled,
)
from configurator.views.shot_pictures import felt_line

LAST_LOOK: dict[str, Any] = {"color": INK, "linestyle": "-", "linewidth": 2.2}
EARLIER_LOOK: dict[str, Any] = {"color": DARK, "linestyle": "-.", "linewidth": 1.6}
BEST = "best of this air"


@house_style()
def pull_picture(pulls: Mapping[str, PullGiven]) -> Figure:
    """Pulls of one circuit and their best over time; below, the mixtures that give them. pulls : one or two, by what
    each choice is called; the last is looked at. Raises TipinError without matplotlib."""
    figure, (above, below) = panels(2, 2.6, stacked=True, one_height=False)
    *_, last = pulls.values()
    time = last.mixture.time_ms
    above.plot(time, last.best_percent, color=MIDDLE, linestyle="--", linewidth=1.4, label=BEST)
    looks = [*repeat(EARLIER_LOOK, len(pulls) - 1), LAST_LOOK]
    for (called, pull), look in zip(pulls.items(), looks, strict=True):
        above.plot(time, pull.given_percent, label=called, **look)
        below.plot(time, pull.mixture.phi, label=called, **look)
    above.fill_between(
        time, last.given_percent, last.best_percent, where=last.given_percent < last.best_percent, interpolate=True,
        color=LIGHT, linewidth=0, label=f"missing {[*pulls][-1]}",
    )  # fmt: skip
    lowest = min(float(pull.given_percent.min()) for pull in pulls.values())
    above.set(ylim=(min(-5.0, lowest - 5.0), 108.0), ylabel="pull,\n% of the best")
    below.set(ylim=phi_span(*(pull.mixture.phi for pull in pulls.values())), ylabel=PHI_AXIS)
    for axes in (above, below):
        axes.set(xlim=(0.0, MIXTURE_SHOWN_MS), xlabel="time after tip-in, ms")
        axes.set_xticks(np.linspace(0.0, MIXTURE_SHOWN_MS, 5))
    titled(above, f"{last.mixture.vehicle}, {last.mixture.circuit} circuit", *_said(pulls))
    headed(figure, "Pull after tip-in")
    key_below(figure, above, below)
    return laid_out(figure)


def _said(pulls: Mapping[str, PullGiven]) -> list[str | tuple[str, ...]]:
    """Parts of each choice, of a later one those that differ, and what is felt of it."""
    said: list[str | tuple[str, ...]] = []
    before: tuple[str, ...] = ()
    for called, pull in pulls.items():
        first, *others = [part for part in pull.mixture.parts if part not in before] or ["the same parts"]
        said += [(f"{called}: {first}", *others), felt_line(pull.mixture)]
        before = pull.mixture.parts
    return said


def says_of_pull(pulls: Mapping[str, PullGiven]) -> str:
    """What is felt of each, in words."""
    mixtures = {called: pull.mixture for called, pull in pulls.items()}
    if not any(mix.counts.any() for mix in mixtures.values()):
        return "The throttle of this circuit does not open: nothing is felt of it."
    return " ".join(f"{called.capitalize()}: {mix.felt}." for called, mix in mixtures.items())
