"""The verdict: mixtures in closed form, and every engine's region against each engine by itself."""

from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_equations import ASSUMED, PETROL, Made, rounded_shots

from configurator.arrays import Array, Indices, Mask
from configurator.physics import verdict
from configurator.physics.lateness import FIRST_FUEL, LATENESS_RANGE, MAIN_CIRCUIT, POINTS, Lateness
from configurator.physics.mixture import Responses, Supply, taken
from configurator.physics.pull import FeltPulls, Pulling
from configurator.physics.tip_in import CircuitEvent, event_times
from configurator.physics.verdict import ADDED, Allowed, Complaints, Verdict

ALLOWED = Allowed(delay_ms=50.0, sag_percent=6.0, smoke_ms=200.0)
STRAIGHT, AIMED = 1.0 - ASSUMED.shot_film_share, 1.0 - ASSUMED.shot_film_share + ASSUMED.aimed_gain
SHOTS = 80
CIRCUITS = [(seed, name) for seed in range(6) for name in (("front", "rear") if seed % 2 else ("front",))]
each_circuit = pytest.mark.parametrize(("seed", "name"), CIRCUITS)
few_circuits = pytest.mark.parametrize(("seed", "name"), [(0, "front"), (1, "front"), (1, "rear")])


# --- mixtures in closed form ------------------------------------------------------------------------------------------

DRAWN_PER_S = 10.0


def drained(start_share: float) -> CircuitEvent:
    """Constant air of 0.05 kg/s and idle fuel, film away from its equilibrium at first: phi is two exponentials.

    X 0.4, tau 0.5 s, settled phi 1, gas drawn at k: 1 - phi closes on X (1 - start_share) exp(-t/tau) at k.
    """
    time_s = event_times()
    one = np.ones_like(time_s)
    fuel = 0.05 / PETROL.stoichiometric_ratio
    return CircuitEvent(
        time_s=time_s, throttle_deg=80.0 * one, air_kg=0.05 / DRAWN_PER_S * one, air_share=one,
        drawn_per_s=DRAWN_PER_S * one, pressure_pa=9e4 * one, speed_rpm=1e3 * one, idle_kg_s=fuel * one,
        common_idle_kg_s=fuel * one, mains=(), film_share=0.4 * one, film_tau_s=0.5 * one,
        film_start_kg=start_share * 0.4 * 0.5 * fuel, gas_start_kg=(0.6 + 0.4 * start_share) * fuel / DRAWN_PER_S,
        judged=one > 0.0, fuel=PETROL,
    )  # fmt: skip


def two_exponentials(time_s: Any, tau_s: float) -> Any:
    """What closes at k on exp(-t/tau), from 1: (k tau exp(-t/tau) - exp(-k t))/(k tau - 1)."""
    fast = DRAWN_PER_S * tau_s
    return (fast * np.exp(-time_s / tau_s) - np.exp(-DRAWN_PER_S * time_s)) / (fast - 1.0)


def test_a_drained_film_in_closed_form() -> None:
    """However late a main circuit that there is not."""
    event = drained(0.0)
    found = event.base_phi(np.array([0.5, 2.0]))
    np.testing.assert_allclose(found, 1.0 - 0.4 * two_exponentials(event.time_s, 0.5)[:, None] * np.ones(2), rtol=1e-4)


@pytest.mark.parametrize("first_fuel", [0.5, 1.0, 2.2])
def test_an_even_shot_in_closed_form(first_fuel: float) -> None:
    """q from the start on: q (1 - Xs exp(-t/tau)) comes into the gas, and the mixture closes on that at k; of what
    misses the walls as modelled, 15 %, one over e does."""
    event, lands = drained(1.0), 1.0 - 0.15 / first_fuel
    supply = Supply(event)
    shot = supply.responses(np.full((len(event.time_s) - 1, 1), 1e-3))
    phi = shot.phi(supply.base(1.0), np.array([0.15 / first_fuel]))[:, 0]
    empties = np.exp(-DRAWN_PER_S * event.time_s)
    added = 1.0 - empties - lands * (two_exponentials(event.time_s, 0.5) - empties)
    np.testing.assert_allclose(phi, 1.0 + added * 1e-3 * 14.6 / 0.05, rtol=1e-5)


