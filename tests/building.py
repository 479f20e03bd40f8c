"""Small catalogues and vehicles made in a test, so that no test hangs on the shipped figures.

Every part, limit and figure of a vehicle is stated here, and any may be overruled by its name.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from configurator.car.vehicle import Vehicle
from configurator.catalogue.limits import Limit, Limits
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.catalogue.parts import Consumable, FeedScrew, Lobe, NozzlePart, Operation, Pump, Spacer
from configurator.catalogue.supply import Supplier
from configurator.judging.case import Case

LIMITS = {
    "screw_cut_most_percent": 10.0, "larger_pump_from_mm": 0.94,
    "overtravel_clearance_mm": 0.38, "linkage_tolerance_mm": 0.05, "pump_pad_clearance_mm": 1.5,
    "bonnet_clearance_mm": 10.0, "early_phase_idle_most_rpm": 700.0, "late_phase_idle_least_rpm": 1000.0,
    "shot_left_least_percent": 80.0, "stamped_tolerance_mm": 0.02, "nozzle_least_mm": 0.64, "nozzle_most_mm": 1.32,
    "delay_most_ms": 50.0, "sag_most_percent": 6.0, "smoke_most_ms": 200.0, "pop_back_most_cycles": 1.0,
    "rear_main_delivers_share": 0.6, "redrill_growth_most_mm": 0.3,
}  # fmt: skip


def limits(**overruled: float) -> Limits:
    """Limits of common practice, some overruled; those that no test here hangs on are the shipped ones."""
    shipped = load_catalog(shipped_catalog_dir()).limits.model_dump()
    return Limits(**(shipped | LIMITS | overruled))


def nozzle(diameter_mm: float, style: str = "straight", **figures: Any) -> NozzlePart:
    return NozzlePart(
        **{
            "code": f"{style}-{diameter_mm:.2f}", "supplier": "shelf", "price": 10.0, "labour_min": 15,
            "diameter_mm": diameter_mm, "style": style, "length_mm": 3.0, "redrillable": style == "straight",
        } | figures
    )  # fmt: skip


def screw(code: str, passage_area_mm2: float, **figures: Any) -> FeedScrew:
    return FeedScrew(
        **{
            "code": code, "supplier": "shelf", "price": 5.0, "labour_min": 5,
            "passage_area_mm2": passage_area_mm2, "free_flow": passage_area_mm2 > 5.0,
        } | figures
    )  # fmt: skip


def pump(code: str = "pump-small", **figures: Any) -> Pump:
    return Pump(
        **{
            "code": code, "supplier": "shelf", "price": 40.0, "labour_min": 40, "capacity_cc": 3.0,
            "diaphragm_area_mm2": 700.0, "safe_stroke_mm": 6.2, "spring_preload_n": 9.0, "spring_rate_n_per_mm": 1.5,
            "lever": "short", "lever_ratio": 1.0, "depth_below_bowl_mm": 14.0,
        } | figures
    )  # fmt: skip


def larger_pump(code: str = "pump-large", **figures: Any) -> Pump:
    larger = {
        "price": 80.0, "labour_min": 55, "capacity_cc": 5.0, "diaphragm_area_mm2": 900.0, "safe_stroke_mm": 8.0,
        "spring_preload_n": 11.0, "spring_rate_n_per_mm": 1.6, "lever": "long", "lever_ratio": 1.1,
        "depth_below_bowl_mm": 19.0,
    }  # fmt: skip
    return pump(code, **(larger | figures))


def lobe(code: str, total_lift_mm: float = 3.4, **figures: Any) -> Lobe:
    return Lobe(
        **{
            "code": code, "supplier": "shelf", "price": 6.0, "labour_min": 15, "total_lift_mm": total_lift_mm,
            "duration_deg": 55.0, "nose": 1.6, "lever": "short", "phases_deg": (0.0, 8.0),
        } | figures
    )  # fmt: skip


def spacer(thickness_mm: float, **figures: Any) -> Spacer:
    return Spacer(
        **{
            "code": f"spacer-{thickness_mm:g}", "supplier": "shelf", "price": 20.0, "labour_min": 50,
            "thickness_mm": thickness_mm, "bonnet_mm": thickness_mm + 1.0,
        } | figures
    )  # fmt: skip


def gasket(joint: str, price: float = 1.0, quantity: int = 1) -> Consumable:
    return Consumable(code=f"gasket-{joint.replace('_', '-')}", supplier="shelf", price=price, joint=joint,
                      quantity=quantity)  # fmt: skip


REDRILL = Operation(
    code="redrill", kind="redrill_nozzle", price=0.0, labour_min=25, reversible=False, min_diameter_mm=0.87,
    max_diameter_mm=1.02,
)  # fmt: skip
RELIEVE = Operation(
    code="relieve", kind="relieve_pad", price=0.0, labour_min=20, reversible=False, step_mm=1.0, most_mm=3.0
)
GASKETS = (
    gasket("nozzle_seat", 0.6, 2), gasket("pump_cover", 2.4), gasket("carburettor_flange", 3.2),
    gasket("intake_manifold", 14.5),
)  # fmt: skip
NOZZLES = tuple(nozzle(size) for size in (0.70, 0.80, 0.90, 1.00, 1.10, 1.20))
SCREWS = (screw("screw-narrow", 3.0), screw("screw-free", 6.5, price=9.0))
PUMPS = (pump(), larger_pump(comes_with=("screw-free", "lobe-long")))
LOBES = (
    lobe("lobe-low", 2.6), lobe("lobe-mid", 3.6), lobe("lobe-high", 4.4),
    lobe("lobe-long", 4.6, lever="long", phases_deg=(4.0,), price=9.0),
)  # fmt: skip
SPACERS = (spacer(6.0), spacer(13.0, price=29.0))


def _by_code(parts: Iterable[Any]) -> MappingProxyType[str, Any]:
    return MappingProxyType({part.code: part for part in parts})


def catalog(
    nozzles: Iterable[NozzlePart] = NOZZLES,
    screws: Iterable[FeedScrew] = SCREWS,
    pumps: Iterable[Pump] = PUMPS,
    lobes: Iterable[Lobe] = LOBES,
    spacers: Iterable[Spacer] = SPACERS,
    consumables: Iterable[Consumable] = GASKETS,
    operations: Iterable[Operation] = (REDRILL, RELIEVE),
    **overruled: float,
) -> Catalog:
    """A catalogue of these parts; keywords overrule limits by name."""
    figures = limits(**overruled)
    rows = {
        name: Limit(name=name, value=getattr(figures, name), unit="", basis="assumed", says="a limit of this test")
        for name in Limits.model_fields
    }
    return Catalog(
        directory=Path("made-in-a-test"), nozzles=_by_code(nozzles), feed_screws=_by_code(screws),
        pumps=_by_code(pumps), lobes=_by_code(lobes), spacers=_by_code(spacers), consumables=_by_code(consumables),
        operations=_by_code(operations), suppliers=_by_code([Supplier(code="shelf", name="The shelf")]),
        limits=figures, limit_rows=MappingProxyType(rows),
    )  # fmt: skip


TRUCK: Mapping[str, Any] = {
    "name": "test truck",
    "engine": {"displacement_cc": 5700, "idle_rpm": 650},
    "driveline": {"transmission": "manual", "mass_kg": 1500, "overall_ratio": 6.0, "wheel_radius_m": 0.33},
    "manifold": {"volume_cc": 4800, "pad_clearance_mm": 22, "bonnet_clearance_mm": 30},
    "carburettor": {"barrels": 4, "rated_flow_m3_min": 21, "rear_opens_at_deg": 40},
    "fitted": {
        "front": {"nozzle": "straight-0.80", "feed_screw": "screw-narrow", "pump": "pump-small", "lobe": "lobe-mid",
                  "phase_deg": 0},
    },
    "confirmed": {"float_level": True, "idle_mixture": True, "idle_speed": True},
}  # fmt: skip
"""A vehicle of 5.7 litres with one pump circuit, front; parts of this module's catalogue are fitted."""


