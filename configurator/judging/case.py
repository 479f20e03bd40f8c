"""One vehicle in front of a catalogue: its tip-in, the facts its rules need, and the margins of its options."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from configurator.arrays import Array
from configurator.car.facts import CarFacts, CircuitFacts
from configurator.car.fitted import Fitted, FittedCircuit, FittedNozzle, resolve_fitted
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import Catalog
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.errors import BadInput, Fault
from configurator.files.reading import did_you_mean
from configurator.judging.demand import Circuit, allowed_by, judge, rear_main_delivers_ms, tip_in_of
from configurator.physics.assumptions import Assumptions
from configurator.physics.tip_in import TipIn
from configurator.rules import RULES, Rule
from configurator.rules.figures import CircuitFigures, JudgedFigures
from configurator.slots.columns import (
    JudgedShots,
    Mount,
    PadReliefs,
    Spacers,
    feed_screw_column,
    lobe_column,
    nozzle_column,
    pump_column,
)
from configurator.slots.offered import options_of
from configurator.slots.options import Offered, Option, Slots, Stack
from configurator.slots.slot import AXES, CIRCUIT_SLOTS, Slot, SlotName

BEYOND_ASSUMED_RANGE = 0.25
"""How far beyond its range an assumed figure may be overruled, in widths of the range; farther the equations fail."""
GOES_TOGETHER = "lobe-is-made-for-the-lever"
"""The rule whose breach leaves nothing to work out: a lobe that does not meet its lever pumps nothing."""


@dataclass(frozen=True)
class Case:
    """A vehicle, a catalogue, and the demand factor f to judge by."""

    vehicle: Vehicle
    catalog: Catalog
    factor: float
    linkage_set: bool = False
    """Whether slack found in the linkage is taken for mended: parts are not bought against a slack linkage."""

    @classmethod
    def of(cls, vehicle: Vehicle, catalog: Catalog) -> "Case":
        """The case at the vehicle file's own demand factor. Raises BadInput for a part the catalogue lacks and for an
        assumed figure the model does not have."""
        case = cls(vehicle, catalog, vehicle.demand_factor)
        _ = case.fitted, case.assumed
        return case

    def with_linkage_set(self) -> "Case":
        """The same case with the pump linkages adjusted."""
        return self if self.linkage_set else replace(self, linkage_set=True)

    def at(self, factor: float) -> "Case":
        """The same case judged at another demand factor."""
        return self if factor == self.factor else replace(self, factor=factor)

    @cached_property
    def fitted(self) -> Fitted:
        return resolve_fitted(self.vehicle, self.catalog)

    @cached_property
    def assumed(self) -> Assumptions:
        known = Assumptions.__dataclass_fields__
        faults = []
        for name, value in self.vehicle.assumed.items():
            place = f"[assumed] {name}"
            if name not in known:
                meant = did_you_mean(name, list(known)) or f"the figures are {', '.join(known)}"
                faults.append(Fault(self.vehicle.file, place, "the model has no such figure", remedy=meant))
                continue
            low, high, unit = (known[name].metadata[key] for key in ("low", "high", "unit"))
            room = BEYOND_ASSUMED_RANGE * (high - low)
            if not low - room <= value <= high + room:
                expected = f"{low - room:.3g} to {high + room:.3g} {unit}".rstrip()
                faults.append(Fault(self.vehicle.file, place, f"found {value:g}", expected))
        if faults:
            raise BadInput(faults)
        return Assumptions().replaced(self.vehicle.assumed)

    @cached_property
    def tip_in(self) -> TipIn:
        return tip_in_of(self.vehicle, self.assumed)

    @cached_property
    def options(self) -> dict[Slot, Offered]:
        """Everything that may sit in every slot, what is fitted first."""
        return options_of(self.fitted, self.catalog)

    @cached_property
    def on_offer(self) -> dict[Slot, tuple[Option, ...]]:
        """One option a kind in every slot: the cheapest, of equals the quickest to fit, then the first by code."""
        return {slot: offered.kinds for slot, offered in self.options.items()}

    @cached_property
    def as_fitted(self) -> dict[Slot, Option]:
        """What sits in every slot now."""
        return {slot: options[0] for slot, options in self.options.items()}

    @property
    def circuit_names(self) -> tuple[str, ...]:
        return tuple(circuit.name for circuit in self.fitted.circuits)

    @cached_property
    def circuits(self) -> dict[str, Circuit]:
        """The circuits as the demand sees them."""
        allowed = allowed_by(self.catalog.limits)
        return {
            circuit.name: Circuit(circuit.name, self.tip_in.circuits[circuit.name], self.assumed, allowed)
            for circuit in self.fitted.circuits
        }

    @cached_property
    def car_facts(self) -> CarFacts:
        confirmed = self.vehicle.confirmed
        done = (confirmed.float_level, confirmed.idle_mixture, confirmed.idle_speed)
        return CarFacts(
            bonnet_clearance_mm=_or_nan(self.vehicle.manifold.bonnet_clearance_mm),
            spacer_height_mm=self.fitted.spacer.bonnet_mm if self.fitted.spacer else 0.0,
            flow_per_litre=self.vehicle.flow_per_litre,
            jets_redrilled=self.vehicle.carburettor.jets_redrilled,
            first_checks_open=done.count(False),
        )

    @cached_property
    def _rear_main_delivers_ms(self) -> float:
        return rear_main_delivers_ms(self.circuits["rear"], self.catalog.limits.rear_main_delivers_share, self.factor)

    def circuit_facts(self, name: str, *, linkage_disturbed: bool = False) -> CircuitFacts:
        """Facts of a circuit, with its linkage as measured or disturbed by a change."""
        circuit: FittedCircuit = next(c for c in self.fitted.circuits if c.name == name)
        manifold, styles = self.vehicle.manifold, self.vehicle.carburettor.nozzle_styles
        delivers = self._rear_main_delivers_ms if name == "rear" else np.inf
        return CircuitFacts(
            idle_rpm=self.vehicle.engine.idle_rpm,
            screw_coefficient=self.assumed.screw_coefficient,
            pad_clearance_mm=_or_nan(manifold.pad_clearance_mm if name == "front" else manifold.rear_pad_clearance_mm),
            takes_straight="straight" in styles,
            takes_aimed="aimed" in styles,
            linkage_disturbed=linkage_disturbed,
            slack_mm=_or_nan(circuit.slack_mm),
            preload_mm=_or_nan(circuit.preload_mm),
            overtravel_mm=_or_nan(circuit.overtravel_mm),
            rear_main_delivers_ms=delivers,
        )

    def slack_mm(self, name: str, pump_changed: Sequence[bool], lobe_changed: Sequence[bool]) -> Array:
        """Slack in the linkage of each pump and lobe (preload counts as less than none): as found, or none where it is
        set, as after a change."""
        circuit = next(c for c in self.fitted.circuits if c.name == name)
        found = 0.0 if self.linkage_set else (circuit.slack_mm or 0.0) - (circuit.preload_mm or 0.0)
        return np.where(np.array(pump_changed)[:, None] | np.array(lobe_changed), 0.0, found)

    def columns(self, name: str, options: Slots, *, with_windows: bool = False) -> JudgedFigures:
        """Everything the rules of one circuit read, as arrays over AXES, for lists of options of its slots.

        One combination is looked up in the table of all kinds, once `tabulated` has made that.
        """
        own: dict[SlotName, Sequence[Option]] = {slot: options[Slot.of(name, slot)] for slot in AXES}
        if not with_windows and name in self._tables and all(len(listed) == 1 for listed in own.values()):
            of_kinds = (self.options[Slot.of(name, slot)].kind_of(listed[0]) for slot, listed in own.items())
            kinds = [kind for kind in of_kinds if kind is not None]
            if len(kinds) == len(AXES):
                return self._looked_up(name, own, kinds)
        return self._worked_out(name, own, with_windows=with_windows)

    def tabulated(self, name: str) -> JudgedFigures:
        """The columns over every kind of option of a circuit's slots, in the order of on_offer, worked out once."""
        if name not in self._tables:
            self._tables[name] = self._worked_out(name, {slot: self.on_offer[Slot.of(name, slot)] for slot in AXES})
        return self._tables[name]

    @cached_property
    def _tables(self) -> dict[str, JudgedFigures]:
        return {}

    def _looked_up(self, name: str, own: Mapping[SlotName, Sequence[Option]], kinds: Sequence[int]) -> JudgedFigures:
        whole = self._tables[name]
        nozzle, screw, pump, lobe, spacer, relief = kinds
        return replace(
            whole,
            nozzle=whole.nozzle.only(0, nozzle),
            feed_screw=whole.feed_screw.only(1, screw),
            pump=whole.pump.only(2, pump),
            lobe=whole.lobe.only(3, lobe),
            spacer=whole.spacer.only(4, spacer),
            pad_relief=whole.pad_relief.only(5, relief),
            shot=whole.shot.at(tuple(slice(kind, kind + 1) for kind in kinds[: len(CIRCUIT_SLOTS)])),
            facts=self.circuit_facts(name, linkage_disturbed=own["lobe"][0].changed or own["pump"][0].changed),
        )

    def _worked_out(
        self, name: str, own: Mapping[SlotName, Sequence[Option]], *, with_windows: bool = False
    ) -> JudgedFigures:
        circuit = self.circuits[name]
        nozzles = [option.read(FittedNozzle) for option in own["nozzle"]]
        screws = [option.read(FeedScrewFigures) for option in own["feed_screw"]]
        pumps = [option.read(PumpFigures) for option in own["pump"]]
        mounts = [option.read(Mount) for option in own["lobe"]]
        stacks = [option.read(Stack) for option in own["spacer"]]
        reliefs_mm = [option.read(float) for option in own["pad_relief"]]
        pump_changed, lobe_changed = ([option.changed for option in own[slot]] for slot in ("pump", "lobe"))
        spacers = Spacers(
            thickness_mm=np.array([stack.thickness_mm for stack in stacks]),
            bonnet_mm=np.array([stack.bonnet_mm for stack in stacks]),
        )
        figures = CircuitFigures(
            nozzle=nozzle_column(nozzles).along(0, len(AXES)),
            feed_screw=feed_screw_column(screws).along(1, len(AXES)),
            pump=pump_column(pumps, pump_changed).along(2, len(AXES)),
            lobe=lobe_column(mounts, lobe_changed, circuit.idle_deg).along(3, len(AXES)),
            spacer=spacers.along(4, len(AXES)),
            pad_relief=PadReliefs(np.array(reliefs_mm)).along(5, len(AXES)),
            facts=self.circuit_facts(name, linkage_disturbed=all(lobe_changed) or all(pump_changed)),
            car=self.car_facts,
            limits=self.catalog.limits,
        )
        worth_it = ~(RULES[GOES_TOGETHER].margin(figures)[0, 0, :, :, 0, 0] < 0)
        shots = judge(
            circuit, nozzles, screws, pumps, mounts, worth_it, self.slack_mm(name, pump_changed, lobe_changed),
            self.factor, with_windows=with_windows,
        )  # fmt: skip
        over_axes = JudgedShots(**{key: value[..., None, None] for key, value in vars(shots).items()})
        return JudgedFigures(**vars(figures), shot=over_axes)


def margins(rule: Rule, table: JudgedFigures) -> Array:
    """A rule's margins over AXES, one entry along every axis that it does not read."""
    margin = rule.margin(table)
    return margin if margin.ndim == len(AXES) else margin.reshape((1,) * len(AXES))


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value
