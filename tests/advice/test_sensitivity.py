"""Assumed figures across their ranges: the smallest orifice found is the smallest that check passes, lean and rich."""

from collections.abc import Callable, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

import building
import pytest

from configurator.advice.sensitivity import TRIED_MM, Sensitivity, SensitivityReport, sensitivity
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.judging.table import DEMAND


def report_of(case: Case) -> SensitivityReport:
    return sensitivity(case, "front", case.as_fitted)


@cache
def report() -> SensitivityReport:
    return report_of(building.easy_case())


def row(name: str, of: SensitivityReport | None = None) -> Sensitivity:
    (found,) = [row for row in (of or report()).rows if row.figure == name]
    return found


def meets(diameter_mm: float, limits: Mapping[str, float] = MappingProxyType({}), **tables: Any) -> bool:
    """Whether check finds the truck's pull right with a nozzle bored to a size."""
    car = building.vehicle(**tables, front={"nozzle": "straight-0.80", "nozzle_measured": f"{diameter_mm:.2f} mm"})
    case = building.with_limits(building.easy_case(car), **limits)
    return all(f.holds is True for f in findings(case, case.as_fitted) if f.rule in DEMAND)


def test_the_smallest_orifice_is_the_smallest_that_check_passes() -> None:
    smallest = row("delay_most_ms").smallest_mm
    assert smallest is not None and {row.smallest_mm for row in report().rows} == {smallest}
    assert meets(smallest) and not meets(round(smallest - 0.01, 2))


@pytest.mark.parametrize(
    ("name", "tables"),
    [
        ("main_lag_s", lambda value: {"assumed": {"main_lag_s": value}}),
        ("engine.idle_pressure_kpa", lambda value: {"engine": {"idle_pressure_kpa": value}}),
        ("manifold.distance_to_valves_mm", lambda value: {"manifold": {"distance_to_valves_mm": value}}),
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
    for value, smallest in ((found.low, found.smallest_at_low_mm), (found.high, found.smallest_at_high_mm)):
        said = tables(value)
        if smallest is None:
            assert not any(meets(size, **said) for size in (0.50, 0.67, 0.90, 1.20))
        else:
            assert meets(smallest, **said)
            assert smallest == TRIED_MM[0] or not meets(round(smallest - 0.01, 2), **said)


@pytest.mark.parametrize("name", ["delay_most_ms", "sag_most_percent", "smoke_most_ms"])
def test_an_end_of_a_limit_is_the_answer_of_a_catalogue_that_has_it(name: str) -> None:
    found = row(name)
    for value, smallest in ((found.low, found.smallest_at_low_mm), (found.high, found.smallest_at_high_mm)):
        if smallest is None:
            assert not any(meets(size, {name: value}) for size in (0.50, 0.67, 0.90, 1.20))
        else:
            assert meets(smallest, {name: value})
            assert smallest == TRIED_MM[0] or not meets(round(smallest - 0.01, 2), {name: value})


def test_a_nozzle_that_does_not_hesitate_and_smokes_is_none() -> None:
    """No smoke at all goes unseen here: every nozzle is too small or smokes. Up to 400 ms, the upper end of its range,
    smoke is out of the way again."""
    strict = report_of(building.with_limits(building.easy_case(), smoke_most_ms=20.0))
    found = row("smoke_most_ms", strict)
    assert found.smallest_mm is None
    assert found.smallest_at_high_mm == row("smoke_most_ms").smallest_mm is not None
    assert row("delay_most_ms", strict).smallest_at_low_mm is None
    assert strict.rows[0].smallest_mm is None, "what has no answer at one end stands first"


def test_an_idle_pressure_stays_below_the_air_of_the_place() -> None:
    """At 3,500 m the air has 65.8 kPa by ISO 2533; no throttle is closed at 70."""
    high_up = building.easy_case(building.vehicle(engine={"altitude_m": 3500}))
    found = row("engine.idle_pressure_kpa", report_of(high_up))
    assert 62.0 < found.high < 0.95 * 65.8 + 0.01 and found.low == 30.0
    assert row("engine.idle_pressure_kpa").high == 70.0


def test_rows_stand_by_their_effect_with_those_that_leave_no_answer_first() -> None:
    def effect(one: Sensitivity) -> tuple[bool, float]:
        ends = [one.smallest_at_low_mm, one.smallest_at_high_mm, one.smallest_mm]
        there = [end for end in ends if end is not None]
        return None in ends, max(there) - min(there)

    effects = [effect(one) for one in report().rows]
    assert effects == sorted(effects, reverse=True)
    assert effects[0][0] and not effects[-1][0] and effects[-1][1] == 0.0


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
        "sag_most_percent": (3.0, 12.0), "smoke_most_ms": (80.0, 400.0), "engine.idle_pressure_kpa": (30.0, 70.0),
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
