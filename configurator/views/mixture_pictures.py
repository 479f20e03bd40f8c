"""The mixture after tip-in, with hole and flood shaded: drawn into a figure, and in words."""

from collections.abc import Sequence

import numpy as np

from configurator.arrays import Array, Mask
from configurator.judging.mixture import Mixture, Span
from configurator.physics.spells import POOR_PHI, RICH_PHI
from configurator.views.picture_style import (
    DARK,
    INK,
    LIGHT,
    MIDDLE,
    PALE,
    Axes,
    Figure,
    headed,
    house_style,
    key_below,
    laid_out,
    panels,
    titled,
)
from configurator.views.shot_pictures import LIMITS, felt_line, which

MIXTURE_SHOWN_MS = 2000.0
PHI_SHOWN = (0.2, 2.0)
PHI_AXIS = "mixture phi, no unit\n(up is richer)"
TEXT_FITS_UNTIL_MS = 1400.0
LEAST_MEASURED_MS = 1.0


@house_style()
def mixture_picture(mixtures: Sequence[Mixture], *, stacked: bool = False) -> Figure:
    """Mixtures with and without the shot, at one scale: two beside each other, or one below the other (stacked).

    Raises TipinError without matplotlib.
    """
    figure, plots = panels(len(mixtures), 3.4, stacked=stacked)
    span = phi_span(*(curve[mix.counts] for mix in mixtures for curve in (mix.phi, mix.phi_without)))
    for axes, mix in zip(plots, mixtures, strict=True):
        _draw(axes, mix)
        axes.set(xlim=(0.0, MIXTURE_SHOWN_MS), ylim=span, xticks=np.linspace(0.0, MIXTURE_SHOWN_MS, 5))
        titled(axes, f"{mix.vehicle}, {mix.circuit} circuit", mix.parts, felt_line(mix))
    headed(figure, "Mixture after tip-in")
    key_below(figure, *plots)
    return laid_out(figure)


def _draw(axes: Axes, mix: Mixture) -> None:
    time, phi = mix.time_ms, mix.phi
    draw_limits(axes, POOR_PHI, RICH_PHI)
    shade_beyond(axes, time, phi, POOR_PHI, RICH_PHI, mix.counts)
    if not mix.counts[0]:
        begins = time[mix.counts].min(initial=MIXTURE_SHOWN_MS)
        axes.axvspan(0.0, begins, facecolor=PALE, hatch="xxx", edgecolor=MIDDLE, linewidth=0, label="not counted yet")
    axes.plot(time, mix.phi_without, color=MIDDLE, linestyle="-.", linewidth=1.4, label="without the shot")
    axes.plot(time, phi, color=INK, linewidth=2.2, label="with the shot")
    for span, limit, beyond, word in (
        (mix.poor_span_ms, POOR_PHI, -1, "poor"), (mix.rich_span_ms, RICH_PHI, 1, "rich"),
    ):  # fmt: skip
        if span is not None and mix.pumps and span[1] - span[0] >= LEAST_MEASURED_MS:
            _measure(axes, span, limit, beyond, f"{word} {span[1] - span[0]:.0f} ms")


def _measure(axes: Axes, span: Span, limit: float, beyond: int, text: str) -> None:
    """The longest spell, measured along the limit, with its length where the mixture is back inside."""
    axes.plot(span, (limit, limit), color=INK, linewidth=1.0, marker="|", markersize=9)
    behind = span[1] < TEXT_FITS_UNTIL_MS
    axes.annotate(
        text, (span[1] if behind else span[0], limit), (6.0 if behind else -6.0, 4.0 * beyond),
        textcoords="offset points", ha="left" if behind else "right", va="bottom" if beyond > 0 else "top",
        bbox={"facecolor": "1.0", "edgecolor": "none", "pad": 0.6},
    )  # fmt: skip


def draw_limits(axes: Axes, lean_phi: float, rich_phi: float) -> None:
    """Both limits as lines with their figures, and the scale's name and unit."""
    for word, limit, width in (("lean", lean_phi, 1.1), ("rich", rich_phi, 1.6)):
        axes.axhline(limit, color=DARK, linestyle=LIMITS[word], linewidth=width, label=f"{word}, phi {limit:.2f}")
    axes.set(xlabel="time after tip-in, ms", ylabel=PHI_AXIS)


def shade_beyond(axes: Axes, time_ms: Array, phi: Array, lean_phi: float, rich_phi: float, where: Mask) -> None:
    """Hole and flood between a mixture and its limits, told apart by lightness and hatch."""
    hole, flood = where & (phi < lean_phi), where & (phi > rich_phi)
    if hole.any():
        axes.fill_between(time_ms, phi, lean_phi, where=hole, interpolate=True, color=LIGHT, linewidth=0,
                          label="poor")  # fmt: skip
    if flood.any():
        axes.fill_between(time_ms, phi, rich_phi, where=flood, interpolate=True, facecolor="1.0", edgecolor=DARK,
                          hatch="////", linewidth=0, label="rich")  # fmt: skip


def phi_span(*curves: Array) -> tuple[float, float]:
    """Heights to show: what the curves reach, within what matters."""
    every = np.concatenate([*curves, [0.7, 1.6]])
    return max(PHI_SHOWN[0], float(every.min()) - 0.1), min(PHI_SHOWN[1], float(every.max()) + 0.1)


def says_of_mixture(mixtures: Sequence[Mixture]) -> str:
    """The mixtures in words."""
    return " ".join(f"{which(mix, mixtures)}{_gets(mix)}" for mix in mixtures)


def _gets(mix: Mixture) -> str:
    if not mix.counts.any():
        return "The throttle of this circuit does not open: nothing is counted."
    if not mix.pumps:
        return "The mixture gets no shot: the lobe does not meet the pump's lever."
    phi, without = mix.phi[mix.counts], mix.phi_without[mix.counts]
    return (
        f"Phi falls to {phi.min():.2f} with the shot and to {without.min():.2f} without it, and rises to "
        f"{phi.max():.2f}; below {POOR_PHI:.2f} for {_lasts(mix.poor_span_ms):.0f} ms, above {RICH_PHI:.2f} for "
        f"{_lasts(mix.rich_span_ms):.0f} ms at a stretch. Felt: {mix.felt}."
    )


def _lasts(span: Span | None) -> float:
    return span[1] - span[0] if span else 0.0
