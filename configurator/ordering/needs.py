"""What one vehicle may need in its box: setups, nozzles, and the scenarios of demand that each pair of them covers.

Parts that are technically alike are one here, under the code of the first of them: which of them to buy is the order's
affair.

A setup is a feed screw, pump and lobe of one circuit, with the spacer or pad relief they want; with a setup fitted,
nozzles are tried. A box covers an engine when in every circuit some setup and nozzle in it keep every hard rule in that
engine. Sureness is the share of what is believed of the engine that the box covers; a search goes by scenarios of
equal weight that it is cut into, each covered by what covers the greater part of it; what is told is worked out from
the box over all of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from configurator.arrays import Array, Mask
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import Joint
from configurator.judging.case import Case, FeltSizes, margins
from configurator.judging.right import IN_EVERY_ENGINE
from configurator.learning.belief import Belief
from configurator.physics.lateness import Bits, Regions
from configurator.slots.joints import openers
from configurator.slots.offered import stocks_of
from configurator.slots.options import Choice, Option, Slots
from configurator.slots.slot import AXES, CIRCUIT_SLOTS, SHARED_SLOTS, Slot, SlotName

MOST_OF_IT = 0.5
"""Share of a scenario that makes it covered."""


@dataclass(frozen=True)
class Setup:
    """Screw, pump and lobe of one circuit: codes to be had for it (none for what is fitted), codes it sets free, joints
    its changes open, places in the shared options (spacer, pad relief) it goes with, and by what is changed the minutes
    that it takes."""

    label: str
    codes: tuple[str, ...]
    frees: tuple[str, ...]
    joints: tuple[Joint, ...]
    goes_with: Mask
    labour_min: Mapping[str, int]
    is_fitted: bool


Places = Mapping[str, Sequence[int]]
"""Places of what a box holds, by circuit."""


@dataclass(frozen=True)
class CircuitNeeds:
    """One circuit's setups and nozzles, and what they cover: covers[setup, nozzle, scenario], and of every engine of
    the grid regions[setup, nozzle]."""

    circuit: str
    setups: tuple[Setup, ...]
    nozzles: tuple[Option, ...]
    covers: Mask
    regions: Regions


@dataclass(frozen=True)
class VehicleNeeds:
    """All that an order must know of a vehicle; shared holds pairs of spacer and pad relief. masses : what is believed
    of its engine, at every point of the grid; scenarios : of each scenario, shape (scenarios, points)."""

    name: str
    circuits: tuple[CircuitNeeds, ...]
    shared: tuple[tuple[Option, Option], ...]
    scenarios: Array
    masses: Array

    def covered(self, setups: Places, nozzles: Places) -> list[bool]:
        """Whether a box covers each scenario."""
        held = [one.covers[np.ix_(setups[one.circuit], nozzles[one.circuit])] for one in self.circuits]
        return np.all([own.any(axis=(0, 1)) for own in held], axis=0).tolist()  # type: ignore[no-any-return]

    def sureness(self, setups: Places, nozzles: Places) -> float:
        """Share of what is believed of the engine that a box covers."""
        held = [one.regions.bits[np.ix_(setups[one.circuit], nozzles[one.circuit])] for one in self.circuits]
        own = [np.bitwise_or.reduce(bits.reshape(-1, bits.shape[-1]), axis=0) for bits in held]
        return float(Regions(np.bitwise_and.reduce(own)).share(self.masses))


@dataclass(frozen=True)
class CircuitRegions:
    """What one circuit's combinations cover whatever is believed of the engine: bits of their regions, over (nozzle,
    screw, pump, lobe), none where a hard rule forbids it; goes_with[pump, place in the shared options]; and the volume
    of their shots [cm3]."""

    bits: Bits
    goes_with: Mask
    volume_cc: Array
    peak_cc_s: Array


def regions_of(case: Case, *, redrill: bool) -> dict[str, CircuitRegions]:
    """Regions of every circuit of a vehicle, with its linkage set: the long part of the work, alike for all vehicles
    that are technically equal."""
    case = case.with_linkage_set()
    return {name: _regions(case, name, listed_of(case, name, redrill), shared_of(case, redrill))
            for name in case.circuit_names}  # fmt: skip


def shared_of(case: Case, redrill: bool) -> list[tuple[Option, Option]]:
    """Pairs of spacer and pad relief that may be counted on."""
    spacers, reliefs = (case.options[Slot(None, slot)].first_of_kinds for slot in SHARED_SLOTS)
    return [(spacer, relief) for spacer in spacers for relief in reliefs if redrill or relief.work != "relieve"]


def listed_of(case: Case, name: str, redrill: bool) -> Slots:
    """Options of every slot, one for all that are technically alike, as far as they may be counted on."""
    listed = {slot: offered.first_of_kinds for slot, offered in case.options.items()}
    nozzle = Slot(name, "nozzle")
    return {**listed, nozzle: tuple(one for one in listed[nozzle] if redrill or one.work != "redrill")}


def _regions(case: Case, name: str, listed: Slots, shared: Sequence[tuple[Option, Option]]) -> CircuitRegions:
    table = case.columns(name, listed, with_regions=True)
    shape = tuple(len(listed[Slot.of(name, slot)]) for slot in AXES)
    of_parts = np.ones(shape[:4], dtype=bool)
    of_stack = np.ones((shape[2], *shape[4:]), dtype=bool)
    for rule in IN_EVERY_ENGINE:
        holds = ~(np.broadcast_to(margins(rule, table), shape) < 0)
        if set(rule.slots) & set(SHARED_SLOTS):
            of_stack &= holds[0, 0, :, 0]
        else:
            of_parts &= holds[..., 0, 0]
    assert table.shot.regions is not None
    bits = table.shot.regions.bits[..., 0, 0, :] * of_parts[..., None].astype(np.uint8)
    goes_with = np.zeros((shape[2], len(shared)), dtype=bool)
    spacers, reliefs = (list(listed[Slot(None, slot)]) for slot in SHARED_SLOTS)
    for place, (spacer, relief) in enumerate(shared):
        goes_with[:, place] = of_stack[:, spacers.index(spacer), reliefs.index(relief)]
    volume_cc, peak_cc_s = (
        np.array(np.broadcast_to(one, shape)[..., 0, 0]) for one in (table.shot.volume_cc, table.shot.peak_cc_s)
    )
    return CircuitRegions(bits, goes_with, volume_cc, peak_cc_s)


OwnParts = Mapping[SlotName, Sequence[Option]]
"""Options of one circuit's own slots."""


