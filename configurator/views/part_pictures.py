"""Parts against each other, drawn and in words: what every nozzle size would be like, a lobe in each phase."""

from collections.abc import Mapping
from typing import Any

from configurator.judging.lift import LobeLift
from configurator.learning.nozzle_sizes import NozzleSizes, SizeShares
from configurator.units.quantities import THOU_MM
from configurator.units.showing import SHOWN, ShownUnits, as_shown
from configurator.units.units import show_diameter
from configurator.views.picture_style import (
    DARK,
    INK,
    LIGHT,
    MIDDLE,
    PALE,
    Figure,
    headed,
    house_style,
    key_below,
    laid_out,
    new_figure,
    titled,
)

ROW_IN = 0.19
CHOSEN_LOOK: dict[str, Any] = {"color": INK, "linestyle": "-", "linewidth": 2.4}
PHASE_LOOKS: tuple[dict[str, Any], ...] = (
    {"color": DARK, "linestyle": "--", "linewidth": 1.5}, {"color": MIDDLE, "linestyle": "-.", "linewidth": 1.5},
    {"color": DARK, "linestyle": ":", "linewidth": 1.8}, {"color": MIDDLE, "linestyle": (0, (7, 2)), "linewidth": 1.5},
)  # fmt: skip
"""Of the phases that are not chosen, in turn; a lobe has few."""


SHARES = (
    ("hesitates", "hesitates", {"facecolor": "1.0", "hatch": "////"}), ("right", "right", {"facecolor": INK}),
    ("flat", "goes flat later", {"facecolor": PALE, "hatch": "...."}), ("rich", "too much fuel", {"facecolor": LIGHT}),
)  # fmt: skip
"""Parts of a bar, from its left: which share, what it is called, and how it looks."""


@house_style()
def sizes_picture(sizes: NozzleSizes) -> Figure:
    """For how much of what is believed of the engine each size is right, and what the rest would feel. Raises
    TipinError without matplotlib."""
    rows = len(sizes.sizes)
    figure = new_figure(max(ROW_IN * rows, 0.6) + 2.0)
    axes = figure.subplots(1, 1)
    for row, size in enumerate(sizes.sizes):
        left = 0.0
        for name, label, look in SHARES:
            share = 100.0 * getattr(size, name)
            axes.barh(row, share, left=left, height=0.66, edgecolor=DARK, linewidth=0.7, label=label, **look)
            left += share
        axes.annotate(_percent(size), (1.0, row), (3.0, 0.0), xycoords=("axes fraction", "data"),
                      textcoords="offset points", va="center", fontsize=8.5,
                      fontweight="bold" if size.chosen else "normal")  # fmt: skip
    axes.set_yticks(range(rows), [as_shown(show_diameter(size.diameter_mm)) for size in sizes.sizes])
    for label, size in zip(axes.get_yticklabels(), sizes.sizes, strict=True):
        label.set_fontweight("bold" if size.chosen else "normal")
    axes.grid(axis="y", visible=False)
    axes.set(xlim=(0.0, 100.0), ylim=(-0.7, rows - 0.3), ylabel=as_shown(f"{sizes.kind} nozzle, mm (thou)"),
             xlabel=f"share of {sizes.belief.engines}, %")  # fmt: skip
    axes.annotate("right", (1.0, rows - 0.3), (3.0, 2.0), xycoords=("axes fraction", "data"),
                  textcoords="offset points", va="bottom", fontsize=8.5)  # fmt: skip
    titled(axes, f"{sizes.vehicle}, {sizes.circuit} circuit", sizes.parts)
    headed(figure, "What each nozzle size would be like")
    key_below(figure, axes)
    return laid_out(figure)


LIFT_IN: Mapping[ShownUnits, tuple[str, float]] = {"metric": ("mm", 1.0), "inch": ("thou", THOU_MM)}
"""Unit of a lift as it is shown, and what that is in mm."""


@house_style()
def lift_picture(lift: LobeLift) -> Figure:
    """Lift, and what is left of it, against the throttle in each phase. Raises TipinError without matplotlib."""
    figure = new_figure(5.6)
    above, below = figure.subplots(2, 1, sharex=True)
    others, (unit, in_mm) = iter(PHASE_LOOKS), LIFT_IN[SHOWN.get()]
    for phase in lift.phases:
        look = CHOSEN_LOOK if phase.chosen else next(others, PHASE_LOOKS[-1])
        label = f"at {phase.phase_deg:g} deg{', chosen' if phase.chosen else ''}"
        above.plot(lift.throttle_deg, phase.lift_mm / in_mm, label=label, **look)
        below.plot(lift.throttle_deg, phase.left_percent, label=label, **look)
        below.plot([lift.idle_deg], [phase.left_at_idle_percent], marker="o", markersize=7, markerfacecolor="1.0",
                   color=look["color"], linestyle="none", clip_on=False, zorder=3.0)  # fmt: skip
    idle = f"idle, {lift.idle_deg:.1f} deg"
    for axes in (above, below):
        axes.axvline(lift.idle_deg, color=LIGHT, linewidth=4.0, zorder=0.9, label=idle)
        axes.set_xlim(0.0, lift.throttle_deg[-1])
    below.axhline(lift.least_left_percent, color=DARK, linewidth=0.9, linestyle=(0, (1, 3)),
                  label=f"least wanted at idle, {lift.least_left_percent:g} %")  # fmt: skip
    above.set(ylabel=f"lift, {unit}", ylim=(0.0, None))
    below.set(ylabel="left of the shot, %", ylim=(0.0, 104.0), xlabel="throttle from its closed stop, deg")
    titled(above, f"{lift.vehicle}, {lift.circuit} circuit", lift.lobe)
    headed(figure, "Lift of the lobe in each phase")
    key_below(figure, below)
    return laid_out(figure)


def says_of_sizes(sizes: NozzleSizes) -> str:
    """How sure the chosen size is, and which is the surest."""
    chosen = next(size for size in sizes.sizes if size.chosen)
    surest = max((size for size in sizes.sizes if size.keeps_rules), key=lambda size: size.right, default=chosen)
    says = f"{show_diameter(chosen.diameter_mm)} is right for {_percent(chosen)} of {sizes.belief.engines}"
    if not chosen.keeps_rules:
        return f"{says} by the pull alone; another rule speaks against it with these parts."
    if _percent(surest) == _percent(chosen):
        return f"{says}; with these parts no other size is right for more."
    return f"{says}; with these parts the surest is {show_diameter(surest.diameter_mm)}, {_percent(surest)}."


def _percent(size: SizeShares) -> str:
    return f"{100 * size.right:.0f} %"


def says_of_lift(lift: LobeLift) -> str:
    """Lift of the chosen phase, and what idle leaves of the shot in each."""
    left = ", ".join(
        f"{phase.left_at_idle_percent:.0f} % at {phase.phase_deg:g} deg{' (chosen)' if phase.chosen else ''}"
        for phase in lift.phases
    )
    most = max(float(phase.lift_mm.max()) for phase in lift.phases)
    idle = f"Idle, at {lift.idle_deg:.1f} deg of throttle, leaves of the shot: {left}."
    return f"{lift.lobe} lifts up to {most:.2f} mm. {idle}"
