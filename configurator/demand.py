"""From a vehicle and lists of parts to arrays: the tip-in it faces, and what every combination delivers into it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from configurator.errors import BadInput, Fault
from configurator.fitted import FittedNozzle
from configurator.limits import Limits
from configurator.parts import FeedScrewFigures, PumpFigures
from configurator.physics import pump as pump_model
from configurator.physics import verdict
from configurator.physics.air import Driveline, Engine
from configurator.physics.assumptions import Assumptions
from configurator.physics.atmosphere import Surroundings, standard_atmosphere
from configurator.physics.fuel_path import Array, FuelPath
from configurator.physics.throttle import rated_effective_area
from configurator.physics.tip_in import CircuitEvent, Fuel, Mask, Opening, Throttles, TipIn, simulate
from configurator.slots import Mount, Shots
from configurator.vehicle import Vehicle

ZERO_CELSIUS_K = 273.15
MOST_START_PRESSURE = 0.95
"""Manifold pressure before a tip-in, over that of the air: beyond it the throttle is open already."""


def tip_in_of(vehicle: Vehicle, assumed: Assumptions) -> TipIn:
    """The tip-in that a vehicle file describes. Raises BadInput where it starts with the throttle open already."""
    air = surroundings_of(vehicle)
    engine = Engine(
        displacement_m3=vehicle.engine.displacement_cc * 1e-6,
        volumetric_efficiency=vehicle.engine.volumetric_efficiency,
        manifold_m3=vehicle.manifold_volume_m3,
        work_per_air_j_kg=assumed.work_per_air_mj_kg * 1e6,
    )
    carburettor = vehicle.carburettor
    area = rated_effective_area(carburettor.rated_flow_m3_s, carburettor.test_depression_pa)
    front = area / 2 if carburettor.barrels == 4 else area
    throttles = Throttles(front, area - front, carburettor.rear_start_deg, _jetted_density(vehicle, air))
    opening = _opening(vehicle, assumed)
    if opening.start_pressure_pa > MOST_START_PRESSURE * air.pressure_pa:
        place = "[tip_in] cruise_pressure_kpa" if vehicle.tip_in.start == "cruise" else "[assumed] idle_pressure_kpa"
        found = f"{opening.start_pressure_pa / 1e3:g} kPa is not below the air's {air.pressure_pa / 1e3:.1f} kPa"
        most = f"at most {MOST_START_PRESSURE * air.pressure_pa / 1e3:.1f} kPa at this altitude"
        raise BadInput([Fault(vehicle.file, place, found, most)])
    fuel = Fuel(vehicle.fuel.density_kg_m3, vehicle.fuel.viscosity_mpa_s * 1e-3, vehicle.fuel.stoichiometric_ratio)
    return simulate(
        engine, _driveline(vehicle, assumed), throttles, opening, air, fuel, assumed,
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
    line, inertia = vehicle.driveline, vehicle.engine.inertia_kg_m2
    if line.transmission == "manual":
        assert line.mass_kg is not None and line.wheel_radius_m is not None and line.overall_ratio is not None
        return Driveline(
            inertia + line.mass_kg * (line.wheel_radius_m / line.overall_ratio) ** 2, None, assumed.most_rpm
        )
    return Driveline(inertia, line.stall_rpm if line.transmission == "converter" else None, assumed.most_rpm)


def _opening(vehicle: Vehicle, assumed: Assumptions) -> Opening:
    tip_in = vehicle.tip_in
    if tip_in.start == "idle":
        start = (assumed.idle_pressure_kpa, vehicle.engine.idle_rpm, assumed.idle_phi)
    else:
        start = (tip_in.cruise_pressure_kpa, tip_in.cruise_rpm, assumed.cruise_phi)
    return Opening(start[0] * 1e3, start[1], start[2], tip_in.opens_to, tip_in.opening_time_s)


def allowed_by(limits: Limits) -> verdict.Allowed:
    """Mixture limits and allowed spells as the physics takes them."""
    return verdict.Allowed(limits.lean_phi, limits.rich_phi, limits.hole_most_ms * 1e-3, limits.flood_most_ms * 1e-3)


@dataclass(frozen=True)
class Circuit:
    """One pump circuit of a vehicle: its event, and what the shot needs besides the parts."""

    name: str
    event: CircuitEvent
    assumed: Assumptions
    allowed: verdict.Allowed

    @property
    def idle_deg(self) -> float:
        """Opening of the circuit's throttle before the tip-in [deg]."""
        return float(self.event.throttle_deg[0])

    def deliver(
        self,
        nozzles: Sequence[FittedNozzle],
        screws: Sequence[FeedScrewFigures],
        pumps: Sequence[PumpFigures],
        mounts: Sequence[Mount],
        slack_mm: Array,
    ) -> pump_model.Shot:
        """Shots of combinations given as lists of equal length, one entry a combination, with slack in the linkage."""
        fuel, event = self.event.fuel, self.event
        path = FuelPath(
            diameter_m=np.array([n.diameter_mm for n in nozzles]) * 1e-3,
            length_m=np.array([n.length_mm for n in nozzles]) * 1e-3,
            orifices=np.array([float(n.orifices) for n in nozzles]),
            screw_area_m2=np.array([s.passage_area_m2 for s in screws]),
            screw_coefficient=self.assumed.screw_coefficient,
            fuel_density_kg_m3=fuel.density_kg_m3,
            fuel_viscosity_pa_s=fuel.viscosity_pa_s,
        )
        pump = pump_model.Pump(
            *(np.array([getattr(p, name) for p in pumps]) for name in
              ("diaphragm_area_m2", "spring_preload_n", "spring_rate_n_m", "capacity_m3"))
        )  # fmt: skip
        lifts = {mount: mount.lift_mm(event.throttle_deg) * 1e-3 for mount in dict.fromkeys(mounts)}
        lift = np.column_stack([lifts[mount] for mount in mounts])
        ratio = np.array([p.lever_ratio for p in pumps])
        follower = pump_model.follower_travel(lift, ratio, slack_mm * 1e-3, pump)
        return pump_model.deliver(event.time_s, follower, pump, path, event.assist_pa)

    def film_share(self, nozzles: Sequence[FittedNozzle]) -> Array:
        """Share of the shot that lands on the walls, shape (n,)."""
        aimed = np.array([n.style == "aimed" for n in nozzles])
        return np.asarray(self.event.shot_film_share - self.event.aimed_gain * aimed)

    def flow_kg_s(self, shot: pump_model.Shot) -> Array:
        """Mean fuel flow in each step [kg/s], shape (steps, n)."""
        steps = np.diff(self.event.time_s)[:, None]
        return np.asarray(shot.delivered_m3 * self.event.fuel.density_kg_m3 / steps)