# --- mixtures of random engines ---------------------------------------------------------------------------------------


@cache
def judged(seed: int, name: str) -> tuple[Verdict, Responses, Array]:
    """A random engine's circuit with shots from far too small to far too large, [kg/s], half of them aimed."""
    made, chance = Made.by_chance(seed), np.random.default_rng([seed, len(name)])
    circuits = made.tip_in.circuits
    litres = made.displacement_m3 * 1e3 / len(circuits)
    volumes = litres * np.exp(chance.uniform(np.log(0.05), np.log(1.5), SHOTS))
    sizes = np.column_stack([volumes, chance.uniform(0.03, 0.2, SHOTS), chance.uniform(0.08, 0.8, SHOTS)])
    flow = rounded_shots(circuits[name].time_s, [(v, peak, decay) for v, peak, decay in sizes.tolist()])
    own = Verdict(circuits[name], ALLOWED, (STRAIGHT, AIMED))
    return own, own.supply.responses(flow.astype(np.float32)), np.where(np.arange(SHOTS) % 2, STRAIGHT, AIMED)


@given(st.floats(0.1, 5.0), st.floats(0.03, 0.2), st.floats(0.1, 0.8), st.integers(0, 7))
@settings(max_examples=12, deadline=None)
def test_shots_superpose(volume_cc: float, peak_s: float, decay_s: float, seed: int) -> None:
    event = Made.by_chance(seed).tip_in.circuits["front"]
    supply, sizes = Supply(event), [(volume_cc, peak_s, decay_s), (1.0, 0.1, 0.2)]
    flows = rounded_shots(event.time_s, sizes)
    apart, both = (supply.responses(flow) for flow in (flows, flows.sum(axis=1, keepdims=True)))
    for part in ("filmed", "sooner"):
        np.testing.assert_allclose(getattr(apart, part).sum(axis=1), getattr(both, part)[:, 0], atol=1e-9)


@each_circuit
def test_bases_are_the_base_of_each(seed: int, name: str) -> None:
    own, *_ = judged(seed, name)
    for place in (0, 7, 32):
        late = float(np.geomspace(*LATENESS_RANGE, POINTS)[place])
        np.testing.assert_allclose(own.supply.bases[:, place], own.supply.base(late), rtol=1e-12)


def test_shots_that_several_share_are_picked_by_their_column() -> None:
    own, shots, _ = judged(1, "rear")
    column, missed = np.array([3, 3, 0]), np.array([0.10, 0.14, 0.14])
    phi = taken(shots, column).phi(own.supply.base(1.0), missed)
    for place, (which, share) in enumerate(zip(column, missed, strict=True)):
        alone = taken(shots, np.array([which])).phi(own.supply.base(1.0), np.array([share]))
        np.testing.assert_array_equal(phi[:, place], alone[:, 0])


# --- every engine's region --------------------------------------------------------------------------------------------


@cache
def found(seed: int, name: str) -> Complaints:
    own, shots, missed = judged(seed, name)
    return own.felt_by(shots, np.arange(SHOTS), missed)


@cache
def some_engines(seed: int, name: str) -> tuple[Indices, FeltPulls]:
    """Places of some engines of the grid, and what is felt in each at every time of the event, (shots, engines)."""
    own, shots, missed = judged(seed, name)
    points = np.random.default_rng(seed).permutation(POINTS * POINTS)[:30]
    base = own.event.base_phi(MAIN_CIRCUIT[points]).astype(np.float32)[:, None]
    share = missed[:, None] / FIRST_FUEL[points]
    return points, Pulling(own.event).felt(shots.filmed[:, :, None], shots.sooner[:, :, None], share, base)


