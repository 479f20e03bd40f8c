"""Finished texts in the units that a workshop chose."""

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants as si

from configurator.units.showing import SHOWN, as_shown, shown_value
from configurator.units.units import show_diameter, show_size


@pytest.fixture
def inches() -> Iterator[None]:
    chosen = SHOWN.set("inch")
    yield
    SHOWN.reset(chosen)


TEXTS = {
    "straight-0.80, 0.80 mm (31.5 thou) at 6 deg": "straight-0.80, 31.5 thou (0.80 mm) at 6 deg",
    "10 mm (0.394 in) left": "0.394 in (10 mm) left",
    "0.78 mm (30.7 thou, 0.0307 in, about #68)": "30.7 thou (0.78 mm, 0.0307 in, about #68)",
    "0.04 mm off it, 0.02 mm allowed": "1.6 thou (0.04 mm) off it, 0.8 thou (0.02 mm) allowed",
    "-1.2 mm between them": "-47.2 thou (-1.2 mm) between them",
    "0.72 to 0.80 mm": "28.3 to 31.5 thou (0.72 to 0.80 mm)",
    "right for 0.80\n   mm only": "right for 31.5 thou (0.80 mm) only",
    "20 deg C, 250 m, 101.3 kPa": "68 F, 820 ft, 29.9 inHg",
    "1350 kg; 17.0 m3/min in all": "2976 lb; 600 cfm in all",
    "100 kg/m3, 3 m3/min/l, 20 m/s, 5 mm2, 12 deg, pump-3cc, 30 cc, 40 ms": (
        "100 kg/m3, 3 m3/min/l, 20 m/s, 5 mm2, 12 deg, pump-3cc, 30 cc, 40 ms"
    ),
    "nozzle, mm (thou)\n0.75 (29.5) aimed": "nozzle, thou (mm)\n29.5 (0.75) aimed",
    "0.75 (29.5) of something": "0.75 (29.5) of something",
    "front.nozzle=0.80mm": "front.nozzle=0.80mm",
    "0.15 kg m2 is taken": "0.15 kg m2 is taken",
    "0.305 m is taken, 0 m high": "12.008 in is taken, 0 ft high",
}


@pytest.mark.parametrize("text", TEXTS)
def test_figures_are_told_in_inches(text: str, inches: None) -> None:
    assert as_shown(text) == TEXTS[text]
    assert as_shown(TEXTS[text]) == TEXTS[text], "twice is once"


@pytest.mark.parametrize("text", TEXTS)
def test_metric_texts_stay(text: str) -> None:
    assert as_shown(text) is text


@given(st.floats(0.2, 3.0))
def test_a_size_keeps_both_its_figures(diameter_mm: float) -> None:
    chosen = SHOWN.set("inch")
    try:
        for text in (show_diameter(diameter_mm), show_size(diameter_mm)):
            told = as_shown(text)
            assert told.startswith(f"{diameter_mm / 0.0254:.1f} thou ({diameter_mm:.2f} mm")
            assert sorted(told.replace(",", "")) == sorted(text.replace(",", ""))
    finally:
        SHOWN.reset(chosen)


@given(st.floats(-40.0, 60.0))
def test_a_temperature_is_that_of_the_library(celsius: float) -> None:
    chosen = SHOWN.set("inch")
    try:
        fahrenheit = float(si.convert_temperature(round(celsius, 1), "Celsius", "Fahrenheit"))
        assert abs(float(as_shown(f"{celsius:.1f} deg C").removesuffix(" F")) - fahrenheit) <= 0.5 + 1e-9
    finally:
        SHOWN.reset(chosen)


def test_what_is_no_text_stays(inches: None) -> None:
    class Piece(str):
        """A piece of a page."""

    assert shown_value(Piece("10 mm")) == "10 mm" and shown_value(3) == 3
    assert shown_value("10 mm") == "0.394 in (10 mm)"
