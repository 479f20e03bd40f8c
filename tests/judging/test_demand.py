"""From a vehicle to its tip-in: what a file says, what is assumed, and what the model refuses."""

from dataclasses import replace
from typing import Any

import building
import numpy as np
import pytest

from configurator.errors import BadInput
from configurator.judging.demand import rear_main_delivers_ms
from configurator.judging.tip_in_of_car import surroundings_of, tip_in_of
from configurator.physics.assumptions import Assumptions
from configurator.physics.atmosphere import standard_atmosphere
from configurator.physics.tip_in import TipIn

ASSUMED = Assumptions()


def tip_in(**tables: Any) -> TipIn:
    return tip_in_of(building.vehicle(**tables), ASSUMED)


# --- where it starts --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("start", "kpa", "rpm"), [("idle", 38.0, 650.0), ("cruise", 55.0, 2100.0)])
def test_it_starts_where_the_file_says(start: str, kpa: float, rpm: float) -> None:
    air = tip_in(tip_in={"start": start, "cruise_pressure_kpa": 55, "cruise_rpm": 2100}).air
    assert (air.pressure_pa[0], air.speed_rpm[0]) == pytest.approx((kpa * 1e3, rpm))


def test_a_start_with_the_throttle_open_already_is_refused() -> None:
    """At 1,500 m the air has 84.56 kPa by ISO 2533: 0.95 of it is 80.3 kPa."""
    high = {"engine": {"altitude_m": 1500}}
    with pytest.raises(BadInput) as caught:
        tip_in(tip_in={"start": "cruise", "cruise_pressure_kpa": 80.5}, **high)
    text = str(caught.value)
    assert "[tip_in] cruise_pressure_kpa: 80.5 kPa is not below the air's 84.6 kPa" in text
    assert "expected at most 80.3 kPa at this altitude" in text
    assert len(caught.value.faults) == 1
    assert tip_in(tip_in={"start": "cruise", "cruise_pressure_kpa": 80.2}, **high).air.pressure_pa[0] == 80_200.0


def test_an_idle_too_near_the_airs_pressure_is_refused() -> None:
    thin = {"air_pressure_kpa": 46, "idle_pressure_kpa": 45}
    with pytest.raises(BadInput, match=r"\[engine\] idle_pressure_kpa: 45 kPa is not below the air's 46.0 kPa"):
        tip_in(engine=thin)
    assert tip_in(engine=thin | {"idle_pressure_kpa": 38}).air.pressure_pa[0] == 38_000.0


@pytest.mark.parametrize(
    ("said", "kpa"),
    [
        ({}, 38.0), ({"idle_pressure_kpa": 55}, 55.0), ({"idle_vacuum_in_hg": 12}, 95.0 - 12 * 3.386389),
        ({"idle_vacuum_mm_hg": 300}, 95.0 - 300 * 0.13332239),
    ],
)  # fmt: skip
def test_idle_pressure_as_a_vacuum_gauge_reads_it(said: dict[str, float], kpa: float) -> None:
    """Below the air around it; an inch of mercury is 3.386389 kPa, a millimetre 0.13332239 (conventional, 0 C)."""
    air = tip_in(engine={"air_pressure_kpa": 95} | said).air
    assert air.pressure_pa[0] == pytest.approx(kpa * 1e3, rel=1e-6)


def test_a_vacuum_that_no_idle_has_is_refused_by_its_key() -> None:
    with pytest.raises(BadInput) as caught:
        tip_in(engine={"air_pressure_kpa": 80, "idle_vacuum_in_hg": 18})
    text = str(caught.value)
    assert "[engine] idle_vacuum_kpa: leaves 19 kPa of the air's 80 kPa in the manifold" in text
    assert "expected a vacuum that leaves 30 to 70 kPa" in text


