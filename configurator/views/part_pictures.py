"""Parts against each other: what every nozzle size covers, and how a lobe lifts in each phase; drawn, and in words."""

from typing import Any

from configurator.judging.lift import LobeLift
from configurator.learning.belief import FACTORS, Belief
from configurator.learning.nozzle_windows import NozzleWindows, SizeWindow
from configurator.physics.verdict import FACTOR_RANGE
from configurator.units.units import show_diameter
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
    new_figure,
    titled,
)

ROW_IN = 0.19
FACTOR_TICKS = (0.25, 0.5, 0.7, 1.0, 1.4, 2.0, 4.0)
CHOSEN_LOOK: dict[str, Any] = {"color": INK, "linestyle": "-", "linewidth": 2.4}
PHASE_LOOKS: tuple[dict[str, Any], ...] = (
    {"color": DARK, "linestyle": "--", "linewidth": 1.5}, {"color": MIDDLE, "linestyle": "-.", "linewidth": 1.5},
    {"color": DARK, "linestyle": ":", "linewidth": 1.8}, {"color": MIDDLE, "linestyle": (0, (7, 2)), "linewidth": 1.5},
)  # fmt: skip
"""Of the phases that are not chosen, in turn; a lobe has few."""


@house_style()
def windows_picture(windows: NozzleWindows) -> Figure:
    """Factors that each size covers as bars, below what is believed of f. Raises TipinError without matplotlib."""
    rows = len(windows.sizes)
    heights = (1.1, max(ROW_IN * rows, 0.6))
    figure = new_figure(sum(heights) + 2.0)
    above, axes = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": heights})
    _draw_belief(above, windows.belief)
    for row, size in enumerate(windows.sizes):
        _draw_window(axes, row, size)
    judged_at = f"judged at f = {windows.factor:.2f}"
    for plot in (above, axes):
        plot.axvline(windows.factor, color=INK, linestyle="--", linewidth=1.3, label=judged_at)
    axes.set_yticks(range(rows), [show_diameter(size.diameter_mm) for size in windows.sizes])
    for label, size in zip(axes.get_yticklabels(), windows.sizes, strict=True):
        label.set_fontweight("bold" if size.chosen else "normal")
    axes.grid(axis="y", visible=False)
    axes.set(xscale="log", xlim=FACTOR_RANGE, ylim=(-0.7, rows - 0.3), ylabel=f"{windows.kind} nozzle, mm (thou)",
             xlabel="demand factor f (no unit)")  # fmt: skip
    axes.set_xticks(FACTOR_TICKS, [f"{tick:g}" for tick in FACTOR_TICKS])
    axes.set_xticks([], minor=True)
    axes.annotate("sure", (1.0, rows - 0.3), (3.0, 2.0), xycoords=("axes fraction", "data"),
                  textcoords="offset points", va="bottom", fontsize=8.5)  # fmt: skip
    titled(above, f"{windows.vehicle}, {windows.circuit} circuit", windows.parts)
    headed(figure, "What each nozzle size covers")
    key_below(figure, above, axes)
    return laid_out(figure)


def _draw_belief(axes: Axes, belief: Belief) -> None:
    """Density over ln f, the middle 90 % of it darker."""
    low, high = belief.interval(0.9)
    inside = (low <= FACTORS) & (high >= FACTORS)
    axes.fill_between(FACTORS, belief.weights, where=inside, color=PALE, linewidth=0, label="90 % of the belief")
    after = f"after {belief.runs} runs" if belief.runs > 1 else "after 1 run" if belief.runs else "before any run"
    axes.plot(FACTORS, belief.weights, color=DARK, linewidth=1.6, label=f"belief {after}")
    axes.set(ylim=(0.0, 1.1 * float(belief.weights.max())), ylabel="share per\nunit of ln f")


