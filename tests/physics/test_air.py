"""The air side against closed forms and scipy's stiff integrators; the equations are written out again here."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from configurator.arrays import Array
from configurator.physics.air import AirHistory, Driveline, Engine, fill_manifold
from configurator.physics.atmosphere import Surroundings
from configurator.physics.tip_in import event_times

R = 287.05287
SEA_LEVEL = Surroundings(101_325.0, 288.15)
LARGE = Engine(5.7e-3, 0.82, 4.6e-3, 0.94e6)
SMALL = Engine(1.3e-3, 0.82, 0.5e-3, 0.94e6)
STANDING = Driveline(1e9)
"""So much inertia that speed stays what it was."""
IDLE = (38e3, 800.0)


def opening(time_s: Array, full_m2: float, opening_s: float, idle_m2: float = 3e-5) -> Array:
    """Effective area that grows from idle to full as a plate's does: slowly, then fast, then slowly."""
    share = 0.5 - 0.5 * np.cos(np.pi * np.clip(time_s / opening_s, 0.0, 1.0))
    return np.asarray(idle_m2 + (full_m2 - idle_m2) * share)


def isentropic(area_m2: float, air: Surroundings, down_pa: float) -> float:
    """Nozzle flow by the textbook, from enthalpy and density rather than from a flow function."""
    ratio = max(down_pa / air.pressure_pa, (2.0 / 2.4) ** 3.5)
    speed = math.sqrt(max(2.0 * 3.5 * R * air.temperature_k * (1.0 - ratio ** (0.4 / 1.4)), 0.0))
    return area_m2 * speed * air.density_kg_m3 * math.pow(ratio, 1.0 / 1.4)


def by_scipy(
    time_s: Array, area_m2: Array, engine: Engine, driveline: Driveline, air: Surroundings, start: tuple[float, float]
) -> tuple[Array, Array]:
    """Pressure and speed from a variable-step stiff method, to 1e-8."""
    volume, kelvin = engine.manifold_m3, air.temperature_k

    def torque(pressure: float) -> float:
        # Work per cycle of two revolutions: what one filling of the displacement gives
        filling = engine.volumetric_efficiency * engine.displacement_m3 * pressure / (R * kelvin)
        return engine.work_per_air_j_kg * filling / (4.0 * math.pi)

    def rates(at_s: float, state: Any) -> list[float]:
        pressure, omega = float(state[0]), float(state[1])
        drawn = engine.volumetric_efficiency * pressure * engine.displacement_m3 * omega / (4.0 * math.pi * R * kelvin)
        into = isentropic(float(np.interp(at_s, time_s, area_m2)), air, min(pressure, air.pressure_pa))
        load = torque(start[0])
        if driveline.stall_rpm is not None:
            first, stall = start[1] * math.pi / 30.0, driveline.stall_rpm * math.pi / 30.0
            load += (torque(air.pressure_pa) - torque(start[0])) * (omega**2 - first**2) / (stall**2 - first**2)
        return [R * kelvin / volume * (into - drawn), (torque(pressure) - load) / driveline.inertia_kg_m2]

    done = solve_ivp(
        rates, (0.0, float(time_s[-1])), [start[0], start[1] * math.pi / 30.0],
        method="Radau", t_eval=time_s, rtol=1e-8, atol=1e-5, max_step=0.01,
    )  # fmt: skip
    assert done.success
    return done.y[0], done.y[1] * 30.0 / math.pi


# name: engine, driveline, area wide open [m2], opening time [s], air, start
CASES: dict[str, tuple[Engine, Driveline, float, float, Surroundings, tuple[float, float]]] = {
    "heavy car": (LARGE, Driveline(2.1), 31e-4, 0.15, SEA_LEVEL, IDLE),
    "large carburettor, quick foot": (LARGE, Driveline(2.1), 60e-4, 0.10, SEA_LEVEL, IDLE),
    "behind a converter": (LARGE, Driveline(0.2, 2400.0), 40e-4, 0.15, SEA_LEVEL, IDLE),
    "small engine, free revving": (SMALL, Driveline(0.12), 15e-4, 0.20, SEA_LEVEL, (36e3, 950.0)),
    "thin hot air": (LARGE, Driveline(1.5), 31e-4, 0.15, Surroundings(79_500.0, 305.0), (36e3, 750.0)),
    "slow foot from a cruise": (LARGE, Driveline(1.5), 31e-4, 0.50, SEA_LEVEL, (55e3, 2000.0)),
}


