"""The delivered shot against the demand: drawn into a figure, by characters in a terminal, and in words."""

from collections.abc import Sequence

import numpy as np

from configurator.arrays import Array
from configurator.judging.band import Band
from configurator.judging.delivery import Delivery
from configurator.physics.spells import POOR_PHI, RICH_PHI
from configurator.views.picture_style import (
    DARK,
    INK,
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

SHOT_SHOWN_MS = 800.0
LIMITS = {"lean": "--", "rich": ":"}
"""Dash of either limit, in every picture that has both."""

ASKED = f"what keeps phi between {POOR_PHI:.2f} and {RICH_PHI:.2f}"


@house_style()
def shot_picture(bands: Sequence[Band], *, stacked: bool = False) -> Figure:
    """Demand bands with the shot delivered into each, at one scale: two beside each other, or one below the other
    (stacked), which reads on a phone too. Raises TipinError without matplotlib."""
    figure, plots = panels(len(bands), 3.4, stacked=stacked)
    top = max(_top(band) for band in bands)
    for axes, band in zip(plots, bands, strict=True):
        _draw(axes, band, top)
        titled(axes, f"{band.vehicle}, {band.circuit} circuit", band.parts, felt_line(band))
    headed(figure, "Delivered shot against the demand")
    key_below(figure, plots[0])
    return laid_out(figure)


def _draw(axes: Axes, band: Band, top: float) -> None:
    lean, rich = (np.minimum(flow, 1.05 * top) for flow in (band.lean_cc_s, band.rich_cc_s))
    axes.fill_between(band.time_ms, lean, rich, color=PALE, linewidth=0, label=ASKED)
    axes.plot(
        band.time_ms, band.lean_cc_s, color=DARK, linestyle=LIMITS["lean"], linewidth=1.1, label=f"phi {POOR_PHI:.2f}"
    )
    axes.plot(band.time_ms, band.delivered_cc_s, color=INK, linewidth=2.4, label="delivered shot")
    axes.plot(
        band.time_ms, band.rich_cc_s, color=DARK, linestyle=LIMITS["rich"], linewidth=1.6, label=f"phi {RICH_PHI:.2f}"
    )
    axes.set(xlim=(0.0, SHOT_SHOWN_MS), ylim=(0.0, top), xlabel="time after tip-in, ms", ylabel="fuel flow, cc/s")


def _top(band: Band) -> float:
    """Height of the picture [cc/s]: the shot and the settled part of the band; the first spike of demand is cut."""
    settled = float(np.median(band.rich_cc_s[band.time_ms < SHOT_SHOWN_MS]))
    return max(1.3 * float(band.delivered_cc_s.max()), 1.2 * settled, 0.5)


def felt_line(delivery: Delivery) -> str:
    """What is felt of it; the walls store and give back, so it is not what the eye measures off the band."""
    return f"felt: {delivery.felt}"


def says_of_shot(bands: Sequence[Band]) -> str:
    """The shots in words, one sentence each."""
    return " ".join(f"{which(band, bands)}{_delivered(band)}" for band in bands)


def _delivered(band: Band) -> str:
    if not band.pumps:
        return "Nothing is delivered: the lobe does not meet the pump's lever."
    return f"Delivered shot of {band.volume_cc:.2f} cc within {band.ends_ms:.0f} ms. Felt: {band.felt}."


def which(one: Delivery, of: Sequence[Delivery]) -> str:
    """What tells one of several apart, to stand before what is said of it."""
    if len(of) == 1:
        return ""
    return f"{one.vehicle}, {one.circuit} circuit with {', '.join(one.parts)}: "


def terminal_picture(band: Band, width: int = 72, height: int = 14) -> str:
    """The band as dots, the shot as a line of #, in characters; where the shot runs inside the band it is still #."""
    top = _top(band)
    times = np.linspace(0.0, SHOT_SHOWN_MS, width)
    lean, rich, shot = (
        np.interp(times, band.time_ms, flow) for flow in (band.lean_cc_s, band.rich_cc_s, band.delivered_cc_s)
    )
    rows = []
    for row in range(height):
        high, low = top * (height - row) / height, top * (height - row - 1) / height
        cells: Array = np.where((rich > low) & (lean < high), ".", " ")
        cells = np.where((shot > low) & (shot <= high), "#", cells)
        label = f"{high:5.1f} |" if row % 4 == 0 else "      |"
        rows.append(label + "".join(cells))
    axis = "      +" + "-" * width
    ticks = (
        "       "
        + "".join(f"{int(tick):<{width // 4}d}" for tick in np.linspace(0, SHOT_SHOWN_MS, 5)[:-1])
        + f"{SHOT_SHOWN_MS:.0f} ms"
    )
    return "\n".join([band.title, felt_line(band), f"flow in cc/s; . {ASKED}; # delivered shot", *rows, axis, ticks])
