"""What is felt of a mixture: the work per air against a chemistry library, the lag against its closed form, each figure
against what can be worked out by hand."""

from dataclasses import fields

import cantera as ct
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from configurator.arrays import Array, Mask
from configurator.physics.pull import FUEL_AIR_CYCLE, FeltPulls, Pulling, lagged, relative_work
from configurator.physics.tip_in import CircuitEvent, Fuel

TIMES = np.concatenate([np.arange(0.0, 0.3, 0.004), np.arange(0.3, 2.0, 0.016)])
FULL = np.where(TIMES > 0.0, 98e3, 38e3)
"""A manifold that fills at once."""
EVERYWHERE = np.ones_like(TIMES)
SPEED = np.full_like(TIMES, 1500.0)


# --- work per air -----------------------------------------------------------------------------------------------------


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


# --- what is felt -----------------------------------------------------------------------------------------------------


def test_the_lag_against_its_closed_form() -> None:
    """A step from rest: 1 - exp(-t/lag); a ramp a t: a (t - lag (1 - exp(-t/lag)))."""
    lag, time = 0.1, TIMES
    step = lagged(time, np.ones((len(time), 1)), lag)[:, 0]
    ramp = lagged(time, 3.0 * time[:, None], lag)[:, 0]
    np.testing.assert_allclose(step, 1.0 - np.exp(-time / lag), atol=1e-12)
    np.testing.assert_allclose(ramp, 3.0 * (time - lag * (1.0 - np.exp(-time / lag))), atol=1e-12)


def event_of(share: Array = EVERYWHERE, pressure_pa: Array = FULL, judged: Mask | None = None) -> CircuitEvent:
    """An event with this air and nothing else that a pull hangs on."""
    one, everywhere = EVERYWHERE, np.ones_like(TIMES, dtype=bool)
    return CircuitEvent(
        time_s=TIMES, throttle_deg=one, air_kg=one, air_share=share, drawn_per_s=one, pressure_pa=pressure_pa,
        speed_rpm=SPEED, idle_kg_s=one, common_idle_kg_s=one, mains=(), film_share=one, film_tau_s=one,
        film_start_kg=0.0, gas_start_kg=0.0, judged=everywhere if judged is None else judged,
        fuel=Fuel(740.0, 0.45e-3, 14.6),
    )  # fmt: skip


def felt_of(event: CircuitEvent, phi: Array, step: int = 1) -> FeltPulls:
    """What is felt of mixtures, (times, n), whatever they are made of."""
    nothing = np.zeros((len(TIMES[::step]), 1), dtype=np.float32)
    return Pulling(event, step).felt(nothing, nothing, np.zeros(1), phi[::step].astype(np.float32))


def feel(phi: Array, share: Array = EVERYWHERE) -> dict[str, float]:
    return {name: float(value[0]) for name, value in vars(felt_of(event_of(share), phi[:, None])).items()}


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


@pytest.mark.parametrize(("phi", "side", "other"), [(0.99, "lean", "rich"), (1.15, "rich", "lean")])
def test_beside_the_best_a_fall_has_one_side(phi: float, side: str, other: str) -> None:
    """Below 1.00 all of it is for want of fuel, above 1.10 for too much: what the table says it costs, of the best."""
    found = feel(np.where(TIMES < 0.8, 1.08, phi))
    cost = float((relative_work(np.array(1.08)) - relative_work(np.array(phi))) * 98.0 / 60.0 * 100.0)
    assert found[f"{side}_sag_percent"] > 0.85 * cost > 0.35
    assert found[f"{other}_sag_percent"] < 0.03


def test_a_pair_of_barrels_answers_for_its_own_share() -> None:
    whole, half = feel(np.where(TIMES < 0.8, 1.08, 0.7)), feel(np.where(TIMES < 0.8, 1.08, 0.7), 0.5 * EVERYWHERE)
    assert half["lean_sag_percent"] == pytest.approx(0.5 * whole["lean_sag_percent"], rel=2e-3)
    closed = event_of(0.0 * EVERYWHERE, judged=np.zeros_like(TIMES, dtype=bool))
    found = felt_of(closed, np.full((len(TIMES), 1), 0.3))
    assert all(float(value[0]) == pytest.approx(0.0, abs=1e-4) for value in vars(found).values())