def judge(
    circuit: Circuit,
    nozzles: Sequence[FittedNozzle],
    screws: Sequence[FeedScrewFigures],
    pumps: Sequence[PumpFigures],
    mounts: Sequence[Mount],
    worth_it: Mask,
    slack_mm: Array,
    factor: float,
    *,
    with_windows: bool = False,
) -> Shots:
    """What all combinations of the lists deliver at a demand factor, arrays over (nozzle, screw, pump, lobe).

    worth_it : shape (pumps, lobes), pairs that go together; the others are not worked out and meet nothing (an endless
    hole). slack_mm : the same shape, slack in the linkage of each pair. Combinations with equal hydraulics are pumped
    once: nozzles that differ in style share a shot.
    """
    shape = (len(nozzles), len(screws), len(pumps), len(mounts))
    hydraulics = [(n.diameter_mm, n.length_mm, n.orifices) for n in nozzles]
    distinct = list(dict.fromkeys(hydraulics))
    which = np.array([distinct.index(item) for item in hydraulics])
    drives = [(s, p, m) for s in range(shape[1]) for p, m in np.argwhere(worth_it)]
    first_of = [hydraulics.index(item) for item in distinct]
    plan = [(n, *drive) for n in first_of for drive in drives]
    table = {name: np.full(shape, fill) for name, fill in _UNWORKED.items()}
    if not drives:
        return Shots(**table)
    shot = circuit.deliver(
        [nozzles[n] for n, _, _, _ in plan],
        [screws[s] for _, s, _, _ in plan],
        [pumps[p] for _, _, p, _ in plan],
        [mounts[m] for _, _, _, m in plan],
        np.array([slack_mm[p, m] for _, _, p, m in plan]),
    )
    flow = circuit.flow_kg_s(shot)
    column = which[:, None] * len(drives) + np.arange(len(drives))
    shots = verdict.Shots(flow[:, column.ravel()], np.repeat(circuit.film_share(nozzles), len(drives)))
    hole, flood = verdict.spells(circuit.event, shots, factor, circuit.allowed)
    per_plan = {
        "volume_cc": shot.delivered_m3.sum(axis=0) * 1e6,
        "ends_ms": pump_model.shot_duration(circuit.event.time_s, shot.delivered_m3) * 1e3,
        "peak_cc_s": flow.max(axis=0) / circuit.event.fuel.density_kg_m3 * 1e6,
    }
    found = {"hole_ms": hole * 1e3, "flood_ms": flood * 1e3} | {k: v[column].ravel() for k, v in per_plan.items()}
    if with_windows:
        window = verdict.windows(circuit.event, shots, circuit.allowed)
        found |= {"window_low": window.low, "window_high": window.high}
    screw, pump, lobe = np.array(drives).T
    for name, values in found.items():
        table[name][:, screw, pump, lobe] = values.reshape(len(nozzles), len(drives))
    return Shots(**table)


_UNWORKED = {
    "hole_ms": np.inf, "flood_ms": np.inf, "volume_cc": np.nan, "ends_ms": -np.inf,
    "peak_cc_s": np.nan, "window_low": np.nan, "window_high": np.nan,
}  # fmt: skip


def rear_main_delivers_ms(circuit: Circuit, share: float, factor: float) -> float:
    """When the circuit's main flow, behind its lag, first reaches a share of what it settles at [ms after tip-in];
    the event's end where it does not, infinite where the circuit's throttles do not open."""
    event = circuit.event
    if not event.judged.any():
        return float("inf")
    lagged = sum(main.lagged(event.time_s, np.array([factor]))[:, 0] for main in event.mains)
    steady = sum(main.steady_kg_s for main in event.mains)
    delivers = (lagged >= share * np.maximum(steady, 1e-12)) & (steady > 0) & event.judged
    return float(event.time_s[np.argmax(delivers)] if delivers.any() else event.time_s[-1]) * 1e3
