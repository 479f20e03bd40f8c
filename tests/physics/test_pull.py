"""What is felt of a mixture: the work per air against a chemistry library, the lag against its closed form, each figure
against what can be worked out by hand."""

import cantera as ct
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from configurator.physics.pull import FUEL_AIR_CYCLE, felt, lagged, pulls, relative_work

TIMES = np.concatenate([np.arange(0.0, 0.3, 0.004), np.arange(0.3, 2.0, 0.016)])
FULL = np.where(TIMES > 0.0, 98e3, 38e3)
"""A manifold that fills at once."""
EVERYWHERE = np.ones_like(TIMES)
SPEED = np.full_like(TIMES, 1500.0)


def work_per_air(phi: float, compression: float) -> float:
    """Indicated work of the constant-volume cycle over the air's mass: frozen compression, equilibrium after."""
    products = ("O2", "N2", "CO2", "H2O", "CO", "H2", "OH", "O", "H", "NO")
    species = [one for one in ct.Species.list_from_file("nasa_gas.yaml") if one.name in (*products, "C8H18,isooctane")]
    gas = ct.Solution(thermo="ideal-gas", species=species)
    gas.set_equivalence_ratio(phi, "C8H18,isooctane", "O2:1, N2:3.76")
    air_share = 1.0 - gas["C8H18,isooctane"].Y[0]
    gas.TP = 350.0, 0.9e5
    u_start, s_start, v_start = gas.u, gas.s, gas.v
    gas.SV = s_start, v_start / compression
    u_pressed = gas.u
    gas.equilibrate("UV")
    u_burnt, s_burnt = gas.u, gas.s
    gas.SV = s_burnt, v_start
    gas.equilibrate("SV")
    return float((u_burnt - gas.u - (u_pressed - u_start)) / air_share)


def test_work_per_air_is_that_of_the_fuel_air_cycle() -> None:
    """By the library's NASA polynomials and equilibrium; compression ratio 8.5."""
    found = {phi: work_per_air(phi, 8.5) for phi in (0.7, 0.8, 0.9, 1.0, 1.05, 1.1, 1.15, 1.3, 1.5)}
    most = max(found.values())
    for phi, work in found.items():
        assert relative_work(np.array(phi)) == pytest.approx(work / most, abs=0.004)
    assert work_per_air(2.0, 8.5) / most == pytest.approx(dict(FUEL_AIR_CYCLE)[2.0], abs=0.004)


def test_compression_hardly_moves_the_work_ratio() -> None:
    ratios = [work_per_air(0.8, compression) / work_per_air(1.08, compression) for compression in (8.5, 10.0)]
    assert ratios[0] == pytest.approx(ratios[1], abs=0.004)


def test_too_lean_or_too_rich_gives_nothing_and_work_has_no_step() -> None:
    phi = np.linspace(0.3, 3.0, 2701)
    work = relative_work(phi)
    assert (work[phi < 0.5] == 0.0).all() and (work[phi > 2.3] == 0.0).all() and work.max() == pytest.approx(1.0)
    assert np.abs(np.diff(work)).max() < 0.01
    assert 1.04 < phi[work.argmax()] < 1.12


def test_the_lag_against_its_closed_form() -> None:
    """A step from rest: 1 - exp(-t/lag); a ramp a t: a (t - lag (1 - exp(-t/lag)))."""
    lag, time = 0.1, TIMES
    step = lagged(time, np.ones((len(time), 1)), lag)[:, 0]
    ramp = lagged(time, 3.0 * time[:, None], lag)[:, 0]
    np.testing.assert_allclose(step, 1.0 - np.exp(-time / lag), atol=1e-12)
    np.testing.assert_allclose(ramp, 3.0 * (time - lag * (1.0 - np.exp(-time / lag))), atol=1e-12)