def within(felt: FeltPulls) -> dict[str, Mask]:
    """Which stay within what is allowed, by what a region is made of; nothing of logarithms."""
    rich = (felt.rich_sag_percent <= 6.0) & (felt.smoke_ms <= 200.0) & (felt.delay_ms - felt.lean_delay_ms <= 50.0)
    return {"hesitates": felt.lean_delay_ms <= 50.0, "flat": felt.lean_sag_percent <= 6.0, "rich": rich,
            "late": felt.delay_ms <= 50.0}  # fmt: skip


@each_circuit
def test_one_engine_of_several_is_as_by_itself(seed: int, name: str) -> None:
    own, shots, missed = judged(seed, name)
    points, together = some_engines(seed, name)
    for column in (0, 17):
        engine = Lateness(float(FIRST_FUEL[points[column]]), float(MAIN_CIRCUIT[points[column]]))
        alone = own.felt_in(shots, missed, engine)
        for figure, value in vars(alone).items():
            if not figure.endswith("at_ms"):
                np.testing.assert_allclose(getattr(together, figure)[:, column], value, rtol=2e-3, atol=0.2)


def test_few_of_all_cells_lie_on_the_wrong_side() -> None:
    """Nodes, cubics between them and every second time, against each engine worked out at every time."""
    wrong: dict[str, list[float]] = {}
    for circuit in CIRCUITS:
        region, (points, felt) = found(*circuit), some_engines(*circuit)
        exact = within(felt)
        exact["covers"] = exact["late"] & exact["flat"] & exact["rich"]
        for name, expected in exact.items():
            ours = region.covers if name == "covers" else getattr(region, name) <= 0.0
            wrong.setdefault(name, []).append(float(np.mean(ours[:, points] != expected)))
    assert 0.05 < np.mean([found(*circuit).covers.mean() for circuit in CIRCUITS]) < 0.5
    for name, shares in wrong.items():
        assert np.mean(shares) < 0.005 and max(shares) < 0.02, (name, shares)


def test_logarithms_tell_how_far_beyond_it_lies() -> None:
    """ln((felt + a)/(allowed + a)), to a few per cent where it is felt or nearly so."""
    figures = {
        "hesitates": [("lean_delay_ms", 50.0)], "late": [("delay_ms", 50.0)], "flat": [("lean_sag_percent", 6.0)],
        "rich": [("rich_delay_ms", 50.0), ("rich_sag_percent", 6.0), ("smoke_ms", 200.0)],
    }  # fmt: skip
    for name, measured in figures.items():
        off: list[Array] = []
        for circuit in CIRCUITS:
            points, felt = some_engines(*circuit)
            far = [np.log((getattr(felt, one) + ADDED[one]) / (most + ADDED[one])) for one, most in measured]
            beyond = np.max(far, axis=0)
            off.append(np.abs(getattr(found(*circuit), name)[:, points] - beyond)[beyond > -0.5])
        each = np.concatenate(off)
        assert len(each) > 1000 and np.median(each) < 0.005 and np.quantile(each, 0.95) < 0.1, name


@few_circuits
def test_a_region_does_not_hang_on_which_others_are_looked_at(seed: int, name: str) -> None:
    """Aimed nozzles by themselves, or one straight one: as among all."""
    own, shots, missed = judged(seed, name)
    for some in (np.flatnonzero(missed == AIMED), np.array([1])):
        alone = own.felt_by(taken(shots, some), np.arange(len(some)), missed[some])
        for one in vars(alone):
            np.testing.assert_allclose(getattr(alone, one), getattr(found(seed, name), one)[some], atol=1e-4)


@few_circuits
def test_blocks_do_not_show(monkeypatch: pytest.MonkeyPatch, seed: int, name: str) -> None:
    """How many are followed at once is no matter; nor in which order, nor that several share a shot."""
    own, shots, missed = judged(seed, name)
    whole = found(seed, name)
    monkeypatch.setattr(verdict, "CELLS", 300)
    column = np.random.default_rng(seed).permutation(SHOTS)[:41]
    column[:5] = column[5]
    pieces = own.felt_by(shots, column, missed[column])
    for one in vars(whole):
        np.testing.assert_allclose(getattr(pieces, one), getattr(whole, one)[column], atol=1e-4)


