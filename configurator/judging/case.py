"""A car at a demand factor: the facts its rules need, what its options deliver, and their margins."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from configurator.arrays import Array
from configurator.car.facts import CircuitFacts
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import Catalog
from configurator.judging.car_in_catalogue import CarInCatalogue, or_nan
from configurator.judging.demand import Circuit, judge, rear_main_delivers_ms
from configurator.rules import CIRCUIT_SLOTS, RULES, SHARED_SLOTS, Rule
from configurator.slots.columns import (
    JudgedShots,
    OptionColumn,
    PadReliefs,
    Spacers,
    feed_screw_column,
    lobe_column,
    nozzle_column,
    pump_column,
)
from configurator.slots.options import Offered, Option

AXES = (*CIRCUIT_SLOTS, *SHARED_SLOTS)
"""Axes of a table over one circuit's options."""
GOES_TOGETHER = "lobe-is-made-for-the-lever"
"""The rule whose breach leaves nothing to work out: a lobe that does not meet its lever pumps nothing."""


@dataclass(frozen=True)
class Case:
    """A car in front of a catalogue, and the demand factor f to judge by."""

    car: CarInCatalogue
    factor: float
    linkage_set: bool = False
    """Whether slack found in the linkage is taken for mended: parts are not bought against a slack linkage."""

    @classmethod
    def of(cls, vehicle: Vehicle, catalog: Catalog) -> "Case":
        """The case at the vehicle file's own demand factor. Raises BadInput for a part the catalogue lacks and for an
        assumed figure the model does not have."""
        return cls(CarInCatalogue.of(vehicle, catalog), vehicle.demand_factor)

    def with_linkage_set(self) -> "Case":
        """The same case with the pump linkages adjusted."""
        return self if self.linkage_set else replace(self, linkage_set=True)

    def at(self, factor: float) -> "Case":
        """The same case judged at another demand factor."""
        return self if factor == self.factor else replace(self, factor=factor)

    @property
    def vehicle(self) -> Vehicle:
        return self.car.vehicle

    @property
    def catalog(self) -> Catalog:
        return self.car.catalog

    @property
    def options(self) -> dict[str, Offered]:
        return self.car.options

    @property
    def on_offer(self) -> dict[str, tuple[Option, ...]]:
        return self.car.on_offer

    @property
    def as_fitted(self) -> dict[str, Option]:
        return self.car.as_fitted

    @property
    def circuit_names(self) -> tuple[str, ...]:
        return tuple(self.car.fitted_circuits)

    @property
    def circuits(self) -> dict[str, Circuit]:
        return self.car.circuits

    @cached_property
    def _rear_main_delivers_ms(self) -> float:
        return rear_main_delivers_ms(self.circuits["rear"], self.catalog.limits.rear_main_delivers_share, self.factor)

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
        )

    def slack_mm(self, name: str, pump_changed: Sequence[bool], lobe_changed: Sequence[bool]) -> Array:
        """Slack in the linkage of each pump and lobe (preload counts as less than none): as found, or none where it is
        set, as after a change."""
        circuit = self.car.fitted_circuits[name]
        found = 0.0 if self.linkage_set else (circuit.slack_mm or 0.0) - (circuit.preload_mm or 0.0)
        return np.where(np.array(pump_changed)[:, None] | np.array(lobe_changed), 0.0, found)

    def columns(
        self, name: str, options: Mapping[str, Sequence[Option]], *, with_windows: bool = False
    ) -> dict[str, Any]:
        """Everything the rules of one circuit read, as arrays over AXES, for lists of options of its slots.

        One combination is looked up in the table of all kinds, once `tabulated` has made that.
        """
        own = {slot: options[self._full(name, slot)] for slot in AXES}
        if not with_windows and name in self._tables and all(len(listed) == 1 for listed in own.values()):
            kinds = [self.options[self._full(name, slot)].kind_of(listed[0]) for slot, listed in own.items()]
            if None not in kinds:
                return self._looked_up(name, own, kinds)  # type: ignore[arg-type]
        return self._worked_out(name, own, with_windows=with_windows)

    def tabulated(self, name: str) -> dict[str, Any]:
        """The columns over every kind of option of a circuit's slots, in the order of on_offer, worked out once."""
        if name not in self._tables:
            own = {slot: self.on_offer[self._full(name, slot)] for slot in AXES}
            self._tables[name] = self._worked_out(name, own)
        return self._tables[name]

    @cached_property
    def _tables(self) -> dict[str, dict[str, Any]]:
        return {}

    @staticmethod
    def _full(name: str, slot: str) -> str:
        return slot if slot in SHARED_SLOTS else f"{name}.{slot}"

    def _looked_up(self, name: str, own: Mapping[str, Sequence[Option]], kinds: Sequence[int]) -> dict[str, Any]:
        whole = self._tables[name]
        found = {slot: whole[slot].only(axis, kinds[axis]) for axis, slot in enumerate(AXES)}
        cell = tuple(slice(kind, kind + 1) for kind in kinds[: len(CIRCUIT_SLOTS)])
        disturbed = own["lobe"][0].changed or own["pump"][0].changed
        return found | {
            "limits": whole["limits"], "car": whole["car"], "shot": whole["shot"].at(cell),
            "facts": self.circuit_facts(name, linkage_disturbed=disturbed),
        }  # fmt: skip

    def _worked_out(
        self, name: str, own: Mapping[str, Sequence[Option]], *, with_windows: bool = False
    ) -> dict[str, Any]:
        figures: dict[str, list[Any]] = {slot: [option.figures for option in own[slot]] for slot in AXES}
        changed = {slot: [option.changed for option in own[slot]] for slot in AXES}
        circuit = self.circuits[name]
        columns: dict[str, OptionColumn] = {
            "nozzle": nozzle_column(figures["nozzle"]),
            "feed_screw": feed_screw_column(figures["feed_screw"]),
            "pump": pump_column(figures["pump"], changed["pump"]),
            "lobe": lobe_column(figures["lobe"], changed["lobe"], circuit.idle_deg),
            "spacer": Spacers(
                thickness_mm=np.array([stack.thickness_mm for stack in figures["spacer"]]),
                bonnet_mm=np.array([stack.bonnet_mm for stack in figures["spacer"]]),
            ),
            "pad_relief": PadReliefs(np.array(figures["pad_relief"], dtype=float)),
        }
        table: dict[str, Any] = {slot: column.along(AXES.index(slot), len(AXES)) for slot, column in columns.items()}
        table["limits"], table["car"] = self.catalog.limits, self.car.facts
        disturbed = all(changed["lobe"]) or all(changed["pump"])
        table["facts"] = self.circuit_facts(name, linkage_disturbed=disturbed)
        worth_it = ~(RULES[GOES_TOGETHER].margin(table)[0, 0, :, :, 0, 0] < 0)
        shots = judge(
            circuit, figures["nozzle"], figures["feed_screw"], figures["pump"], figures["lobe"], worth_it,
            self.slack_mm(name, changed["pump"], changed["lobe"]), self.factor, with_windows=with_windows,
        )  # fmt: skip
        table["shot"] = JudgedShots(**{key: value[..., None, None] for key, value in vars(shots).items()})
        return table


def margins(rule: Rule, table: Mapping[str, Any]) -> Array:
    """A rule's margins over AXES, one entry along every axis that it does not read."""
    margin = rule.margin(table)
    return margin if margin.ndim == len(AXES) else margin.reshape((1,) * len(AXES))
