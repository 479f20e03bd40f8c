"""Parts that a carburettor came with and that bear no code: a standard or a large pump, a plain or a free-flow screw,
and the lobe that goes with such a pump.

Each is a class with figures in its middle (assumed, common practice of the trade).
"""

from collections.abc import Mapping
from types import MappingProxyType

from configurator.catalogue.parts import FeedScrewFigures, LobeFigures, PartFigures, PumpFigures

STANDARD_PUMP = PumpFigures(
    code="standard", capacity_ten_strokes_cc=30, diaphragm_area_mm2=700, safe_stroke_mm=6.2, spring_preload_n=9,
    spring_rate_n_per_mm=1.5, lever="short", depth_below_bowl_mm=14,
)  # fmt: skip
"""Of which the trade says up to what nozzle it is good."""
STANDARD_PARTS: Mapping[str, Mapping[str, PartFigures]] = MappingProxyType({
    "pump": MappingProxyType({
        "standard": STANDARD_PUMP,
        "large": PumpFigures(
            code="large", capacity_ten_strokes_cc=50, diaphragm_area_mm2=900, safe_stroke_mm=8.0, spring_preload_n=11,
            spring_rate_n_per_mm=1.6, lever="long", lever_ratio=1.1, depth_below_bowl_mm=19,
        ),
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