def feel(phi: np.ndarray, share: np.ndarray = EVERYWHERE) -> dict[str, float]:
    found = felt(pulls(TIMES, FULL, share, phi[:, None], 0.1), SPEED, phi[:, None], share)
    return {name: float(value[0]) for name, value in vars(found).items()}


def test_the_best_mixture_is_felt_as_nothing() -> None:
    found = feel(np.full_like(TIMES, 1.08))
    assert found["delay_ms"] == pytest.approx(0.0, abs=0.5)
    assert max(found["lean_sag_percent"], found["rich_sag_percent"]) < 0.1
    assert (found["smoke_ms"], found["pop_back_cycles"]) == (0.0, 0.0)


def test_no_fuel_for_a_while_is_a_delay_of_that_while() -> None:
    """Nothing burns for 150 ms, then the best. The load goes on meanwhile, so the lag starts from below: every level of
    the rise comes 150 ms + lag ln(1 + load/rise (1 - exp(-150 ms/lag))) later [by hand]."""
    found = feel(np.where(TIMES < 0.15, 0.3, 1.08))
    by_hand_ms = 150.0 + 100.0 * np.log(1.0 + 38.0 / 60.0 * (1.0 - np.exp(-1.5)))
    assert found["delay_ms"] == pytest.approx(by_hand_ms, abs=4.0) == found["lean_delay_ms"]
    assert found["pop_back_cycles"] == pytest.approx(0.15 * 1500.0 / 120.0, abs=0.06)
    assert found["lean_sag_percent"] < 0.5


def test_a_shot_that_runs_out_is_a_lean_sag_with_its_time() -> None:
    """From the best to phi 0.7 at 0.8 s: by the lag's closed form the pull falls by most of what 0.7 costs."""
    found = feel(np.where(TIMES < 0.8, 1.08, 0.7))
    full = (98e3 - 38e3) / 1.0
    cost = 100.0 * 98e3 * (1.0 - 0.7486) / full
    assert found["lean_sag_percent"] == pytest.approx(cost * (1.0 - np.exp(-1.2 / 0.1)), rel=0.02)
    assert found["lean_sag_at_ms"] > 1500.0 and found["rich_sag_percent"] < 0.1 and found["delay_ms"] < 1.0


def test_too_much_after_a_clean_launch_is_a_rich_sag_in_smoke() -> None:
    found = feel(np.where((TIMES > 0.4) & (TIMES < 0.9), 2.0, 1.08))
    assert found["rich_sag_percent"] > 10.0 and 600.0 < found["rich_sag_at_ms"] < 920.0
    assert found["lean_sag_percent"] < 0.1
    assert found["smoke_ms"] == pytest.approx(2.0 * 500.0, rel=0.05)


def test_a_pair_of_barrels_answers_for_its_own_share() -> None:
    whole, half = feel(np.where(TIMES < 0.8, 1.08, 0.7)), feel(np.where(TIMES < 0.8, 1.08, 0.7), 0.5 * EVERYWHERE)
    assert half["lean_sag_percent"] == pytest.approx(0.5 * whole["lean_sag_percent"], rel=2e-3)
    closed = feel(np.full_like(TIMES, 0.3), 0.0 * EVERYWHERE)
    assert all(value == pytest.approx(0.0, abs=1e-9) for name, value in closed.items() if not name.endswith("at_ms"))


@given(st.floats(0.05, 0.6), st.floats(0.3, 2.5), st.floats(0.0, 1.0))
def test_a_thousandth_of_the_mixture_moves_no_figure_by_a_step(lean_until: float, phi: float, size: float) -> None:
    base = np.where(lean_until > TIMES, phi, 1.0 + 0.3 * size)
    one, other = feel(base), feel(base * 1.001)
    for name in ("delay_ms", "smoke_ms"):
        assert abs(one[name] - other[name]) < 12.0
    for name in ("lean_sag_percent", "rich_sag_percent"):
        assert abs(one[name] - other[name]) < 1.0
