"""A measured mixture trace against the model, as a picture in a file."""

from pathlib import Path
from typing import Any

import numpy as np

from configurator.physics.fuel_path import Array
from configurator.views.pictures import new_figure, save_whole
from configurator.workshop.trace import Measured
from configurator.workshop.trace_model import ModelTrace

SHOWN_MS = (-200.0, 2000.0)
PHI_SHOWN = (0.4, 2.0)


def save_trace(measured: Measured, model: ModelTrace, path: Path) -> None:
    """Draw a trace with its hole and flood shaded, and the model's mixture, into an SVG or PNG file.

    Raises BadInput for another ending or a missing folder, TipinError where matplotlib is not installed. The file
    appears whole or not at all.
    """
    figure = new_figure(path, 4.6)
    _draw(figure.subplots(), measured, model)
    save_whole(figure, path)


def _draw(axes: Any, measured: Measured, model: ModelTrace) -> None:
    time, phi = measured.time_ms, measured.phi
    lean, rich = measured.lean_phi, measured.rich_phi
    event = time >= 0.0
    axes.fill_between(time, phi, lean, where=event & (phi < lean), interpolate=True, color="0.55",
                      label="hole: below the lean limit")  # fmt: skip
    axes.fill_between(time, phi, rich, where=event & (phi > rich), interpolate=True, facecolor="0.9", edgecolor="0.4",
                      hatch="////", linewidth=0, label="flood: above the rich limit")  # fmt: skip
    for begin, end in measured.bridged_ms:
        axes.axvspan(begin, end, ymax=0.025, color="0.4", linewidth=0)
    axes.axhline(lean, color="0.35", linestyle="--", linewidth=1)
    axes.axhline(rich, color="0.35", linestyle=":", linewidth=1.2)
    axes.axvline(0.0, color="0.6", linewidth=0.8)
    axes.plot(measured.read_time_ms, measured.read_phi, ".", color="0.5", markersize=3, label="readings")
    axes.plot(time, phi, color="0.0", linewidth=2, label="measured, lag taken out")
    axes.plot(model.time_ms, model.phi, color="0.2", linewidth=1.2, linestyle="-.", label="model")
    axes.set(xlim=SHOWN_MS, ylim=_span(phi, model.phi), xlabel="time after tip-in, ms", ylabel="equivalence ratio phi")
    axes.set_title(f"{model.title}: mixture after tip-in\n{_counted(measured, model)}", fontsize=9, loc="left")
    axes.legend(fontsize=8, loc="upper right", ncols=2)


def _span(*curves: Array) -> tuple[float, float]:
    """Heights to show: what the curves reach, within what matters, and room for the legend."""
    low, high = (edge(np.concatenate(curves)) for edge in (np.min, np.max))
    return max(PHI_SHOWN[0], float(low) - 0.1), min(PHI_SHOWN[1], float(high) + 0.1) + 0.25


def _counted(measured: Measured, model: ModelTrace) -> str:
    spells = measured.spells
    hole, flood = (
        f"{spells.hole_ms:.0f} ± {measured.hole_doubt_ms:.0f}",
        f"{spells.flood_ms:.0f} ± {measured.flood_doubt_ms:.0f}",
    )
    return (
        f"hole {hole} ms (model {model.hole_ms:.0f}), flood {flood} ms (model {model.flood_ms:.0f}), longest spell each"
    )
