"""Pictures: in the terminal by characters, in a file by matplotlib (loaded only when a file is asked for)."""

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from configurator.band import Band
from configurator.errors import BadInput, Fault, TipinError
from configurator.physics.fuel_path import Array

SHOWN_MS = 800.0
FORMATS = (".svg", ".png")


def _top(band: Band) -> float:
    """Height of the picture [cc/s]: the shot and the settled part of the band; the first spike of demand is cut."""
    return max(
        1.3 * float(band.delivered_cc_s.max()), 1.2 * float(np.median(band.rich_cc_s[band.time_ms < SHOWN_MS])), 0.5
    )


def _counted(band: Band) -> str:
    """The spells that count; the walls store and give back, so they are not what the eye measures off the band."""
    return f"counted as too lean: {band.hole_ms:.0f} ms, too rich: {band.flood_ms:.0f} ms (the walls even out the rest)"


def terminal_picture(band: Band, width: int = 72, height: int = 14) -> str:
    """The band as dots, the shot as a line of #, in characters; X where the shot runs inside the band is still #."""
    top = _top(band)
    times = np.linspace(0.0, SHOWN_MS, width)
    lean, rich, shot = (
        np.interp(times, band.time_ms, flow) for flow in (band.lean_cc_s, band.rich_cc_s, band.delivered_cc_s)
    )
    rows = []
    for row in range(height):
        high, low = top * (height - row) / height, top * (height - row - 1) / height
        cells = np.where((rich > low) & (lean < high), ".", " ")
        cells = np.where((shot > low) & (shot <= high), "#", cells)
        label = f"{high:5.1f} |" if row % 4 == 0 else "      |"
        rows.append(label + "".join(cells))
    axis = "      +" + "-" * width
    ticks = (
        "       "
        + "".join(f"{int(tick):<{width // 4}d}" for tick in np.linspace(0, SHOWN_MS, 5)[:-1])
        + f"{SHOWN_MS:.0f} ms"
    )
    return "\n".join(
        [band.title, _counted(band), "flow in cc/s; . demand, lean to rich limit; # delivered shot", *rows, axis, ticks]
    )


def save_bands(bands: Sequence[Band], path: Path) -> None:
    """Draw bands one below the other into an SVG or PNG file; raises BadInput for another ending or a missing folder,
    TipinError where matplotlib is not installed. The file appears whole or not at all."""
    figure = new_figure(path, 4.2 * len(bands))
    for axes, band in zip(np.atleast_1d(figure.subplots(len(bands), 1)), bands, strict=True):
        _draw(axes, band)
    save_whole(figure, path)


def new_figure(path: Path, height_in: float) -> Any:
    """An empty figure for an SVG or PNG file; raises as save_bands does, so that nothing is drawn in vain."""
    if path.suffix.lower() not in FORMATS:
        raise BadInput(
            [Fault(str(path), "", f"cannot draw a '{path.suffix}' file", "a name that ends in .svg or .png")]
        )
    if not path.parent.is_dir():
        raise BadInput([Fault(str(path), "", "its folder does not exist", "a folder that is there")])
    try:
        import matplotlib
        from matplotlib.figure import Figure
    except ImportError:
        raise TipinError("drawing to a file needs matplotlib: pip install matplotlib, in tipin's environment") from None
    matplotlib.rcParams["svg.hashsalt"] = "tipin"
    return Figure(figsize=(8, height_in), layout="constrained")


def _draw(axes: Any, band: Band) -> None:
    top = _top(band)
    clip: Array = np.minimum(band.rich_cc_s, top * 1.05)
    axes.fill_between(
        band.time_ms, np.minimum(band.lean_cc_s, top * 1.05), clip, color="0.85", label="demand, lean to rich limit"
    )
    axes.plot(band.time_ms, band.lean_cc_s, color="0.35", linestyle="--", linewidth=1, label="lean limit")
    axes.plot(band.time_ms, band.rich_cc_s, color="0.35", linestyle=":", linewidth=1.2, label="rich limit")
    axes.plot(band.time_ms, band.delivered_cc_s, color="0.0", linewidth=2, label="delivered shot")
    axes.set(xlim=(0, SHOWN_MS), ylim=(0, top), xlabel="time after tip-in, ms", ylabel="fuel flow, cc/s")
    axes.set_title(f"{band.title}\n{_counted(band)}", fontsize=9, loc="left")
    axes.legend(fontsize=8, loc="upper right")


def save_whole(figure: Any, path: Path) -> None:
    """Write a figure beside its target, then put it in place; raises BadInput where that cannot be."""
    name = ""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=path.suffix)
        os.close(handle)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(name, 0o666 & ~umask)
        metadata = {"Date": None} if path.suffix.lower() == ".svg" else {}
        figure.savefig(name, metadata=metadata)
        os.replace(name, path)
    except OSError as error:
        raise BadInput([Fault(str(path), "", f"cannot be written ({error.strerror})")]) from None
    finally:
        if name:
            Path(name).unlink(missing_ok=True)
