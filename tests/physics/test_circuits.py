"""Idle and main circuits against textbook carburettors, closed forms and scipy."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from configurator.arrays import Array
from configurator.physics.circuits import MainCircuit, MainFlow, idle_flow

AIR_DENSITY, PETROL = 1.2, 750.0
AREA_M2 = 30e-4


def main(gain: float = 4.0, lip_m: float = 0.012, power: float = 12.8, jetted_for: float = AIR_DENSITY) -> MainCircuit:
    return MainCircuit(AREA_M2, jetted_for, gain, lip_m, 0.12, power)


def flow_at(circuit: MainCircuit, air_kg_s: Array, most: float = 1.0) -> MainFlow:
    return circuit.flow(air_kg_s, AIR_DENSITY, PETROL, most)


def settled(flow: MainFlow, late: float = 1.0) -> Array:
    """What the flow settles at [kg/s], (times,)."""
    return np.asarray(flow.steady(np.array([late]))[:, 0])


# Worked examples on the nozzle lip, as public companion programs to the two books print them, and recomputed:
# lip [mm], depression [Pa], air-fuel ratio without and with lip, air speed at which fuel begins to flow [m/s]
EXAMPLES = {
    "Mathur & Sharma, Internal Combustion Engine, 2010, ex. 11.8":
        (5.0, 7000.0, 13.18788, 13.22266, 7.82863),
    "H. N. Gupta, Fundamentals of Internal Combustion Engines, 2006, ex. 9.6":
        (4.0, 7500.0, 15.74921, 15.7802, 7.00357),
}  # fmt: skip


@pytest.mark.parametrize("example", EXAMPLES)
def test_lip_leans_as_in_the_textbooks(example: str) -> None:
    """Theirs is a plain venturi, so gain 1: the depression is that of the air's own speed."""
    lip_mm, depression_pa, without, with_lip, first_m_s = EXAMPLES[example]
    circuit = main(gain=1.0, lip_m=lip_mm / 1e3, power=without)
    air = np.array([AREA_M2 * math.sqrt(2.0 * AIR_DENSITY * depression_pa)])
    flow = flow_at(circuit, air)
    assert flow.signal_pa[0] == pytest.approx(depression_pa, rel=1e-12)
    assert air[0] / settled(flow)[0] == pytest.approx(with_lip, rel=2e-6)
    just_below, just_above = (AREA_M2 * AIR_DENSITY * first_m_s * part for part in (0.9998, 1.0002))
    begins = settled(flow_at(circuit, np.array([just_below, just_above])))
    assert begins[0] == 0.0 and begins[1] > 0.0


# Worked examples on altitude, recomputed from the books' own pressure and lapse rate: air-fuel ratio, pressure [bar]
# and temperature [K] at the sea, the two at altitude, and the air-fuel ratio there
ALTITUDES = {
    "Mathur & Sharma, Internal Combustion Engine, 2010, ex. 11.7, 5,000 m":
        (14.0, (1.013, 300.0), (0.556151, 267.5), 10.98546),
    "H. N. Gupta, Fundamentals of Internal Combustion Engines, 2006, ex. 9.7, 4,000 m":
        (14.7, (1.013, 295.0), (1.013 / 10**0.2083, 269.0), 12.11162),
}  # fmt: skip


@pytest.mark.parametrize("example", ALTITUDES)
def test_fixed_jets_go_rich_with_altitude_as_in_the_textbooks(example: str) -> None:
    """As the square root of the density ratio; theirs has no lip here. Jetted for the altitude it is as asked."""
    power, sea, high, expected = ALTITUDES[example]
    sea_density, high_density = (bar * 1e5 / (287.05 * kelvin) for bar, kelvin in (sea, high))
    air = np.array([0.1, 0.2])
    for jetted_for, ratio in ((sea_density, expected), (high_density, power)):
        circuit = main(lip_m=0.0, power=power, jetted_for=jetted_for)
        steady = settled(circuit.flow(air, high_density, PETROL, 1.0))
        np.testing.assert_allclose(air / steady, ratio, rtol=2e-6)


@given(st.floats(0.7, 1.4), st.floats(0.7, 1.4), st.floats(0.05, 0.3))
def test_jets_for_other_air_change_the_flow_alone(jetted_for: float, density: float, air_kg_s: float) -> None:
    air = np.array([air_kg_s])
    there, here = (main(jetted_for=rho).flow(air, density, PETROL, 1.0) for rho in (jetted_for, density))
    assert settled(there)[0] == pytest.approx(settled(here)[0] * math.sqrt(jetted_for / density), rel=1e-12)
    assert (there.signal_pa[0], there.lag_s[0]) == (here.signal_pa[0], here.lag_s[0])


@given(st.floats(1e-3, 0.3), st.floats(1.01, 3.0))
def test_depression_grows_with_the_square_and_lag_falls_with_it(air_kg_s: float, more: float) -> None:
    flow = flow_at(main(), np.array([air_kg_s, more * air_kg_s]))
    assert flow.signal_pa[1] / flow.signal_pa[0] == pytest.approx(more**2, rel=1e-9)
    assert settled(flow)[1] >= more * settled(flow)[0]
    if flow.signal_pa[0] > 1.0:
        assert flow.lag_s[0] / flow.lag_s[1] == pytest.approx(more, rel=1e-9)