class Choices:
    """All that may go into a vehicle's box, ready to be cut to the scenarios of one belief after another."""

    def __init__(self, case: Case, regions: Mapping[str, CircuitRegions], *, redrill: bool) -> None:
        self._name = case.vehicle.name
        self._shared = shared_of(case, redrill)
        stands_for = stocks_of(case.catalog).stands_for
        self._circuits = [
            _CircuitChoices(name, listed_of(case, name, redrill), found, stands_for) for name, found in regions.items()
        ]

    def needs(self, belief: Belief, cut: tuple[int, int], felt: Mapping[str, FeltSizes]) -> VehicleNeeds:
        """The needs for a belief, cut so many times along each unknown into scenarios. felt : sizes of each circuit
        that were felt too small or large enough, with what is fitted."""
        cells = belief.cells(*cut)
        circuits = [circuit.needs(cells, felt) for circuit in self._circuits]
        wanted = np.any([setup.goes_with for circuit in circuits for setup in circuit.setups], axis=0)
        kept = [place for place in range(len(self._shared)) if place == 0 or (np.any(wanted) and wanted[place])]
        return VehicleNeeds(
            self._name,
            tuple(_with_shared(circuit, kept) for circuit in circuits),
            tuple(self._shared[place] for place in kept),
            cells,
            belief.masses,
        )


def needs_of_one(case: Case, choice: Choice, belief: Belief, cut: tuple[int, int]) -> VehicleNeeds:
    """The needs of a vehicle that is to get these very parts, since they pulled cleanly in it: nothing else is right,
    and they are whatever engine is believed."""
    cells, stands_for = belief.cells(*cut), stocks_of(case.catalog).stands_for
    circuits = []
    for name in case.circuit_names:
        parts = {own: (case.as_fitted[Slot(name, own)], choice[Slot(name, own)]) for own in CIRCUIT_SLOTS}
        setup = _setup(parts, (1, 1, 1), np.ones(1, dtype=bool), stands_for)
        every = np.ones((1, 1, belief.masses.size), dtype=bool)
        regions, covers = Regions.of(every), np.ones((1, 1, len(cells)), dtype=bool)
        circuits.append(CircuitNeeds(name, (setup,), (choice[Slot(name, "nozzle")],), covers, regions))
    spacer, relief = (choice[Slot(None, own)] for own in SHARED_SLOTS)
    return VehicleNeeds(case.vehicle.name, tuple(circuits), ((spacer, relief),), cells, belief.masses)


