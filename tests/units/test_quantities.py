"""Figures with their units, however they are spelt: every factor of the table against scipy.constants."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants as si

from configurator.errors import BadSize
from configurator.units.quantities import KNOWN_UNITS, declared_unit, examples, meant, numbers_of, read_quantity

IN_SI = {
    "cc": si.centi**3, "l": si.liter, "cu in": si.inch**3, "kg": 1.0, "lb": si.pound, "t": si.metric_ton,
    "mm": si.milli, "in": si.inch, "thou": si.mil, "cm": si.centi, "ft": si.foot, "m": 1.0,
    "kPa": si.kilo, "inHg": 25.4 * si.mmHg, "mmHg": si.mmHg, "mbar": si.bar / 1000, "psi": si.psi, "bar": si.bar,
    "m3/min": 1 / si.minute, "cfm": si.foot**3 / si.minute, "l/s": si.liter, "m3/h": 1 / si.hour,
    "l/min": si.liter / si.minute, "s": 1.0, "ms": si.milli, "min": si.minute, "h": si.hour, "days": si.day,
    "mm2": si.milli**2, "sq in": si.inch**2, "cm2": si.centi**2, "N": 1.0, "lbf": si.lbf, "kgf": si.kgf,
    "N/mm": 1 / si.milli, "lb/in": si.lbf / si.inch, "N/m": 1.0, "kg/m3": 1.0, "kg/l": 1 / si.liter,
    "mPa s": si.milli, "kg m2": 1.0, "lb ft2": si.pound * si.foot**2,
}  # fmt: skip
OF_THEIR_OWN = {"C", "F", "deg", "rev/min", "%"}
"""Temperatures are held to scipy's own conversion; the others have no other unit beside them."""


def test_every_factor_is_that_of_the_library() -> None:
    assert set(IN_SI) | OF_THEIR_OWN == set(KNOWN_UNITS)
    for name, factor in IN_SI.items():
        # The inch of mercury is commonly rounded to 3386.389 Pa (NIST SP 811); a torr is no mmHg by as much
        assert KNOWN_UNITS[name].si == pytest.approx(factor, rel=3e-7), name


@pytest.mark.parametrize(("celsius", "unit"), [("C", "C"), ("F", "F"), ("deg F", "Fahrenheit"), ("°F", "Fahrenheit")])
@pytest.mark.parametrize("degrees", [-40.0, 0.0, 32.0, 68.0, 104.0])
def test_temperatures_are_those_of_the_library(degrees: float, celsius: str, unit: str) -> None:
    (found,) = read_quantity(f"{degrees} {celsius}", "deg C").values
    assert found == pytest.approx(float(si.convert_temperature(degrees, unit, "Celsius")), abs=1e-9)


@pytest.mark.parametrize(
    ("unit", "texts"),
    [
        ("cc", ["5735.4724", "5735.4724 cc", "5.7354724 l", "5,7354724 litres", "350 cu in", "350 cu. in.", "350 in3",
                "350 in³", "350 CID", "350 cubic inches", "5735.4724 cm^3", "5735.4724ml"]),
        ("m3/min", ["16.9901079552 m3/min", "600 cfm", "600 CFM", "600 ft3/min", "600 cu ft/min", "600 cu.ft./min",
                    "600 cubic feet per minute", "283.16846592 l/s", "1019.406477312 m³/h"]),
        ("kg", ["1451.495584", "3200 lb", "3200 lbs", "3200 pounds", "1.451495584 t"]),
        ("m", ["0.3048 m", "12 in", '12"', "1 ft", "304.8mm", "30.48 cm", "12000 thou"]),
        ("mm", ["0.381", "15 thou", ".015 in", "0,015 inch"]),
        ("inHg", ["18", "18 inHg", "18 in Hg", "18 in. Hg", "18 inches of mercury", '18 "Hg', "457.2 mmHg",
                  "60.955002 kPa", "609.55002 mbar", "609.55002 hPa", "0.60955002 bar", "18 inHg vacuum",
                  "18 inHg (vac.)", "18 inHg below the air"]),
        ("ms", ["2500", "2.5 s", "2500 milliseconds"]),
        ("min", ["90", "1.5 h", "90 min", "90 minutes"]),
        ("N/mm", ["1.4010147884", "8 lb/in", "8 lbf/in"]),
        ("deg", ["12 deg", "12°", "12 degrees"]),
    ],
)  # fmt: skip
def test_one_figure_in_all_its_spellings(unit: str, texts: list[str]) -> None:
    values = [value for text in texts for value in read_quantity(text, unit).values]
    assert values == pytest.approx([values[0]] * len(texts), rel=1e-7)


