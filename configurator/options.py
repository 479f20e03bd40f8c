"""What may sit in each slot of a vehicle: what is fitted, what the catalogue has, and what work can make of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from configurator.catalog import Catalog
from configurator.drills import drills_between
from configurator.fitted import Fitted, FittedCircuit, FittedNozzle
from configurator.parts import FeedScrewFigures, NozzlePart, Operation, Part, PumpFigures
from configurator.slots import Mount
from configurator.units import show_diameter

Work = Literal["none", "fit", "remove", "redrill", "rephase", "relieve"]

JOINTS: dict[str, tuple[str, ...]] = {
    "nozzle": ("nozzle_seat",),
    "feed_screw": ("nozzle_seat",),
    "pump": ("pump_cover",),
    "spacer": ("carburettor_flange",),
    "pad_relief": ("carburettor_flange", "intake_manifold"),
}
"""The joints that a change in a slot opens; the manifold comes off for work on its pad."""


@dataclass(frozen=True)
class Stack:
    """A spacer against the one fitted now: how much higher it lifts the carburettor, and what that takes above [mm]."""

    thickness_mm: float
    bonnet_mm: float


Figures = FittedNozzle | FeedScrewFigures | PumpFigures | Mount | Stack | float
"""A pad relief is the depth taken off [mm]."""


@dataclass(frozen=True)
class Option:
    """One thing that may sit in a slot. Price in hundredths of the currency; a fitted part costs nothing and changes
    nothing. code is None where there is none; comes_with are the codes in the same box; permanent work cannot be
    undone."""

    label: str
    figures: Figures
    work: Work
    code: str | None = None
    price: int = 0
    labour_min: int = 0
    comes_with: tuple[str, ...] = ()
    permanent: bool = False

    @property
    def changed(self) -> bool:
        return self.work != "none"

    @property
    def sort_key(self) -> tuple[bool, str, str]:
        """Order among equals: what is fitted first, then by code."""
        return (self.changed, self.code or "", self.label)


Slots = dict[str, tuple[Option, ...]]
"""Options of every slot of a vehicle: "front.nozzle", ..., "spacer", "pad_relief"; what is fitted comes first."""


def options_of(fitted: Fitted, catalog: Catalog) -> Slots:
    """Every option of every slot, in the catalogue's order behind what is fitted."""
    slots: Slots = {}
    for circuit in fitted.circuits:
        slots[f"{circuit.name}.nozzle"] = tuple(_nozzles(circuit.nozzle, catalog))
        slots[f"{circuit.name}.feed_screw"] = tuple(_stocked(circuit.feed_screw, catalog.feed_screws.values()))
        slots[f"{circuit.name}.pump"] = tuple(_stocked(circuit.pump, catalog.pumps.values()))
        slots[f"{circuit.name}.lobe"] = tuple(_lobes(circuit, catalog))
    slots["spacer"] = tuple(_spacers(fitted, catalog))
    slots["pad_relief"] = tuple(_pad_reliefs(catalog))
    return slots


def pence(price: float) -> int:
    return round(price * 100)


def _new(part: Part, figures: Figures, label: str, comes_with: tuple[str, ...] = ()) -> Option:
    return Option(label, figures, "fit", part.code, pence(part.price), part.labour_min, comes_with)


def nozzle_label(nozzle: FittedNozzle) -> str:
    size = show_diameter(nozzle.diameter_mm)
    return f"{nozzle.code}, {size}" if nozzle.code else f"{nozzle.style} nozzle, {size}"


def as_fitted(part: NozzlePart) -> FittedNozzle:
    """A nozzle of the catalogue as it would stand once fitted."""
    return FittedNozzle(
        code=part.code, diameter_mm=part.diameter_mm, orifices=part.orifices, style=part.style, length_mm=part.length_mm
    )