def _with_shared(circuit: CircuitNeeds, kept: Sequence[int]) -> CircuitNeeds:
    return replace(circuit, setups=tuple(replace(s, goes_with=s.goes_with[list(kept)]) for s in circuit.setups))


class _CircuitChoices:
    """Every setup of one circuit that some stack goes with, with its regions, shape (setup, nozzle)."""

    def __init__(self, name: str, listed: Slots, regions: CircuitRegions, stands_for: Mapping[str, str]) -> None:
        parts: OwnParts = {slot: listed[Slot(name, slot)] for slot in CIRCUIT_SLOTS}
        fits = np.asarray(regions.bits.any(axis=(0, 4))) & np.asarray(regions.goes_with.any(axis=1))[:, None]
        places = [(screw, pump, lobe) for screw, pump, lobe in np.argwhere(fits).tolist()]
        self._name, self._nozzles = name, parts["nozzle"]
        self._diameters_mm = np.array([diameter_mm(option) for option in parts["nozzle"]])
        self._setups = tuple(_setup(parts, place, regions.goes_with[place[1]], stands_for) for place in places)
        screw, pump, lobe = np.array(places, dtype=int).reshape(-1, 3).T
        self._regions = Regions(regions.bits[:, screw, pump, lobe].swapaxes(0, 1))
        self._volumes_cc = regions.volume_cc[:, screw, pump, lobe].T
        self._peaks_cc_s = regions.peak_cc_s[:, screw, pump, lobe].T
        as_fitted = [not (parts["pump"][place[1]].changed or parts["lobe"][place[2]].changed) for place in places]
        self._alike = np.array(as_fitted, dtype=np.bool_)

    def needs(self, cells: Array, felt: Mapping[str, FeltSizes]) -> CircuitNeeds:
        """All setups and nozzles that cover a scenario, or with what does; cells : shares of the belief, each a
        scenario."""
        every = self._within(felt.get(self._name, FeltSizes()))
        covers = every.share(cells.T) >= MOST_OF_IT
        setups, nozzles = (np.flatnonzero(covers.any(axis=axes)) for axes in ((1, 2), (0, 2)))
        useful = np.ix_(setups, nozzles)
        return CircuitNeeds(
            self._name, tuple(self._setups[i] for i in setups.tolist()),
            tuple(self._nozzles[n] for n in nozzles.tolist()), covers[useful], Regions(every.bits[useful]),
        )  # fmt: skip

    def _within(self, felt: FeltSizes) -> Regions:
        """The regions, none where a rule on what was felt forbids it."""
        ruled_out = felt.rule_out(self._diameters_mm, self._volumes_cc, self._peaks_cc_s, self._alike[:, None])
        return Regions(self._regions.bits * ~ruled_out[..., None])


def _setup(parts: OwnParts, place: tuple[int, int, int], goes_with: Mask, stands_for: Mapping[str, str]) -> Setup:
    chosen = [parts[slot][index] for slot, index in zip(CIRCUIT_SLOTS[1:], place, strict=True)]
    return Setup(
        label=", ".join(option.label for option in chosen),
        codes=tuple(o.code for o in chosen if o.work == "fit" and o.code is not None),
        frees=tuple(
            stands_for.get(now.code, now.code) for slot, o in zip(CIRCUIT_SLOTS[1:], chosen, strict=True)
            if o.work == "fit" and (now := parts[slot][0]).code is not None
        ),
        joints=tuple(joint for slot, o in zip(CIRCUIT_SLOTS[1:], chosen, strict=True) if o.changed
                     for _, joint in openers([Slot(None, slot)])),
        goes_with=goes_with, labour_min={o.label: o.labour_min for o in chosen if o.labour_min},
        is_fitted=not any(o.changed for o in chosen),
    )  # fmt: skip


def diameter_mm(option: Option) -> float:
    """Orifice diameter of a nozzle option [mm]."""
    return option.read(FittedNozzle).diameter_mm
