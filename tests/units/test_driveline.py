"""Tyres and gears as they are printed."""

import pytest

from configurator.errors import BadSize
from configurator.units.driveline import ROLLING_SHARE, overall_ratio, tyre_radius_m


@pytest.mark.parametrize(
    ("printed", "across_mm"),
    [
        # Overall diameters of common size tables [mm]
        ("205/60R15", 627), ("235/60R15", 663), ("185/60 R 14", 578), ("195/65-15", 635), ("P235/75R15", 733),
        ("205/55 ZR16 91V", 632), ("185R14", 650), ("185 R14C 102/100R", 650), ("165 SR 13", 596),
        ("26x10-15", 660), ("31x10.50R15LT", 787), ("33 x 12.5 - 15", 838),
    ],
)  # fmt: skip
def test_a_tyre_is_as_large_as_tables_have_it(printed: str, across_mm: float) -> None:
    radius_m = tyre_radius_m(printed)
    assert radius_m is not None
    assert 2000 * radius_m / ROLLING_SHARE == pytest.approx(across_mm, rel=0.005)
    assert tyre_radius_m(f"  {printed.lower()} ") == radius_m


@pytest.mark.parametrize(
    ("printed", "across_mm"), [("7.00-16", 778), ("6.00-16", 730), ("5.60-15", 660), ("5.20x13", 582)]
)
def test_inch_sizes_come_within_some_per_cent(printed: str, across_mm: float) -> None:
    radius_m = tyre_radius_m(printed)
    assert radius_m is not None and 2000 * radius_m / ROLLING_SHARE == pytest.approx(across_mm, rel=0.03)


@pytest.mark.parametrize(
    "text", ["", "205", "0.3", "12 in", "300 mm", "205/60", "205/6R15", "60R15", "x", "7-16", "9" * 5000]
)
def test_other_text_is_no_tyre(text: str) -> None:
    assert tyre_radius_m(text) is None


@pytest.mark.parametrize(
    ("gears", "ratio"),
    [("4.10 x 2.52 first", 10.332), ("4.10 x 2.52", 10.332), ("2.52 first gear \u00d7 4,10 axle", 10.332),
     ("4.10:1*2.52:1", 10.332),
     ("4.10 final drive times 2.52 times 1", 10.332), ("3.9", 3.9), ("3.90 : 1 x 2.0 transfer box x 3 low", 23.4)],
)  # fmt: skip
def test_gears_are_multiplied(gears: str, ratio: float) -> None:
    assert overall_ratio(gears) == pytest.approx(ratio)


@pytest.mark.parametrize("gears", ["", "x", "4.10 x", "4.10 kg", "4.10 y 2", "four x 2", "4.10 2.52", "-4 x 2"])
def test_what_are_no_gears_is_refused(gears: str) -> None:
    with pytest.raises(BadSize, match="not ratios with x between them; expected a number, or gear and final drive"):
        overall_ratio(gears)