def _nozzles(now: FittedNozzle, catalog: Catalog) -> Iterable[Option]:
    yield Option(nozzle_label(now), now, "none", now.code)
    for part in catalog.nozzles.values():
        if part.code != now.code or now.diameter_mm != part.diameter_mm:
            nozzle = as_fitted(part)
            yield _new(part, nozzle, nozzle_label(nozzle))
    own_part = catalog.nozzles.get(now.code or "")
    if now.style == "straight" and (own_part is None or own_part.redrillable):
        for operation in catalog.operations.values():
            if operation.kind == "redrill_nozzle":
                yield from _redrilled(now, operation, catalog.limits.redrill_growth_most_mm)


def _redrilled(now: FittedNozzle, operation: Operation, growth_mm: float) -> Iterable[Option]:
    """The fitted nozzle drilled out, for every published drill that is larger by no more than growth_mm; measured
    afterwards, as it must be."""
    assert operation.min_diameter_mm is not None and operation.max_diameter_mm is not None
    largest = min(operation.max_diameter_mm, now.diameter_mm + growth_mm)
    for drill in drills_between(max(now.diameter_mm + 0.005, operation.min_diameter_mm), largest):
        if now.length_mm / drill.diameter_mm < 1.5:
            continue
        nozzle = FittedNozzle(
            diameter_mm=drill.diameter_mm, orifices=now.orifices, style="straight", length_mm=now.length_mm,
            redrilled=True, measured=True,
        )  # fmt: skip
        label = f"the fitted nozzle redrilled to {show_diameter(drill.diameter_mm)}, drill {drill.name}"
        yield Option(
            label, nozzle, "redrill", operation.code, pence(operation.price), operation.labour_min,
            permanent=not operation.reversible,
        )  # fmt: skip


def _stocked(now: FeedScrewFigures | PumpFigures, parts: Iterable[Part]) -> Iterable[Option]:
    yield Option(now.code or "as measured", now, "none", now.code)
    for part in parts:
        if part.code != now.code:
            assert isinstance(part, FeedScrewFigures | PumpFigures)
            yield _new(part, part, part.code, getattr(part, "comes_with", ()))


def _lobes(circuit: FittedCircuit, catalog: Catalog) -> Iterable[Option]:
    now, phase_now = circuit.lobe, circuit.phase_deg
    yield Option(f"{now.code or 'the measured lobe'} at {phase_now:g} deg", Mount(now, phase_now), "none", now.code)
    labour = getattr(now, "labour_min", max(part.labour_min for part in catalog.lobes.values()))
    for phase in now.phases_deg:
        if phase != phase_now:
            label = f"{now.code or 'the measured lobe'} at {phase:g} deg"
            yield Option(label, Mount(now, phase), "rephase", now.code, 0, labour)
    for part in catalog.lobes.values():
        if part.code != now.code:
            for phase in part.phases_deg:
                yield _new(part, Mount(part, phase), f"{part.code} at {phase:g} deg")


def _spacers(fitted: Fitted, catalog: Catalog) -> Iterable[Option]:
    now = fitted.spacer
    yield Option(now.code if now else "none", Stack(0.0, 0.0), "none", now.code if now else None)
    thickness, bonnet = (now.thickness_mm, now.bonnet_mm) if now else (0.0, 0.0)
    if now:
        yield Option("none", Stack(-thickness, -bonnet), "remove", None, 0, now.labour_min)
    for part in catalog.spacers.values():
        if now is None or part.code != now.code:
            yield _new(part, Stack(part.thickness_mm - thickness, part.bonnet_mm - bonnet), part.code)


def _pad_reliefs(catalog: Catalog) -> Iterable[Option]:
    yield Option("none", 0.0, "none")
    for operation in catalog.operations.values():
        if operation.kind == "relieve_pad":
            assert operation.step_mm is not None and operation.most_mm is not None
            for times in range(1, int(operation.most_mm / operation.step_mm + 1e-9) + 1):
                depth = times * operation.step_mm
                label = f"manifold pad relieved by {depth:.1f} mm"
                yield Option(
                    label, depth, "relieve", operation.code, times * pence(operation.price),
                    times * operation.labour_min, permanent=not operation.reversible,
                )  # fmt: skip
