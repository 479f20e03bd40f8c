"""What may sit in each slot of a vehicle: what is fitted, what the catalogue has, and what work can make of it."""

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from operator import attrgetter
from weakref import finalize

import numpy as np

from configurator.arrays import Indices
from configurator.car.fitted import Fitted, FittedCircuit, FittedNozzle
from configurator.car.standard import STANDARD_PARTS
from configurator.catalogue.load import Catalog
from configurator.catalogue.parts import (
    FeedScrew,
    FeedScrewFigures,
    LobeFigures,
    NozzlePart,
    Operation,
    Part,
    Pump,
    PumpFigures,
    Spacer,
)
from configurator.slots.columns import Mount
from configurator.slots.options import Offered, Option, OptionFigures, Stack, Stock, pence
from configurator.slots.slot import Slot
from configurator.units.drills import drills_between
from configurator.units.units import show_diameter


@dataclass(frozen=True)
class Stocks:
    """What a catalogue has for each kind of slot; spacers as they are without another below them."""

    nozzles: Stock
    feed_screws: Stock
    pumps: Stock
    lobes: Stock
    spacers: Stock

    @classmethod
    def of(cls, catalog: Catalog) -> "Stocks":
        nozzles, pumps = list(catalog.nozzles.values()), list(catalog.pumps.values())
        spacers = list(catalog.spacers.values())
        mounts = [(lobe, phase) for lobe in catalog.lobes.values() for phase in lobe.phases_deg]
        shape_of = _reader(LobeFigures)
        shapes = [shape for lobe in catalog.lobes.values() for shape in [shape_of(lobe)] * len(lobe.phases_deg)]

        def lobe(place: int) -> Option:
            part, phase = mounts[place]
            return _new(part, Mount(part, phase), f"{part.code} at {phase:g} deg")

        def nozzle(place: int) -> Option:
            part = nozzles[place]
            return _new(part, as_fitted(part), nozzle_name(part.code, part.style, part.diameter_mm))

        return cls(
            Stock(nozzles, map(attrgetter("diameter_mm", "orifices", "style", "length_mm"), nozzles), nozzle),
            _by_figures(list(catalog.feed_screws.values()), FeedScrewFigures),
            _by_figures(pumps, PumpFigures, [pump.comes_with for pump in pumps]),
            Stock(
                [part for part, _ in mounts],
                ((shape, phase) for (_, phase), shape in zip(mounts, shapes, strict=True)),
                lobe,
            ),
            Stock(spacers, map(attrgetter("thickness_mm", "bonnet_mm"), spacers), _over(spacers, 0.0, 0.0)),
        )

    @cached_property
    def stands_for(self) -> dict[str, str]:
        """For every part that has one before it in the catalogue that works alike, the code of the first of these.
        Price, labour, supplier, what comes in the box and whether a nozzle may be redrilled do not count."""
        found: dict[str, str] = {}
        for stock in (self.nozzles, self.feed_screws, self.pumps, self.lobes, self.spacers):
            first: dict[int, str] = {}
            for part, kind in zip(stock.parts, stock.kind.tolist(), strict=True):
                if first.setdefault(kind, part.code) != part.code:
                    found[part.code] = first[kind]
        return found


_KEPT: dict[int, Stocks] = {}


def stocks_of(catalog: Catalog) -> Stocks:
    """The stocks of a catalogue, worked out once as long as it lives."""
    if id(catalog) not in _KEPT:
        found = _KEPT.setdefault(id(catalog), Stocks.of(catalog))
        finalize(catalog, _KEPT.pop, id(catalog), None)
        return found
    return _KEPT[id(catalog)]


def options_of(fitted: Fitted, catalog: Catalog) -> dict[Slot, Offered]:
    """Every option of every slot, in the catalogue's order behind what is fitted."""
    stocks = stocks_of(catalog)
    slots: dict[Slot, Offered] = {}
    for circuit in fitted.circuits:
        slots[Slot(circuit.name, "nozzle")] = _nozzles(circuit.nozzle, stocks.nozzles, catalog)
        slots[Slot(circuit.name, "feed_screw")] = _others(circuit.feed_screw, stocks.feed_screws)
        slots[Slot(circuit.name, "pump")] = _others(circuit.pump, stocks.pumps)
        slots[Slot(circuit.name, "lobe")] = _lobes(circuit, stocks.lobes, catalog)
    slots[Slot(None, "spacer")] = _spacers(fitted, stocks.spacers, catalog)
    slots[Slot(None, "pad_relief")] = Offered.of(tuple(_pad_reliefs(fitted.pad_relieved_mm, catalog)))
    return slots


def nozzle_name(code: str | None, style: str, diameter_mm: float) -> str:
    """What a nozzle is called: its code, or its style where it has none, and its orifice."""
    return f"{code or f'{style} nozzle'}, {show_diameter(diameter_mm)}"


def as_fitted(part: NozzlePart) -> FittedNozzle:
    """A nozzle of the catalogue as it would stand once fitted."""
    # Not validated again: the catalogue has been, and a large one has tens of thousands of nozzles.
    return FittedNozzle.model_construct(
        code=part.code, diameter_mm=part.diameter_mm, orifices=part.orifices, style=part.style, length_mm=part.length_mm
    )


