"""Fuel in the manifold's gas: closed forms, the same equations by scipy, and no fuel lost."""

import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_equations import AIR, ASSUMED, Course, Made, course, felt, rounded_shots
from scipy.integrate import solve_ivp

from configurator.arrays import Array
from configurator.physics.gas import held_fuel, share_of_air
from configurator.physics.lateness import Lateness
from configurator.physics.mixture import Supply
from configurator.physics.tip_in import CircuitEvent
from configurator.physics.verdict import Allowed, Verdict

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


def with_shot(event: CircuitEvent, flow_kg_s: Array, missed: float, engine: Lateness) -> Array:
    """Equivalence ratio with one shot, (times,)."""
    supply = Supply(event)
    shot = supply.responses(flow_kg_s[:, None])
    return np.asarray(shot.phi(supply.base(engine.main_circuit), np.array([missed / engine.first_fuel]))[:, 0])


def film_by_scipy(event: CircuitEvent, landing: Any, start_kg: float) -> float:
    """Film mass at the end of the event [kg]."""

    def rate(at_s: float, mass: Any) -> Any:
        return np.interp(at_s, event.time_s, landing) - mass / np.interp(at_s, event.time_s, event.film_tau_s)

    done = solve_ivp(rate, (0.0, event.time_s[-1]), [start_kg], max_step=0.004, rtol=1e-8, atol=1e-12)
    return float(done.y[0, -1])


@pytest.mark.parametrize("engine", [Lateness(0.5, 2.0), Lateness(2.0, 0.5)], ids=["late main", "late first"])
@pytest.mark.parametrize("start", [(38e3, 800.0), (60e3, 2200.0)], ids=["idle", "cruise"])
@pytest.mark.parametrize("volume_m3", [1e-3, 12e-3])
def test_fuel_in_is_fuel_burnt_and_what_walls_and_gas_gain(
    engine: Lateness, start: tuple[float, float], volume_m3: float
) -> None:
    """Idle, both mains and the shot, base and shot each by itself: 0.1 % of all fuel over the event. Fuel in the gas is
    phi p V/(R T AFR) with the manifold's own pressure; the film's mass is integrated by scipy."""
    tip = Made(start=start, volume_m3=volume_m3).tip_in
    event, time_s = tip.circuits["front"], tip.air.time_s
    held_air = tip.air.pressure_pa * volume_m3 / (287.05287 * AIR.temperature_k)

    def burnt_and_growth(phi: Array) -> float:
        burnt = np.trapezoid(phi * tip.air.cylinder_kg_s, time_s) / 14.6
        return float(burnt + (phi[-1] * held_air[-1] - phi[0] * held_air[0]) / 14.6)

    mains = sum(flow.lagged(time_s, np.array([engine.main_circuit]))[:, 0] for flow in event.mains)
    supplied = mains + event.idle_kg_s
    film_gain = film_by_scipy(event, event.film_share * supplied, event.film_start_kg) - event.film_start_kg
    base = Supply(event).base(engine.main_circuit)
    assert burnt_and_growth(base) + film_gain == pytest.approx(np.trapezoid(supplied, time_s), rel=1e-3)

    flow = rounded_shots(time_s, [(3.0, 0.1, 0.2)])[:, 0]
    shot_in, missed = float(flow @ np.diff(time_s)), 1.0 - ASSUMED.shot_film_share
    at_nodes = np.interp(time_s, 0.5 * (time_s[1:] + time_s[:-1]), flow)
    shot_film = film_by_scipy(event, (1.0 - missed / engine.first_fuel) * at_nodes, 0.0)
    of_shot = burnt_and_growth(with_shot(event, flow, missed, engine) - base) + shot_film
    assert of_shot == pytest.approx(shot_in, rel=1e-3)


CASES = [(seed, name) for seed in range(6) for name in (("front", "rear") if seed % 2 else ("front",))]


@cache
def case_by_chance(seed: int, name: str) -> tuple[Made, Array, Lateness]:
    """An engine with its car, one shot in proportion [kg/s], how late its fuel is."""
    made, chance = Made.by_chance(seed), np.random.default_rng([seed, len(name)])
    event, litres = made.tip_in.circuits[name], made.displacement_m3 * 1e3 / len(made.tip_in.circuits)
    size = (litres * chance.uniform(0.1, 1.0), chance.uniform(0.03, 0.2), chance.uniform(0.08, 0.8))
    first, late = np.exp(chance.uniform(-0.8, 0.8, 2)).tolist()
    return made, rounded_shots(event.time_s, [size])[:, 0], Lateness(first, late)


@cache
def course_by_chance(seed: int, name: str) -> Course:
    made, flow, engine = case_by_chance(seed, name)
    return course(made, name, flow, ASSUMED.shot_film_share, engine)


