"""The tip-in that a vehicle file describes: engine, driveline, throttles, air and fuel as the physics takes them."""

from functools import lru_cache

from configurator.car.vehicle import CRUISE_PRESSURE_RANGE_KPA, IDLE_PRESSURE_KPA, IDLE_PRESSURE_RANGE_KPA, Vehicle
from configurator.errors import BadInput, Fault
from configurator.physics.air import Driveline, Engine
from configurator.physics.assumptions import Assumptions
from configurator.physics.atmosphere import Surroundings, standard_atmosphere
from configurator.physics.throttle import rated_effective_area
from configurator.physics.tip_in import Fuel, Opening, Throttles, TipIn, simulate

ZERO_CELSIUS_K = 273.15
simulated = lru_cache(maxsize=64)(simulate)
"""A tip-in hangs on no parts, demand or limits: all that ask for the same one share it, as the runs of a car do."""
MOST_START_PRESSURE = 0.95
"""Manifold pressure before a tip-in, over that of the air: beyond it the throttle is open already."""


def tip_in_of(vehicle: Vehicle, assumed: Assumptions) -> TipIn:
    """The tip-in that a vehicle file describes, of one carburettor with its share of engine and manifold. Raises
    BadInput where it starts with the throttle open already, and for an idle vacuum that no idle has."""
    air, carburettor = surroundings_of(vehicle), vehicle.carburettor
    engine = Engine(
        displacement_m3=vehicle.engine.displacement_cc * 1e-6 / carburettor.count,
        volumetric_efficiency=vehicle.engine.volumetric_efficiency,
        manifold_m3=vehicle.manifold_volume_m3 / carburettor.count,
        work_per_air_j_kg=assumed.work_per_air_mj_kg * 1e6,
    )
    area = rated_effective_area(carburettor.rated_flow_m3_s, carburettor.test_depression_pa)
    front = area / 2 if carburettor.barrels == 4 else area
    throttles = Throttles(front, area - front, carburettor.rear_start_deg, _jetted_density(vehicle, air))
    opening = _opening(vehicle, air, assumed)
    fuel = Fuel(vehicle.fuel.density_kg_m3, vehicle.fuel.viscosity_mpa_s * 1e-3, vehicle.fuel.stoichiometric_ratio)
    return simulated(
        engine, _driveline(vehicle, assumed), throttles, opening, air, fuel, assumed.of_tip_in,
        vehicle.manifold.distance_to_valves_mm * 1e-3, rear_circuit=vehicle.fitted.rear is not None,
    )  # fmt: skip


def surroundings_of(vehicle: Vehicle) -> Surroundings:
    """Air at the car: measured where it was, else the standard atmosphere's at its altitude (ISO 2533)."""
    standard = standard_atmosphere(vehicle.engine.altitude_m)
    pressure, temperature = vehicle.engine.air_pressure_kpa, vehicle.engine.air_temperature_c
    return Surroundings(
        standard.pressure_pa if pressure is None else pressure * 1e3,
        standard.temperature_k if temperature is None else temperature + ZERO_CELSIUS_K,
    )


def _jetted_density(vehicle: Vehicle, air: Surroundings) -> float:
    """Density of the air the main jets were chosen for: that at the car, unless another altitude is given."""
    altitude = vehicle.carburettor.jetted_altitude_m
    return air.density_kg_m3 if altitude is None else standard_atmosphere(altitude).density_kg_m3


def _driveline(vehicle: Vehicle, assumed: Assumptions) -> Driveline:
    line, inertia, share = vehicle.driveline, vehicle.engine.inertia_kg_m2, 1.0 / vehicle.carburettor.count
    if line.transmission == "manual":
        assert line.mass_kg is not None and line.wheel_radius_m is not None and line.overall_ratio is not None
        car = line.mass_kg * (line.wheel_radius_m / line.overall_ratio) ** 2
        return Driveline(share * (inertia + car), None, assumed.most_rpm)
    return Driveline(share * inertia, line.stall_rpm if line.transmission == "converter" else None, assumed.most_rpm)


def _opening(vehicle: Vehicle, air: Surroundings, assumed: Assumptions) -> Opening:
    tip_in = vehicle.tip_in
    if tip_in.start == "idle":
        place, start_kpa = _idle_pressure(vehicle, air)
        speed_rpm, phi = vehicle.engine.idle_rpm, assumed.idle_phi
    else:
        place, start_kpa = _cruise_pressure(vehicle, air)
        speed_rpm, phi = tip_in.cruise_rpm, assumed.cruise_phi
    if start_kpa * 1e3 > MOST_START_PRESSURE * air.pressure_pa:
        found = f"{start_kpa:g} kPa is not below the air's {air.pressure_pa / 1e3:.1f} kPa"
        most = f"at most {MOST_START_PRESSURE * air.pressure_pa / 1e3:.1f} kPa at this altitude"
        raise BadInput([Fault(vehicle.file, place, found, most)])
    return Opening(start_kpa * 1e3, speed_rpm, phi, tip_in.opens_to, tip_in.opening_time_s)


def idle_pressure_kpa(vehicle: Vehicle) -> float:
    """Manifold pressure at idle, absolute [kPa]: as given, by the vacuum below the air, or the usual one."""
    return _idle_pressure(vehicle, surroundings_of(vehicle))[1]


def _idle_pressure(vehicle: Vehicle, air: Surroundings) -> tuple[str, float]:
    """Where the file says it, and the manifold's pressure at idle [kPa]. Raises BadInput for one that no idle has."""
    engine = vehicle.engine
    if engine.idle_pressure_kpa is not None or engine.idle_vacuum_kpa is None:
        return "[engine] idle_pressure_kpa", engine.idle_pressure_kpa or IDLE_PRESSURE_KPA
    place = "[engine] idle_vacuum_kpa"
    return place, _left_by(vehicle, place, engine.idle_vacuum_kpa, air, IDLE_PRESSURE_RANGE_KPA)


def _cruise_pressure(vehicle: Vehicle, air: Surroundings) -> tuple[str, float]:
    """As for the idle, at a cruise."""
    tip_in = vehicle.tip_in
    if tip_in.cruise_vacuum_kpa is None:
        return "[tip_in] cruise_pressure_kpa", tip_in.cruise_pressure_kpa
    place = "[tip_in] cruise_vacuum_kpa"
    return place, _left_by(vehicle, place, tip_in.cruise_vacuum_kpa, air, CRUISE_PRESSURE_RANGE_KPA)


def _left_by(vehicle: Vehicle, place: str, vacuum_kpa: float, air: Surroundings, ends: tuple[float, float]) -> float:
    """What a vacuum leaves of the air in the manifold [kPa]; raises BadInput for what no engine has."""
    air_kpa, (low, high) = air.pressure_pa / 1e3, ends
    left_kpa = air_kpa - vacuum_kpa
    if not low <= left_kpa <= high:
        found = f"leaves {left_kpa:.0f} kPa of the air's {air_kpa:.0f} kPa in the manifold"
        raise BadInput([Fault(vehicle.file, place, found, f"a vacuum that leaves {low:g} to {high:g} kPa")])
    return left_kpa