def _new(part: Part, figures: OptionFigures, label: str, comes_with: tuple[str, ...] = ()) -> Option:
    return Option(label, figures, "fit", part.code, pence(part.price), part.labour_min, comes_with)


def _names(figures: type[LobeFigures | FeedScrewFigures | PumpFigures]) -> list[str]:
    """Names of all figures that decide how a part works, its code left out."""
    return [name for name in figures.model_fields if name != "code"]


def _reader(figures: type[LobeFigures | FeedScrewFigures | PumpFigures]) -> Callable[[object], Hashable]:
    """Reads all those figures of a part."""
    return attrgetter(*_names(figures))


def _by_figures(
    parts: Sequence[FeedScrew | Pump],
    figures: type[FeedScrewFigures | PumpFigures],
    boxes: Sequence[tuple[str, ...]] = (),
) -> Stock:
    """Parts whose figures are their own rows."""

    def make(place: int) -> Option:
        part = parts[place]
        return _new(part, part, part.code, getattr(part, "comes_with", ()))

    return Stock(parts, map(_reader(figures), parts), make, boxes)


def _but(stock: Stock, code: str | None) -> Indices:
    """Places of a stock without those of a code."""
    return np.delete(np.arange(len(stock)), list(stock.of_code.get(code or "", ())))


def _nozzles(now: FittedNozzle, stock: Stock, catalog: Catalog) -> Offered:
    own_part = catalog.nozzles.get(now.code or "")
    redrillable = now.style == "straight" and (own_part is None or own_part.redrillable)
    drilled = [
        _redrilled(now, operation, catalog.limits.redrill_growth_most_mm)
        for operation in catalog.operations.values() if redrillable and operation.kind == "redrill_nozzle"
    ]  # fmt: skip
    measures_otherwise = own_part is not None and own_part.diameter_mm != now.diameter_mm
    taken = _but(stock, None if measures_otherwise else now.code)
    first = Option(nozzle_name(now.code, now.style, now.diameter_mm), now, "none", now.code)
    return Offered([first], stock, taken, list(chain.from_iterable(drilled)))


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


def _others(now: FeedScrewFigures | PumpFigures, stock: Stock) -> Offered:
    return Offered([Option(_called(now), now, "none", now.code)], stock, _but(stock, now.code))


def _called(now: FeedScrewFigures | PumpFigures) -> str:
    """A part as the vehicle file calls it: by its code, its class, or what ten strokes gave."""
    slot, noun = ("pump", "pump") if isinstance(now, PumpFigures) else ("feed_screw", "screw")
    if now.code in STANDARD_PARTS[slot]:
        return f"{now.code} {noun}"
    by_ten = f"{now.capacity_ten_strokes_cc:.4g} cc in ten" if isinstance(now, PumpFigures) else "as measured"
    return now.code or by_ten


def _lobes(circuit: FittedCircuit, stock: Stock, catalog: Catalog) -> Offered:
    now, phase_now = circuit.lobe, circuit.phase_deg
    name = now.code or "the measured lobe"
    labour = getattr(now, "labour_min", None)
    if labour is None:
        labour = max(part.labour_min for part in catalog.lobes.values())
    first = Option(f"{name} at {phase_now:g} deg", Mount(now, phase_now), "none", now.code)
    turned = [
        Option(f"{name} at {phase:g} deg", Mount(now, phase), "rephase", now.code, 0, labour)
        for phase in now.phases_deg if phase != phase_now
    ]  # fmt: skip
    return Offered([first, *turned], stock, _but(stock, now.code))


def _over(parts: Sequence[Spacer], thickness_mm: float, bonnet_mm: float) -> Callable[[int], Option]:
    """Makes spacers in place of one of this height."""

    def make(place: int) -> Option:
        part = parts[place]
        return _new(part, Stack(part.thickness_mm - thickness_mm, part.bonnet_mm - bonnet_mm), part.code)

    return make


def _spacers(fitted: Fitted, stock: Stock, catalog: Catalog) -> Offered:
    now = fitted.spacer
    first = [Option(now.code if now else "none", Stack(0.0, 0.0), "none", now.code if now else None)]
    if now is None:
        return Offered(first, stock, np.arange(len(stock)))
    first.append(Option("none", Stack(-now.thickness_mm, -now.bonnet_mm), "remove", None, 0, now.labour_min))
    in_its_place = stock.made_by(_over(list(catalog.spacers.values()), now.thickness_mm, now.bonnet_mm))
    return Offered(first, in_its_place, _but(stock, now.code))


def _pad_reliefs(off_mm: float, catalog: Catalog) -> Iterable[Option]:
    """What is off the pad, and how much may be. off_mm : what was taken off before."""

    def name(depth_mm: float) -> str:
        return f"manifold pad relieved by {depth_mm:.1f} mm"

    yield Option(name(off_mm) if off_mm else "none", off_mm, "none")
    for operation in catalog.operations.values():
        if operation.kind == "relieve_pad":
            assert operation.step_mm is not None and operation.most_mm is not None
            for times in range(1, int((operation.most_mm - off_mm) / operation.step_mm + 1e-9) + 1):
                depth = off_mm + times * operation.step_mm
                yield Option(
                    name(depth), depth, "relieve", operation.code, times * pence(operation.price),
                    times * operation.labour_min, permanent=not operation.reversible,
                )  # fmt: skip
