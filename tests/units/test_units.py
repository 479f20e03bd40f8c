"""Sizes as people write them. The inch is 25.4 mm by definition (international yard and pound agreement, 1959)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from configurator.errors import BadSize
from configurator.units.drills import INCH_MM
from configurator.units.quantities import CUBIC_FOOT_M3, MERCURY_INCH_PA, THOU_MM
from configurator.units.units import (
    DIAMETERS_ACCEPTED,
    LENGTHS_ACCEPTED,
    parse_diameter_mm,
    parse_length_mm,
    show_diameter,
)


def test_conversions_are_the_defined_ones() -> None:
    assert INCH_MM == 25.4
    assert pytest.approx(0.0254) == THOU_MM
    assert pytest.approx(0.028316846592, rel=1e-12) == CUBIC_FOOT_M3
    # NIST SP 811, appendix B.8: conventional inch of mercury 3.386389 kPa
    assert MERCURY_INCH_PA == 3386.389


@pytest.mark.parametrize(
    ("size", "diameter_mm"),
    [
        ("0.8 mm", 0.8), ("0.8mm", 0.8), (" 0.80  MM ", 0.8), ("0,8 mm", 0.8), (".8 mm", 0.8), ("1. mm", 1.0),
        ("0.8 millimetres", 0.8), ("0.8", 0.8), ("0,875", 0.875), (0.8, 0.8), (1, 1.0), ("+0.8 mm", 0.8),
        ("0.031 in", 0.7874), ('0.031"', 0.7874), ("0.031\u2033", 0.7874), (".031in", 0.7874), ("0.031 inch", 0.7874),
        ("31 thou", 0.7874), ("31thou", 0.7874), ("31.5 thou", 0.8001), ("31,5 thou", 0.8001),
        ("31 thousandths", 0.7874), ("1,250 mm", 1.25),
        ("#68", 0.7874), ("# 68", 0.7874), (" #1 ", 5.7912), ("#80", 0.3429),
    ],
)  # fmt: skip
def test_a_diameter_is_read(size: str | float, diameter_mm: float) -> None:
    assert parse_diameter_mm(size) == diameter_mm


NO_ORIFICE = "is no orifice, which measures 0.1 to 10 mm"


@pytest.mark.parametrize(
    ("size", "problem", "remedy"),
    [
        ("31", f"31 mm {NO_ORIFICE}", 'did you mean "31 thou"?'),
        (31, f"31 mm {NO_ORIFICE}", 'did you mean "31 thou"?'),
        ("31 mm", f"31 mm {NO_ORIFICE}", 'did you mean "31 thou"?'),
        ("68", f"68 mm {NO_ORIFICE}", 'did you mean "0.68 mm" or "68 thou" or "#68"?'),
        ("0.031", f"0.031 mm {NO_ORIFICE}", 'did you mean "0.031 in"?'),
        ("0.8 thou", f"0.8 thou {NO_ORIFICE}", 'did you mean "0.8 mm"?'),
        ("0.8 in", f"0.8 in {NO_ORIFICE}", 'did you mean "0.8 mm"?'),
        ("900 mm", f"900 mm {NO_ORIFICE}", ""),
        ("0", f"0 mm {NO_ORIFICE}", ""),
        (0.0, f"0 mm {NO_ORIFICE}", ""),
        ("-0.8 mm", "a size cannot be negative", ""),
        ("\u22120.8 mm", "a size cannot be negative", ""),
        (-0.8, "a size cannot be negative", ""),
        ("nan", "not a number with a unit", ""),
        ("inf mm", "not a number with a unit", ""),
        (math.nan, "not a finite number", ""),
        (math.inf, "not a finite number", ""),
        ("9" * 400, "not a finite number", ""),
        ("", "nothing is written", ""),
        ("  ", "nothing is written", ""),
        ("large", "not a number with a unit", ""),
        ("\u0663 mm", "not a number with a unit", ""),
        ("0.8 kg", "'kg' is no unit of length", ""),
        ("0.8 mm 0.9", "'mm 0.9' is no unit of length", ""),
        ("1/30 in", "only halves, quarters and so on to 64ths are read", "write it as a decimal"),
        ("#6.5", "a number drill is # and a whole number", ""),
        ("#", "a number drill is # and a whole number", ""),
        ("#-3", "a number drill is # and a whole number", ""),
        (True, "neither a number nor text", ""),
    ],
)
def test_a_diameter_that_cannot_be_meant_is_refused_in_plain_words(
    size: str | float, problem: str, remedy: str
) -> None:
    with pytest.raises(BadSize) as caught:
        parse_diameter_mm(size)
    error = caught.value
    assert (error.found, error.problem, error.accepted, error.remedy) == (
        str(size), problem, DIAMETERS_ACCEPTED, remedy,
    )  # fmt: skip
    assert str(error).endswith(remedy or "(number drills #1 to #80)")


@pytest.mark.parametrize("size", ["#0", "#81", "#999999999"])
def test_a_number_drill_that_does_not_exist_is_refused(size: str) -> None:
    with pytest.raises(ValueError) as caught:
        parse_diameter_mm(size)
    assert str(caught.value) == f"size '{size}': there is no such number drill; expected #1 to #80"


def test_a_number_of_hundreds_of_digits_is_refused() -> None:
    with pytest.raises(BadSize, match="hundreds of digits"):
        parse_diameter_mm(10**5000)


def test_the_whole_message() -> None:
    with pytest.raises(BadSize) as caught:
        parse_diameter_mm("31")
    assert str(caught.value) == (
        "size '31': 31 mm is no orifice, which measures 0.1 to 10 mm; "
        'expected "0.80 mm", "0.031 in", "31 thou" or "#68" (number drills #1 to #80); did you mean "31 thou"?'
    )


@pytest.mark.parametrize(
    ("size", "length_mm"), [("0", 0.0), (0, 0.0), ("15 thou", 0.381), ('0.5"', 12.7), ("250 mm", 250.0), (1.5, 1.5)]
)
def test_a_length_is_read(size: str | float, length_mm: float) -> None:
    assert parse_length_mm(size) == length_mm


@pytest.mark.parametrize("size", ["#68", "-1 mm", "20000 mm", "nan", math.nan, "0.8 cc", ""])
def test_a_length_that_cannot_be_meant_is_refused(size: str | float) -> None:
    with pytest.raises(BadSize) as caught:
        parse_length_mm(size)
    assert caught.value.accepted == LENGTHS_ACCEPTED


@given(st.text(max_size=20) | st.from_regex(r"[#+-]?[0-9.,]{0,5} ?[a-z\"]{0,5}", fullmatch=True))
def test_any_text_is_a_size_or_refused(text: str) -> None:
    for parse in (parse_diameter_mm, parse_length_mm):
        try:
            assert math.isfinite(parse(text))
        except BadSize as error:
            assert "\n" not in str(error)


@given(st.floats(0.1, 10.0))
def test_a_diameter_survives_being_written_in_each_unit(diameter_mm: float) -> None:
    for text in (f"{diameter_mm:.9f} mm", f"{diameter_mm / 25.4:.12f} in", f"{diameter_mm / 0.0254:.9f} thou"):
        assert parse_diameter_mm(text) == pytest.approx(diameter_mm, abs=1e-6)


def test_sizes_are_shown_in_millimetres_with_thou_beside() -> None:
    assert show_diameter(0.8) == "0.80 mm (31.5 thou)"
    assert show_diameter(0.7874) == "0.79 mm (31.0 thou)"
    assert show_diameter(1.32) == "1.32 mm (52.0 thou)"
