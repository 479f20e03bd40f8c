"""The pull after tip-in against the best there is, with the mixture below: drawn into a figure, and in words."""

import numpy as np

from configurator.judging.pull import PullGiven
from configurator.views.mixture_pictures import AXIS, MIXTURE_SHOWN_MS, phi_span
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


@house_style()
def pull_picture(pull: PullGiven) -> Figure:
    """Pull and best over time; below, the mixture that gives it. Raises TipinError without matplotlib."""
    mix = pull.mixture
    figure, (above, below) = panels(2, 2.6, stacked=True, one_height=False)
    above.plot(mix.time_ms, pull.best_percent, color=MIDDLE, linestyle="--", linewidth=1.4, label="best of this air")
    above.plot(mix.time_ms, pull.given_percent, color=INK, linewidth=2.2, label="with these parts")
    above.fill_between(
        mix.time_ms, pull.given_percent, pull.best_percent, where=pull.given_percent < pull.best_percent,
        interpolate=True, color=LIGHT, linewidth=0, label="missing",
    )  # fmt: skip
    lowest = min(-5.0, float(pull.given_percent.min()) - 5.0)
    above.set(
        xlim=(0.0, MIXTURE_SHOWN_MS),
        ylim=(lowest, 108.0),
        ylabel="pull,\n% of the best",
        xlabel="time after tip-in, ms",
    )
    titled(above, f"{mix.vehicle}, {mix.circuit} circuit", mix.parts, felt_line(mix))
    below.plot(mix.time_ms, mix.phi, color=DARK, linestyle="-.", linewidth=1.6, label="mixture")
    below.set(xlim=(0.0, MIXTURE_SHOWN_MS), ylim=phi_span(mix.phi), xlabel="time after tip-in, ms", ylabel=AXIS)
    for axes in (above, below):
        axes.set_xticks(np.linspace(0.0, MIXTURE_SHOWN_MS, 5))
    headed(figure, "Pull after tip-in")
    key_below(figure, above, below)
    return laid_out(figure)


def says_of_pull(pull: PullGiven) -> str:
    """The pull in words."""
    mix = pull.mixture
    if not mix.counts.any():
        return "The throttle of this circuit does not open: nothing is felt of it."
    return f"{mix.felt[0].upper()}{mix.felt[1:]}."
