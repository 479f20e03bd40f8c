"""What a part would have to be like, where nothing in the catalogue does: for a supplier to be asked.

Of each kind of part a row of imagined ones, alike but for one figure, takes the place of those in the catalogue; what
holds with all rules beside the other parts that there are is told by its figure, from the least to the most.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from configurator.advice.availability import Availability
from configurator.advice.work import sureness_of
from configurator.arrays import Mask
from configurator.car.fitted import FittedCircuit, FittedNozzle
from configurator.catalogue.load import Catalog
from configurator.catalogue.parts import Part
from configurator.judging.case import Case
from configurator.judging.trade_sizes import odd_size
from configurator.learning.as_known import Known
from configurator.reports import ProposeReport
from configurator.slots.slot import Slot, SlotName
from configurator.slots.wishes import Wish
from configurator.units.units import show_diameter

IMAGINED = "like-"
THINNED = 3
"""Of the nozzles beside what is imagined every so many are looked at: sizes lie close."""
SCALED = ("diaphragm_area_mm2", "spring_preload_n", "spring_rate_n_per_mm")
"""What of a pump grows with its diaphragm, the stroke and the pressure of its spring kept."""
AT_LEAST_AS_SURE = 0.005
"""By how much less than wanted what is told may be, as sureness is told to whole per cent."""


@dataclass(frozen=True)
class SoughtPart:
    """A kind of part that is looked for: its slot, its file in the catalogue, and one figure over a row of values.

    of : the figures of an imagined part with such a value, of the circuit it is for. says : the figure, in words.
    """

    slot: SlotName
    family: str
    values: Sequence[float]
    of: Callable[[FittedCircuit, float], dict[str, Any]]
    says: Callable[[FittedCircuit, str], str]
    told: Callable[[float], str]


def _pump(circuit: FittedCircuit, ten_strokes_cc: float) -> dict[str, Any]:
    """The fitted pump with another diaphragm, its stroke and the pressure of its spring kept."""
    pump = circuit.pump
    scale = ten_strokes_cc / pump.capacity_ten_strokes_cc
    scaled = {name: getattr(pump, name) * scale for name in SCALED}
    return {
        **pump.model_dump(exclude={"code", "supplier", "price", "labour_min", "comes_with"}), **scaled,
        "capacity_ten_strokes_cc": ten_strokes_cc, "capacity_cc": ten_strokes_cc / 10, "comes_with": (),
    }  # fmt: skip


def _lobe(circuit: FittedCircuit, lift_mm: float) -> dict[str, Any]:
    """The fitted lobe with another lift, its shape and where it may be mounted kept."""
    lobe = circuit.lobe
    phases = tuple(getattr(lobe, "phases_deg", None) or (circuit.phase_deg,))
    table = tuple((angle, lift * lift_mm / lobe.total_lift_mm) for angle, lift in lobe.table)
    return {
        "total_lift_mm": lift_mm, "duration_deg": lobe.duration_deg, "nose": lobe.nose, "table": table,
        "lever": circuit.pump.lever, "phases_deg": phases,
    }  # fmt: skip


def _nozzle(circuit: FittedCircuit, diameter_mm: float) -> dict[str, Any]:
    length_mm = float(np.clip(circuit.nozzle.length_mm, 1.6 * diameter_mm, 9.9 * diameter_mm))
    orifices = circuit.nozzle.orifices
    return {"diameter_mm": diameter_mm, "orifices": orifices, "style": circuit.nozzle.style, "length_mm": length_mm}


SOUGHT = (
    SoughtPart("nozzle", "nozzles", [round(0.3 + 0.02 * step, 2) for step in range(86)], _nozzle,
         lambda circuit, between: f"a {circuit.nozzle.style} nozzle of {between}", show_diameter),
    SoughtPart("feed_screw", "feed_screws", [round(1.0 + 0.5 * step, 1) for step in range(23)],
         lambda _, area_mm2: {"passage_area_mm2": area_mm2, "free_flow": False},
         lambda _, between: f"a feed screw with a passage of {between}", "{:g} mm2".format),
    SoughtPart("lobe", "lobes", [round(0.4 + 0.2 * step, 1) for step in range(34)], _lobe,
         lambda circuit, between: f"a lobe with a lift of {between} for the {circuit.pump.lever} lever",
         "{:g} mm".format),
    SoughtPart("pump", "pumps", [5, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80], _pump,
         lambda circuit, between: f"a pump of {between} in ten strokes, with the {circuit.pump.lever} lever",
         "{:g} cc".format),
)  # fmt: skip
"""Everything that decides how much fuel comes, and when."""


def with_parts_that_would_do(report: ProposeReport, known: Known, wanted: float) -> ProposeReport:
    """A proposal that found nothing, with what a part would have to be like; what was wished for by name is not
    looked at. wanted : share of belief that parts are to be right for."""
    if report.conflict is None or any(obstacle.wishes for obstacle in (report.conflict, *report.conflict.apart)):
        return report
    told = list(parts_that_would_do(known, wanted))
    return report.model_copy(update={"conflict": report.conflict.model_copy(update={"would_do": told})})


def parts_that_would_do(known: Known, wanted: float) -> Iterator[str]:
    """In words, a kind of part of one circuit each: "a pump of 10 to 15 cc in ten strokes"."""
    for name in known.case.circuit_names:
        for kind in SOUGHT:
            circuit = known.case.car.fitted_circuits[name]
            found = _holding(known, name, kind, wanted)
            told = _between(kind, found)
            if told:
                says = f"{name}: {kind.says(circuit, told)}"
                yield says + _out_of_trade(known.case, kind, circuit, found)


def _holding(known: Known, name: str, kind: SoughtPart, wanted: float) -> list[bool]:
    """Which values of a figure hold with every rule, in order."""
    wide = _with_imagined(known, name, kind)
    case = wide.case if known.belief is None else wide.tables.content_with(wanted)
    engine, slot = Availability.of(case), Slot(name, kind.slot)
    possible: Mask = engine.standings()[slot].possible
    codes = [option.code or "" for option in case.options[slot]]
    held = {code for code, may in zip(codes, possible.tolist(), strict=True) if may}
    holds = [_code(value) in held for value in kind.values]
    # In one circuit that is a rule of the tables; of two only both together can be judged.
    if known.belief is None or len(case.circuit_names) == 1:
        return holds
    return [
        may and _is_sure(wide, engine, slot, _code(value), wanted)
        for may, value in zip(holds, kind.values, strict=True)
    ]


def _is_sure(wide: Known, engine: Availability, slot: Slot, code: str, wanted: float) -> bool:
    """Whether the least that is changed with such a part is right for as much as is wanted, both circuits together."""
    places = frozenset(wide.case.options[slot].of_code(code))
    best = engine.best([Wish(f"{slot} = {code}", slot, places)])
    assert wide.belief is not None
    return best is not None and sureness_of(wide.case, best, wide.belief) >= wanted - AT_LEAST_AS_SURE


def _with_imagined(known: Known, name: str, kind: SoughtPart) -> Known:
    """The car in front of a catalogue with imagined parts in place of those of one kind, and every third nozzle beside
    them; what is fitted stays."""
    case, circuit = known.case, known.case.car.fitted_circuits[name]
    fitted = {getattr(one, "code", None) for it in case.car.fitted_circuits.values() for one in vars(it).values()}
    family: Mapping[str, Part] = getattr(case.catalog, kind.family)
    alike = next(iter(family.values()))
    imagined = {
        _code(value): alike.model_copy(update={"code": _code(value), **kind.of(circuit, value)})
        for value in kind.values
    }  # fmt: skip
    nozzles = sorted(case.catalog.nozzles.values(), key=lambda one: (one.style, one.diameter_mm))[::THINNED]
    beside: dict[str, dict[str, Any]] = {"nozzles": {one.code: one for one in nozzles}, kind.family: imagined}
    rows: dict[str, Any] = {
        own: {code: part for code, part in getattr(case.catalog, own).items() if code in fitted} | parts
        for own, parts in beside.items()
    }
    wide: Catalog = replace(case.catalog, **rows)
    return replace(known, case=replace(Case.of(case.vehicle, wide), engine=case.engine, linkage_set=case.linkage_set))


def _code(value: float) -> str:
    return f"{IMAGINED}{value:g}"


def _between(kind: SoughtPart, holds: Sequence[bool]) -> str:
    """The longest run of values that hold, in words; empty where none does."""
    best, start = (0, 0), 0
    for place, may in enumerate([*holds, False]):
        if not may:
            best, start = max(best, (place - start, -start)), place + 1
    count, first = best[0], -best[1]
    if not count:
        return ""
    low, high = kind.values[first], kind.values[first + count - 1]
    if first + count == len(kind.values):
        return f"{kind.told(low)} or more"
    return kind.told(low) if count == 1 else f"{kind.told(low)} to {kind.told(high)}"


def _out_of_trade(case: Case, kind: SoughtPart, circuit: FittedCircuit, holds: Sequence[bool]) -> str:
    """A warning where every such nozzle is out of the sizes in use."""
    if kind.slot != "nozzle":
        return ""
    sizes = [value for value, may in zip(kind.values, holds, strict=True) if may]
    nozzles = [FittedNozzle.model_validate(_nozzle(circuit, mm)) for mm in sizes]
    odd = [odd_size(nozzle, case.catalog.limits) for nozzle in nozzles]
    return f" ({odd[0]})" if all(odd) else ""