def test_smoke_and_pop_back_count_only_where_the_mixture_is_judged() -> None:
    """By hand: phi 2 counts twice, here over half of the times; nothing that burns slowly counts before."""
    late = event_of(judged=TIMES >= 1.0)
    rich, poor = (felt_of(late, np.full((len(TIMES), 1), phi)) for phi in (2.0, 0.6))
    assert rich.smoke_ms[0] == pytest.approx(2.0 * (TIMES[-1] - 1.0) * 1e3, abs=40.0)
    assert poor.pop_back_cycles[0] == pytest.approx((TIMES[-1] - 1.0) * 1500.0 / 120.0, abs=0.3)


def test_what_the_air_itself_does_is_no_sag() -> None:
    """The manifold empties again, as when the engine outruns its carburettor: at the best mixture nothing is felt."""
    falling = np.where(TIMES < 0.5, FULL, 98e3 - 20e3 * (TIMES - 0.5))
    found = felt_of(event_of(pressure_pa=falling), np.full((len(TIMES), 1), 1.1))
    assert max(found.lean_sag_percent[0], found.rich_sag_percent[0], abs(found.delay_ms[0])) < 0.05


def plainly(event: CircuitEvent, phi: Array, lag_s: float = 0.1) -> dict[str, float]:
    """What is felt of one mixture, (times,), once more: in double precision, nothing looked up in a table."""
    time_s, share = event.time_s, event.air_share

    def ramp(at: Array, nothing: float, whole: float) -> Array:
        part = np.clip((at - nothing) / (whole - nothing), 0.0, 1.0)
        return np.asarray(part**2 * (3.0 - 2.0 * part))

    def behind(values: Array) -> Array:
        return np.asarray(lagged(time_s, values[:, None], lag_s)[:, 0])

    best = behind(event.pressure_pa - event.pressure_pa[0])
    lost = event.pressure_pa * share * (1.0 - relative_work(phi))
    missing, lean = behind(lost), behind(lost * ramp(phi, 1.10, 1.00))
    pull, best, part = (best - missing) / best.max(), best / best.max(), lean / np.maximum(missing, 1e-3)
    highest, best_highest = np.maximum.accumulate(np.maximum(pull, 0.0)), np.maximum.accumulate(best)
    late = (np.clip(best_highest, 0.50, 0.85) - np.clip(highest, 0.50, 0.85)) / 0.35
    fall = np.where(time_s >= 0.2, np.maximum((highest - pull) - (best_highest - best), 0.0), 0.0)
    smoke, pops = np.clip((phi - 1.2) / 0.3, 0.0, 2.0), ramp(phi, 0.70, 0.65)
    return {
        "delay_ms": 1e3 * float(np.trapezoid(late, time_s)),
        "lean_delay_ms": 1e3 * float(np.trapezoid(late * part, time_s)),
        "lean_sag_percent": 100.0 * float((fall * part).max()), "lean_sag_at_ms": 1e3 * time_s[(fall * part).argmax()],
        "rich_sag_percent": 100.0 * float((fall * (1.0 - part)).max()),
        "rich_sag_at_ms": 1e3 * time_s[(fall * (1.0 - part)).argmax()],
        "smoke_ms": 1e3 * float(np.trapezoid(smoke, time_s)),
        "pop_back_cycles": float(np.trapezoid(pops * event.speed_rpm / 120.0, time_s)),
    }  # fmt: skip


CLOSE = {"delay_ms": 1.0, "lean_delay_ms": 1.0, "lean_sag_percent": 0.1, "rich_sag_percent": 0.1, "smoke_ms": 0.2,
         "pop_back_cycles": 0.05}  # fmt: skip
"""How far single precision and a table of the work may be from a plain evaluation."""


def wandering(seed: int, count: int) -> Array:
    """Mixtures that wander between far too lean and far too rich, (times, count)."""
    chance = np.random.default_rng(seed)
    knots = np.sort(chance.uniform(0.0, TIMES[-1], (count, 6)), axis=1)
    values = chance.choice([0.4, 0.66, 0.9, 1.02, 1.08, 1.3, 1.6, 2.2], (count, 6)) * chance.uniform(
        0.95, 1.05, (count, 6)
    )
    return np.column_stack([np.interp(TIMES, *one) for one in zip(knots, values, strict=True)])