def test_two_alike_carburettors_are_each_one_with_half_of_everything() -> None:
    """Half the engine, manifold, inertia and car behind one is what each of two has to feed, event for event."""

    def halved(table: str, *keys: str) -> dict[str, Any]:
        return {key: building.TRUCK[table][key] / 2 for key in keys}

    two = tip_in(engine={"inertia_kg_m2": 0.2}, carburettor={"count": 2, "rated_flow_m3_min": 11})
    half = tip_in(
        engine=halved("engine", "displacement_cc") | {"inertia_kg_m2": 0.1}, manifold=halved("manifold", "volume_cc"),
        driveline=halved("driveline", "mass_kg"), carburettor={"rated_flow_m3_min": 11},
    )  # fmt: skip
    one = np.ones(1)
    np.testing.assert_allclose(two.circuits["front"].base_phi(one), half.circuits["front"].base_phi(one), rtol=1e-9)
    np.testing.assert_allclose(two.air.speed_rpm, half.air.speed_rpm, rtol=1e-9)


# --- air and jets -----------------------------------------------------------------------------------------------------


def test_jets_chosen_for_another_altitude() -> None:
    """Jets for the sea are rich at 2,500 m by the root of the density ratio; by default they are for the place."""
    engine = {"altitude_m": 2500, "air_temperature_c": 20}
    main = [
        tip_in(engine=engine, carburettor=carburettor).circuits["front"].mains[0].steady(np.ones(1))[-1, 0]
        for carburettor in ({}, {"jetted_altitude_m": 0})
    ]
    here = surroundings_of(building.vehicle(engine=engine)).density_kg_m3
    assert main[1] / main[0] == pytest.approx((1.225 / here) ** 0.5, rel=1e-5)
    standard = standard_atmosphere(2500.0).temperature_k - 273.15
    same = {"altitude_m": 2500, "air_temperature_c": standard}
    default, said = (
        tip_in(engine=same, carburettor=carburettor).circuits["front"].mains[0].steady(np.ones(1))[:, 0]
        for carburettor in ({}, {"jetted_altitude_m": 2500})
    )
    np.testing.assert_allclose(said, default, rtol=1e-9)


# --- speed ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("driveline", "most"),
    [({"transmission": "free"}, 5500.0), ({"transmission": "converter", "stall_rpm": 2100}, 2100.0),
     ({"transmission": "converter", "stall_rpm": 6500}, 5500.0)],
)  # fmt: skip
def test_speed_stays_within_what_an_engine_is_turned(driveline: dict[str, Any], most: float) -> None:
    """Two seconds out of gear would take 5.7 litres beyond 8,000 rev/min."""
    base = dict(building.TRUCK) | {"driveline": driveline}
    speed = tip_in_of(building.vehicle(base), ASSUMED).air.speed_rpm
    assert 0.98 * most < speed.max() <= most
    assert np.all(np.diff(speed) >= -1e-6)


def test_where_the_driver_lifts_is_an_assumption() -> None:
    base = dict(building.TRUCK) | {"driveline": {"transmission": "free"}}
    assert tip_in_of(building.vehicle(base), replace(ASSUMED, most_rpm=4800.0)).air.speed_rpm.max() == 4800.0


# --- the rear circuit -------------------------------------------------------------------------------------------------


def test_a_rear_main_circuit_delivers_once_it_gives_its_share() -> None:
    rear = building.case(building.two_circuits()).circuits["rear"]
    early, late = (rear_main_delivers_ms(rear, share, np.ones(1)).item() for share in (0.3, 0.6))
    opens_ms = float(rear.event.time_s[rear.event.judged][0]) * 1e3
    assert opens_ms <= early < late < 2000.0
    same, later = rear_main_delivers_ms(rear, 0.6, np.array([1.0, 2.0]))
    assert same == late < later
    main = rear.event.mains[0]
    steady, lagged = main.steady(np.ones(1))[:, 0], main.lagged(rear.event.time_s, np.ones(1))[:, 0]
    at = int(np.searchsorted(rear.event.time_s, late / 1e3 - 1e-9))
    assert lagged[at] >= 0.6 * steady[at] and lagged[at - 1] < 0.6 * steady[at - 1]


def test_a_rear_main_circuit_behind_shut_throttles_never_delivers() -> None:
    rear = building.case(building.two_circuits(tip_in={"opens_to": 0.3})).circuits["rear"]
    assert not rear.event.judged.any()
    assert rear_main_delivers_ms(rear, 0.6, np.ones(1)).tolist() == [float("inf")]
