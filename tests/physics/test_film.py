"""The wall film against its published coefficients, its exact solutions and scipy."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from configurator.physics.air import Driveline, Engine
from configurator.physics.assumptions import Assumptions
from configurator.physics.atmosphere import Surroundings
from configurator.physics.film import evaporated, film_outside_range, wet_manifold_film
from configurator.physics.tip_in import Fuel, Opening, Throttles, TipIn, simulate

ONE = np.ones(1)


@pytest.mark.parametrize(
    ("bar", "thousand_rpm", "share", "tau_s"),
    [
        (0.5, 1.0, 0.4865, 0.79373), (0.5, 2.0, 0.4315, 0.63791), (0.5, 3.0, 0.3765, 0.48209),
        (1.0, 1.0, 0.3480, 0.69167), (1.0, 2.0, 0.2930, 0.60389), (1.0, 3.0, 0.2380, 0.51611),
        (0.4, 2.5, 0.4317, 0.56), (0.9, 2.5, 0.2932, 0.56),
    ],
)  # fmt: skip
def test_coefficients_of_the_wet_manifold(bar: float, thousand_rpm: float, share: float, tau_s: float) -> None:
    # Computed from X = -0.277 p - 0.055 n + 0.68, tau = 1.35 (-0.672 n + 1.68)(p - 0.825)^2 + (-0.06 n + 0.15) + 0.56;
    # attributed from memory to Hendricks & Sorenson, SAE 900616 / 910258. At n 2.5 pressure drops out of tau.
    found = wet_manifold_film(np.array(bar * 1e5), np.array(thousand_rpm * 1e3))
    np.testing.assert_allclose(found, (share, tau_s), atol=6e-6)


@given(st.floats(0.0, 3e5), st.floats(0.0, 9000.0))
def test_edges_are_held(pressure_pa: float, rpm: float) -> None:
    share, tau = wet_manifold_film(np.array(pressure_pa), np.array(rpm))
    at_edge = wet_manifold_film(np.array(min(max(pressure_pa, 3e4), 1e5)), np.array(min(rpm, 3000.0)))
    np.testing.assert_array_equal((share, tau), at_edge)
    assert 0.2 < share < 0.7 and 0.4 < tau < 1.5


def test_beyond_the_edges_it_says_so() -> None:
    inside = np.array([31e3, 60e3, 101e3])
    assert not film_outside_range(inside, np.array([700.0, 1500.0, 2990.0]))
    assert film_outside_range(inside, np.array([700.0, 1500.0, 3010.0]))
    assert film_outside_range(np.array([29e3, 60e3, 100e3]), np.array([700.0]))


@pytest.mark.parametrize("steps", [4, 101, 701])
def test_exact_after_a_step_of_fuel(steps: int) -> None:
    """From equilibrium, m0 to m1 at once: m_cyl = m1 - X (m1 - m0) exp(-t/tau), on any grid; here each step's mean.

    X 0.5, tau 0.4 s, m1 = 3 m0: m_cyl/m1 0.666667, 0.740400, 0.877374, 0.972638 at 0, 0.1, 0.4, 1.0 s [closed form].
    """
    time_s = np.linspace(0.0, 1.0, steps)
    landing = np.full((steps - 1, 1), 0.5 * 3.0)
    off = evaporated(time_s, landing, np.full(steps, 0.4), 0.5 * 0.4 * ONE)[:, 0]
    to_cylinders = (0.5 * 3.0 + off) / 3.0
    mean = -np.diff(np.exp(-time_s / 0.4)) * 0.4 / np.diff(time_s)
    np.testing.assert_allclose(to_cylinders, 1.0 - 0.5 * (2.0 / 3.0) * mean, rtol=1e-12)
    if steps == 701:
        found = np.interp([0.1, 0.4, 0.999], 0.5 * (time_s[1:] + time_s[:-1]), to_cylinders)
        np.testing.assert_allclose(found, [0.740400, 0.877374, 0.972572], atol=4e-6)


def test_what_the_walls_keep() -> None:
    """The deficit after a step is X tau (m1 - m0), whatever the course."""
    time_s = np.arange(0.0, 15.0, 0.005)
    landing = np.full((len(time_s) - 1, 1), 0.4 * 3e-3)
    off = evaporated(time_s, landing, np.full(len(time_s), 0.6), 0.4 * 0.6 * 1e-3 * ONE)[:, 0]
    deficit = np.sum((0.4 * 3e-3 - off) * np.diff(time_s))
    assert deficit == pytest.approx(0.4 * 0.6 * (3e-3 - 1e-3), rel=1e-5)


def test_coefficients_that_jump_ask_for_the_difference_of_two_films() -> None:
    """X0 tau0 m0 to X1 tau1 m1: the deficit is the difference, though flow and coefficients all change at once."""
    time_s = np.concatenate([[0.0, 1e-9], np.arange(0.005, 15.0, 0.005)])
    tau = np.where(time_s > 0.0, 0.6, 0.8)
    landing = np.full((len(time_s) - 1, 1), 0.3 * 3e-3)
    off = evaporated(time_s, landing, tau, 0.5 * 0.8 * 1e-3 * ONE)[:, 0]
    deficit = np.sum((0.3 * 3e-3 - off) * np.diff(time_s))
    assert deficit == pytest.approx(0.3 * 0.6 * 3e-3 - 0.5 * 0.8 * 1e-3, rel=1e-5)


def test_changing_coefficients_against_scipy() -> None:
    time_s = np.arange(0.0, 1.5001, 0.004)

    def tau(at_s: Any) -> Any:
        return 1.26 - 0.56 * np.clip(at_s / 0.3, 0.0, 1.0)

    def landing(at_s: Any) -> Any:
        return 1e-3 * (1.0 + np.sin(5.0 * at_s))

    film, came_off = solve_ivp(
        lambda at_s, state: [landing(at_s) - state[0] / tau(at_s), state[0] / tau(at_s)],
        (0.0, 1.5), [3e-4, 0.0], t_eval=time_s, max_step=0.01, rtol=1e-9, atol=1e-13,
    ).y  # fmt: skip
    means = 0.5 * (landing(time_s[1:]) + landing(time_s[:-1]))[:, None]
    off = evaporated(time_s, means, tau(time_s), 3e-4 * ONE)[:, 0]
    np.testing.assert_allclose(off, np.diff(came_off) / 0.004, rtol=1e-4)
    landed = np.sum(means[:, 0] * np.diff(time_s))
    assert landed - np.sum(off * np.diff(time_s)) == pytest.approx(film[-1] - film[0], rel=1e-4)


# --- film of a whole event --------------------------------------------------------------------------------------------


def tip_in(air_c: float = 15.0) -> TipIn:
    engine = Engine(5.7e-3, 0.82, 4.6e-3, 0.94e6)
    air = Surroundings(101_325.0, air_c + 273.15)
    throttles = Throttles(20e-4, 20e-4, 25.0, air.density_kg_m3)
    return simulate(
        engine, Driveline(2.1), throttles, Opening(38e3, 800.0, 1.1, 1.0, 0.15), air,
        Fuel(740.0, 0.45e-3, 14.6), Assumptions(), 0.35, rear_circuit=False,
    )  # fmt: skip


def test_distance_to_the_valves_holds_more_fuel() -> None:
    assumed = Assumptions()
    event = tip_in().circuits["front"]
    share, tau = wet_manifold_film(np.array(38e3), np.array(800.0))
    # 0.35 m: 0.10 m beyond the 0.25 m at which the figures are taken
    assert event.film_share[0] == pytest.approx(float(share) + 0.10 * assumed.film_share_per_m, rel=1e-9)
    longer = assumed.film_time_factor * (1.0 + 0.10 * assumed.film_time_per_m)
    assert event.film_tau_s[0] == pytest.approx(float(tau) * longer, rel=1e-9)
    held = event.film_share[0] * event.film_tau_s[0] * event.idle_kg_s[0]
    assert event.film_start_kg == pytest.approx(held, rel=1e-9)


def test_cold_air_wets_more_and_dries_slower() -> None:
    """By hand: 20 K colder than 15 deg C, at 10 % and 0.02 per 10 K, tau x 1.21 and X + 0.04; the warmer way back."""
    plain, cold, warm = (tip_in(air_c).circuits["front"] for air_c in (15.0, -5.0, 35.0))
    assert cold.film_share[0] - plain.film_share[0] == pytest.approx(0.04, abs=1e-9)
    assert warm.film_share[0] - plain.film_share[0] == pytest.approx(-0.04, abs=1e-9)
    assert cold.film_tau_s[0] / plain.film_tau_s[0] == pytest.approx(1.21, rel=1e-9)
    assert warm.film_tau_s[0] / plain.film_tau_s[0] == pytest.approx(1.0 / 1.21, rel=1e-9)