@pytest.mark.parametrize("seed", range(4))
def test_single_precision_and_a_table_are_enough(seed: int) -> None:
    """The kernel, all mixtures at once, against each by itself in double precision."""
    chance, phi = np.random.default_rng(seed), wandering(seed, 60)
    share = np.clip(TIMES / chance.uniform(0.01, 0.3), 0.0, chance.uniform(0.4, 1.0))
    pressure = 98e3 - 60e3 * np.exp(-TIMES / chance.uniform(0.02, 0.2)) - 5e3 * TIMES
    event = event_of(share, pressure)
    found = felt_of(event, phi)
    expected = [plainly(event, one) for one in phi.T]
    for name, most in CLOSE.items():
        np.testing.assert_allclose(
            getattr(found, name), [one[name] for one in expected], rtol=1e-3, atol=most, err_msg=name
        )
    off = np.abs(found.delay_ms - np.array([one["delay_ms"] for one in expected]))
    assert np.median(off) < 0.03
    for side in ("lean", "rich"):
        deep = getattr(found, f"{side}_sag_percent") > 1.0
        name = f"{side}_sag_at_ms"
        when = np.array([one[name] for one in expected])
        assert deep.sum() >= 10 and np.mean(np.abs(getattr(found, name) - when)[deep] <= 16.0) > 0.95


def test_what_is_not_asked_for_is_not_counted_and_nothing_else_moves() -> None:
    phi, nothing = wandering(3, 40).astype(np.float32), np.zeros((len(TIMES), 1), dtype=np.float32)
    whole, quick = (Pulling(event_of()).felt(nothing, nothing, np.zeros(1), phi, pops=pops) for pops in (True, False))
    for name in (item.name for item in fields(FeltPulls)):
        if name.endswith("at_ms") or name == "pop_back_cycles":
            assert not getattr(quick, name).any() and getattr(whole, name).any()
        else:
            np.testing.assert_array_equal(getattr(quick, name), getattr(whole, name))


def test_mixtures_are_taken_in_any_shape() -> None:
    """Shots along one axis, engines along another: as each by itself; and made of its three parts."""
    chance, shape = np.random.default_rng(5), (len(TIMES), 3, 1)
    filmed, sooner = (0.3 * chance.random(shape).cumsum(axis=0) / len(TIMES) for _ in range(2))
    missed, base = chance.uniform(0.05, 0.3, 4), wandering(5, 4)
    pulling = Pulling(event_of())
    together = pulling.felt(filmed.astype(np.float32), sooner.astype(np.float32), missed, base.astype(np.float32))
    for shot in range(3):
        for engine in range(4):
            phi = base[:, engine] + filmed[:, shot, 0] + missed[engine] * sooner[:, shot, 0]
            alone = feel(phi)
            for name, most in CLOSE.items():
                assert getattr(together, name)[shot, engine] == pytest.approx(alone[name], rel=1e-3, abs=most), name


def test_the_pull_that_is_drawn_is_the_one_that_is_felt() -> None:
    """Its delay, read off the drawn pulls; the best is 1 at its most."""
    event, phi = event_of(), wandering(6, 30)
    pulling = Pulling(event)
    given_pull, best = pulling.given(phi), pulling.best
    assert best.max() == pytest.approx(1.0)
    highest = np.maximum.accumulate(np.maximum(given_pull, 0.0), axis=0)
    rise = [np.clip(high, 0.50, 0.85) / 0.35 for high in (np.maximum.accumulate(best)[:, None], highest)]
    delay_ms = 1e3 * np.trapezoid(rise[0] - rise[1], TIMES, axis=0)
    np.testing.assert_allclose(felt_of(event, phi).delay_ms, delay_ms, rtol=1e-3, atol=0.5)


@given(st.floats(0.05, 0.6), st.floats(0.3, 2.5), st.floats(0.0, 1.0))
@settings(max_examples=30, deadline=None)
def test_a_thousandth_of_the_mixture_moves_no_figure_by_a_step(lean_until: float, phi: float, size: float) -> None:
    base = np.where(lean_until > TIMES, phi, 1.0 + 0.3 * size)
    found = felt_of(event_of(), base[:, None] * np.array([1.0, 1.001]))
    for name in ("delay_ms", "smoke_ms"):
        assert abs(np.diff(getattr(found, name))[0]) < 12.0
    for name in ("lean_sag_percent", "rich_sag_percent"):
        assert abs(np.diff(getattr(found, name))[0]) < 1.0