def run(case: str) -> AirHistory:
    engine, driveline, area, opening_s, air, start = CASES[case]
    time_s = event_times()
    return fill_manifold(time_s, opening(time_s, area, opening_s), engine, driveline, air, start)


@pytest.mark.parametrize("case", CASES)
def test_pressure_and_speed_against_scipy(case: str) -> None:
    engine, driveline, area, opening_s, air, start = CASES[case]
    ours = run(case)
    pressure, speed = by_scipy(ours.time_s, opening(ours.time_s, area, opening_s), engine, driveline, air, start)
    np.testing.assert_allclose(ours.pressure_pa, pressure, atol=2e-3 * air.pressure_pa)
    np.testing.assert_allclose(ours.pressure_pa[-150:], pressure[-150:], rtol=1e-4)
    np.testing.assert_allclose(ours.speed_rpm, speed, rtol=1e-3)


@pytest.mark.parametrize("case", CASES)
def test_air_is_neither_made_nor_lost(case: str) -> None:
    """What entered less what left is what the manifold holds more: to rounding as summed, to 1 % as sampled."""
    engine, _, _, _, air, _ = CASES[case]
    ours = run(case)
    held = engine.manifold_m3 * (ours.pressure_pa - ours.pressure_pa[0]) / (R * air.temperature_k)
    passed = np.cumsum(ours.throttle_step_kg - ours.cylinder_step_kg)
    np.testing.assert_allclose(passed, held[1:], atol=1e-9 * float(np.sum(ours.throttle_step_kg)))
    for steps, sampled in ((ours.throttle_step_kg, ours.throttle_kg_s), (ours.cylinder_step_kg, ours.cylinder_kg_s)):
        assert np.trapezoid(sampled, ours.time_s) == pytest.approx(steps.sum(), rel=0.01)
    drawn = float(np.trapezoid(ours.cylinder_kg_s, ours.time_s))
    entered = float(np.trapezoid(ours.throttle_kg_s, ours.time_s))
    assert entered - drawn == pytest.approx(held[-1], abs=0.01 * entered)


@pytest.mark.parametrize("case", CASES)
def test_sampled_flows_belong_to_the_sampled_pressure(case: str) -> None:
    engine, _, area, opening_s, air, _ = CASES[case]
    ours = run(case)
    areas = opening(ours.time_s, area, opening_s)
    for index in (0, 20, 60, 120, 250, -1):
        pressure, speed = float(ours.pressure_pa[index]), float(ours.speed_rpm[index])
        filled = engine.volumetric_efficiency * engine.displacement_m3 * pressure / (R * air.temperature_k)
        assert ours.cylinder_kg_s[index] == pytest.approx(filled * speed / 120.0, rel=1e-12)
        assert ours.throttle_kg_s[index] == pytest.approx(isentropic(float(areas[index]), air, pressure), rel=1e-6)


def test_filling_through_a_choked_throttle() -> None:
    """While choked the manifold is a first-order lag of 120 V / (ve Vd N) = 0.15 s.

    V = Vd = 5.7 l, ve 0.8, 1,000 rev/min, 310 K, 21.3517933 g/s in, from 30 kPa [closed form, R 287.05].
    """
    engine, air = Engine(5.7e-3, 0.8, 5.7e-3, 1e6), Surroundings(101_325.0, 310.0)
    area = 21.3517933e-3 / isentropic(1.0, air, 0.0)
    time_s = np.arange(0.0, 0.601, 0.002)
    ours = fill_manifold(time_s, np.full_like(time_s, area), engine, STANDING, air, (30e3, 1000.0))
    np.testing.assert_allclose(
        ours.pressure_pa[[25, 75, 150, 300]], [35669.37, 42642.41, 47293.29, 49633.69], rtol=3e-5
    )
    np.testing.assert_allclose(ours.throttle_kg_s, 21.3517933e-3, rtol=1e-9)


def test_speed_density() -> None:
    # ve 0.8, 5.7 l, 2,000 rev/min, 101,325 Pa, 300 K [by hand, R 287.05]
    engine = Engine(5.7e-3, 0.8, 5e-3, 1e6)
    assert engine.drawn(101_325.0, 2000.0, 300.0) == pytest.approx(0.0894234454, rel=2e-5)