@pytest.mark.parametrize(("seed", "name"), CASES)
def test_mains_film_and_gas_again_as_one_system_by_scipy(seed: int, name: str) -> None:
    """In random engines, first fuel and main circuit as late as chance will: lag, lip and what misses the walls."""
    made, flow, engine = case_by_chance(seed, name)
    told, event = course_by_chance(seed, name), made.tip_in.circuits[name]
    found = with_shot(event, flow, 1.0 - ASSUMED.shot_film_share, engine)
    expected = np.interp(event.time_s, told.time_s, told.phi)
    np.testing.assert_allclose(found[event.judged], expected[event.judged], rtol=3e-3)
    assert np.ptp(found[event.judged]) > 0.2


@pytest.mark.parametrize(("seed", "name"), CASES)
def test_what_is_felt_again_as_read_off_the_pull(seed: int, name: str) -> None:
    """From scipy's own pull, levels and falls read off one by one: nothing of the program's way is in it."""
    made, flow, engine = case_by_chance(seed, name)
    event = made.tip_in.circuits[name]
    missed = np.array([1.0 - ASSUMED.shot_film_share])
    verdict = Verdict(event, Allowed(50.0, 6.0, 200.0), (missed[0], missed[0]))
    found = verdict.felt_in(verdict.supply.responses(flow[:, None]), missed, engine)
    for figure, expected in felt(course_by_chance(seed, name)).items():
        ours = float(getattr(found, figure)[0])
        if figure.endswith("at_ms"):
            deep = float(getattr(found, figure.replace("at_ms", "percent"))[0])
            assert deep < 1.0 or ours == pytest.approx(expected, abs=20.0), figure
        else:
            most = {"percent": 0.1, "cycles": 0.03}.get(figure.rsplit("_", 1)[1], 2.0)
            assert ours == pytest.approx(expected, rel=0.01, abs=most), figure


def test_cases_by_chance_show_what_there_is_to_feel() -> None:
    """The comparison above would say little if nothing were felt."""
    found = [felt(course_by_chance(*case)) for case in CASES]
    for figure, least in {"delay_ms": 50.0, "lean_sag_percent": 3.0, "smoke_ms": 100.0, "pop_back_cycles": 0.5}.items():
        assert sum(one[figure] > least for one in found) >= 2, figure


# --- by hand ----------------------------------------------------------------------------------------------------------


def test_two_circuits_share_what_one_would_have() -> None:
    """Front and rear pair together have the air and the fuel of the whole engine."""
    one, two = Made().tip_in.circuits["front"], Made(rear_circuit=True).tip_in.circuits
    front, rear = two["front"], two["rear"]
    np.testing.assert_allclose(front.air_share + rear.air_share, 1.0, atol=2e-6)
    late = np.array([0.6, 1.3])
    together = sum(event.base_phi(late) * event.air_share[:, None] for event in (front, rear))
    np.testing.assert_allclose(together, one.base_phi(late), rtol=2e-5)


def test_before_anything_moves_the_mixture_is_the_idle_one() -> None:
    for event in Made(rear_circuit=True).tip_in.circuits.values():
        np.testing.assert_allclose(event.base_phi(np.array([0.5, 1.0, 2.0]))[0], 1.1, rtol=1e-9)


@given(st.floats(0.3e-3, 20e-3), st.floats(30e3, 70e3), st.floats(500.0, 1500.0))
@settings(max_examples=12, deadline=None)
def test_air_and_fuel_in_one_proportion_keep_it(volume_m3: float, start_pa: float, rpm: float) -> None:
    """Without walls, metering phi 1 for the air through the throttle leaves phi 1 while the manifold fills."""
    tip = Made(start=(start_pa, rpm), volume_m3=volume_m3).tip_in
    event, time_s, through = tip.circuits["front"], tip.air.time_s, tip.air.throttle_step_kg
    inflow = (through / np.diff(time_s) / 14.6)[:, None]
    held = held_fuel(time_s, event.drawn_per_s, inflow, np.array([event.air_kg[0] / 14.6]))
    np.testing.assert_allclose(held[:, 0] * event.phi_per_kg, 1.0, rtol=4e-3)


def test_the_filling_spike_takes_fuel_with_it() -> None:
    """By hand: a shot that falls while the manifold fills from 38 to 98 kPa and all of which misses the walls stands in
    the gas, less what the cylinders drew; dividing it by the cylinders' air at once would burn all of it."""
    event, engine = Made().tip_in.circuits["front"], Lateness()
    flow = np.where(event.time_s[1:] <= 0.05, 1e-3 / 0.05, 0.0)
    added = with_shot(event, flow, 1.0, engine) - Supply(event).base(1.0)
    in_gas = added * event.air_kg / 14.6
    at, mean_rate = int(np.searchsorted(event.time_s, 0.05)), float(np.mean(event.drawn_per_s[:26]))
    assert in_gas[at] == pytest.approx(1e-3 * (1.0 - math.exp(-mean_rate * 0.05)) / (mean_rate * 0.05), rel=0.01)
    assert in_gas[at] > 0.75e-3
