"""Drill tables against published rows: ASME B94.11M, and the metric series of BS 328 as commonly quoted."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from configurator.errors import BadSize
from configurator.units.drills import DRILLS, METRIC_DRILLS_MM, drills_between, number_drill

# ASME B94.11M, typed from the table and not from the module; #5, #10, #18, #25, #28 and #69 are often misprinted.
PUBLISHED_INCH = {
    1: "0.2280", 5: "0.2055", 7: "0.2010", 10: "0.1935", 16: "0.1770", 18: "0.1695", 20: "0.1610", 21: "0.1590",
    25: "0.1495", 28: "0.1405", 29: "0.1360", 30: "0.1285", 33: "0.1130", 36: "0.1065", 40: "0.0980", 43: "0.0890",
    45: "0.0820", 50: "0.0700", 53: "0.0595", 55: "0.0520", 56: "0.0465", 60: "0.0400", 65: "0.0350", 66: "0.0330",
    67: "0.0320", 68: "0.0310", 69: "0.0292", 70: "0.0280", 72: "0.0250", 74: "0.0225", 79: "0.0145", 80: "0.0135",
}  # fmt: skip


@pytest.mark.parametrize(("number", "inch"), PUBLISHED_INCH.items())
def test_number_drill_has_its_published_diameter(number: int, inch: str) -> None:
    assert number_drill(number).name == f"#{number}"
    assert number_drill(number).diameter_mm == pytest.approx(float(inch) * 25.4, abs=1e-9)


def test_there_are_eighty_number_drills_and_each_is_smaller_than_the_one_before() -> None:
    diameters = [number_drill(n).diameter_mm for n in range(1, 81)]
    assert all(larger > smaller for larger, smaller in pairwise(diameters))


@pytest.mark.parametrize("number", [-1, 0, 81])
def test_a_number_outside_the_gauge_is_refused(number: int) -> None:
    with pytest.raises(BadSize) as caught:
        number_drill(number)
    assert str(caught.value) == f"size '#{number}': there is no such number drill; expected #1 to #80"


def test_metric_drills_hold_the_published_steps() -> None:
    below_one = [tenth / 10 + step for tenth in range(5, 10) for step in (0.00, 0.02, 0.05, 0.08)]
    from_one = [1 + 0.05 * n for n in range(13)]
    assert list(METRIC_DRILLS_MM) == pytest.approx(below_one + from_one)


def test_drills_between_keeps_both_series_and_sorts_them() -> None:
    found = [drill.name for drill in drills_between(0.70, 0.80)]
    # 0.0280 in = 0.7112 mm, 0.0292 in = 0.74168 mm, 0.0310 in = 0.7874 mm
    assert found == ["0.70 mm", "#70", "0.72 mm", "#69", "0.75 mm", "0.78 mm", "#68", "0.80 mm"]


def test_drills_between_includes_its_ends_and_may_be_empty() -> None:
    assert [drill.name for drill in drills_between(0.7874, 0.7874)] == ["#68"]
    assert drills_between(0.781, 0.782) == ()
    assert drills_between(0.8, 0.7) == ()
    assert drills_between(0.0, 10.0) == DRILLS
    assert len(DRILLS) == 80 + 33


@given(st.floats(0.0, 7.0), st.floats(0.0, 7.0))
def test_drills_between_are_those_inside(low_mm: float, high_mm: float) -> None:
    assert drills_between(low_mm, high_mm) == tuple(d for d in DRILLS if low_mm <= d.diameter_mm <= high_mm)
