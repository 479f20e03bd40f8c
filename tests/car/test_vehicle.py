"""Vehicle files: the shipped examples, defaults, and codes replaced by parts."""

from collections.abc import Callable
from pathlib import Path

import pytest

from configurator.car.fitted import resolve_fitted
from configurator.car.vehicle import Vehicle, load_vehicle
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.catalogue.parts import Pump
from configurator.errors import BadInput
from configurator.physics.lateness import AXIS, Lateness

EXAMPLES = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))
LEAST = """
name = "Least that an owner must say"
[engine]
displacement_cc = 2000
idle_rpm = 800
[driveline]
transmission = "free"
[carburettor]
barrels = 2
rated_flow_ft3_min = 300
[fitted.front]
nozzle = "aimed-0.80"
feed_screw = "screw-plain"
pump = "pump-3cc"
lobe = "lobe-fell"
phase_deg = 6
"""
Load = Callable[[str], Vehicle]


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog(shipped_catalog_dir())


@pytest.fixture
def load(tmp_path: Path) -> Load:
    def from_text(text: str) -> Vehicle:
        path = tmp_path / "car.toml"
        path.write_text(text, encoding="utf-8")
        return load_vehicle(path)

    return from_text


def test_there_are_four_examples() -> None:
    assert [path.stem for path in EXAMPLES] == ["hill-climber", "roadster", "tow-truck", "van"]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_loads_and_its_parts_are_found(path: Path, catalog: Catalog) -> None:
    vehicle = load_vehicle(str(path))
    fitted = resolve_fitted(vehicle, catalog)
    assert vehicle.file == str(path)
    assert len(vehicle.note.strip().splitlines()) in (2, 3)
    assert [circuit.name for circuit in fitted.circuits] == ["front", "rear"][: len(fitted.circuits)]


def test_examples_differ_enough(catalog: Catalog) -> None:
    vehicles = {path.stem: load_vehicle(path) for path in EXAMPLES}
    fitted = {name: resolve_fitted(vehicle, catalog) for name, vehicle in vehicles.items()}
    assert {vehicle.driveline.transmission for vehicle in vehicles.values()} == {"manual", "converter"}
    assert fitted["hill-climber"].rear is not None
    assert fitted["hill-climber"].spacer == catalog.spacers["spacer-13"]
    assert fitted["hill-climber"].front.lobe.code is None
    assert vehicles["tow-truck"].carburettor.barrels == 4
    assert fitted["tow-truck"].rear is None
    van = fitted["van"].front.nozzle
    assert (van.code, van.redrilled, van.measured, van.style) == (None, True, False, "aimed")
    assert not vehicles["van"].confirmed.float_level


def test_least_that_an_owner_must_say_gets_the_defaults(load: Load, catalog: Catalog) -> None:
    vehicle = load(LEAST)
    assert vehicle.manifold_volume_m3 == pytest.approx(0.8 * 2000e-6)
    assert vehicle.manifold.pad_clearance_mm is None
    assert (vehicle.engine.volumetric_efficiency, vehicle.engine.air_temperature_c) == (0.82, None)
    assert (vehicle.fuel.density_kg_m3, vehicle.tip_in.start, vehicle.engine_as_told) == (740, "idle", Lateness(1, 1))
    assert vehicle.assumed == {}
    front = resolve_fitted(vehicle, catalog).front
    assert front.pump == catalog.pumps["pump-3cc"]
    assert isinstance(front.pump, Pump)
    assert (front.phase_deg, front.slack_mm, front.overtravel_mm) == (6, None, None)


def test_rated_flow_and_depression_in_si(load: Load) -> None:
    """300 cubic feet a minute are 0.14158 m3/s and 1 inHg is 3386.389 Pa (conversion tables)."""
    two = load(LEAST).carburettor
    assert two.rated_flow_m3_s == pytest.approx(0.141584, abs=1e-6)
    assert two.test_depression_pa == pytest.approx(3 * 3386.389)
    four = load(
        LEAST.replace("barrels = 2", "barrels = 4").replace("rated_flow_ft3_min = 300", "rated_flow_m3_min = 12")
    ).carburettor
    assert four.rated_flow_m3_s == pytest.approx(0.2)
    assert four.test_depression_pa == pytest.approx(1.5 * 3386.389)
    assert four.rear_start_deg == 30
    said = load(LEAST.replace("barrels = 2", "barrels = 2\ntest_depression_in_hg = 1.5")).carburettor
    assert said.test_depression_pa == pytest.approx(1.5 * 3386.389)


