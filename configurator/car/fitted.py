"""What is fitted, with every code replaced by the part it names in a catalogue."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar, cast

from pydantic import ValidationError

from configurator.car.assumed import assumed_at_fault
from configurator.car.in_place import AS_THE_PUMP, CircuitInPlace, NozzleInPlace
from configurator.car.standard import STANDARD_PARTS
from configurator.car.vehicle import Vehicle, place_in_toml, vehicle_of
from configurator.catalogue.load import Catalog
from configurator.catalogue.parts import (
    LEAST_LENGTH_TO_DIAMETER,
    MOST_LENGTH_TO_DIAMETER,
    FeedScrewFigures,
    LobeFigures,
    NozzleFigures,
    PartFigures,
    PumpFigures,
    Spacer,
    check_orifice_length,
)
from configurator.errors import BadInput, Fault
from configurator.files.declared import DiameterMm, Flag, figure
from configurator.files.reading import did_you_mean
from configurator.units.units import SAME_SIZE_MM

SomeFigures = TypeVar("SomeFigures", bound=PartFigures)
_FAMILY_OF_SLOT = {"nozzle": "nozzles", "feed_screw": "feed_screws", "pump": "pumps", "lobe": "lobes"}
_FAMILY_WORDS = {"nozzles": "a nozzle", "feed_screws": "a feed screw", "pumps": "a pump", "lobes": "a lobe",
                 "spacers": "a spacer", "consumables": "a consumable", "operations": "an operation",
                 "suppliers": "a supplier"}  # fmt: skip


class FittedNozzle(NozzleFigures):
    """A nozzle as it stands: diameter_mm is the measured orifice where there is one, else the stamped one."""

    redrilled: Flag = figure("whether it was drilled larger", default=False)
    measured: Flag = figure("whether the diameter was measured", default=False)
    stamped_diameter_mm: DiameterMm | None = figure("orifice of the part of this code", "mm", default=None)

    def is_told_from(self, other: "FittedNozzle", scatter_mm: float) -> bool:
        """Whether another is more than this one again: of another kind, or larger or smaller by more than orifices of
        one size scatter."""
        if (self.style, self.orifices) != (other.style, other.orifices):
            return True
        return abs(self.diameter_mm - other.diameter_mm) > scatter_mm + SAME_SIZE_MM

    def resized(self, diameter_mm: float) -> "FittedNozzle":
        """The same nozzle with another orifice, its length kept within the range of the discharge coefficient."""
        length = min(max(self.length_mm, LEAST_LENGTH_TO_DIAMETER * diameter_mm), MOST_LENGTH_TO_DIAMETER * diameter_mm)
        return self.model_copy(update={"diameter_mm": diameter_mm, "length_mm": length})


@dataclass(frozen=True)
class FittedCircuit:
    """One circuit of real parts; a part's code is None where it has none. Measured travels are None if not measured."""

    name: str
    nozzle: FittedNozzle
    feed_screw: FeedScrewFigures
    pump: PumpFigures
    lobe: LobeFigures
    phase_deg: float
    slack_mm: float | None
    preload_mm: float | None
    overtravel_mm: float | None


@dataclass(frozen=True)
class Fitted:
    """Front circuit, rear circuit and spacer, the latter two None where there is none; and what was taken off the
    manifold pad since its clearance was measured."""

    front: FittedCircuit
    rear: FittedCircuit | None
    spacer: Spacer | None
    pad_relieved_mm: float

    @property
    def circuits(self) -> tuple[FittedCircuit, ...]:
        """The circuits there are, front first."""
        return (self.front, self.rear) if self.rear else (self.front,)


def vehicle_for(tables: dict[str, Any], name: str, catalog: Catalog) -> Vehicle:
    """The vehicle in the tables of a file, of which the parts are to be in a catalogue; name is what messages call it.

    Raises BadInput for a file at fault, with all that else would be found once it is mended.
    """
    try:
        return vehicle_of(tables, name)
    except BadInput as error:
        told = {fault.place for fault in error.faults}
        assumed = tables.get("assumed")
        beside = _parts_at_fault(tables.get("fitted"), name, catalog)
        beside += assumed_at_fault(assumed, name) if isinstance(assumed, dict) else []
        raise BadInput([*error.faults, *(fault for fault in beside if fault.place not in told)]) from None


def _parts_at_fault(given: object, file: str, catalog: Catalog) -> list[Fault]:
    """What a catalogue does not have of what stands under [fitted], as far as that can be read."""
    look_up = _LookUp(file, catalog, [])
    tables = given if isinstance(given, dict) else {}
    for name in ("front", "rear"):
        try:
            _circuit(name, CircuitInPlace.model_validate(tables.get(name)), look_up)
        except ValidationError:
            circuit = tables.get(name)
            for slot, family in _FAMILY_OF_SLOT.items():
                code = circuit.get(slot) if isinstance(circuit, dict) else None
                if isinstance(code, str) and code not in STANDARD_PARTS.get(slot, {}):
                    look_up.part(("fitted", name, slot), code, family, getattr(catalog, family))
    if isinstance(spacer := tables.get("spacer"), str):
        look_up.part(("fitted", "spacer"), spacer, "spacers", catalog.spacers)
    return look_up.faults


def resolve_fitted(vehicle: Vehicle, catalog: Catalog) -> Fitted:
    """Replace codes by parts; raises BadInput naming each part that the catalogue lacks."""
    look_up = _LookUp(vehicle.file or vehicle.name, catalog, [])
    front = _circuit("front", vehicle.fitted.front, look_up)
    rear = _circuit("rear", vehicle.fitted.rear, look_up) if vehicle.fitted.rear else None
    spacer = look_up.part(("fitted", "spacer"), vehicle.fitted.spacer, "spacers", catalog.spacers)
    if look_up.faults or front is None:
        raise BadInput(look_up.faults)
    return Fitted(front, rear, spacer, vehicle.fitted.pad_relieved_mm)


