"""A measured mixture trace against the model: drawn into a figure, and as a file."""

from pathlib import Path

from configurator.learning.trace.trace import Measured
from configurator.learning.trace.trace_model import ModelTrace
from configurator.views.mixture_pictures import draw_limits, phi_span, shade_beyond
from configurator.views.picture_style import (
    DARK,
    INK,
    MIDDLE,
    Figure,
    check_can_draw,
    headed,
    house_style,
    key_below,
    laid_out,
    new_figure,
    save_picture,
    titled,
)

TRACE_SHOWN_MS = (-200.0, 2000.0)


def save_trace(measured: Measured, model: ModelTrace, path: Path) -> None:
    """Draw a trace into an SVG or PNG file; raises as save_picture does, before anything is drawn."""
    check_can_draw(path)
    save_picture(trace_picture(measured, model), path, says_of_trace(measured, model))


@house_style()
def trace_picture(measured: Measured, model: ModelTrace) -> Figure:
    """A trace with its hole and flood shaded, and the model's mixture. Raises TipinError without matplotlib."""
    figure = new_figure(4.6)
    axes, time, phi = figure.subplots(), measured.time_ms, measured.phi
    draw_limits(axes, measured.lean_phi, measured.rich_phi)
    shade_beyond(axes, time, phi, measured.lean_phi, measured.rich_phi, time >= 0.0)
    for begin, end in measured.bridged_ms:
        axes.axvspan(begin, end, ymax=0.025, color=DARK, linewidth=0, label="gap bridged")
    axes.axvline(0.0, color=MIDDLE, linewidth=0.8)
    axes.plot(measured.read_time_ms, measured.read_phi, ".", color=MIDDLE, markersize=3, label="readings")
    axes.plot(time, phi, color=INK, linewidth=2.2, label="measured, lag taken out")
    axes.plot(model.time_ms, model.phi, color=DARK, linewidth=1.4, linestyle="-.", label="model")
    axes.set(xlim=TRACE_SHOWN_MS, ylim=phi_span(phi, model.phi))
    titled(axes, model.title, _counted_spells(measured, model))
    headed(figure, "Measured mixture after tip-in")
    key_below(figure, axes)
    return laid_out(figure)


def says_of_trace(measured: Measured, model: ModelTrace) -> str:
    """The trace in words."""
    return f"Measured mixture after tip-in of {model.title}: {_counted_spells(measured, model)}."


def _counted_spells(measured: Measured, model: ModelTrace) -> str:
    spells = measured.spells
    hole, flood = (
        f"{spells.hole_ms:.0f} ± {measured.hole_doubt_ms:.0f}",
        f"{spells.flood_ms:.0f} ± {measured.flood_doubt_ms:.0f}",
    )
    return (
        f"hole {hole} ms (model {model.hole_ms:.0f}), flood {flood} ms (model {model.flood_ms:.0f}), longest spell each"
    )
