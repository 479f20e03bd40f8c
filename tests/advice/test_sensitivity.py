"""Assumed figures across their ranges: the smallest orifice found is the smallest whose pull comes at once."""

from collections.abc import Callable, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

import building
import pytest

from configurator.advice.sensitivity import TRIED_MM, Sensitivity, SensitivityReport, sensitivity
from configurator.judging.case import Case
from configurator.slots.columns import Mount
from configurator.slots.slot import SLOTS


def report_of(case: Case) -> SensitivityReport:
    return sensitivity(case, "front", case.as_fitted, None)


@cache
def report() -> SensitivityReport:
    return report_of(building.easy_case())


def row(name: str, of: SensitivityReport | None = None) -> Sensitivity:
    (found,) = [row for row in (of or report()).rows if row.figure == name]
    return found


def delay_ms(diameter_mm: float, limits: Mapping[str, float] = MappingProxyType({}), **tables: Any) -> float:
    """How late the truck's pull comes with a nozzle bored to a size, over what goes unfelt."""
    car = building.vehicle(**tables, front={"nozzle": "straight-0.80", "nozzle_measured": f"{diameter_mm:.3f} mm"})
    case = building.with_limits(building.easy_case(car), **limits)
    listed = {slot: (option,) for slot, option in case.as_fitted.items()}
    return float(case.columns("front", listed).shot.delay_ms.squeeze()) - case.catalog.limits.delay_most_ms


def is_smallest(size_mm: float | None, limits: Mapping[str, float] = MappingProxyType({}), **tables: Any) -> bool:
    """Whether the delay crosses what goes unfelt within a hundredth of a size; for none, whether it does nowhere."""
    if size_mm is None:
        return all(delay_ms(size, limits, **tables) > 0.0 for size in (0.50, 0.80, 1.20, 1.70))
    if size_mm == TRIED_MM[0]:
        return delay_ms(size_mm, limits, **tables) <= 0.0
    return delay_ms(size_mm - 0.012, limits, **tables) > 0.0 >= delay_ms(size_mm + 0.012, limits, **tables)


def test_the_smallest_orifice_is_the_smallest_that_comes_at_once() -> None:
    smallest = row("delay_most_ms").fitted.smallest_mm
    assert smallest is not None and {row.fitted.smallest_mm for row in report().rows} == {smallest}
    assert is_smallest(smallest)


@pytest.mark.parametrize(
    ("name", "tables"),
    [
        ("main_lag_s", lambda value: {"assumed": {"main_lag_s": value}}),
        ("booster_gain", lambda value: {"assumed": {"booster_gain": value}}),
        ("closed_angle_deg", lambda value: {"assumed": {"closed_angle_deg": value}}),
        ("shot_film_share", lambda value: {"assumed": {"shot_film_share": value}}),
        ("pull_lag_s", lambda value: {"assumed": {"pull_lag_s": value}}),
        ("engine.idle_pressure_kpa", lambda value: {"engine": {"idle_pressure_kpa": value}}),
        ("manifold.distance_to_valves_mm", lambda value: {"manifold": {"distance_to_valves_mm": value}}),
        ("manifold.volume_cc", lambda value: {"manifold": {"volume_cc": value}}),
        ("carburettor.rear_opens_at_deg", lambda value: {"carburettor": {"rear_opens_at_deg": value}}),
        ("tip_in.opening_time_s", lambda value: {"tip_in": {"opening_time_s": value}}),
        ("engine.volumetric_efficiency", lambda value: {"engine": {"volumetric_efficiency": value}}),
        ("engine.air_temperature_c", lambda value: {"engine": {"air_temperature_c": value}}),
        ("fuel.stoichiometric_ratio", lambda value: {"fuel": {"stoichiometric_ratio": value}}),
    ],
)  # fmt: skip
def test_an_end_of_a_range_is_the_answer_of_a_file_that_says_so(
    name: str, tables: Callable[[float], dict[str, Any]]
) -> None:
    found = row(name)
    assert is_smallest(found.fitted.at_low_mm, **tables(found.low))
    assert is_smallest(found.fitted.at_high_mm, **tables(found.high))


def test_an_end_of_a_limit_is_the_answer_of_a_catalogue_that_has_it() -> None:
    found = row("delay_most_ms")
    for value, smallest in ((found.low, found.fitted.at_low_mm), (found.high, found.fitted.at_high_mm)):
        assert is_smallest(smallest, {"delay_most_ms": value})


