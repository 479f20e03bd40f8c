"""The figures the rules judge by, one file of the catalogue, so that a workshop can overrule one.

The model says which limits there are, their units and how far a figure is sensible; the file says their values and what
each rests on.
"""

from collections.abc import Mapping
from typing import Any, ClassVar, Self

from pydantic import model_validator

from configurator.files.declared import Basis, Number, Record, figure, in_unit


class Limit(Record):
    """One row of limits.csv."""

    name: str = figure("name of the limit", min_length=1, max_length=100)
    value: Number = figure("its value, in the unit of the next column or with its own")
    unit: str = figure("unit, as this page gives it; empty where it has none", default="", max_length=20)
    basis: Basis = figure("published; common practice, no source; assumed; owner's figure")
    source: str = figure("where a published figure stands", default="", max_length=500)
    says: str = figure("what the limit is for, in a sentence", min_length=1, max_length=500)

    @model_validator(mode="before")
    @classmethod
    def _value_in_its_unit(cls, row: Any) -> Any:
        if not isinstance(row, dict) or "value" not in row:
            return row
        return row | {"value": in_unit(row["value"], str(row.get("unit", "")))}


def _limit(description: str, unit: str, low: float, high: float) -> Any:
    return figure(description, unit, ge=low, le=high)


_LEAN = "delay_most_ms and sag_most_percent took its place (how late the pull comes, how far it falls); remove the row"
_MOVE = "what is tried next says itself how far a nozzle goes; remove the row"
_RICH = "smoke_most_ms and sag_most_percent took its place (how long it smokes, how far it falls); remove the row"


class Limits(Record):
    """All limits by name, each in its unit."""

    gone: ClassVar[Mapping[str, str]] = {
        "hole_most_ms": _LEAN,
        "lean_phi": _LEAN,
        "flood_most_ms": _RICH,
        "rich_phi": _RICH,
        "first_move_mm": _MOVE,
        "fine_move_mm": _MOVE,
        "larger_pump_capacity_cc": "a pump's own capacity says up to what size it is good; remove the row",
    }
    screw_cut_most_percent: Number = _limit("most that the feed screw may cut a nozzle's flow", "%", 0.5, 60)
    larger_pump_from_mm: Number = _limit("orifice diameter from which 3 cc a stroke are too little", "mm", 0.3, 3)
    overtravel_clearance_mm: Number = _limit("clearance left in the lever at full opening", "mm", 0, 3)
    linkage_tolerance_mm: Number = _limit("slack or preload taken for none", "mm", 0, 1)
    pump_pad_clearance_mm: Number = _limit("least gap between pump and manifold pad", "mm", 0, 20)
    bonnet_clearance_mm: Number = _limit("least gap left under the bonnet", "mm", 0, 100)
    early_phase_idle_most_rpm: Number = _limit("idle speed up to which the earliest phase suits", "rev/min", 300, 3000)
    late_phase_idle_least_rpm: Number = _limit("idle speed from which a later phase suits", "rev/min", 300, 3000)
    shot_left_least_percent: Number = _limit("least share of the shot left at idle", "%", 1, 100)
    stamped_tolerance_mm: Number = _limit("most by which stamped and measured orifice differ", "mm", 0, 0.5)
    nozzle_least_mm: Number = _limit("orifice diameter below which a nozzle is questioned", "mm", 0.2, 3)
    nozzle_most_mm: Number = _limit("orifice diameter above which a nozzle is questioned", "mm", 0.2, 3)
    delay_most_ms: Number = _limit("most by which the pull may come later than the best", "ms", 5, 500)
    sag_most_percent: Number = _limit("deepest later fall of the pull, of the best", "%", 1, 50)
    smoke_most_ms: Number = _limit("longest time of black smoke", "ms", 20, 2000)
    pop_back_most_cycles: Number = _limit("engine cycles in which the charge may pop back", "cycles", 1, 20)
    rear_main_delivers_share: Number = _limit(
        "share of its steady flow at which the rear main circuit delivers", "", 0.05, 1
    )
    redrill_growth_most_mm: Number = _limit("most by which a nozzle is drilled larger", "mm", 0, 1)
    flow_per_litre_least: Number = _limit("rated flow over displacement below which one is doubted", "m3/min/l", 0, 20)
    flow_per_litre_most: Number = _limit("rated flow over displacement above which one is doubted", "m3/min/l", 0.1, 50)
    jetted_altitude_most_m: Number = _limit("most that a car may stand from the height it is jetted for", "m", 0, 6000)
    overall_ratio_least: Number = _limit("overall ratio below which it is doubted", "", 0.5, 20)
    mass_least_kg: Number = _limit("mass of a vehicle below which it is doubted", "kg", 50, 5000)
    belief_spread: Number = _limit(
        "standard deviation of the logarithm of how late an engine's fuel comes", "", 0.02, 0.6
    )

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        for low, high in (
            ("early_phase_idle_most_rpm", "late_phase_idle_least_rpm"),
            ("nozzle_least_mm", "nozzle_most_mm"),
        ):
            if getattr(self, low) > getattr(self, high):
                raise ValueError(
                    f"{low} {getattr(self, low):g} is greater than {high} {getattr(self, high):g}; "
                    "expected the lesser first"
                )
        return self
