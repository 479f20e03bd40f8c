"""Figures of a vehicle file in the units that papers have them in."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from declared import models_in
from pydantic import BaseModel

from configurator.car.vehicle import Vehicle, load_vehicle
from configurator.errors import BadInput
from configurator.files.declared import AsTyped, Record, as_declared, bounds_of, unit_of
from configurator.files.faults import with_examples

CAR = """
name = "A car by its papers"
[engine]
displacement_cc = 5735
idle_rpm = 800
[driveline]
transmission = "manual"
mass_kg = 1450
overall_ratio = 10
wheel_radius_m = 0.3
[carburettor]
barrels = 2
rated_flow_m3_min = 17
[fitted.front]
nozzle = "aimed-0.80"
feed_screw = "screw-plain"
pump = "pump-3cc"
lobe = "lobe-fell"
phase_deg = 6
"""
Load = Callable[[str, str], Vehicle]


@pytest.fixture
def load(tmp_path: Path) -> Load:
    def with_line(table: str, line: str) -> Vehicle:
        """The car with a line under a heading, in place of the one of the same key."""
        text = re.sub(rf"(?m)^{line.partition('=')[0].strip().replace('ft3', 'm3')} = .*\n", "", CAR)
        text = (
            text.replace(f"[{table}]\n", f"[{table}]\n{line}\n") if f"[{table}]" in text else f"{text}[{table}]\n{line}"
        )
        path = tmp_path / "car.toml"
        path.write_text(text, encoding="utf-8")
        return load_vehicle(path)

    return with_line


@pytest.mark.parametrize(
    ("table", "line", "key", "value"),
    [
        ("engine", 'displacement_cc = "350 cu in"', "displacement_cc", 350 * 2.54**3),
        ("engine", 'displacement_cc = "5,7 l"', "displacement_cc", 5700),
        ("engine", 'displacement_cc = "5.735 l"', "displacement_cc", 5735),
        ("engine", 'displacement_cc = "5,735"', "displacement_cc", 5735),
        ("engine", 'idle_rpm = "800 rpm"', "idle_rpm", 800),
        ("engine", 'altitude_m = "3,000 ft"', "altitude_m", 914.4),
        ("engine", 'air_temperature_c = "68 F"', "air_temperature_c", 20),
        ("engine", 'air_temperature_c = "-4 F"', "air_temperature_c", -20),
        ("engine", 'air_pressure_kpa = "29.92 inHg"', "air_pressure_kpa", 101.3208),
        ("engine", 'air_pressure_kpa = "1013 mbar"', "air_pressure_kpa", 101.3),
        ("engine", 'idle_pressure_kpa = "5.8 psi absolute"', "idle_pressure_kpa", 39.98959),
        ("engine", 'idle_pressure_kpa = "40 kPa"', "idle_pressure_kpa", 40),
        ("engine", 'idle_pressure_kpa = "18 inHg vacuum"', "idle_vacuum_kpa", 60.955),
        ("engine", 'idle_vacuum_kpa = "18 inHg"', "idle_vacuum_kpa", 60.955),
        ("engine", "idle_vacuum_in_hg = 18", "idle_vacuum_kpa", 60.955),
        ("engine", 'idle_vacuum_mm_hg = "457.2"', "idle_vacuum_kpa", 60.955),
        ("driveline", 'mass_kg = "3,200 lb"', "mass_kg", 1451.4956),
        ("driveline", 'mass_kg = "1,45 t"', "mass_kg", 1450),
        ("driveline", 'overall_ratio = "4.10 x 2.52 first"', "overall_ratio", 10.332),
        ("driveline", 'wheel_radius_m = "235/60R15"', "wheel_radius_m", 0.3216),
        ("driveline", 'wheel_radius_m = "12.5 in"', "wheel_radius_m", 0.3175),
        ("manifold", 'volume_cc = "4.5 l"', "volume_cc", 4500),
        ("manifold", 'pad_clearance_mm = "1 in"', "pad_clearance_mm", 25.4),
        ("manifold", 'bonnet_clearance_mm = "2.5 cm"', "bonnet_clearance_mm", 25),
        ("carburettor", 'rated_flow_m3_min = "600 cfm"', "rated_flow_m3_min", 600 * 0.028316846592),
        ("carburettor", "rated_flow_ft3_min = 600", "rated_flow_m3_min", 600 * 0.028316846592),
        ("carburettor", 'test_depression_in_hg = "38.1 mmHg"', "test_depression_in_hg", 1.5),
        ("carburettor", 'jetted_altitude_m = "1 ft"', "jetted_altitude_m", 0.3048),
        ("fuel", 'density_kg_m3 = "0.74 kg/l"', "density_kg_m3", 740),
        ("tip_in", 'opening_time_s = "150 ms"', "opening_time_s", 0.15),
        ("tip_in", 'cruise_pressure_kpa = "15 inHg vacuum"', "cruise_vacuum_kpa", 50.795835),
    ],
)  # fmt: skip
def test_a_figure_is_read_in_the_unit_it_is_written_in(
    load: Load, table: str, line: str, key: str, value: float
) -> None:
    """Conversions by the definitions of inch, foot and pound, and 3.386389 kPa to the inch of mercury."""
    found = getattr(getattr(load(table, line), table), key)
    assert type(found) is float
    assert found == pytest.approx(value, rel=1e-6)


def test_a_lobe_measured_with_a_gauge_in_thousandths(load: Load) -> None:
    lobe = '{ table = "0:0 10deg:71thou 40:0.2in", lever = "short", phases_deg = ["6 deg"] }'
    measured = load("fitted.front", f"lobe = {lobe}").fitted.front.lobe
    assert not isinstance(measured, str)
    assert measured.table == ((0, 0), (10, 1.8034), (40, 5.08)) and measured.total_lift_mm == 5.08


def test_an_assumed_figure_takes_its_unit_by_its_name(load: Load) -> None:
    assert load("assumed", 'lip_mm = "0.35 in"').assumed == {"lip_mm": 8.89}


REFUSED = {
    ("engine", 'displacement_cc = "350 hp"'): (
        "displacement_cc: found '350 hp': 'hp' is no unit of volume; expected a number above 50 and below 30000 cc, "
        'or text such as "1.2 l" or "75 cu in"'
    ),
    ("engine", "displacement_cc = 3.2"): (
        'found 3.2; expected a number above 50 and below 30000 cc; did you mean "3.2 l" or "3.2 cu in"?'
    ),
    ("engine", 'displacement_cc = "5000 cu in"'): (
        "found '5000 cu in', which is 8.194e+04 cc; expected a number above 50 and below 30000 cc"
    ),
    ("engine", 'altitude_m = "1,250 ft"'): (
        "found '1,250 ft': the comma may part thousands or decimals; expected a number at least -500 and at most 6000 m"
    ),
    ("engine", 'idle_pressure_kpa = "18 inHg"'): (
        "found '18 inHg': it may be absolute or below the air; expected a number at least 30 and at most 70 kPa"
    ),
    ("engine", 'idle_vacuum_kpa = "40 kPa absolute"'): "found '40 kPa absolute': it is said to be absolute",
    ("engine", 'air_pressure_kpa = "20 inHg vacuum"'): "found '20 inHg vacuum': it is said to be below the air",
    ("engine", "idle_vacuum_in_hg = 18\nidle_pressure_kpa = 40"): (
        "[engine]: idle_pressure_kpa and idle_vacuum_kpa together; expected one of them"
    ),
    ("engine", "idle_vacuum_in_hg = 18\nidle_vacuum_kpa = 40"): (
        "[engine] idle_vacuum_in_hg: says the same as idle_vacuum_kpa; expected one of them"
    ),
    ("engine", "idle_vacuum_in_hg = true"): "[engine] idle_vacuum_kpa: found 'True inHg': not a number with a unit",
    ("carburettor", "rated_flow_m3_min = 600"): (
        'found 600; expected a number above 0.5 and below 60 m3/min; did you mean "600 cfm" or "600 l/s"?'
    ),
    ("driveline", "wheel_radius_m = 300"): 'expected a number above 0.1 and below 1.5 m; did you mean "300 mm"?',
    ("driveline", 'wheel_radius_m = "205/60"'): (
        "found '205/60': neither a length nor the size of a tyre; expected a number in m, text such as \"300 mm\" or "
        '"12 in", or the tyre as printed: "205/60R15", "7.00-16"'
    ),
    ("driveline", 'overall_ratio = "4.10 and 2.52"'): (
        "found '4.10 and 2.52': not ratios with x between them; expected a number, or gear and final drive such as "
        '"4.10 x 2.52"'
    ),
}  # fmt: skip


@pytest.mark.parametrize(("table", "line"), REFUSED)
def test_a_figure_that_cannot_be_meant_is_told_with_the_units_that_would_do(load: Load, table: str, line: str) -> None:
    with pytest.raises(BadInput) as caught:
        load(table, line)
    (fault,) = caught.value.faults
    assert REFUSED[table, line] in str(fault)


def all_records(model: type[BaseModel]) -> list[type[Record]]:
    inner = [found for field in model.model_fields.values() for found in models_in(field.annotation)]
    found = [one for each in inner for one in all_records(each)]
    return [model, *found] if issubclass(model, Record) else found


def test_every_text_that_a_message_names_can_be_read() -> None:
    tried = 0
    for model in set(all_records(Vehicle)):
        for key, declared in model.model_fields.items():
            for text in re.findall(r'"(.*?)"', with_examples(declared)):
                found: Any = as_declared(model, key, text)[1]
                assert isinstance(found, AsTyped), (key, text)
                assert bounds_of(declared) and unit_of(declared)
                tried += 1
    assert tried > 40


def test_a_bare_number_stays_what_it_was(load: Load) -> None:
    for written in ("1450", "1450.0", '"1450"', '" 1450 "', '"1.45e3"'):
        assert load("driveline", f"mass_kg = {written}").driveline.mass_kg == 1450