def test_what_is_proposed_has_an_answer_of_its_own() -> None:
    """With another lobe the same size comes at another time; the rows stand by what moves farther of the two. A narrow
    screw moves the answer by its coefficient, and by nothing else that the fitted one does not."""
    case = building.easy_case()
    parts = {"lobe": "lobe-high", "feed_screw": "screw-narrow"}
    others = {
        SLOTS[f"front.{slot}"]: next(o for o in case.on_offer[SLOTS[f"front.{slot}"]] if o.label.startswith(code))
        for slot, code in parts.items()
    }
    both = sensitivity(case, "front", case.as_fitted, {**case.as_fitted, **others})
    alone = report_of(building.easy_case(building.vehicle(front=parts)))
    for one in both.rows:
        assert one.fitted == row(one.figure).fitted
        assert one.proposed == row(one.figure, alone).fitted
    low_mm, high_mm = (getattr(row("screw_coefficient", alone).fitted, f"at_{end}_mm") for end in ("low", "high"))
    assert low_mm > high_mm


def test_a_lobe_that_does_not_meet_its_lever_leaves_no_answer() -> None:
    case = building.easy_case()
    slot = SLOTS["front.lobe"]
    other = next(option for option in case.options[slot] if option.read(Mount).lobe.lever != "short")
    found = sensitivity(case, "front", case.as_fitted, {**case.as_fitted, slot: other}).rows[0].proposed
    assert found is not None and (found.smallest_mm, found.at_low_mm, found.at_high_mm) == (None, None, None)


def test_an_idle_pressure_stays_below_the_air_of_the_place() -> None:
    """At 4,500 m the air has 57.7 kPa by ISO 2533; no throttle is closed at 60."""
    high_up = building.easy_case(building.vehicle(engine={"altitude_m": 4500}))
    found = row("engine.idle_pressure_kpa", report_of(high_up))
    assert 54.0 < found.high < 0.95 * 57.7 + 0.01 and found.low == 30.0
    assert row("engine.idle_pressure_kpa").high == 60.0


def test_rows_stand_by_their_effect_with_those_that_leave_no_answer_first() -> None:
    def effect(one: Sensitivity) -> tuple[bool, float]:
        ends = [one.fitted.at_low_mm, one.fitted.at_high_mm, one.fitted.smallest_mm]
        there = [end for end in ends if end is not None]
        return None in ends, max(there) - min(there)

    effects = [effect(one) for one in report().rows]
    assert effects == sorted(effects, reverse=True)
    assert effects[0][1] > 0.05 and effects[-1] == (False, 0.0)


def test_figures_stand_with_their_value_range_and_what_they_rest_on() -> None:
    lag, delay, air, density = (
        row(name) for name in ("main_lag_s", "delay_most_ms", "engine.air_temperature_c", "fuel.density_kg_m3")
    )
    assert (lag.value, lag.unit) == (0.12, "s") and lag.low < lag.value < lag.high and lag.says and lag.basis
    assert (delay.value, delay.low, delay.high) == (60.0, 25.0, 80.0)
    assert (air.value, air.low, air.high, air.unit) == (15.0, 0.0, 35.0, "deg C"), (
        "the standard air's at the sea, ISO 2533"
    )
    assert (density.low, density.high) == (720.0, 775.0), "EN 228"
    ranges = {
        "engine.idle_pressure_kpa": (30.0, 60.0), "carburettor.rear_opens_at_deg": (20.0, 45.0),
        "engine.volumetric_efficiency": (0.75, 0.90), "engine.inertia_kg_m2": (0.08, 0.30),
        "manifold.distance_to_valves_mm": (150.0, 400.0), "fuel.viscosity_mpa_s": (0.37, 0.75),
        "fuel.stoichiometric_ratio": (14.0, 14.8), "tip_in.opening_time_s": (0.10, 0.30),
    }  # fmt: skip
    assert {name: (row(name).low, row(name).high) for name in ranges} == ranges, (
        "assumed: set here for good reason only"
    )
    car = building.vehicle(engine={"air_temperature_c": 31.5}, assumed={"main_lag_s": 0.2})
    own = report_of(building.case(car))
    assert row("engine.air_temperature_c", own).value == 31.5 and row("main_lag_s", own).value == 0.2
