"""One tip-in of one vehicle: air, speed and the fuel that comes without a pump, for each pump circuit.

Everything here is worked out once per vehicle; combinations of parts come later, as arrays.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from configurator.arrays import Array, Mask
from configurator.physics import circuits, film, gas
from configurator.physics.air import AirHistory, Driveline, Engine, fill_manifold
from configurator.physics.assumptions import Assumptions
from configurator.physics.atmosphere import (
    GAS_CONSTANT_AIR,
    GRAVITY_M_S2,
    STANDARD_TEMPERATURE_K,
    Surroundings,
)
from configurator.physics.relaxation import step_mean
from configurator.physics.throttle import ThrottlePlate, air_flow

FINE_STEP_S, FINE_UNTIL_S = 0.002, 0.4
COARSE_STEP_S, UNTIL_S = 0.008, 2.0
JUDGED_FROM_AIR_SHARE = 0.5
"""A pair of barrels answers for its mixture once its share of the manifold's air is this part of that at the end."""
LEAST_AIR_SHARE = 1e-6
"""Share of the manifold's air taken for a pair that has passed none: its mixture is not judged."""


def event_times() -> Array:
    """Times of an event [s]: fine while the throttles move and the hole forms, coarser after."""
    fine = np.arange(0.0, FINE_UNTIL_S, FINE_STEP_S)
    return np.concatenate([fine, np.arange(FINE_UNTIL_S, UNTIL_S + 1e-9, COARSE_STEP_S)])


@dataclass(frozen=True)
class Fuel:
    """Fuel in the bowl: density [kg/m3], viscosity [Pa s], stoichiometric air-fuel ratio by mass."""

    density_kg_m3: float
    viscosity_pa_s: float
    stoichiometric_ratio: float


@dataclass(frozen=True)
class Throttles:
    """Effective area wide open [m2] of the front pair (or only barrels) and the rear pair, and the link between them.

    rear_opens_at_deg : front opening, from the closed stop, at which the rear pair starts; both reach full together.
    jetted_density_kg_m3 : density of the air that the main jets were chosen for.
    """

    front_area_m2: float
    rear_area_m2: float
    rear_opens_at_deg: float
    jetted_density_kg_m3: float


@dataclass(frozen=True)
class Opening:
    """How the throttle is opened: from a pressure [Pa] and speed [rev/min], to a share of its travel, in a time [s]."""

    start_pressure_pa: float
    start_speed_rpm: float
    start_phi: float
    opens_to: float
    opening_time_s: float


@dataclass(frozen=True, eq=False)
class CircuitEvent:
    """What one pump circuit faces, arrays of shape (times,) [SI] at time_s.

    A carburettor's only circuit answers for all the engine's air; of two circuits each answers for the air that came
    through its own pair of barrels. throttle_deg is the circuit's own throttle, from its closed stop. air_kg is its air
    in the manifold, air_share what that is of all; drawn_per_s the share of the gas that the cylinders draw a second;
    pressure_pa and speed_rpm are the manifold's and the engine's. judged marks the times at which its mixture counts.
    The film that the idle circuit feeds, and has laid down before the tip-in, comes off into all the air: each circuit
    has its share of it.
    """

    time_s: Array
    throttle_deg: Array
    air_kg: Array
    air_share: Array
    drawn_per_s: Array
    pressure_pa: Array
    speed_rpm: Array
    idle_kg_s: Array
    common_idle_kg_s: Array
    mains: tuple[circuits.MainFlow, ...]
    film_share: Array
    film_tau_s: Array
    film_start_kg: float
    gas_start_kg: float
    judged: Mask
    fuel: Fuel

    def pull_pa(self, assumed: Assumptions) -> Array:
        """Depression at the nozzle tip less the head of fuel up to it [Pa], shape (times,)."""
        throat = self.mains[0].signal_pa / assumed.booster_gain
        head = self.fuel.density_kg_m3 * GRAVITY_M_S2 * assumed.nozzle_height_mm / 1e3
        return np.asarray(assumed.tip_depression_share * throat - head)

    @property
    def phi_per_kg(self) -> Array:
        """Equivalence ratio of the circuit's air per mass of fuel in it [1/kg], shape (times,)."""
        return self.fuel.stoichiometric_ratio / self.air_kg

    def base_inflow(self, late: Array) -> Array:
        """Fuel that comes into the gas without a shot [kg/s], mean over each step, shape (steps, k), with main circuits
        so late, (k,)."""
        main = sum(flow.lagged(self.time_s, late) for flow in self.mains)
        share, own_share = self.film_share[:, None], step_mean(self.air_share)[:, None]
        films = (
            film.evaporated(self.time_s, step_mean(share * metered), self.film_tau_s, np.array([start_kg]))
            for metered, start_kg in ((self.common_idle_kg_s[:, None], self.film_start_kg), (main, 0.0))
        )
        common, own = films
        return step_mean((1.0 - share) * (main + self.idle_kg_s[:, None])) + own + common * own_share

    def base_phi(self, late: Array) -> Array:
        """Equivalence ratio without a shot, shape (times, k), with main circuits so late, (k,)."""
        start_kg = np.full(len(late), self.gas_start_kg)
        held_kg = gas.held_fuel(self.time_s, self.drawn_per_s, self.base_inflow(late), start_kg)
        return held_kg * self.phi_per_kg[:, None]