def test_torque_is_work_over_angle() -> None:
    """Power is torque times angular speed, and work per air times air: at any speed."""
    for rpm in (700.0, 3500.0):
        power = LARGE.work_per_air_j_kg * LARGE.drawn(80e3, rpm, 288.15)
        assert LARGE.torque(80e3, 288.15) * rpm * math.pi / 30.0 == pytest.approx(power, rel=1e-12)


def test_at_rest_nothing_moves() -> None:
    area = LARGE.drawn(*IDLE, 288.15) / isentropic(1.0, SEA_LEVEL, IDLE[0])
    time_s = event_times()
    ours = fill_manifold(time_s, np.full_like(time_s, area), LARGE, Driveline(1.0), SEA_LEVEL, IDLE)
    np.testing.assert_allclose(ours.pressure_pa, IDLE[0], rtol=1e-6)
    np.testing.assert_allclose(ours.speed_rpm, IDLE[1], rtol=1e-6)


@pytest.mark.parametrize("step_s", [0.0005, 0.002, 0.008])
def test_stiff_near_full_opening(step_s: float) -> None:
    """A half-litre manifold behind 80 cm2 fills within a fraction of a step: the pressure must settle, not ring.

    Explicit Euler would need steps of about a microsecond here.
    """
    time_s = np.arange(0.0, 0.8001, step_s)
    ours = fill_manifold(time_s, opening(time_s, 80e-4, 0.1), SMALL, Driveline(2.0), SEA_LEVEL, (36e3, 900.0))
    assert np.all(ours.pressure_pa <= SEA_LEVEL.pressure_pa)
    assert np.all(ours.pressure_pa >= 36e3 - 1.0)
    late = time_s > 0.15
    settled = [
        brentq(lambda p, n=n: isentropic(80e-4, SEA_LEVEL, p) - SMALL.drawn(p, n, 288.15), 5e4, 101_325.0, xtol=1e-6)
        for n in ours.speed_rpm[late]
    ]
    # The depression that is left is of the order of a pascal
    np.testing.assert_allclose(ours.pressure_pa[late], settled, atol=0.05)
    np.testing.assert_allclose(ours.throttle_kg_s[late], ours.cylinder_kg_s[late], rtol=0.01)


def test_second_order_in_the_step() -> None:
    def pressure(step_s: float) -> float:
        time_s = np.arange(0.0, 0.0961, step_s)
        area = opening(time_s, 31e-4, 0.4)
        return float(fill_manifold(time_s, area, LARGE, Driveline(2.0), SEA_LEVEL, IDLE).pressure_pa[-1])

    exact = pressure(0.00025)
    assert 2.5 < abs(pressure(0.008) - exact) / abs(pressure(0.004) - exact) < 6.0


def test_rigid_driveline_gains_speed_by_newton() -> None:
    """With full pressure at once: speed grows by (full torque - start torque) / inertia.

    By hand: torque = 0.94e6 * 0.82 * 5.7e-3 p / (287.05287 * 288.15 * 4 pi) = 4.22702e-3 p; from 40 to 101.325 kPa is
    259.22 N m spare; over 2 kg m2 that is 129.61 rad/s2, 1,237.7 rev/min per s.
    """
    time_s = np.arange(0.0, 1.0001, 0.002)
    ours = fill_manifold(time_s, np.full_like(time_s, 1.0), LARGE, Driveline(2.0), SEA_LEVEL, (40e3, 800.0))
    assert ours.speed_rpm[-1] - ours.speed_rpm[100] == pytest.approx(0.8 * 1237.7, rel=1e-3)


@given(st.floats(1.25, 3.0), st.floats(0.1, 0.3), st.floats(600.0, 1300.0), st.floats(0.05, 0.5))
@settings(max_examples=25, deadline=None)
def test_a_converter_lets_the_engine_flare_to_its_stall_speed(
    flare: float, inertia: float, start_rpm: float, opening_s: float
) -> None:
    time_s = event_times()
    driveline = Driveline(inertia, flare * start_rpm)
    speed = fill_manifold(
        time_s, opening(time_s, 40e-4, opening_s), LARGE, driveline, SEA_LEVEL, (38e3, start_rpm)
    ).speed_rpm
    assert np.all(speed <= flare * start_rpm)
    assert speed[-1] > 0.98 * flare * start_rpm


