"""A whole tip-in: throttles in series with the venturi, the link between the pairs, and who answers for which air."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from configurator.arrays import Array
from configurator.physics.air import Driveline, Engine
from configurator.physics.assumptions import UNREAD_BY_TIP_IN, Assumptions
from configurator.physics.atmosphere import standard_atmosphere
from configurator.physics.lateness import Lateness
from configurator.physics.throttle import air_flow, butterfly_open_share
from configurator.physics.tip_in import (
    JUDGED_FROM_AIR_SHARE,
    LEAST_AIR_SHARE,
    Fuel,
    Opening,
    Throttles,
    TipIn,
    simulate,
)
from configurator.physics.verdict import Allowed, Verdict

SEA = standard_atmosphere(0.0)
PETROL = Fuel(740.0, 0.45e-3, 14.6)
LARGE = Engine(5.7e-3, 0.82, 4.6e-3, 0.94e6)
AREA_M2 = 16e-4


def tip_in(
    *,
    rear_m2: float = AREA_M2,
    opens_to: float = 1.0,
    jetted_for: float = SEA.density_kg_m3,
    rear_circuit: bool = False,
    rear_opens_at_deg: float = 25.0,
    assumed: dict[str, float] | None = None,
) -> TipIn:
    return simulate(
        LARGE, Driveline(2.1), Throttles(AREA_M2, rear_m2, rear_opens_at_deg, jetted_for),
        Opening(38e3, 800.0, 1.1, opens_to, 0.15), SEA, PETROL, Assumptions(**(assumed or {})), 0.25,
        rear_circuit,
    )  # fmt: skip


def in_series(angle_deg: Array, over_barrel: float) -> Array:
    """Effective area of a barrel over that wide open: pressures lost in plate and venturi, one after the other, add up.

    Both losses go with the square of flow over area; the venturi's is what the plate's leaves of the whole wide open.
    """
    assumed = Assumptions()
    share = butterfly_open_share(angle_deg, assumed.closed_angle_deg, assumed.shaft_to_bore)
    wide_open = butterfly_open_share(np.array([90.0]), assumed.closed_angle_deg, assumed.shaft_to_bore)
    lost_in_venturi = 1.0 - over_barrel**-2
    lost_in_plate = (over_barrel * share / wide_open) ** -2
    return np.asarray((lost_in_venturi + lost_in_plate) ** -0.5)


@pytest.mark.parametrize("over_barrel", [1.2, 1.5, 2.0])
def test_air_passes_plate_and_venturi_in_series(over_barrel: float) -> None:
    tip = tip_in(rear_m2=0.0, assumed={"plate_over_barrel": over_barrel})
    area = AREA_M2 * in_series(tip.throttle_deg, over_barrel)
    for index in (0, 10, 30, 50, 74, 100, 300):
        flow = air_flow(float(area[index]), SEA, float(tip.air.pressure_pa[index]))
        assert tip.air.throttle_kg_s[index] == pytest.approx(flow, rel=1e-9)
    # Wide open it is the rated area, whatever the plate's
    assert area[-1] == pytest.approx(AREA_M2, rel=1e-12)


def test_a_half_open_plate_passes_more_than_half_of_what_the_barrel_passes() -> None:
    """By hand: half of 1.5 barrels is 0.75; with the venturi in series, 1/(5/9 + 16/9)^0.5 = 0.65465."""
    angle = np.linspace(0.0, 82.0, 20_001)
    wide_open = butterfly_open_share(np.array([90.0]), 8.0, 0.15)
    half_deg = np.interp(0.5, butterfly_open_share(angle, 8.0, 0.15) / wide_open, angle)
    tip = tip_in(rear_m2=0.0, opens_to=float(half_deg) / 82.0)
    flow = air_flow(AREA_M2, SEA, float(tip.air.pressure_pa[-1]))
    assert tip.air.throttle_kg_s[-1] / flow == pytest.approx(0.65465, abs=2e-5)


@given(st.floats(1.2, 2.0), st.floats(0.2, 1.0))
@settings(max_examples=15, deadline=None)
def test_it_starts_at_rest_and_opens_steadily(over_barrel: float, opens_to: float) -> None:
    tip = tip_in(opens_to=opens_to, assumed={"plate_over_barrel": over_barrel})
    assert tip.air.throttle_kg_s[0] == pytest.approx(tip.air.cylinder_kg_s[0], rel=1e-3)
    assert np.all(np.diff(tip.throttle_deg) >= 0.0)
    assert tip.throttle_deg[-1] == pytest.approx(82.0 * opens_to, rel=1e-12)


def test_the_rear_pair_starts_late_and_both_are_open_together() -> None:
    pairs = tip_in(rear_circuit=True).circuits
    front, rear = pairs["front"].throttle_deg, pairs["rear"].throttle_deg
    assert np.all(rear[front <= 25.0] == 0.0) and np.all(rear[front > 25.0] > 0.0)
    np.testing.assert_allclose(rear, np.clip((front - 25.0) / 57.0, 0.0, 1.0) * 82.0, rtol=1e-12)
    assert front[-1] == rear[-1] == pytest.approx(82.0)


def test_a_pair_answers_for_its_mixture_from_half_of_its_air() -> None:
    pairs = tip_in(rear_circuit=True).circuits
    for event in pairs.values():
        share = event.air_share / event.air_share[-1]
        np.testing.assert_array_equal(event.judged, share >= JUDGED_FROM_AIR_SHARE)
    assert pairs["front"].judged.all() and not pairs["rear"].judged[0] and pairs["rear"].judged[-1]


# --- a rear pair that stays shut --------------------------------------------------------------------------------------


def test_a_rear_pair_that_never_opens_is_not_judged() -> None:
    """A quarter of the travel is 20.5 degrees, and the rear pair starts at 25: no air, so nothing is felt of it."""
    pairs = tip_in(opens_to=0.25, rear_circuit=True).circuits
    rear = pairs["rear"]
    assert rear.throttle_deg.max() == 0.0 and rear.air_share.max() <= LEAST_AIR_SHARE
    assert not rear.judged.any() and pairs["front"].judged.all()
    verdict = Verdict(rear, Allowed(50.0, 6.0, 200.0), (0.12, 0.12))
    flow = np.tile([0.0, 5e-3], (len(rear.time_s) - 1, 1))
    shots, missed = verdict.supply.responses(flow), np.full(2, 0.12)
    felt = verdict.felt_in(shots, missed, Lateness(2.0, 2.0))
    assert max(float(np.abs(value).max()) for name, value in vars(felt).items() if not name.endswith("at_ms")) < 1e-2
    assert verdict.felt_by(shots, np.arange(2), missed).covers.all()


def test_opened_a_little_further_the_rear_pair_is_judged() -> None:
    assert tip_in(opens_to=0.5, rear_circuit=True).circuits["rear"].judged.any()


# --- what is handed on ------------------------------------------------------------------------------------------------


def test_jets_for_denser_air_give_more_main_fuel_at_the_same_depression() -> None:
    here, there = (tip_in(jetted_for=SEA.density_kg_m3 * by).circuits["front"].mains for by in (1.0, 1.44))
    one = np.ones(1)
    for as_jetted, rich in zip(here, there, strict=True):
        np.testing.assert_allclose(rich.steady(one), 1.2 * as_jetted.steady(one), rtol=1e-12)
        np.testing.assert_array_equal(rich.signal_pa, as_jetted.signal_pa)


def test_the_main_flow_is_drawn_and_measured_by_the_air_through_the_carburettor() -> None:
    """The spike that fills the manifold included: each pair by the area that passes its share."""
    tip = tip_in(rear_circuit=True)
    assumed, leanest = Assumptions(), PETROL.stoichiometric_ratio / 1.15
    own_area = {
        name: AREA_M2 * in_series(event.throttle_deg, assumed.plate_over_barrel) for name, event in tip.circuits.items()
    }
    for name, event in tip.circuits.items():
        main = event.mains[0]
        through = tip.air.throttle_kg_s * own_area[name] / sum(own_area.values())
        signal = assumed.booster_gain * (through / AREA_M2) ** 2 / (2.0 * SEA.density_kg_m3)
        np.testing.assert_allclose(main.signal_pa, signal, rtol=1e-9, atol=1e-12)
        metered, settled = through / leanest, main.steady(np.ones(1))[:, 0]
        assert np.all(settled <= metered) and np.all(settled[-100:] > 0.95 * metered[-100:])
    spike = tip.air.throttle_kg_s > 1.5 * tip.air.cylinder_kg_s
    front = tip.circuits["front"].mains[0].steady(np.ones(1))[:, 0]
    assert np.any(front[spike] > 1.2 * tip.air.cylinder_kg_s[spike] / leanest)


def test_what_is_called_unread_is_not_read() -> None:
    read: set[str] = set()

    class Watched(Assumptions):
        def __getattribute__(self, name: str) -> Any:
            read.add(name)
            return super().__getattribute__(name)

    arguments = (
        LARGE, Driveline(2.1), Throttles(AREA_M2, AREA_M2, 25.0, SEA.density_kg_m3),
        Opening(38e3, 800.0, 1.1, 1.0, 0.15), SEA, PETROL, Watched(), 0.25, True,
    )  # fmt: skip
    simulate(*arguments)
    assert {"booster_gain", "film_time_factor"} <= read and not read & set(UNREAD_BY_TIP_IN)


def test_equal_tip_ins_have_equal_figures() -> None:
    plain = Assumptions()
    assert replace(plain, shot_film_share=0.83, aimed_gain=0.03).of_tip_in == plain.of_tip_in
    assert replace(plain, booster_gain=5.0).of_tip_in != plain.of_tip_in


def test_tip_ins_that_differ_in_their_fuel_share_their_air() -> None:
    plain, rich, shut = tip_in(), tip_in(assumed={"booster_gain": 5.0}), tip_in(assumed={"closed_angle_deg": 6.0})
    assert rich.air is plain.air and rich.circuits["front"].mains[0] is not plain.circuits["front"].mains[0]
    assert not np.array_equal(shut.air.pressure_pa, plain.air.pressure_pa)


def test_the_pull_at_the_nozzle_is_its_share_of_the_throats_depression_less_the_head() -> None:
    """By hand: half of the throat's depression, and 50 mm of fuel at 740 kg/m3 weigh 363 Pa."""
    event = tip_in().circuits["front"]
    pull = event.pull_pa(replace(Assumptions(), tip_depression_share=0.5, nozzle_height_mm=50.0))
    np.testing.assert_allclose(pull, 0.5 * event.mains[0].signal_pa / 4.0 - 740.0 * 9.80665 * 0.050, rtol=1e-9)