def vehicle(base: Mapping[str, Any] = TRUCK, **tables: Any) -> Vehicle:
    """A vehicle with some keys of some tables overruled; a key of the front circuit is given in front={...}."""
    data: dict[str, Any] = {key: dict(value) if isinstance(value, Mapping) else value for key, value in base.items()}
    front = tables.pop("front", {})
    for name, value in tables.items():
        data[name] = data.get(name, {}) | value if isinstance(value, Mapping) else value
    data["fitted"] = data["fitted"] | {"front": data["fitted"]["front"] | front}
    return Vehicle.model_validate(data)


def case(car: Vehicle | None = None, stock: Catalog | None = None) -> Case:
    return Case.of(car or vehicle(), stock or catalog())


EASY: dict[str, Any] = {"delay_most_ms": 60.0, "sag_most_percent": 10.0, "smoke_most_ms": 600.0}
"""Limits within which the truck is right as it stands: with 0.70 mm it hesitates, with the low lobe it goes flat, and
with the long one and more than 0.80 mm it smokes."""


def easy_case(car: Vehicle | None = None, **stock: Any) -> Case:
    """A case of a driver who minds less. stock : of its catalogue."""
    return case(car, catalog(**(EASY | stock)))


def with_limits(old: Case, **overruled: float) -> Case:
    """The same case judged by other limits."""
    stock = old.catalog
    changed = replace(stock, limits=stock.limits.model_copy(update=overruled))
    return replace(old, car=replace(old.car, catalog=changed))


def two_circuits(**tables: Any) -> Vehicle:
    """The truck with a second pump circuit, rear, of the same parts but a larger nozzle."""
    front = dict(TRUCK["fitted"]["front"])
    fitted = {"fitted": {"front": front, "rear": front | {"nozzle": "straight-0.90"}}}
    return vehicle({**TRUCK, **fitted}, **{"manifold": {"rear_pad_clearance_mm": 16}, **tables})
