"""Parts that a carburettor came with and that bear no code: a standard or a large pump, a plain or a free-flow screw,
and the lobe that goes with such a pump.

Each is a class with figures in its middle (assumed, common practice of the trade).
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from configurator.catalogue.parts import FeedScrewFigures, LobeFigures, PartFigures, PumpFigures

STANDARD_PUMP = PumpFigures(
    code="standard", capacity_ten_strokes_cc=30, diaphragm_area_mm2=700, safe_stroke_mm=6.2, spring_preload_n=9,
    spring_rate_n_per_mm=1.5, lever="short", depth_below_bowl_mm=14,
)  # fmt: skip
LARGE_PUMP = PumpFigures(
    code="large", capacity_ten_strokes_cc=50, diaphragm_area_mm2=900, safe_stroke_mm=8.0, spring_preload_n=11,
    spring_rate_n_per_mm=1.6, lever="long", lever_ratio=1.1, depth_below_bowl_mm=19,
)  # fmt: skip
STANDARD_PARTS: Mapping[str, Mapping[str, PartFigures]] = MappingProxyType({
    "pump": MappingProxyType({
        "standard": STANDARD_PUMP,
        "large": LARGE_PUMP,
    }),
    "feed_screw": MappingProxyType({
        "plain": FeedScrewFigures(code="plain", passage_area_mm2=3.0, free_flow=False),
        "free-flow": FeedScrewFigures(code="free-flow", passage_area_mm2=6.5, free_flow=True),
    }),
    "lobe": MappingProxyType({
        "standard": LobeFigures(
            code="standard", total_lift_mm=2.8, duration_deg=55, nose=1.6, lever="short", phases_deg=(0.0,)
        ),
        "large": LobeFigures(
            code="large", total_lift_mm=4.1, duration_deg=60, nose=1.8, lever="long", phases_deg=(0.0,)
        ),
    }),
})  # fmt: skip
"""By slot and word."""


def like_of_capacity(ten_strokes_cc: float) -> PumpFigures:
    """The class that a pump of a capacity [cc in ten strokes] is nearer to."""
    is_large = ten_strokes_cc**2 > STANDARD_PUMP.capacity_ten_strokes_cc * LARGE_PUMP.capacity_ten_strokes_cc
    return LARGE_PUMP if is_large else STANDARD_PUMP


def figures_of_capacity(ten_strokes_cc: float) -> dict[str, Any]:
    """What else there is to a pump of which nothing but its capacity is known: as its class, the diaphragm as much
    larger as it holds more, so that its stroke is the same."""
    like = like_of_capacity(ten_strokes_cc)
    area_mm2 = round(like.diaphragm_area_mm2 * ten_strokes_cc / like.capacity_ten_strokes_cc, 1)
    aside = {"code", "capacity_cc", "capacity_ten_strokes_cc"}
    return like.model_dump(exclude=aside) | {"diaphragm_area_mm2": area_mm2}
