"""The pump against closed forms, scipy's integrators and what no pump may do."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator

from configurator.arrays import Array
from configurator.physics.fuel_path import FuelPath
from configurator.physics.lobe import front_loaded_lift, measured_lift
from configurator.physics.pump import PumpMechanism, deliver, follower_travel, shot_duration

PETROL = 740.0
AREA_M2, PRELOAD_N, RATE_N_M = 7e-4, 9.0, 1500.0


class ConstantCoefficient(FuelPath):
    """A path whose coefficient does not depend on Reynolds number, and without a screw: closed forms hold for it."""

    def effective_area(self, pressure_pa: Array, nozzle_coefficient: Array | None = None) -> tuple[Array, Array]:
        constant = np.full_like(self.diameter_m, 0.77)
        return constant * self.nozzle_area_m2, constant


def path(diameter_mm: float = 0.8, kind: type[FuelPath] = FuelPath, screw_mm2: float = 3.0) -> FuelPath:
    one = np.ones(1)
    return kind(diameter_mm * 1e-3 * one, 3e-3 * one, 2.0 * one, screw_mm2 * 1e-6 * one, 0.70, PETROL, 0.45e-3)


def pump(capacity_cc: float = 3.0, preload_n: float = PRELOAD_N, rate_n_m: float = RATE_N_M) -> PumpMechanism:
    one = np.ones(1)
    return PumpMechanism(AREA_M2 * one, preload_n * one, rate_n_m * one, capacity_cc * 1e-6 * one)


def column(values: Array) -> Array:
    return np.asarray(values)[:, None]


def snapped(time_s: Array, travel_m: float, opening_s: float) -> Array:
    """Lever that moves at an even speed and stops."""
    return column(travel_m * np.clip(time_s / opening_s, 0.0, 1.0))


# --- the spring alone -------------------------------------------------------------------------------------------------


def test_spring_spent_at_the_time_of_the_closed_form() -> None:
    """A dx/dt = CA sqrt(2 (F0 + k s)/(rho A)) with s = s0 - x: sqrt(F0 + k s) falls linearly, at beta per second.

    F0 9 N, k 1,500 N/m, A 7 cm2, two orifices of 0.8 mm with Cd 0.77, 740 kg/m3, s0 4 mm: spent at 0.53568 s [closed
    form, which scipy's solve_ivp repeats to 1e-7].
    """
    effective = 0.77 * 2.0 * math.pi / 4.0 * 0.8e-3**2
    beta = RATE_N_M * effective / (AREA_M2 * math.sqrt(2.0 * PETROL * AREA_M2))
    spent_s = (math.sqrt(PRELOAD_N + RATE_N_M * 4e-3) - math.sqrt(PRELOAD_N)) / beta
    assert spent_s == pytest.approx(0.53568, abs=5e-6)

    time_s = np.arange(0.0, 0.60001, 0.002)
    follower = np.full((len(time_s), 1), 4e-3)
    shot = deliver(time_s, follower, pump(), path(kind=ConstantCoefficient), np.zeros_like(time_s))
    out = np.concatenate([[0.0], np.cumsum(shot.delivered_m3[:, 0])])
    root = np.maximum(math.sqrt(PRELOAD_N + RATE_N_M * 4e-3) - beta * time_s, math.sqrt(PRELOAD_N))
    compressed = (root**2 - PRELOAD_N) / RATE_N_M
    np.testing.assert_allclose(out, AREA_M2 * (4e-3 - compressed), atol=1e-6 * AREA_M2 * 4e-3)
    # Its own course, carried on in a straight line, ends where the closed form does; the last drop within one step
    measured = np.sqrt(PRELOAD_N + RATE_N_M * (4e-3 - out[250] / AREA_M2))
    slope = (math.sqrt(PRELOAD_N + RATE_N_M * 4e-3) - measured) / time_s[250]
    assert time_s[250] + (measured - math.sqrt(PRELOAD_N)) / slope == pytest.approx(0.53568, abs=1e-5)
    assert shot_duration(time_s, shot.delivered_m3, share=1.0 - 1e-6)[0] == pytest.approx(0.53568, abs=0.002)


def test_second_order_in_the_step() -> None:
    """Halving the step quarters the error, while the spring is compressed."""

    def left(step_s: float) -> float:
        time_s = np.arange(0.0, 0.4 + step_s / 2, step_s)
        follower = column(4e-3 * time_s / 0.4)
        shot = deliver(time_s, follower, pump(preload_n=0.5), path(0.5, ConstantCoefficient), np.zeros_like(time_s))
        return float(shot.compression_m[0])

    exact = left(0.0005)
    coarse, fine = abs(left(0.02) - exact), abs(left(0.01) - exact)
    assert 3.0 < coarse / fine < 5.0


# --- a moving lever ---------------------------------------------------------------------------------------------------


def settled_area(one: FuelPath, pressure_pa: float) -> float:
    """Effective area [m2] with the Reynolds number found by many passes."""
    found = None
    for _ in range(10):
        area, found = one.effective_area(np.array([pressure_pa]), found)
    return float(area[0])


@pytest.mark.parametrize(
    ("diameter_mm", "opening_s", "assist_pa", "nose"),
    [(0.5, 0.15, 0.0, 1.8), (0.8, 0.15, 0.0, 1.8), (0.8, 0.30, 1500.0, 1.0), (1.2, 0.10, -220.0, 2.5)],
)
def test_moving_lever_against_scipy(diameter_mm: float, opening_s: float, assist_pa: float, nose: float) -> None:
    time_s = np.arange(0.0, 0.8001, 0.002)
    assist = assist_pa * np.clip(time_s / 0.3, 0.0, 1.0)
    one = path(diameter_mm)

    def lever(at_s: float) -> float:
        share = min(at_s / opening_s, 1.0)
        return 4e-3 * (1.0 - math.pow(1.0 - share, nose))

    def speed(at_s: float, position: Any) -> list[float]:
        compression = lever(at_s) - position[0]
        pressure = (PRELOAD_N + RATE_N_M * compression) / AREA_M2 + assist_pa * min(at_s / 0.3, 1.0)
        if compression <= 0.0 or pressure <= 0.0:
            return [0.0]
        return [settled_area(one, pressure) * math.sqrt(2.0 * pressure / PETROL) / AREA_M2]

    expected = solve_ivp(speed, (0.0, 0.8), [0.0], t_eval=time_s[::10], max_step=0.002, rtol=1e-7, atol=1e-10).y[0]
    follower = column(np.array([lever(float(at)) for at in time_s]))
    shot = deliver(time_s, follower, pump(), one, assist)
    ours = np.concatenate([[0.0], np.cumsum(shot.delivered_m3[:, 0])])[::10] / AREA_M2
    np.testing.assert_allclose(ours, expected, atol=1e-3 * 4e-3)


def test_diaphragm_follows_a_slow_lever() -> None:
    """A lever too slow to compress the spring is followed to the letter, whatever the nozzle."""
    time_s = np.arange(0.0, 3.0, 0.01)
    follower = snapped(time_s, 4e-3, 2.5)
    large, larger = (deliver(time_s, follower, pump(), path(d), np.zeros_like(time_s)) for d in (1.0, 1.2))
    np.testing.assert_allclose(large.delivered_m3, AREA_M2 * np.diff(follower, axis=0), atol=1e-18)
    np.testing.assert_array_equal(large.delivered_m3, larger.delivered_m3)


def test_spring_limits_a_fast_lever() -> None:
    """Early flow is what the preload drives, not what the lever sweeps: 4 mm in 20 ms would need 140 cm3/s."""
    time_s = np.arange(0.0, 0.0401, 0.001)
    shot = deliver(time_s, snapped(time_s, 4e-3, 0.02), pump(), path(kind=ConstantCoefficient), np.zeros_like(time_s))
    effective = 0.77 * 2.0 * math.pi / 4.0 * 0.8e-3**2
    low, high = (effective * math.sqrt(2.0 * force / AREA_M2 / PETROL) for force in (PRELOAD_N, PRELOAD_N + 6.0))
    flow = shot.delivered_m3[:, 0] / 0.001
    assert np.all((flow > low) & (flow < high))


LEVERS = st.lists(st.floats(0.0, 1.0), min_size=2, max_size=12).filter(lambda moves: sum(moves) > 0.01)


@given(LEVERS, st.floats(0.4, 1.4), st.floats(0.5, 8.0), st.floats(-300.0, 5e3), st.floats(0.001, 0.02))
@settings(max_examples=60, deadline=None)
def test_volume_is_conserved_and_the_lever_is_never_passed(
    moves: list[float], diameter_mm: float, screw_mm2: float, assist_pa: float, step_s: float
) -> None:
    travel = np.concatenate([[0.0], np.cumsum(moves)]) / sum(moves) * 4e-3
    follower = column(np.concatenate([travel, np.full(5, travel[-1])]))
    time_s: Array = step_s * np.arange(len(follower), dtype=np.float64)
    assist = np.full(len(time_s), assist_pa)
    shot = deliver(time_s, follower, pump(), path(diameter_mm, screw_mm2=screw_mm2), assist)
    assert np.all(shot.delivered_m3 >= -1e-18)
    position = np.cumsum(shot.delivered_m3, axis=0) / AREA_M2
    assert np.all(position <= follower[1:] + 1e-12)
    np.testing.assert_allclose(position[-1] + shot.compression_m, follower[-1], atol=1e-12)


@given(st.floats(0.4, 1.2), st.floats(1.02, 1.3))
@settings(max_examples=25, deadline=None)
def test_a_larger_nozzle_gives_a_shorter_harder_shot(diameter_mm: float, more: float) -> None:
    time_s = np.arange(0.0, 3.0, 0.01)
    follower = snapped(time_s, 4e-3, 0.15)
    small, large = (
        deliver(time_s, follower, pump(), path(d), np.zeros_like(time_s)).delivered_m3
        for d in (diameter_mm, diameter_mm * more)
    )
    assert shot_duration(time_s, large)[0] < shot_duration(time_s, small)[0]
    assert large.max() > small.max()
    assert large.sum() == pytest.approx(AREA_M2 * 4e-3, rel=1e-9)


def test_depression_at_the_tip_helps_and_head_hinders() -> None:
    time_s = np.arange(0.0, 0.2, 0.002)
    volumes = [
        deliver(time_s, snapped(time_s, 4e-3, 0.1), pump(), path(0.6), np.full_like(time_s, assist)).delivered_m3.sum()
        for assist in (-220.0, 0.0, 2e3)
    ]
    assert volumes[0] < volumes[1] < volumes[2]


def test_combinations_do_not_disturb_each_other() -> None:
    time_s = np.arange(0.0, 0.5, 0.002)
    sizes = np.array([0.5, 0.8, 1.2])
    three = np.ones(3)
    many = FuelPath(sizes * 1e-3, 3e-3 * three, 2 * three, 3e-6 * three, 0.70, PETROL, 0.45e-3)
    pumps = PumpMechanism(AREA_M2 * three, PRELOAD_N * three, RATE_N_M * three, 3e-6 * three)
    lever = snapped(time_s, 4e-3, 0.15)
    together = deliver(time_s, lever * three, pumps, many, np.zeros_like(time_s)).delivered_m3
    for index, size in enumerate(sizes):
        alone = deliver(time_s, lever, pump(), path(float(size)), np.zeros_like(time_s)).delivered_m3
        np.testing.assert_allclose(together[:, index], alone[:, 0], rtol=1e-12, atol=1e-20)


def test_duration_of_an_even_shot() -> None:
    time_s = np.array([0.0, 0.1, 0.2, 0.4])
    delivered = np.array([[1.0, 0.0], [1.0, 1.0], [2.0, 0.0]])
    np.testing.assert_allclose(shot_duration(time_s, delivered), [0.38, 0.195])
    np.testing.assert_allclose(shot_duration(time_s, delivered, share=0.25), [0.1, 0.125])


# --- lobe and lever ---------------------------------------------------------------------------------------------------


def test_front_loaded_flank() -> None:
    # By hand: nose 2, half way: 1 - 0.25; nose 1 is a straight flank
    angle = np.array([-5.0, 0.0, 27.5, 55.0, 80.0])
    two = front_loaded_lift(angle, np.array(4e-3), np.array(55.0), np.array(2.0))
    np.testing.assert_allclose(two, [0.0, 0.0, 3e-3, 4e-3, 4e-3])
    straight = front_loaded_lift(angle, np.array(4e-3), np.array(55.0), np.array(1.0))
    np.testing.assert_allclose(straight, [0.0, 0.0, 2e-3, 4e-3, 4e-3])


TABLES = st.lists(
    st.tuples(st.floats(1.0, 20.0), st.one_of(st.just(0.0), st.floats(1e-5, 2e-3))), min_size=2, max_size=12
)


@given(TABLES)
@settings(deadline=None)
def test_measured_lobe_against_scipy(readings: list[tuple[float, float]]) -> None:
    """Inside, scipy's monotone interpolation is the same; its end slopes are a three-point formula, ours one chord."""
    widths, rises = np.array(readings).T
    table_deg, table_m = np.concatenate([[0.0], np.cumsum(widths)]), np.concatenate([[0.0], np.cumsum(rises)])
    angle = np.linspace(-5.0, table_deg[-1] + 5.0, 400)
    ours = measured_lift(angle, table_deg, table_m)
    assert np.all(np.diff(ours) >= -1e-15)
    np.testing.assert_allclose(measured_lift(table_deg, table_deg, table_m), table_m, atol=1e-15)
    np.testing.assert_allclose(ours[angle <= 0.0], 0.0, atol=1e-15)
    np.testing.assert_allclose(ours[angle >= table_deg[-1]], table_m[-1], rtol=1e-12)
    if len(table_deg) >= 4:
        inner = np.linspace(table_deg[1], table_deg[-2], 50)
        scipy_says = PchipInterpolator(table_deg, table_m)(inner)
        np.testing.assert_allclose(measured_lift(inner, table_deg, table_m), scipy_says, atol=1e-9)


def test_what_is_lifted_at_idle_is_spent() -> None:
    """4 mm over 55 degrees, straight flank, idle at 11 degrees: a fifth is gone, 3.2 mm by 1.1 are left [by hand]."""
    angle = np.array([11.0, 30.0, 82.0])
    lift = column(front_loaded_lift(angle, np.array(4e-3), np.array(55.0), np.array(1.0)))
    left = follower_travel(lift, np.array([1.1]), 0.0, pump(capacity_cc=9.0))
    np.testing.assert_allclose(left[:, 0], [0.0, 1.1 * 4e-3 * 19 / 55, 1.1 * 3.2e-3])


def test_a_later_phase_gives_back_what_a_fast_idle_spends() -> None:
    angle = np.array([11.0, 82.0])
    early, late = (
        follower_travel(
            column(front_loaded_lift(angle - phase, np.array(4e-3), np.array(55.0), np.array(1.8))),
            np.array([1.0]), 0.0, pump(capacity_cc=9.0),
        )[-1, 0]
        for phase in (0.0, 11.0)
    )  # fmt: skip
    assert late == pytest.approx(4e-3) and early < 0.75 * late


@pytest.mark.parametrize(("slack_mm", "travel_mm"), [(0.0, 3.0), (0.5, 3.0), (1.5, 2.5), (4.5, 0.0)])
def test_slack_matters_only_beyond_what_the_idle_has_taken_up(slack_mm: float, travel_mm: float) -> None:
    # Lift 1 mm at idle, 4 mm open [by hand]
    lift = column(np.array([1e-3, 4e-3]))
    travel = follower_travel(lift, np.array([1.0]), slack_mm * 1e-3, pump(capacity_cc=9.0))
    np.testing.assert_allclose(travel[:, 0], [0.0, travel_mm * 1e-3], atol=1e-15)


def test_each_combination_has_its_own_slack() -> None:
    three = np.ones(3)
    slacks = np.array([0.0, 0.5, 1.5]) * 1e-3
    pumps = PumpMechanism(AREA_M2 * three, PRELOAD_N * three, RATE_N_M * three, 9e-6 * three)
    lift = column(np.array([1e-3, 2e-3, 4e-3])) * three
    together = follower_travel(lift, np.array([1.0, 1.1, 0.9]), slacks, pumps)
    for index, slack in enumerate(slacks):
        ratio = np.array([1.0, 1.1, 0.9])[index : index + 1]
        alone = follower_travel(lift[:, :1], ratio, float(slack), pump(capacity_cc=9.0))
        np.testing.assert_allclose(together[:, index], alone[:, 0], rtol=1e-12)


def test_stroke_used_at_idle_is_not_given_twice() -> None:
    """2.8 cm3 over 7 cm2 is a stroke of 4 mm in all: 1 mm is in at idle, so 3 mm are left of a lobe of 6 [by hand]."""
    left = follower_travel(column(np.array([1e-3, 6e-3])), np.ones(1), 0.0, pump(capacity_cc=2.8))
    np.testing.assert_allclose(left[:, 0], [0.0, 3e-3], rtol=1e-12)
    # Lifted beyond its stroke at idle already, it has nothing to give
    spent = follower_travel(column(np.array([4.5e-3, 6e-3])), np.ones(1), 0.0, pump(capacity_cc=2.8))
    np.testing.assert_array_equal(spent[:, 0], [0.0, 0.0])


@given(st.floats(0.0, 3.0), st.floats(0.0, 4.0), st.floats(0.0, 2.0), st.floats(0.5, 4.0))
def test_lift_at_idle_and_after_never_ask_for_more_than_the_stroke(
    idle_mm: float, more_mm: float, slack_mm: float, capacity_cc: float
) -> None:
    lift = column(np.array([idle_mm, idle_mm + more_mm])) * 1e-3
    travel = follower_travel(lift, np.ones(1), slack_mm * 1e-3, pump(capacity_cc))[-1, 0]
    stroke = capacity_cc * 1e-6 / AREA_M2
    taken = min(max(idle_mm - slack_mm, 0.0) * 1e-3, stroke)
    assert -1e-15 <= travel <= min(stroke - taken, more_mm * 1e-3) + 1e-12


def test_a_pump_gives_no_more_than_it_holds() -> None:
    time_s = np.arange(0.0, 2.0, 0.005)
    small = pump(capacity_cc=1.4)
    follower = follower_travel(snapped(time_s, 4e-3, 0.15), np.array([1.0]), 0.0, small)
    assert follower.max() == pytest.approx(2e-3)
    assert deliver(time_s, follower, small, path(), np.zeros_like(time_s)).delivered_m3.sum() == pytest.approx(1.4e-6)