@few_circuits
def test_allowing_more_never_narrows_a_region(seed: int, name: str) -> None:
    own, shots, missed = judged(seed, name)
    for looser in (Allowed(60.0, 6.0, 200.0), Allowed(50.0, 8.0, 200.0), Allowed(50.0, 6.0, 300.0)):
        loose = Verdict(own.event, looser, own.missed).felt_by(shots, np.arange(SHOTS), missed).covers
        assert not np.any(found(seed, name).covers & ~loose)


def test_a_delay_is_late_for_want_of_fuel_or_drowned_in_it() -> None:
    """Never later for want of fuel than it is late at all; too much fuel shows where too little does not."""
    regions = [found(*circuit) for circuit in CIRCUITS]
    assert all(np.mean(one.hesitates <= one.late + 1e-2) > 0.99 for one in regions)
    assert any(np.any((one.late > 0.0) & (one.hesitates <= 0.0) & (one.rich > 0.0)) for one in regions)


def test_a_region_holds_what_is_within_every_limit() -> None:
    inside = np.array([[-0.1, -0.1, -0.1, -0.1, 0.0]])
    outside = inside + np.eye(4, 5, dtype=float) * 0.2
    felt = Complaints(inside, outside[:1], outside[1:2], outside[2:3])
    np.testing.assert_array_equal(felt.covers, [[False, False, False, True, True]])
    # A hesitation alone is late, too: it is covered by that
    np.testing.assert_array_equal(Complaints(outside[:1], inside, inside, inside).covers, np.ones((1, 5), dtype=bool))


def test_two_circuits_are_felt_as_the_worse_of_each() -> None:
    one, other = (Complaints(*np.random.default_rng(seed).normal(size=(4, 3, 7))) for seed in (1, 2))
    worst = one.worst_with(other)
    np.testing.assert_array_equal(worst.covers, one.covers & other.covers)
    np.testing.assert_array_equal(worst.flat, np.maximum(one.flat, other.flat))
    np.testing.assert_array_equal(worst.take(np.array([2, 0])).rich, worst.rich[[2, 0]])


@each_circuit
def test_a_delay_alone_is_that_of_all_that_is_felt(seed: int, name: str) -> None:
    own, shots, missed = judged(seed, name)
    for engine in (Lateness(), Lateness(0.6, 1.9)):
        whole = own.felt_in(shots, missed, engine).delay_ms
        np.testing.assert_allclose(own.delay_ms(shots, missed, engine), whole, atol=0.1, rtol=1e-3)
        assert name == "rear" or np.ptp(whole) > 50.0


# --- what the two unknowns do -----------------------------------------------------------------------------------------


def test_later_fuel_hesitates_more_and_is_less_too_much() -> None:
    """In all cells where it moves by more than a hair, but for few; along either unknown."""
    shape = (SHOTS, POINTS, POINTS)
    for axis in (1, 2):
        moves: dict[str, list[Mask]] = {"hesitates": [], "rich": []}
        for circuit in CIRCUITS:
            for name, grows in moves.items():
                step = np.diff(getattr(found(*circuit), name).reshape(shape), axis=axis)
                grows.append(step[np.abs(step) > 1e-3] > 0.0)
        share = {name: float(np.concatenate(grows).mean()) for name, grows in moves.items()}
        assert share["hesitates"] > 0.97 and share["rich"] < 0.25, (axis, share)


def test_without_a_shot_no_engine_is_covered() -> None:
    own, *_ = judged(1, "rear")
    nothing = own.supply.responses(np.zeros((len(own.event.time_s) - 1, 1)))
    assert not own.felt_by(nothing, np.zeros(1, dtype=np.intp), np.array([STRAIGHT])).covers.any()