@dataclass(frozen=True)
class TipIn:
    """A whole tip-in: the engine's air history and one event a circuit ("front", "rear")."""

    air: AirHistory
    throttle_deg: Array
    circuits: dict[str, CircuitEvent]
    film_held_at_edge: bool


def simulate(
    engine: Engine,
    driveline: Driveline,
    throttles: Throttles,
    opening: Opening,
    surroundings: Surroundings,
    fuel: Fuel,
    assumed: Assumptions,
    film_distance_m: float,
    rear_circuit: bool,
) -> TipIn:
    """The tip-in of a vehicle. film_distance_m is from the carburettor to the intake valves."""
    time_s = event_times()
    plate = ThrottlePlate(assumed.closed_angle_deg, assumed.shaft_to_bore, assumed.plate_over_barrel)
    breathed = _breathed(engine, driveline, throttles, opening, surroundings, plate)
    air, front_deg, rear_deg = breathed.air, breathed.front_deg, breathed.rear_deg
    share, tau = _film(air, surroundings.temperature_k, film_distance_m, assumed)
    supply_start = opening.start_phi * air.cylinder_kg_s[0] / fuel.stoichiometric_ratio
    held_kg = air.pressure_pa * engine.manifold_m3 / (GAS_CONSTANT_AIR * surroundings.temperature_k)
    drawn_per_s = air.cylinder_kg_s / held_kg
    rear_part = breathed.rear_part
    pairs = []
    for area_max, part in ((throttles.front_area_m2, 1.0 - rear_part), (throttles.rear_area_m2, rear_part)):
        if area_max > 0.0:
            main = circuits.MainCircuit(
                area_max, throttles.jetted_density_kg_m3, assumed.booster_gain, assumed.lip_mm / 1e3,
                assumed.main_lag_s, fuel.stoichiometric_ratio / assumed.power_phi,
            )  # fmt: skip
            own_air, bowl = air.throttle_kg_s * part, fuel.density_kg_m3
            pairs.append(main.flow(own_air, surroundings.density_kg_m3, bowl, supply_start))
    idle = circuits.idle_flow(supply_start - pairs[0].start_kg_s, surroundings.pressure_pa - air.pressure_pa)
    film_start = float(share[0] * tau[0]) * supply_start

    def event(angle: Array, part: Array, own_idle: Array, mains: list[circuits.MainFlow]) -> CircuitEvent:
        own = np.maximum(gas.share_of_air(time_s, air.throttle_kg_s / held_kg, part), LEAST_AIR_SHARE)
        return CircuitEvent(
            time_s=time_s, throttle_deg=angle, air_kg=held_kg * own, air_share=own, drawn_per_s=drawn_per_s,
            pressure_pa=air.pressure_pa, speed_rpm=air.speed_rpm,
            idle_kg_s=own_idle, common_idle_kg_s=idle, mains=tuple(mains), film_share=share, film_tau_s=tau,
            film_start_kg=film_start, gas_start_kg=float(own[0] * supply_start / drawn_per_s[0]),
            judged=(own >= JUDGED_FROM_AIR_SHARE * own[-1]) & (part[-1] > LEAST_AIR_SHARE), fuel=fuel,
        )  # fmt: skip

    if rear_circuit:
        events = {
            "front": event(front_deg, 1.0 - rear_part, idle, pairs[:1]),
            "rear": event(rear_deg, rear_part, np.zeros_like(idle), pairs[1:]),
        }
    else:
        events = {"front": event(front_deg, np.ones_like(idle), idle, pairs)}
    return TipIn(air, front_deg, events, film.film_outside_range(air.pressure_pa, air.speed_rpm))


