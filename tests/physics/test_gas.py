"""Fuel in the manifold's gas: closed forms, the same equations by scipy, and no fuel lost."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from configurator.arrays import Array
from configurator.physics.air import Driveline, Engine
from configurator.physics.assumptions import Assumptions
from configurator.physics.atmosphere import standard_atmosphere
from configurator.physics.gas import held_fuel, share_of_air
from configurator.physics.tip_in import CircuitEvent, Fuel, Opening, Throttles, TipIn, simulate
from configurator.physics.verdict import Levels, ShotFlows, mixture

AIR, PETROL, ASSUMED = standard_atmosphere(0.0), Fuel(740.0, 0.45e-3, 14.6), Assumptions()
MANIFOLD_M3, AREA_M2 = 4.6e-3, 20e-4


# --- closed forms for constant flows ----------------------------------------------------------------------------------


@pytest.mark.parametrize("steps", [2, 7, 400])
@pytest.mark.parametrize("drawn_per_s", [0.01, 8.0, 40.0, 1e5])
def test_a_constant_inflow_in_closed_form(steps: int, drawn_per_s: float) -> None:
    """m = q/k + (m0 - q/k) exp(-k t) on any grid, and however soon the cylinders empty the manifold."""
    time_s = np.linspace(0.0, 2.0, steps) ** 1.3
    start, inflow = np.array([3e-5, 0.0]), np.array([1e-3, 4e-3])
    found = held_fuel(time_s, np.full(steps, drawn_per_s), np.tile(inflow, (steps - 1, 1)), start)
    settled = inflow / drawn_per_s
    expected = settled + (start - settled) * np.exp(-drawn_per_s * time_s[:, None])
    np.testing.assert_allclose(found, expected, rtol=1e-9)


@given(st.floats(0.5, 60.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_pairs_share_of_the_air_closes_on_its_share_of_the_flow(rate: float, before: float, now: float) -> None:
    """From one share to another within a nanosecond: now + (before - now) exp(-k t)."""
    time_s = np.concatenate([[0.0, 1e-9], np.linspace(0.01, 1.0, 30)])
    part = np.where(time_s > 0.0, now, before)
    found = share_of_air(time_s, np.full_like(time_s, rate), part)
    np.testing.assert_allclose(found, now + (before - now) * np.exp(-rate * time_s), atol=1e-6)


# --- a whole event ----------------------------------------------------------------------------------------------------


def tip_in(
    rear_circuit: bool = False, start: tuple[float, float] = (38e3, 800.0), volume_m3: float = MANIFOLD_M3
) -> TipIn:
    return simulate(
        Engine(5.7e-3, 0.82, volume_m3, 0.94e6), Driveline(2.1), Throttles(AREA_M2, AREA_M2, 25.0, AIR.density_kg_m3),
        Opening(*start, 1.1, 1.0, 0.15), AIR, PETROL, ASSUMED, 0.35, rear_circuit,
    )  # fmt: skip


def shot_of(event: CircuitEvent, peak_kg_s: float = 4e-3) -> ShotFlows:
    middle = 0.5 * (event.time_s[1:] + event.time_s[:-1])
    flow = peak_kg_s * (middle / 0.1) * np.exp(1.0 - middle / 0.1)
    return ShotFlows(flow[:, None], np.array([ASSUMED.shot_film_share]))


def with_shot(event: CircuitEvent, shots: ShotFlows, factor: float) -> Array:
    levels = Levels.of(event, np.array([factor]))
    return np.array([row[0] for row in mixture(levels, shots, np.zeros(1, dtype=np.intp))])


def film_by_scipy(event: CircuitEvent, landing: Any, factor: float, start_kg: float) -> float:
    """Film mass at the end of the event [kg]."""

    def rate(at_s: float, mass: Any) -> Any:
        tau = factor * np.interp(at_s, event.time_s, event.film_tau_s)
        return np.interp(at_s, event.time_s, landing) - mass / tau

    done = solve_ivp(rate, (0.0, event.time_s[-1]), [start_kg], max_step=0.004, rtol=1e-8, atol=1e-12)
    return float(done.y[0, -1])


@pytest.mark.parametrize("factor", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("start", [(38e3, 800.0), (60e3, 2200.0)], ids=["idle", "cruise"])
@pytest.mark.parametrize("volume_m3", [1e-3, 4.6e-3, 12e-3])
def test_fuel_in_is_fuel_burnt_and_what_walls_and_gas_gain(
    factor: float, start: tuple[float, float], volume_m3: float
) -> None:
    """Idle, both mains and the shot, base and shot each by itself: 0.1 % of all fuel over the event. Fuel in the gas is
    phi p V/(R T AFR) with the manifold's own pressure; the film's mass is integrated by scipy."""
    tip = tip_in(start=start, volume_m3=volume_m3)
    event, time_s, factors = tip.circuits["front"], tip.air.time_s, np.array([factor])
    held_air = tip.air.pressure_pa * volume_m3 / (287.05287 * AIR.temperature_k)

    def burnt_and_growth(phi: Array) -> float:
        burnt = np.trapezoid(phi * tip.air.cylinder_kg_s, time_s) / 14.6
        return float(burnt + (phi[-1] * held_air[-1] - phi[0] * held_air[0]) / 14.6)

    supplied = sum(flow.lagged(time_s, factors)[:, 0] for flow in event.mains) + event.idle_kg_s
    fuel_in, film_start = np.trapezoid(supplied, time_s), factor * event.film_start_kg
    film_gain = film_by_scipy(event, event.film_share * supplied, factor, film_start) - film_start
    base = event.base_phi(factors)[:, 0]
    assert burnt_and_growth(base) + film_gain == pytest.approx(fuel_in, rel=1e-3)

    shots = shot_of(event)
    shot_in = float(np.sum(shots.flow_kg_s[:, 0] * np.diff(time_s)))
    middle = 0.5 * (time_s[1:] + time_s[:-1])
    at_nodes = np.interp(time_s, middle, shots.flow_kg_s[:, 0])
    shot_film = film_by_scipy(event, ASSUMED.shot_film_share * at_nodes, factor, 0.0)
    of_shot = burnt_and_growth(with_shot(event, shots, factor) - base) + shot_film
    assert of_shot == pytest.approx(shot_in, rel=1e-3)


def everything_by_scipy(tip: TipIn, name: str, shots: ShotFlows, factor: float, volume_m3: float) -> Array:
    """Equivalence ratio of one circuit, from the tip-in's air: mains behind their lag, films, fuel and air in the
    manifold as one system, fuel and air each as a mass.

    Air through the pair is read off its booster depression. What the circuit's air is of all air is its share of what
    the idle film gives off.
    """
    event, time_s, (front, *rear) = tip.circuits[name], tip.air.time_s, tip.circuits.values()
    first = name == "front"
    pairs = event.mains if rear else front.mains
    whole = tip.air.pressure_pa * volume_m3 / (287.05287 * AIR.temperature_k)
    drawn = tip.air.cylinder_kg_s / whole
    signals = np.array([flow.signal_pa for flow in pairs])
    through: Array = np.sum(AREA_M2 * np.sqrt(2.0 * AIR.density_kg_m3 * signals / ASSUMED.booster_gain), axis=0)
    middle = 0.5 * (time_s[1:] + time_s[:-1])
    share_shot, flow_shot = ASSUMED.shot_film_share, shots.flow_kg_s[:, 0]

    def at(values: Array, when: float) -> float:
        return float(np.interp(when, time_s, values))

    def rates(when: float, state: Any) -> list[float]:
        air, total, gas, common, own, sprayed, *mains = state
        share, tau, draw = at(event.film_share, when), factor * at(event.film_tau_s, when), at(drawn, when)
        shot, idle = float(np.interp(when, middle, flow_shot)), at(front.idle_kg_s, when)
        into_gas = (1.0 - share) * (sum(mains) + first * idle) + (1.0 - share_shot) * shot
        off = (own + sprayed + common * air / total) / tau
        behind = [at(flow.steady_kg_s, when) - now for flow, now in zip(pairs, mains, strict=True)]
        lags = [factor * at(flow.lag_s, when) for flow in pairs]
        return [
            at(through, when) - draw * air, at(tip.air.throttle_kg_s, when) - draw * total, into_gas + off - draw * gas,
            share * idle - common / tau, share * sum(mains) - own / tau, share_shot * shot - sprayed / tau,
            *(less / lag for less, lag in zip(behind, lags, strict=True)),
        ]  # fmt: skip

    supply, air_start = 1.1 * tip.air.cylinder_kg_s[0] / 14.6, first * whole[0]
    film_start = factor * event.film_share[0] * event.film_tau_s[0] * supply
    start = [air_start, whole[0], 1.1 * air_start / 14.6, film_start, 0.0, 0.0, *(flow.start_kg_s for flow in pairs)]
    done = solve_ivp(
        rates, (0.0, time_s[-1]), start, method="LSODA", t_eval=time_s, max_step=0.004, rtol=1e-8, atol=1e-12
    )
    return np.asarray(14.6 * done.y[2] / np.maximum(done.y[0], 1e-12))


@pytest.mark.parametrize("name", ["one", "front", "rear"])
@pytest.mark.parametrize(("factor", "volume_m3"), [(1.0, 4.6e-3), (0.5, 1e-3), (2.0, 10e-3)])
def test_film_and_gas_again_as_one_system_by_scipy(name: str, factor: float, volume_m3: float) -> None:
    tip = tip_in(name != "one", volume_m3=volume_m3)
    name = "front" if name == "one" else name
    event = tip.circuits[name]
    shots = shot_of(event)
    expected = everything_by_scipy(tip, name, shots, factor, volume_m3)
    found = with_shot(event, shots, factor)
    np.testing.assert_allclose(found[event.judged], expected[event.judged], rtol=0.006)
    assert np.abs(found - 1.0)[event.judged].max() > 0.1


def test_two_circuits_share_what_one_would_have() -> None:
    """Front and rear pair together have the air and the fuel of the whole engine."""
    one, two = tip_in().circuits["front"], tip_in(rear_circuit=True).circuits
    front, rear = two["front"], two["rear"]
    np.testing.assert_allclose(front.air_share + rear.air_share, 1.0, atol=2e-6)
    factor = np.array([1.3])
    together = sum(event.base_phi(factor)[:, 0] * event.air_share for event in (front, rear))
    np.testing.assert_allclose(together, one.base_phi(factor)[:, 0], rtol=2e-5)


def test_before_anything_moves_the_mixture_is_the_idle_one() -> None:
    for event in tip_in(rear_circuit=True).circuits.values():
        np.testing.assert_allclose(event.base_phi(np.array([0.5, 1.0, 2.0]))[0], 1.1, rtol=1e-9)


@given(st.floats(0.3e-3, 20e-3), st.floats(30e3, 70e3), st.floats(500.0, 1500.0))
@settings(max_examples=12, deadline=None)
def test_air_and_fuel_in_one_proportion_keep_it(volume_m3: float, start_pa: float, rpm: float) -> None:
    """Without walls, metering phi 1 for the air through the throttle leaves phi 1 while the manifold fills."""
    tip = tip_in(start=(start_pa, rpm), volume_m3=volume_m3)
    event, time_s, through = tip.circuits["front"], tip.air.time_s, tip.air.throttle_step_kg
    inflow = (through / np.diff(time_s) / 14.6)[:, None]
    held = held_fuel(time_s, event.drawn_per_s, inflow, np.array([event.air_kg[0] / 14.6]))
    np.testing.assert_allclose(held[:, 0] * event.phi_per_kg, 1.0, rtol=4e-3)


def test_the_filling_spike_takes_fuel_with_it() -> None:
    """By hand: a shot that falls while the manifold fills from 38 to 98 kPa and all of which misses the walls stands in
    the gas, less what the cylinders drew; dividing it by the cylinders' air at once would burn all of it."""
    tip = tip_in()
    event = tip.circuits["front"]
    flow = np.where(event.time_s[1:] <= 0.05, 1e-3 / 0.05, 0.0)[:, None]
    added = with_shot(event, ShotFlows(flow, np.zeros(1)), 1.0) - event.base_phi(np.ones(1))[:, 0]
    in_gas = added * event.air_kg / 14.6
    at, mean_rate = int(np.searchsorted(event.time_s, 0.05)), float(np.mean(event.drawn_per_s[:26]))
    assert in_gas[at] == pytest.approx(1e-3 * (1.0 - math.exp(-mean_rate * 0.05)) / (mean_rate * 0.05), rel=0.01)
    assert in_gas[at] > 0.75e-3