def test_lag_is_what_was_given_at_two_kilopascal() -> None:
    air = AREA_M2 * math.sqrt(2.0 * AIR_DENSITY * 2000.0 / 4.0)
    assert flow_at(main(), np.array([air])).lag_s[0] == pytest.approx(0.12, rel=1e-9)


def test_wide_open_and_fast_it_gives_what_it_is_jetted_for() -> None:
    # By hand: 0.3 kg/s through 30 cm2 is 16.7 kPa of booster depression, and 88.3 Pa of lip against it: 0.26 %
    flow = flow_at(main(), np.array([0.3]))
    assert 0.3 / settled(flow)[0] == pytest.approx(12.8 * 1.00265, rel=1e-5)


def test_larger_barrels_draw_later_and_slower() -> None:
    air = np.array([0.04])
    small, large = (
        MainCircuit(area, AIR_DENSITY, 4.0, 0.012, 0.12, 12.8).flow(air, AIR_DENSITY, PETROL, 1.0)
        for area in (30e-4, 60e-4)
    )
    assert settled(large)[0] < settled(small)[0]
    assert large.lag_s[0] == pytest.approx(2.0 * small.lag_s[0])


def test_before_the_tip_in_it_gives_no_more_than_asked() -> None:
    air = np.array([0.1, 0.2])
    free, held = flow_at(main(), air), flow_at(main(), air, most=2e-3)
    assert free.start_kg_s == settled(free)[0] > 2e-3
    assert held.start_kg_s == 2e-3
    np.testing.assert_array_equal(settled(held), settled(free))


# --- how late it comes ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("steps", [3, 40, 1000])
def test_lag_behind_a_step_is_exactly_exponential(steps: int) -> None:
    """However coarse the grid, and even or not: m1 + (m0 - m1) exp(-t/(l tau)), m1 = m sqrt(1 - sqrt(l) lip/signal)."""
    time_s = np.linspace(0.0, 1.0, steps) ** 1.5
    constant = np.ones(steps)
    flow = MainFlow(5e-3 * constant, 800.0 * constant, 0.2 * constant, 88.0, 1e-3)
    late = np.array([0.25, 1.0, 4.0])
    ends = 5e-3 * np.sqrt(1.0 - np.array([44.0, 88.0, 176.0]) / 800.0)
    expected = ends + (1e-3 - ends) * np.exp(-time_s[:, None] / (0.2 * late))
    np.testing.assert_allclose(flow.lagged(time_s, late), expected, rtol=1e-12)


def test_a_late_circuit_is_one_with_more_lag_and_a_higher_lip_that_starts_as_it_did() -> None:
    """Four times as late: four times the lag, and twice 12 mm. What it gave before the tip-in stays."""
    time_s = np.linspace(0.0, 1.0, 101)
    air = 0.05 + 0.1 * time_s
    as_modelled = flow_at(main(), air)
    other = MainCircuit(AREA_M2, AIR_DENSITY, 4.0, 0.024, 0.48, 12.8)
    higher = replace(flow_at(other, air), start_kg_s=as_modelled.start_kg_s)
    late = as_modelled.lagged(time_s, np.array([4.0]))
    np.testing.assert_allclose(late, higher.lagged(time_s, np.ones(1)), rtol=1e-12)
    assert late[0, 0] == as_modelled.start_kg_s and np.all(late[1:] < as_modelled.lagged(time_s, np.ones(1))[1:])


@pytest.mark.parametrize("late", [0.45, 1.0, 2.2])
def test_lag_behind_a_growing_flow_against_scipy(late: float) -> None:
    time_s = np.arange(0.0, 1.0001, 0.002)

    def air(at_s: Any) -> Any:
        return 0.01 + 0.19 * np.clip(at_s / 0.5, 0.0, 1.0) ** 2

    flow = flow_at(main(), air(time_s))

    def rate(at_s: float, fuel: Any) -> Any:
        now = flow_at(main(lip_m=0.012 * math.sqrt(late)), np.array([air(at_s)]))
        return (settled(now)[0] - fuel) / (now.lag_s[0] * late)

    expected = solve_ivp(
        rate, (0.0, 1.0), [flow.start_kg_s], method="LSODA", t_eval=time_s[::25], max_step=0.002, rtol=1e-8, atol=1e-12
    ).y[0]
    ours = flow.lagged(time_s, np.array([late]))[::25, 0]
    np.testing.assert_allclose(ours, expected, atol=1e-3 * expected.max())
    assert np.all(ours[1:] <= settled(flow, late)[25::25])


def test_idle_fades_as_the_root_of_the_depression() -> None:
    depression = np.array([60e3, 15e3, 600.0, 0.0, -50.0])
    np.testing.assert_allclose(idle_flow(4e-4, depression), [4e-4, 2e-4, 4e-5, 0.0, 0.0])


def test_without_a_depression_at_the_start_there_is_no_idle_flow() -> None:
    np.testing.assert_array_equal(idle_flow(4e-4, np.array([0.0, 20e3])), [0.0, 0.0])