def _draw_window(axes: Axes, row: int, size: SizeWindow) -> None:
    """A bar with its sureness at the right; an end at the edge of what is looked at may lie farther out."""
    share = f"{100 * size.sureness:.0f} %" if size.window else "none"
    axes.annotate(share, (1.0, row), (3.0, 0.0), xycoords=("axes fraction", "data"), textcoords="offset points",
                  va="center", fontsize=8.5, fontweight="bold" if size.chosen else "normal")  # fmt: skip
    if size.window is None:
        return
    look = {"facecolor": INK, "label": "chosen"} if size.chosen else {"facecolor": LIGHT, "label": "other sizes"}
    low, high = size.window
    axes.barh(row, high - low, left=low, height=0.66, edgecolor=DARK, linewidth=0.7, **look)
    for end, edge, mark in ((low, FACTOR_RANGE[0], "<"), (high, FACTOR_RANGE[1], ">")):
        if end == edge:
            axes.plot([end], [row], marker=mark, color=INK, markersize=6, clip_on=False, linestyle="none",
                      label="or beyond")  # fmt: skip


@house_style()
def lift_picture(lift: LobeLift) -> Figure:
    """Lift, and what is left of it, against the throttle in each phase. Raises TipinError without matplotlib."""
    figure = new_figure(5.6)
    above, below = figure.subplots(2, 1, sharex=True)
    others = iter(PHASE_LOOKS)
    for phase in lift.phases:
        look = CHOSEN_LOOK if phase.chosen else next(others, PHASE_LOOKS[-1])
        label = f"at {phase.phase_deg:g} deg{', chosen' if phase.chosen else ''}"
        above.plot(lift.throttle_deg, phase.lift_mm, label=label, **look)
        below.plot(lift.throttle_deg, phase.left_percent, label=label, **look)
        below.plot([lift.idle_deg], [phase.left_at_idle_percent], marker="o", markersize=7, markerfacecolor="1.0",
                   color=look["color"], linestyle="none", clip_on=False, zorder=3.0)  # fmt: skip
    idle = f"idle, {lift.idle_deg:.1f} deg"
    for axes in (above, below):
        axes.axvline(lift.idle_deg, color=LIGHT, linewidth=4.0, zorder=0.9, label=idle)
        axes.set_xlim(0.0, lift.throttle_deg[-1])
    below.axhline(lift.least_left_percent, color=DARK, linewidth=0.9, linestyle=(0, (1, 3)),
                  label=f"least wanted at idle, {lift.least_left_percent:g} %")  # fmt: skip
    above.set(ylabel="lift, mm", ylim=(0.0, None))
    below.set(ylabel="left of the shot, %", ylim=(0.0, 104.0), xlabel="throttle from its closed stop, deg")
    titled(above, f"{lift.vehicle}, {lift.circuit} circuit", lift.lobe)
    headed(figure, "Lift of the lobe in each phase")
    key_below(figure, below)
    return laid_out(figure)


def says_of_windows(windows: NozzleWindows) -> str:
    """What the chosen size covers, and which sizes cover the factor judged at."""
    chosen = next(size for size in windows.sizes if size.chosen)
    covers = "covers no demand factor"
    if chosen.window:
        low, high = chosen.window
        begin = f"{low:.2f}{' or less' if low == FACTOR_RANGE[0] else ''}"
        end = f"{high:.2f}{' or more' if high == FACTOR_RANGE[1] else ''}"
        covers = f"covers demand factors from {begin} to {end}, {100 * chosen.sureness:.0f} % of the belief"
    return f"{show_diameter(chosen.diameter_mm)} {covers}. {_fit(windows)} f = {windows.factor:.2f}."


def _fit(windows: NozzleWindows) -> str:
    """How many sizes cover the factor judged at, as the beginning of a sentence."""
    fit = [
        show_diameter(size.diameter_mm)
        for size in windows.sizes
        if size.window and size.window[0] <= windows.factor <= size.window[1]
    ]
    if len(fit) < 2:
        return f"Of {len(windows.sizes)} sizes {f'only {fit[0]}' if fit else 'none'} covers"
    return f"Of {len(windows.sizes)} sizes {len(fit)}, from {fit[0]} to {fit[-1]}, cover"


def says_of_lift(lift: LobeLift) -> str:
    """Lift of the chosen phase, and what idle leaves of the shot in each."""
    left = ", ".join(
        f"{phase.left_at_idle_percent:.0f} % at {phase.phase_deg:g} deg{' (chosen)' if phase.chosen else ''}"
        for phase in lift.phases
    )
    most = max(float(phase.lift_mm.max()) for phase in lift.phases)
    idle = f"Idle, at {lift.idle_deg:.1f} deg of throttle, leaves of the shot: {left}."
    return f"{lift.lobe} lifts up to {most:.2f} mm. {idle}"