@pytest.mark.parametrize(("start_rpm", "stall_rpm"), [(800.0, 850.0), (980.0, 1000.0), (1050.0, 1100.0)])
@pytest.mark.parametrize("inertia", [0.05, 0.2])
def test_a_converter_that_stalls_near_the_start(start_rpm: float, stall_rpm: float, inertia: float) -> None:
    """However stiff the hold, speed climbs to the stall speed, stays there, and is scipy's all the way."""
    time_s, start, driveline = event_times(), (38e3, start_rpm), Driveline(inertia, stall_rpm)
    idle = LARGE.drawn(*start, 288.15) / isentropic(1.0, SEA_LEVEL, start[0])
    area = opening(time_s, 40e-4, 0.15, idle)
    speed = fill_manifold(time_s, area, LARGE, driveline, SEA_LEVEL, start).speed_rpm
    assert np.all(np.diff(speed) >= -1e-6) and speed.max() <= stall_rpm
    np.testing.assert_allclose(speed, by_scipy(time_s, area, LARGE, driveline, SEA_LEVEL, start)[1], rtol=2e-3)


def test_a_converter_that_stalls_below_the_start_holds_the_speed() -> None:
    """No such vehicle file is accepted; the physics stays finite all the same."""
    time_s, start = event_times(), (50e3, 1800.0)
    idle = LARGE.drawn(*start, 288.15) / isentropic(1.0, SEA_LEVEL, start[0])
    area = opening(time_s, 40e-4, 0.15, idle)
    speed = fill_manifold(time_s, area, LARGE, Driveline(0.2, 1750.0), SEA_LEVEL, start).speed_rpm
    np.testing.assert_allclose(speed, 1800.0, atol=1.0)


def test_a_converter_frees_the_engine_from_the_car() -> None:
    rigid, flaring = (run(name) for name in ("large carburettor, quick foot", "behind a converter"))
    assert flaring.speed_rpm[200] > 1.5 * rigid.speed_rpm[200]


@given(st.floats(20e-4, 70e-4), st.floats(1.02, 1.4), st.floats(0.4, 3.0))
@settings(max_examples=15, deadline=None)
def test_more_area_never_means_less_pressure(area: float, more: float, inertia: float) -> None:
    time_s = event_times()
    small, large = (
        fill_manifold(time_s, opening(time_s, a, 0.15), LARGE, Driveline(inertia), SEA_LEVEL, IDLE)
        for a in (area, area * more)
    )
    early = time_s < 0.3
    assert np.all(large.pressure_pa[early] >= small.pressure_pa[early] - 1.0)


# --- where the driver lifts -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("driveline", "ceiling_rpm"),
    [
        (Driveline(1.0), math.inf), (Driveline(1.0, 2400.0), 2400.0), (Driveline(1.0, None, 5500.0), 5500.0),
        (Driveline(1.0, 2400.0, 5500.0), 2400.0), (Driveline(1.0, 6000.0, 5500.0), 5500.0),
    ],
)  # fmt: skip
def test_the_ceiling_is_the_lower_of_stall_speed_and_lift(driveline: Driveline, ceiling_rpm: float) -> None:
    assert driveline.ceiling_rpm == ceiling_rpm


def test_free_revving_stops_where_the_driver_lifts() -> None:
    """The same as without a ceiling up to it, then level; and the air balance closes there, too."""
    time_s = event_times()
    area = opening(time_s, 31e-4, 0.15)
    free, held = (
        fill_manifold(time_s, area, LARGE, Driveline(0.2, None, most), SEA_LEVEL, IDLE) for most in (math.inf, 5500.0)
    )
    reached = int(np.argmax(held.speed_rpm >= 5500.0))
    assert 0 < reached < len(time_s) - 100 and free.speed_rpm[-1] > 8000.0
    np.testing.assert_array_equal(held.speed_rpm[:reached], free.speed_rpm[:reached])
    np.testing.assert_array_equal(held.speed_rpm[reached:], 5500.0)
    gained = LARGE.manifold_m3 * (held.pressure_pa[1:] - held.pressure_pa[0]) / (R * SEA_LEVEL.temperature_k)
    passed = np.cumsum(held.throttle_step_kg - held.cylinder_step_kg)
    np.testing.assert_allclose(passed, gained, atol=1e-9 * float(np.sum(held.throttle_step_kg)))


def test_a_start_above_the_ceiling_keeps_its_speed() -> None:
    time_s = event_times()
    driveline = Driveline(0.2, None, 3000.0)
    start = (50e3, 3200.0)
    speed = fill_manifold(time_s, opening(time_s, 60e-4, 0.1, 5e-4), LARGE, driveline, SEA_LEVEL, start).speed_rpm
    assert speed.max() == 3200.0