def test_sizes_and_lengths_with_units(load: Load) -> None:
    vehicle = load(
        LEAST + 'nozzle_measured = "31 thou"\novertravel_mm = "15 thou"\n[manifold]\nbonnet_clearance_mm = "0.5 in"'
    )
    assert vehicle.fitted.front.nozzle_measured == pytest.approx(0.7874)
    assert vehicle.fitted.front.overtravel_mm == pytest.approx(0.381)
    assert vehicle.manifold.bonnet_clearance_mm == pytest.approx(12.7)


def test_a_measured_nozzle_keeps_its_stamp(load: Load, catalog: Catalog) -> None:
    nozzle = resolve_fitted(load(LEAST + 'nozzle_measured = "0.83 mm"'), catalog).front.nozzle
    assert (nozzle.code, nozzle.diameter_mm, nozzle.stamped_diameter_mm) == ("aimed-0.80", 0.83, 0.80)
    assert nozzle.measured
    with pytest.raises(BadInput, match=r"for aimed-0.80, length_mm 3 is 12.0 times the orifice diameter 0.25 mm"):
        resolve_fitted(load(LEAST + "nozzle_measured = 0.25"), catalog)
    unmeasured = resolve_fitted(load(LEAST), catalog).front.nozzle
    assert (unmeasured.diameter_mm, unmeasured.measured, unmeasured.redrilled) == (0.80, False, False)


def test_parts_without_codes_by_their_figures(load: Load, catalog: Catalog) -> None:
    text = LEAST.replace('"aimed-0.80"', '{ diameter = "#65", style = "straight", redrilled = true, measured = true }')
    text = text.replace('"screw-plain"', "{ passage_area_mm2 = 3.3, free_flow = false }")
    text = text.replace('"lobe-fell"', '{ table = [[0, 0], [10, 1.4], [50, 3.5]], lever = "short", phases_deg = [6] }')
    text = text.replace(
        '"pump-3cc"',
        "{ capacity_ten_strokes_cc = 31, diaphragm_area_mm2 = 690, safe_stroke_mm = 6, spring_preload_n = 8, "
        'spring_rate_n_per_mm = 1.4, lever = "short", depth_below_bowl_mm = 15 }',
    ).replace("phase_deg = 6\n", "")
    front = resolve_fitted(load(text), catalog).front
    assert front.nozzle.diameter_mm == pytest.approx(0.889)
    assert (front.nozzle.code, front.feed_screw.code, front.pump.code, front.lobe.code) == (None,) * 4
    assert front.nozzle.stamped_diameter_mm is None
    assert (front.pump.capacity_cc, front.lobe.total_lift_mm, front.phase_deg) == pytest.approx((3.1, 3.5, 6))


def test_the_phase_is_asked_for_where_a_lobe_has_several(load: Load, catalog: Catalog) -> None:
    vehicle = load(LEAST.replace("phase_deg = 6\n", ""))
    with pytest.raises(BadInput, match=r"\[fitted.front\] phase_deg: is missing; expected .* 0 or 6 or 12"):
        resolve_fitted(vehicle, catalog)


def test_a_converter_stalls_above_where_the_tip_in_starts(load: Load) -> None:
    text = LEAST.replace('transmission = "free"', 'transmission = "converter"\nstall_rpm = 1500')
    assert load(text).driveline.stall_rpm == 1500
    with pytest.raises(BadInput, match=r"stall_rpm 1500 with engine.idle_rpm 1500; expected a stall speed above that"):
        load(text.replace("idle_rpm = 800", "idle_rpm = 1500"))
    cruise = text + '[tip_in]\nstart = "cruise"\ncruise_rpm = '
    with pytest.raises(BadInput, match=r"stall_rpm 1500 with tip_in.cruise_rpm 1600; expected a stall speed above"):
        load(cruise + "1600")
    # What it does not start from does not matter
    assert load(cruise + "1400").tip_in.cruise_rpm == 1400
    assert load(text + "[tip_in]\ncruise_rpm = 1600").tip_in.start == "idle"


