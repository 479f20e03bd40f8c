"""Measured pulls over time against the model's: drawn into a figure, and as a file."""

from pathlib import Path

import numpy as np

from configurator.learning.pulled import told_of
from configurator.learning.recording.pull_model import ModelPull
from configurator.learning.recording.recording import MeasuredPull
from configurator.views.picture_style import (
    DARK,
    INK,
    LIGHT,
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
from configurator.views.tables import counted

MEASURED_SHOWN_MS = (-300.0, 1900.0)


def save_measured_pull(measured: MeasuredPull, model: ModelPull, path: Path) -> None:
    """Draw a recording into an SVG or PNG file; raises as save_picture does, before anything is drawn."""
    check_can_draw(path)
    save_picture(measured_pull_picture(measured, model), path, says_of_measured_pull(measured, model))


@house_style()
def measured_pull_picture(measured: MeasuredPull, model: ModelPull) -> Figure:
    """Every tip-in thin, their mean bold, the model's pull with what is fitted and with what is next, and the best
    there is, each over its level and from where it begins. Raises TipinError without matplotlib."""
    figure = new_figure(4.2)
    axes, time = figure.subplots(), model.time_ms
    courses = np.array([one.course for one in measured.tip_ins])
    for place, course in enumerate(courses):
        axes.plot(time, 100.0 * course, color=LIGHT, linewidth=0.9, label=None if place else "measured tip-ins")
    axes.axvline(0.0, color=MIDDLE, linewidth=0.8)
    axes.plot(time, 100.0 * model.best, color=MIDDLE, linestyle="--", linewidth=1.4, label="best of this air")
    axes.plot(time, 100.0 * model.given, color=DARK, linestyle="-.", linewidth=1.6, label="model, as fitted")
    if model.following is not None:
        axes.plot(time, 100.0 * model.following, color=DARK, linestyle=":", linewidth=1.8, label="model, next step")
    axes.plot(time, 100.0 * courses.mean(axis=0), color=INK, linewidth=2.2, label="mean of the tip-ins")
    begins = "the throttle opens" if measured.pull.from_throttle else "the pull first moves"
    axes.set(xlim=MEASURED_SHOWN_MS, xlabel=f"time from where {begins}, ms", ylabel="pull, % of its level")
    titled(axes, model.title, _counted_tip_ins(measured))
    headed(figure, "Measured pull after tip-in")
    key_below(figure, axes)
    return laid_out(figure)


def says_of_measured_pull(measured: MeasuredPull, model: ModelPull) -> str:
    """The recording in words."""
    return f"Measured pull after tip-in of {model.title}: {_counted_tip_ins(measured)}."


def _counted_tip_ins(measured: MeasuredPull) -> str:
    told, count = told_of(measured.pull), counted(len(measured.tip_ins), "tip-in")
    rise = f"pull there {told.rise_ms:.0f} ± {max(told.rise_doubt_ms, 1.0):.0f} ms after it begins"
    return f"{count}, {rise}, falls by {told.sag_percent:.0f} ± {max(told.sag_doubt_percent, 1.0):.0f} %"