@pytest.mark.parametrize(
    ("text", "unit", "problem"),
    [
        ("350 hp", "cc", "'hp' is no unit of volume"), ("600 cfm", "cc", "'cfm' is no unit of volume"),
        ("3 lb", "mm", "'lb' is no unit of length"), ("large", "kg", "not a number with a unit"),
        ("", "kg", "nothing is written"), ("1/3 in", "mm", "only halves, quarters and so on to 64ths are read"),
        ("12 kg vacuum", "kg", "vacuum is said of a pressure only"),
        ("1_000 cc", "cc", "'_000 cc' is no unit of volume"),
        ("nan cc", "cc", "not a number with a unit"), ("12 mm 3", "mm", "'mm 3' is no unit of length"),
    ],
)  # fmt: skip
def test_what_is_no_figure_in_such_a_unit_is_refused(text: str, unit: str, problem: str) -> None:
    with pytest.raises(BadSize) as caught:
        read_quantity(text, unit)
    assert caught.value.problem == problem


@pytest.mark.parametrize(
    ("text", "unit", "meant"),
    [("350 cui", "cc", "cu in"), ("600 cfn", "m3/min", "cfm"), ("31 thuo", "mm", "thou"), ("3 lsb", "kg", "lb"),
     ("350 hp", "cc", ""), ("3 gallons", "cc", ""), ("12 mm 3", "mm", "")],
)  # fmt: skip
def test_a_misspelt_unit_names_the_nearest(text: str, unit: str, meant: str) -> None:
    with pytest.raises(BadSize) as caught:
        read_quantity(text, unit)
    assert caught.value.remedy == (f"did you mean {meant}?" if meant else "")


@pytest.mark.parametrize(
    ("text", "mm"),
    [("1/32 in", 0.79375), ('1/32"', 0.79375), ("1 1/8 in", 28.575), ("1-1/8 inch", 28.575), ("3/4in", 19.05)],
)
def test_a_fraction_of_an_inch_is_read_as_a_rule_has_it(text: str, mm: float) -> None:
    assert read_quantity(text, "mm").values == pytest.approx((mm,), abs=1e-9)


@pytest.mark.parametrize("text", ["1/3 in", "5/4 in", "0/4 in", "1/0 in", "1/32/4 in", "1/32.5 in"])
def test_what_no_rule_has_is_no_fraction(text: str) -> None:
    with pytest.raises(BadSize):
        read_quantity(text, "mm")


@pytest.mark.parametrize(
    ("digits", "numbers"),
    [("3,200", (3200, 3.2)), ("12,345,678", (12345678,)), ("3,200.5", (3200.5,)), ("3,2", (3.2,)), ("0,875", (0.875,)),
     ("3,2001", (3.2001,)), ("1.250", (1.25,))],
)  # fmt: skip
def test_a_comma_parts_decimals_or_thousands(digits: str, numbers: tuple[float, ...]) -> None:
    assert numbers_of(digits) == numbers
    assert read_quantity(f"{digits} kg", "kg").values == numbers


@pytest.mark.parametrize("said", ["vacuum", "vac", "below the air", "absolute", "abs.", ""])
def test_a_pressure_says_what_it_is_counted_from(said: str) -> None:
    reading = read_quantity(f"18 inHg {said}", "kPa absolute")
    assert reading.reference == {"": "", "a": "absolute", "v": "vacuum", "b": "vacuum"}[said[:1]]
    assert reading.values == pytest.approx((60.955002,))


@given(st.text(max_size=20) | st.from_regex(r"[+-]?[0-9.,]{0,7} ?[a-z0-9/\"]{0,6}( vac)?", fullmatch=True))
def test_any_text_is_a_figure_or_refused(text: str) -> None:
    for unit in ("cc", "kPa absolute", "deg C"):
        try:
            assert all(map(math.isfinite, read_quantity(text, unit).values))
        except BadSize as error:
            assert error.problem


@given(st.sampled_from(sorted(KNOWN_UNITS)), st.sampled_from(sorted(KNOWN_UNITS)), st.floats(1e-3, 1e4))
def test_a_figure_survives_the_way_into_another_unit_and_back(one: str, other: str, value: float) -> None:
    if KNOWN_UNITS[one].measures == KNOWN_UNITS[other].measures:
        (there,) = read_quantity(f"{value:.12f} {one}", other).values
        (back,) = read_quantity(f"{there:.15f} {other}", one).values
        assert back == pytest.approx(value, rel=1e-6, abs=1e-6)


def test_units_that_nothing_else_measures_are_left_alone() -> None:
    assert [declared_unit(unit) for unit in ("", "currency", "cycles", "m3/min/l", "deg:mm")] == [None] * 5
    assert examples("cycles", 1, 20) == [] and meant(3, "cycles", lambda figure: True) == []