@pytest.mark.parametrize(("first", "main"), [(0.45, 2.22), (1.7, 0.8)])
def test_the_two_unknowns_are_those_that_engines_are_looked_for_in(load: Load, first: float, main: float) -> None:
    assert (AXIS[0], AXIS[-1]) == pytest.approx((0.45, 2.22))
    vehicle = load(f"late_first_fuel = {first}\nlate_main_circuit = {main}\n{LEAST}")
    assert vehicle.engine_as_told == Lateness(first, main)


@pytest.mark.parametrize("key", ["late_first_fuel", "late_main_circuit"])
@pytest.mark.parametrize("beyond", [0.44, 2.23])
def test_an_engine_that_nobody_looks_for_is_refused(load: Load, key: str, beyond: float) -> None:
    with pytest.raises(BadInput, match=rf"{key}: found {beyond}; expected a number at least 0.45 and at most 2.22"):
        load(f"{key} = {beyond}\n{LEAST}")


def test_the_one_demand_factor_of_an_earlier_version_is_told_what_took_its_place(load: Load) -> None:
    with pytest.raises(BadInput) as caught:
        load(f"demand_factor = 1.2\n{LEAST}")
    (fault,) = caught.value.faults
    assert (fault.place, fault.problem) == ("demand_factor", "is a key no more")
    assert "late_first_fuel" in fault.remedy and "late_main_circuit" in fault.remedy
    with pytest.raises(BadInput, match=r"late_first_feul: is not known here; did you mean late_first_fuel\?"):
        load(f"late_first_feul = 1.2\n{LEAST}")


def test_jets_are_for_the_place_of_the_engine_unless_said(load: Load) -> None:
    assert load(LEAST).carburettor.jetted_altitude_m is None
    said = load(LEAST.replace("barrels = 2", "barrels = 2\njetted_altitude_m = 900"))
    assert said.carburettor.jetted_altitude_m == 900


def test_assumed_figures_are_kept_by_name(load: Load) -> None:
    assert load(LEAST + "[assumed]\nlip_mm = 9\nbooster_gain = 3.5").assumed == {"lip_mm": 9, "booster_gain": 3.5}


REFUSED = {
    "forced induction": (
        "idle_rpm = 800", 'idle_rpm = 800\ninduction = "forced"',
        "[engine] induction: the model knows engines that draw the air around them, and none that a blower or turbo "
        "feeds; expected natural, for an engine without one",
    ),
    "a rear pair that vacuum opens": (
        "barrels = 2", 'barrels = 4\nrear = "vacuum"',
        "[carburettor] rear: a rear pair that vacuum opens comes when the engine asks for its air, not with the pedal, "
        "and the model does not know when; expected linked, for a rear pair that the front one opens",
    ),
    "two idle pressures": (
        "idle_rpm = 800", "idle_rpm = 800\nidle_pressure_kpa = 40\nidle_vacuum_in_hg = 17",
        "[engine]: idle_pressure_kpa and idle_vacuum_kpa together; expected one of them",
    ),
    "an idle pressure that none has": (
        "idle_rpm = 800", "idle_rpm = 800\nidle_pressure_kpa = 18",
        "[engine] idle_pressure_kpa: found 18; expected a number at least 30 and at most 70 kPa absolute",
    ),
    "no carburettor": (
        "barrels = 2", "barrels = 2\ncount = 0",
        "[carburettor] count: found 0; expected a whole number at least 1 and at most 12",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_judged_is_refused_in_words(load: Load, name: str) -> None:
    found, written, says = REFUSED[name]
    with pytest.raises(BadInput) as caught:
        load(LEAST.replace(found, written))
    assert says in str(caught.value)
    assert len(caught.value.faults) == 1


def test_a_vacuum_gauge_is_read_in_inches_or_millimetres(load: Load) -> None:
    """An inch of mercury is 3.386389 kPa, and 25.4 mm."""
    for key, figure in (("idle_vacuum_in_hg", 18.0), ("idle_vacuum_mm_hg", 18.0 * 25.4)):
        engine = load(LEAST.replace("idle_rpm = 800", f"idle_rpm = 800\n{key} = {figure}")).engine
        assert engine.idle_vacuum_kpa == pytest.approx(18.0 * 3.386389, rel=1e-9)
    assert load(LEAST).engine.idle_vacuum_kpa is None


def test_several_carburettors_pass_the_air_of_all(load: Load) -> None:
    one, two = (load(LEAST.replace("barrels = 2", f"barrels = 2\ncount = {count}")) for count in (1, 2))
    assert two.flow_per_litre == pytest.approx(2.0 * one.flow_per_litre)
