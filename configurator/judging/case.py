"""A car as one engine, or as what is believed of it: facts for its rules, what its options deliver, their margins."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from configurator.arrays import Array, Indices, Mask
from configurator.car.facts import CircuitFacts
from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import Catalog
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.car_in_catalogue import CarInCatalogue, or_nan
from configurator.judging.demand import Circuit, judge, rear_main_delivers_ms
from configurator.judging.right import right_at_demand
from configurator.physics.lateness import Lateness, Regions
from configurator.rules import RULES, Rule
from configurator.rules.figures import CircuitFigures, JudgedFigures
from configurator.rules.rule import NOTHING
from configurator.slots.columns import (
    Mount,
    PadReliefs,
    Spacers,
    feed_screw_column,
    lobe_column,
    nozzle_column,
    pump_column,
)
from configurator.slots.options import Offered, Option, Slots, Stack
from configurator.slots.slot import AXES, CIRCUIT_SLOTS, Slot, SlotName
from configurator.units.units import SAME_SIZE_MM


@dataclass(frozen=True)
class FeltSizes:
    """Nozzles of one circuit that were felt too small, and large enough, with the pump and lobe that are fitted
    [mm]: the largest of the first, the smallest of the second; infinite where there is none."""

    lean_mm: float = -np.inf
    rich_mm: float = np.inf
    smoked: bool = False
    """Whether the upper one smoked, and was not only no cure."""
    least_mm: float = -np.inf
    most_mm: float = np.inf
    """The fitted nozzle, where it was felt last to want fuel, or to have enough: no smaller, or no larger, will do."""
    least_cc: float = -np.inf
    most_cc: float = np.inf
    """Volume of the fitted shot, where that was too little, or smoked: no less, or no more, is asked for."""
    least_cc_s: float = -np.inf
    """How fast it flows at most, where fuel was wanting at once: no slower will do."""

    now_mm: float = np.nan
    scatter_mm: float = 0.0
    """The fitted nozzle, and by how much orifices of one size differ."""
    again: bool = False
    """Whether the fitted nozzle was complained of more than once, the same way: then it is left out as well."""

    @property
    def bracket_mm(self) -> tuple[float, float] | None:
        """One that stumbled and a larger one that smoked, with the very pump and lobe: what is right lies between."""
        both = self.smoked and np.isfinite(self.lean_mm) and np.isfinite(self.rich_mm)
        return (self.lean_mm, self.rich_mm) if both else None

    @property
    def facts(self) -> dict[str, float]:
        """As rules read them: sizes that nobody would tell from one that was complained of are left out with it, but
        for the fitted one."""
        lean_mm, rich_mm = self.lean_mm, self.rich_mm
        if lean_mm < self.now_mm - SAME_SIZE_MM:
            lean_mm = min(lean_mm + self.scatter_mm, self.now_mm)
        elif self.again:
            lean_mm += self.scatter_mm
        if rich_mm > self.now_mm + SAME_SIZE_MM:
            rich_mm = max(rich_mm - self.scatter_mm, self.now_mm)
        elif self.again:
            rich_mm -= self.scatter_mm
        return {
            "lean_mm": lean_mm, "rich_mm": rich_mm, "least_mm": self.least_mm, "most_mm": self.most_mm,
            "least_cc": self.least_cc, "most_cc": self.most_cc, "least_cc_s": self.least_cc_s,
        }  # fmt: skip

    def rule_out(
        self, diameters_mm: Array | float, volumes_cc: Array | float, peaks_cc_s: Array | float, alike: Mask
    ) -> Mask:
        """Which combinations the rules on what was felt forbid, by their nozzles, volumes and fastest flows. alike :
        whether pump and lobe are those that are fitted."""
        facts = self.facts
        least_mm = np.where(alike, max(facts["lean_mm"], facts["least_mm"]), facts["least_mm"])
        most_mm = np.where(alike, min(facts["rich_mm"], facts["most_mm"]), facts["most_mm"])
        small, large = diameters_mm < least_mm - NOTHING, diameters_mm > most_mm + NOTHING
        less, more = volumes_cc < facts["least_cc"] - NOTHING, volumes_cc > facts["most_cc"] + NOTHING
        return np.asarray(small | large | less | more | (peaks_cc_s < facts["least_cc_s"] - NOTHING))


GOES_TOGETHER = "lobe-is-made-for-the-lever"
"""The rule whose breach leaves nothing to work out: a lobe that does not meet its lever pumps nothing."""


@dataclass(frozen=True, eq=False)
class Asked:
    """What is believed of an engine, at every point of the grid; the share of it that parts are to be right for; and
    the sizes of each circuit that were felt too small, or large enough, with what is fitted."""

    masses: Array
    share: float
    felt: Mapping[str, FeltSizes] = field(default_factory=dict)


@dataclass(frozen=True)
class Case:
    """A car in front of a catalogue, and the engine to judge by.

    asked : what is believed of it, where parts are chosen by that.
    """

    car: CarInCatalogue
    engine: Lateness
    asked: Asked | None = None
    linkage_set: bool = False
    """Whether slack found in the linkage is taken for mended: parts are not bought against a slack linkage."""

    @classmethod
    def of(cls, vehicle: Vehicle, catalog: Catalog) -> "Case":
        """The case for the engine as the vehicle file has it. Raises BadInput for a part the catalogue lacks and for an
        assumed figure the model does not have."""
        return cls(CarInCatalogue.of(vehicle, catalog), vehicle.engine_as_told)

    def with_linkage_set(self) -> "Case":
        """The same case with the pump linkages adjusted."""
        return self if self.linkage_set else replace(self, linkage_set=True)

    def at(self, engine: Lateness) -> "Case":
        """The same case judged in another engine."""
        return self if (engine, None) == (self.engine, self.asked) else replace(self, engine=engine, asked=None)

    def asking(self, masses: Array, share: float, felt: Mapping[str, FeltSizes] | None = None) -> "Case":
        """The same case with parts chosen that are right for a share of what is believed of the engine. masses : share
        of belief at each point of the grid. felt : sizes felt too small or large enough, by circuit."""
        return replace(self, asked=Asked(masses, share, felt or {}))

    def content_with(self, share: float) -> "Case":
        """The same case asking for another share of what is believed, or, if that is infinite, judged by the pull in
        its engine alone; what is worked out stays so."""
        assert self.asked is not None
        other = replace(self, asked=replace(self.asked, share=share))
        for name in self.circuit_names:
            table = self.tabulated(name)
            facts = replace(table.facts, sure_wanted_percent=100.0 * share)
            other._tables[name] = replace(table, facts=facts)
        return other

    def beside(self, others: Mapping[str, Regions]) -> "Case":
        """The same case with a circuit's parts right only in engines that others are right for as well: those of the
        other circuit. others : by the circuit that stands beside them."""
        assert self.asked is not None
        case = replace(self)
        for name in self.circuit_names:
            table = self.tabulated(name)
            assert table.shot.regions is not None
            masses = self.asked.masses * others[name].covers
            shot = replace(table.shot, sure_percent=100.0 * table.shot.regions.share(masses))
            case._tables[name] = replace(table, shot=shot)
        return case

    @property
    def fuel_left_alone(self) -> bool:
        """Whether nothing is asked of the fuel that parts give: what pulls cleanly is left alone."""
        return self.asked is not None and not self.asked.share

    @property
    def vehicle(self) -> Vehicle:
        return self.car.vehicle

    @property
    def catalog(self) -> Catalog:
        return self.car.catalog

    @property
    def options(self) -> dict[Slot, Offered]:
        return self.car.options

    @property
    def on_offer(self) -> dict[Slot, tuple[Option, ...]]:
        return self.car.on_offer

    @property
    def as_fitted(self) -> dict[Slot, Option]:
        return self.car.as_fitted

    @property
    def circuit_names(self) -> tuple[str, ...]:
        return tuple(self.car.fitted_circuits)

    @property
    def circuits(self) -> dict[str, Circuit]:
        return self.car.circuits

    @cached_property
    def _rear_main_delivers_ms(self) -> float:
        late = np.array([self.engine.main_circuit])
        share = self.catalog.limits.rear_main_delivers_share
        return float(rear_main_delivers_ms(self.circuits["rear"], share, late)[0])

    def circuit_facts(self, name: str, *, linkage_disturbed: bool = False) -> CircuitFacts:
        """Facts of a circuit, with its linkage as measured or disturbed by a change."""
        circuit = self.car.fitted_circuits[name]
        manifold, styles = self.vehicle.manifold, self.vehicle.carburettor.nozzle_styles
        delivers = self._rear_main_delivers_ms if name == "rear" else np.inf
        return CircuitFacts(
            idle_rpm=self.vehicle.engine.idle_rpm,
            screw_coefficient=self.car.assumed.screw_coefficient,
            pad_clearance_mm=or_nan(manifold.pad_clearance_mm if name == "front" else manifold.rear_pad_clearance_mm),
            takes_straight="straight" in styles,
            takes_aimed="aimed" in styles,
            linkage_disturbed=linkage_disturbed,
            slack_mm=or_nan(circuit.slack_mm),
            preload_mm=or_nan(circuit.preload_mm),
            overtravel_mm=or_nan(circuit.overtravel_mm),
            rear_main_delivers_ms=delivers,
            **self._asked_of(name),
        )

    def _asked_of(self, name: str) -> dict[str, float]:
        """What runs ask of a circuit's parts."""
        if self.asked is None:
            return {}
        return {"sure_wanted_percent": 100.0 * self.asked.share, **self.asked.felt.get(name, FeltSizes()).facts}

    def slack_mm(self, name: str, pump_changed: Sequence[bool], lobe_changed: Sequence[bool]) -> Array:
        """Slack in the linkage of each pump and lobe (preload counts as less than none): as found, or none where it is
        set, as after a change."""
        circuit = self.car.fitted_circuits[name]
        found = 0.0 if self.linkage_set else (circuit.slack_mm or 0.0) - (circuit.preload_mm or 0.0)
        return np.where(np.array(pump_changed)[:, None] | np.array(lobe_changed), 0.0, found)

    def columns(self, name: str, options: Slots, *, with_regions: bool = False) -> JudgedFigures:
        """Everything the rules of one circuit read, as arrays over AXES, for lists of options of its slots.

        They are looked up in the table of all kinds, once `tabulated` has made that; it has regions where a share of
        what is believed is asked for.
        """
        own: dict[SlotName, Sequence[Option]] = {slot: options[Slot.of(name, slot)] for slot in AXES}
        if name in self._tables and (self.asked is not None or not with_regions):
            kinds = [[self.options[Slot.of(name, slot)].kind_of(one) for one in listed] for slot, listed in own.items()]
            if all(None not in of_slot for of_slot in kinds):
                return self._looked_up(name, own, [np.array(of_slot, dtype=np.intp) for of_slot in kinds])
        return self._worked_out(name, own, with_regions=with_regions)

    def tabulated(self, name: str) -> JudgedFigures:
        """The columns over every kind of option of a circuit's slots, in the order of on_offer, worked out once."""
        if name not in self._tables:
            self._tables[name] = self._worked_out(name, {slot: self.on_offer[Slot.of(name, slot)] for slot in AXES})
        return self._tables[name]

    def readings(self, name: str, rule: Rule) -> tuple[Array, Array]:
        """What a rule reads of every kind of option of a circuit's slots, and its limits, over AXES in full."""
        if (name, rule.id) not in self._readings:
            shape = tuple(len(self.on_offer[Slot.of(name, slot)]) for slot in AXES)
            value, limit = rule.readings(self.tabulated(name))
            self._readings[name, rule.id] = np.broadcast_to(value, shape), np.broadcast_to(limit, shape)
        return self._readings[name, rule.id]

    def kinds_of(self, name: str, choice: Mapping[Slot, Option]) -> tuple[int, ...]:
        """The kind of each part of a circuit, along AXES: its place in what `tabulated` gives."""
        kinds = (self.options[slot].kind_of(choice[slot]) for slot in (Slot.of(name, own) for own in AXES))
        found = tuple(kind for kind in kinds if kind is not None)
        assert len(found) == len(AXES)
        return found

    @cached_property
    def _readings(self) -> dict[tuple[str, str], tuple[Array, Array]]:
        return {}

    @cached_property
    def _tables(self) -> dict[str, JudgedFigures]:
        return {}

    def _looked_up(
        self, name: str, own: Mapping[SlotName, Sequence[Option]], kinds: Sequence[Indices]
    ) -> JudgedFigures:
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
            shot=whole.shot.at(np.ix_(*kinds[: len(CIRCUIT_SLOTS)])),
            facts=self.circuit_facts(name, linkage_disturbed=_disturbed(own)),
        )

    def _worked_out(
        self, name: str, own: Mapping[SlotName, Sequence[Option]], *, with_regions: bool = False
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
            facts=self.circuit_facts(name, linkage_disturbed=_disturbed(own)),
            car=self.car.facts,
            limits=self.catalog.limits,
        )
        worth_it = ~(RULES[GOES_TOGETHER].margin(figures)[0, 0, :, :, 0, 0] < 0)
        shots = judge(
            circuit, nozzles, screws, pumps, mounts, worth_it, self.slack_mm(name, pump_changed, lobe_changed),
            self.engine, with_regions=with_regions or self.asked is not None,
        )  # fmt: skip
        over_axes = shots.at((*(slice(None),) * len(CIRCUIT_SLOTS), None, None))
        table = JudgedFigures(**vars(figures), shot=over_axes)
        if over_axes.regions is None:
            return table
        delivers_ms = self.car.rear_main_delivers_ms if name == "rear" else np.array([np.inf])
        regions = right_at_demand(table, delivers_ms)
        sure = 100.0 * regions.share(self.asked.masses) if self.asked else over_axes.sure_percent
        return replace(table, shot=replace(over_axes, regions=regions, sure_percent=sure))


def _disturbed(own: Mapping[SlotName, Sequence[Option]]) -> bool:
    """Whether whatever is chosen changes pump or lobe, and so the linkage."""
    return any(all(option.changed for option in own[slot]) for slot in ("pump", "lobe"))


def margins(rule: Rule, table: JudgedFigures) -> Array:
    """A rule's margins over AXES, one entry along every axis that it does not read."""
    margin = rule.margin(table)
    return margin if margin.ndim == len(AXES) else margin.reshape((1,) * len(AXES))
