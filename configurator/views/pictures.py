"""Pictures, each one function from data to a figure, with a function that says the same in words.

    figure = shot_picture([band_of(case, "front", choice)])
    save_picture(figure, Path("shot.svg"))      # or as_svg(figure), as_png(figure)

Two threads may draw and save at the same time. Those of one vehicle's circuit by word: vehicle_pictures.PICTURES.
"""

from collections.abc import Sequence
from pathlib import Path

from configurator.judging.band import Band
from configurator.views.mixture_pictures import mixture_picture, says_of_mixture
from configurator.views.money_picture import money_picture, says_of_money
from configurator.views.part_pictures import lift_picture, says_of_lift, says_of_sizes, sizes_picture
from configurator.views.picture_style import as_png, as_svg, check_can_draw, save_picture
from configurator.views.pull_pictures import pull_picture, says_of_pull
from configurator.views.shot_pictures import says_of_shot, shot_picture, terminal_picture

__all__ = [
    "as_png",
    "as_svg",
    "check_can_draw",
    "lift_picture",
    "mixture_picture",
    "money_picture",
    "pull_picture",
    "save_bands",
    "save_picture",
    "says_of_lift",
    "says_of_mixture",
    "says_of_money",
    "says_of_pull",
    "says_of_shot",
    "says_of_sizes",
    "shot_picture",
    "sizes_picture",
    "terminal_picture",
]  # fmt: skip


def save_bands(bands: Sequence[Band], path: Path) -> None:
    """Draw bands one below the other into an SVG or PNG file; raises as save_picture does, before anything is drawn."""
    check_can_draw(path)
    save_picture(shot_picture(bands, stacked=True), path, says_of_shot(bands))
