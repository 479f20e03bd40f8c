"""A car in front of a catalogue: what holds at every demand, and is worked out once."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from configurator.arrays import Array
from configurator.car.assumed import assumed_at_fault
from configurator.car.facts import CarFacts
from configurator.car.fitted import Fitted, FittedCircuit, resolve_fitted
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput
from configurator.judging.demand import Circuit, allowed_by, rear_main_delivers_ms
from configurator.judging.tip_in_of_car import tip_in_of
from configurator.physics.assumptions import Assumptions
from configurator.physics.lateness import AXIS
from configurator.physics.tip_in import TipIn
from configurator.slots.offered import options_of
from configurator.slots.options import Offered, Option
from configurator.slots.slot import Slot


@dataclass(frozen=True)
class CarInCatalogue:
    """A vehicle and a catalogue."""

    vehicle: Vehicle
    catalog: Catalog

    @classmethod
    def of(cls, vehicle: Vehicle, catalog: Catalog) -> "CarInCatalogue":
        """Raises BadInput for the parts the catalogue lacks and the assumed figures the model does not have."""
        car = cls(vehicle, catalog)
        try:
            _ = car.fitted
        except BadInput as error:
            raise BadInput([*error.faults, *assumed_at_fault(vehicle.assumed, vehicle.file)]) from None
        _ = car.assumed
        return car

    @cached_property
    def fitted(self) -> Fitted:
        return resolve_fitted(self.vehicle, self.catalog)

    @cached_property
    def fitted_circuits(self) -> dict[str, FittedCircuit]:
        """The pump circuits by name, front first."""
        return {circuit.name: circuit for circuit in self.fitted.circuits}

    @cached_property
    def assumed(self) -> Assumptions:
        if faults := assumed_at_fault(self.vehicle.assumed, self.vehicle.file):
            raise BadInput(faults)
        return Assumptions(**self.vehicle.assumed)

    @cached_property
    def tip_in(self) -> TipIn:
        return tip_in_of(self.vehicle, self.assumed)

    @cached_property
    def circuits(self) -> dict[str, Circuit]:
        """The circuits as the demand sees them."""
        events, allowed = self.tip_in.circuits, allowed_by(self.catalog.limits)
        return {name: Circuit(name, events[name], self.assumed, allowed) for name in self.fitted_circuits}

    @cached_property
    def rear_main_delivers_ms(self) -> Array:
        """When the rear main circuit delivers [ms after tip-in] if it is as late as each of lateness.AXIS."""
        return rear_main_delivers_ms(self.circuits["rear"], self.catalog.limits.rear_main_delivers_share, AXIS)

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

    @cached_property
    def facts(self) -> CarFacts:
        confirmed, line = self.vehicle.confirmed, self.vehicle.driveline
        jetted_m = self.vehicle.carburettor.jetted_altitude_m
        done = (confirmed.float_level, confirmed.idle_mixture, confirmed.idle_speed)
        return CarFacts(
            bonnet_clearance_mm=or_nan(self.vehicle.manifold.bonnet_clearance_mm),
            spacer_height_mm=self.fitted.spacer.bonnet_mm if self.fitted.spacer else 0.0,
            flow_per_litre=self.vehicle.flow_per_litre,
            carburettors=self.vehicle.carburettor.count,
            above_jetted_m=0.0 if jetted_m is None else self.vehicle.engine.altitude_m - jetted_m,
            overall_ratio=or_inf(line.overall_ratio if line.transmission == "manual" else None),
            mass_kg=or_inf(line.mass_kg if line.transmission == "manual" else None),
            jets_redrilled=self.vehicle.carburettor.jets_redrilled,
            first_checks_open=done.count(False),
        )


def or_inf(value: float | None) -> float:
    """A figure as rules read it that do not apply without it."""
    return np.inf if value is None else value


def or_nan(value: float | None) -> float:
    """A figure as rules read it, nan where nobody measured it."""
    return np.nan if value is None else value