@dataclass(frozen=True)
class _Breathed:
    """The engine's air, the angle of each pair of throttles [deg], and the rear pair's part of the flow, (times,)."""

    air: AirHistory
    front_deg: Array
    rear_deg: Array
    rear_part: Array


@lru_cache(maxsize=8)
def _breathed(
    engine: Engine,
    driveline: Driveline,
    throttles: Throttles,
    opening: Opening,
    air: Surroundings,
    plate: ThrottlePlate,
) -> _Breathed:
    """The air of a tip-in; all that differ in their fuel alone share it."""
    time_s, full_deg = event_times(), 90.0 - plate.closed_deg
    start = (opening.start_pressure_pa, opening.start_speed_rpm)
    start_deg = _start_angle(engine, throttles, air, start, plate)
    end_deg = max(start_deg, opening.opens_to * full_deg)
    front_deg = start_deg + (end_deg - start_deg) * np.clip(time_s / opening.opening_time_s, 0.0, 1.0)
    opens_deg = throttles.rear_opens_at_deg
    rear_deg = np.clip((front_deg - opens_deg) / (full_deg - opens_deg), 0.0, 1.0) * full_deg
    front_m2 = throttles.front_area_m2 * plate.relative_area(front_deg)
    rear_m2 = throttles.rear_area_m2 * plate.relative_area(rear_deg)
    history = fill_manifold(time_s, front_m2 + rear_m2, engine, driveline, air, start)
    return _Breathed(history, front_deg, rear_deg, rear_m2 / (front_m2 + rear_m2))


def _film(air: AirHistory, temperature_k: float, distance_m: float, assumed: Assumptions) -> tuple[Array, Array]:
    """Share that lands on the walls and time constant [s], by the distance to the valves and the air's temperature."""
    share, tau = film.wet_manifold_film(air.pressure_pa, air.speed_rpm)
    beyond_m, colder_10_k = distance_m - 0.25, (STANDARD_TEMPERATURE_K - temperature_k) / 10.0
    more = assumed.film_share_per_m * beyond_m + assumed.film_share_per_10_k * colder_10_k
    longer = max(1.0 + assumed.film_time_per_m * beyond_m, 0.2) * (1.0 + assumed.film_time_per_10_k) ** colder_10_k
    return np.clip(share + more, 0.05, 0.95), tau * assumed.film_time_factor * longer


def _start_angle(
    engine: Engine, throttles: Throttles, air: Surroundings, start: tuple[float, float], plate: ThrottlePlate
) -> float:
    """Front opening [deg] that passes what the engine draws at the start."""
    drawn = engine.drawn(*start, air.temperature_k)
    wanted = drawn / max(air_flow(1.0, air, start[0]), 1e-12) / throttles.front_area_m2
    angles = np.linspace(0.0, 90.0 - plate.closed_deg, 2000)
    return float(np.interp(wanted, plate.relative_area(angles), angles))