PartType = TypeVar("PartType")


@dataclass(frozen=True)
class _LookUp:
    file: str
    catalog: Catalog
    faults: list[Fault]

    def part(
        self, keys: tuple[str, ...], code: str | None, family: str, parts: Mapping[str, PartType]
    ) -> PartType | None:
        """The part of this code, or None with a fault noted; None without a fault if no code is given."""
        if code is None or code in parts:
            return parts[code] if code else None
        other = self.catalog.family_of(code)
        problem = f"'{code}' is {_FAMILY_WORDS[other]}" if other else f"the catalogue has no {code}"
        expected = f"the code of {_FAMILY_WORDS[family]}"
        meant = did_you_mean(code, list(parts))
        remedy = f"{meant} `tipin parts {family}` lists them".strip()
        self.faults.append(Fault(self.file, place_in_toml(keys), problem, expected, remedy))
        return None

    def levers(self, name: str, described: CircuitInPlace, pump: PumpFigures, lobe: LobeFigures) -> None:
        """A fault for a lever that no part has, of those that might go with it."""
        known = {part.lever for part in self.catalog.pumps.values()}
        known |= {part.lever for part in self.catalog.lobes.values()}
        for slot, given, own, other in (("pump", described.pump, pump, lobe), ("lobe", described.lobe, lobe, pump)):
            if not isinstance(given, str) and own.lever not in known | {other.lever}:
                problem, place = f"no part has a lever '{own.lever}'", place_in_toml(("fitted", name, slot, "lever"))
                expected, meant = f"one of {', '.join(sorted(known))}", did_you_mean(own.lever, sorted(known))
                self.faults.append(Fault(self.file, place, problem, expected, meant))

    def phase(self, name: str, phase_deg: float | None, lobe: LobeFigures) -> float:
        """The phase said, or a lobe's only one; a fault if it has to be said."""
        if phase_deg is not None:
            return phase_deg
        if len(lobe.phases_deg) > 1:
            phases = " or ".join(f"{phase:g}" for phase in lobe.phases_deg)
            place = place_in_toml(("fitted", name, "phase_deg"))
            self.faults.append(Fault(self.file, place, "is missing", f"the mounting phase in use: {phases}"))
        return lobe.phases_deg[0]


def _circuit(name: str, described: CircuitInPlace, look_up: _LookUp) -> FittedCircuit | None:
    catalog = look_up.catalog

    def figures(
        slot: str, given: str | SomeFigures, family: str, parts: Mapping[str, SomeFigures]
    ) -> SomeFigures | None:
        if isinstance(given, str):
            standard = STANDARD_PARTS[slot].get(given) if given not in parts else None
            if standard is not None:
                return cast("SomeFigures", sold_as(standard, parts))
            return look_up.part(("fitted", name, slot), given, family, parts)
        return given

    nozzle = _nozzle(name, described, look_up)
    feed_screw = figures("feed_screw", described.feed_screw, "feed_screws", catalog.feed_screws)
    pump = figures("pump", described.pump, "pumps", catalog.pumps)
    lobe = figures("lobe", described.lobe, "lobes", catalog.lobes)
    said_deg = described.phase_deg
    if lobe is not None and said_deg is None and described.lobe in STANDARD_PARTS["lobe"]:
        said_deg = lobe.phases_deg[0]
    phase_deg = look_up.phase(name, said_deg, lobe) if lobe else 0.0
    if nozzle is None or feed_screw is None or pump is None or lobe is None:
        return None
    if lobe.lever == AS_THE_PUMP:
        lobe = lobe.model_copy(update={"lever": pump.lever})
    look_up.levers(name, described, pump, lobe)
    return FittedCircuit(
        name,
        nozzle,
        feed_screw,
        pump,
        lobe,
        phase_deg,
        described.slack_mm,
        described.preload_mm,
        described.overtravel_mm,
    )


def sold_as(standard: PartFigures, parts: Mapping[str, SomeFigures]) -> PartFigures:
    """The part of a catalogue that works as a standard one does, whatever phases it may be mounted at; the standard one
    where there is none."""
    aside = {"code", "phases_deg"}
    works = standard.model_dump(exclude=aside)
    alike = (part for part in parts.values() if part.model_dump(include=set(works), exclude=aside) == works)
    return next(alike, standard)


def _nozzle(name: str, described: CircuitInPlace, look_up: _LookUp) -> FittedNozzle | None:
    given = described.nozzle
    if isinstance(given, NozzleInPlace):
        return FittedNozzle(
            diameter_mm=given.diameter, orifices=given.orifices, style=given.style, length_mm=given.length_mm,
            redrilled=given.redrilled, measured=given.measured,
        )  # fmt: skip
    part = look_up.part(("fitted", name, "nozzle"), given, "nozzles", look_up.catalog.nozzles)
    if part is None:
        return None
    measured_mm = described.nozzle_measured
    diameter_mm = part.diameter_mm if measured_mm is None else measured_mm
    try:
        check_orifice_length(part.length_mm, diameter_mm)
    except ValueError as error:
        problem, _, expected = str(error).partition("; expected ")
        place = place_in_toml(("fitted", name, "nozzle_measured"))
        look_up.faults.append(Fault(look_up.file, place, f"for {part.code}, {problem}", expected))
        return None
    return FittedNozzle(
        code=part.code, diameter_mm=diameter_mm, orifices=part.orifices, style=part.style, length_mm=part.length_mm,
        measured=measured_mm is not None, stamped_diameter_mm=part.diameter_mm,
    )  # fmt: skip
