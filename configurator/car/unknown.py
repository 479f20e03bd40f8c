"""What an owner may not know of a car: what is taken in its place, and the range it may lie in.

A figure that is left out of a vehicle file is taken as said here, and the answer carries the range. Of the figures an
owner reads off the car the ranges are those of cars that drive about (assumed).
"""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from configurator.errors import BadSize
from configurator.units.quantities import read_quantity

MOST_CC = 30_000
"""No engine is larger."""
SOME_LITRES = 2.0
Tables = dict[str, Any]
Place = tuple[str, str]
"""Table and key of a vehicle file."""


@dataclass(frozen=True)
class LeftOut:
    """A figure in words, what is taken where it is left out, and the ends of its range; per litre of displacement where
    that is said."""

    says: str
    taken: float
    low: float
    high: float
    per_litre: bool = False
    transmission: str = ""
    """With which it counts; empty with any."""
    or_key: str = ""
    """Another key that says the same."""
    unit: str = ""
    found_out: bool = False
    """Whether it is read from papers, a plate or a tyre, and measured by nobody in a workshop."""

    @property
    def ends(self) -> tuple[float, float]:
        return self.low, self.high

    def of(self, litres: float) -> tuple[float, float, float]:
        """What is taken, and the ends, for an engine of this size."""
        times = litres if self.per_litre else 1.0
        return self.taken * times, self.low * times, self.high * times


LEFT_OUT: Mapping[Place, LeftOut] = MappingProxyType(
    {
        ("engine", "idle_rpm"): LeftOut("the idle speed", 850, 650, 1100, unit="rev/min"),
        ("driveline", "mass_kg"): LeftOut("the weight", 1200, 750, 1900, transmission="manual", unit="kg"),
        ("driveline", "overall_ratio"): LeftOut(
            "the ratio of gear and axle", 9.0, 6.5, 12.0, transmission="manual", found_out=True
        ),
        ("driveline", "wheel_radius_m"): LeftOut(
            "the size of the tyres", 0.305, 0.27, 0.36, transmission="manual", unit="m", found_out=True
        ),
        ("driveline", "stall_rpm"): LeftOut(
            "the converter's stall speed", 1900, 1500, 2500, transmission="converter", unit="rev/min", found_out=True
        ),
        ("carburettor", "rated_flow_m3_min"): LeftOut(
            "the carburettor's air flow",
            3.2,
            2.2,
            4.5,
            per_litre=True,
            or_key="rated_flow_ft3_min",
            unit="m3/min",
            found_out=True,
        ),
    }
)
"""Figures without which nothing can be worked out, and that can be left out all the same."""
RANGES: Mapping[Place, LeftOut] = MappingProxyType(
    {
        ("engine", "idle_pressure_kpa"): LeftOut(
            "the vacuum at idle", 38.0, 30.0, 60.0, or_key="idle_vacuum_kpa", unit="kPa absolute"
        ),
        ("manifold", "distance_to_valves_mm"): LeftOut(
            "the way from carburettor to valves", 250.0, 150.0, 400.0, unit="mm"
        ),
        ("manifold", "volume_cc"): LeftOut(
            "the room in the manifold", 800.0, 400.0, 1200.0, per_litre=True, unit="cc", found_out=True
        ),
        ("carburettor", "rear_opens_at_deg"): LeftOut(
            "the angle at which the rear throttles start", 30.0, 20.0, 45.0, unit="deg"
        ),
        ("tip_in", "opening_time_s"): LeftOut("how fast the throttle is opened", 0.15, 0.1, 0.3, unit="s"),
    }
)
"""Figures that have a default in the vehicle file, and that an owner could tell."""
TAKEN: Mapping[Place, LeftOut] = MappingProxyType({**LEFT_OUT, **RANGES})
"""Everything that may be left out."""


def with_left_out(tables: Tables) -> tuple[Tables, frozenset[Place]]:
    """The tables of a vehicle file with what was left out, and what that was. What is no table stays; where the
    engine's size cannot be read, and is refused for that, the rest counts as left out all the same.

    >>> filled, left_out = with_left_out({"engine": {"displacement_cc": "2 l", "idle_rpm": 900}, "carburettor": {}})
    >>> filled["carburettor"], left_out
    ({'rated_flow_m3_min': 6.4}, frozenset({('carburettor', 'rated_flow_m3_min')}))
    """
    filled, left_out, litres = dict(tables), set(), _litres(tables.get("engine"))
    for (table, key), figure in LEFT_OUT.items():
        given = filled.get(table)
        if not isinstance(given, dict) or {key, figure.or_key} & set(given):
            continue
        if figure.transmission in ("", given.get("transmission")):
            filled[table] = given | {key: float(f"{figure.of(litres or SOME_LITRES)[0]:.4g}")}
            left_out.add((table, key))
    return filled, frozenset(left_out)


def _litres(engine: object) -> float | None:
    size = engine.get("displacement_cc") if isinstance(engine, dict) else None
    if isinstance(size, str):
        with suppress(BadSize):
            return read_quantity(size, "cc").values[0] / 1000
        return None
    if isinstance(size, bool) or not isinstance(size, int | float):
        return None
    return size / 1000 if 0 < size <= MOST_CC else None
