"""Part models: what they accept, derive and refuse; the figures by hand calculation."""

from typing import Any, get_args

import pytest
from pydantic import ValidationError

from configurator.car.vehicle import (
    CarburettorTable,
    DrivelineTable,
    EngineTable,
    FuelTable,
    ManifoldTable,
    TipInTable,
    Vehicle,
)
from configurator.catalogue.limits import Limit, Limits
from configurator.catalogue.load import FAMILIES
from configurator.catalogue.parts import (
    FeedScrewFigures,
    LobeFigures,
    NozzleFigures,
    NozzlePart,
    Operation,
    PumpFigures,
    Spacer,
)
from configurator.files.declared import Basis, Record

PUMP: dict[str, Any] = {
    "diaphragm_area_mm2": 700,
    "safe_stroke_mm": 6.2,
    "spring_preload_n": 9,
    "spring_rate_n_per_mm": 1.5,
    "lever": "short",
    "depth_below_bowl_mm": 14,
}
LOBE: dict[str, Any] = {"lever": "short", "phases_deg": "0 6 12"}
STOCK = {"code": "straight-0.80", "supplier": "stores", "price": "13.50", "labour_min": "15"}
OF_VEHICLE = (
    EngineTable,
    DrivelineTable,
    ManifoldTable,
    CarburettorTable,
    FuelTable,
    TipInTable,
    Vehicle,
)
MODELS: list[type[Record]] = [*FAMILIES.values(), Limits, *OF_VEHICLE]
UNIT_OF_SUFFIX = {
    "_n_per_mm": "N/mm", "_mm2": "mm2", "_mm": "mm", "_cc": "cc", "_deg": "deg", "_min": "min", "_rpm": "rev/min",
    "_percent": "%", "_ms": "ms", "_kg": "kg", "_kpa": "kPa", "_kg_m3": "kg/m3", "_kg_m2": "kg m2", "_in_hg": "inHg",
    "_m3_min": "m3/min", "_ft3_min": "ft3/min", "_mpa_s": "mPa s",
}  # fmt: skip


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_field_says_what_it_is_and_what_it_rests_on(model: type[Record]) -> None:
    for name, declared in model.model_fields.items():
        assert declared.description, name
        extra = declared.json_schema_extra
        assert isinstance(extra, dict), name
        assert extra["basis"] in get_args(Basis), name
        suffixes = [suffix for suffix in UNIT_OF_SUFFIX if name.endswith(suffix)]
        if suffixes:
            unit = UNIT_OF_SUFFIX[max(suffixes, key=len)]
            assert extra["unit"] in (unit, f"{unit} absolute", f"{unit} vacuum"), name


def message(model: type[Record], **row: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        model.model_validate(row)
    return str(caught.value)


@pytest.mark.parametrize(
    ("cell", "diameter_mm"), [("0.80", 0.8), ("0.031 in", 0.7874), ("31 thou", 0.7874), ("#68", 0.7874)]
)
def test_a_nozzle_takes_every_way_to_write_a_size(cell: str, diameter_mm: float) -> None:
    nozzle = NozzlePart.model_validate(STOCK | {"diameter_mm": cell, "style": "straight", "redrillable": "yes"})
    assert nozzle.diameter_mm == pytest.approx(diameter_mm)
    assert nozzle.redrillable is True


def test_orifice_length_stays_where_the_discharge_coefficient_is_known() -> None:
    assert "11.2 times" in message(NozzleFigures, diameter_mm=0.8, style="aimed", length_mm=9)
    text = message(NozzleFigures, diameter_mm=2.5, style="aimed", length_mm=3)
    assert "1.2 times the orifice diameter 2.5 mm; expected 1.5 to 10 times" in text
    assert NozzleFigures.model_validate({"diameter_mm": 2.0, "style": "aimed", "length_mm": 3}).length_mm == 3


@pytest.mark.parametrize(
    "given",
    [
        {"capacity_cc": "3"},
        {"capacity_ten_strokes_cc": "30"},
        {"capacity_ten_strokes_cc": "0.03 l"},
        {"capacity_cc": 3, "capacity_ten_strokes_cc": 30},
    ],
)
def test_a_pump_takes_either_capacity_and_shows_both(given: dict[str, Any]) -> None:
    pump = PumpFigures.model_validate(PUMP | given)
    assert (pump.capacity_cc, pump.capacity_ten_strokes_cc) == pytest.approx((3, 30))
    assert pump.capacity_m3 == pytest.approx(3e-6)
    assert pump.diaphragm_area_m2 == pytest.approx(7e-4)
    assert pump.spring_rate_n_m == pytest.approx(1500)
    assert pump.code is None


def test_capacities_that_disagree_are_refused_with_both() -> None:
    text = message(PumpFigures, **PUMP, capacity_cc=3, capacity_ten_strokes_cc=50)
    assert "capacity_cc 3 and capacity_ten_strokes_cc 50 disagree" in text


def test_a_pump_without_any_capacity_is_refused() -> None:
    assert "capacity_cc" in message(PumpFigures, **PUMP)


def test_a_lobe_by_its_shape() -> None:
    lobe = LobeFigures.model_validate(LOBE | {"total_lift_mm": "3.4", "duration_deg": "55", "nose": "1.6"})
    assert (lobe.total_lift_mm, lobe.duration_deg, lobe.nose, lobe.table) == (3.4, 55.0, 1.6, ())
    assert lobe.phases_deg == (0, 6, 12)


@pytest.mark.parametrize("table", ["0:0 5:1.1 40:2.9", [[0, 0], [5, 1.1], [40, 2.9]]])
def test_a_lobe_by_its_table_says_its_lift_and_duration(table: Any) -> None:
    lobe = LobeFigures.model_validate(LOBE | {"table": table})
    assert lobe.table == ((0, 0), (5, 1.1), (40, 2.9))
    assert (lobe.total_lift_mm, lobe.duration_deg, lobe.nose) == (2.9, 40, None)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"table": "0:0 40:3", "nose": 2}, "both nose and table"),
        ({"total_lift_mm": 3, "duration_deg": 40}, "neither nose nor table"),
        ({"table": "0:0.1 40:3"}, "starts at 0:0.1; expected 0:0"),
        ({"table": "0:0 20:1 20:2 40:3"}, "increasing angles"),
        ({"table": "0:0 20:3.1 40:3"}, "lifts that never fall"),
        ({"table": "0:0 40:3", "duration_deg": 50}, "ends at 40:3; expected duration_deg:total_lift_mm, 50:3"),
        ({"table": "0:0 40"}, "angle:lift pairs"),
        ({"table": "0:0 40:3", "phases_deg": "6 0"}, "phases_deg is 6 0; expected increasing angles"),
        ({"table": "0:0 40:3", "phases_deg": "0 2 4 6"}, "at most 3 items"),
        ({"table": "0:0 40:3", "phases_deg": "-4 0"}, "from 0 to below 60"),
        ({"table": "0:0 40:nan"}, "not a plain number"),
    ],
)
def test_a_lobe_without_a_usable_shape_is_refused(row: dict[str, Any], words: str) -> None:
    assert words in message(LobeFigures, **(LOBE | row))


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ({"kind": "redrill_nozzle", "min_diameter_mm": 0.6}, "redrill_nozzle lacks max_diameter_mm"),
        ({"kind": "redrill_nozzle", "min_diameter_mm": 1.4, "max_diameter_mm": 0.6}, "expected the lesser first"),
        ({"kind": "relieve_pad", "step_mm": 0.5, "most_mm": 4, "min_diameter_mm": 0.6}, "belong to redrill_nozzle"),
        ({"kind": "relieve_pad"}, "relieve_pad lacks step_mm"),
        ({"kind": "polish"}, "'redrill_nozzle' or 'relieve_pad'"),
    ],
)
def test_an_operation_has_the_figures_of_its_kind_only(figures: dict[str, Any], words: str) -> None:
    assert words in message(Operation, code="a", price=0, labour_min=10, reversible="no", **figures)


def test_a_spacer_takes_at_least_its_thickness_under_the_bonnet() -> None:
    text = message(Spacer, code="a", supplier="b", price=1, labour_min=1, thickness_mm=13, bonnet_mm=10)
    assert "bonnet_mm 10 is less than thickness_mm 13" in text


@pytest.mark.parametrize(("value", "kept"), [("yes", True), ("FALSE", False), (True, True), ("No ", False)])
def test_yes_and_no_as_people_and_spreadsheets_write_them(value: Any, kept: bool) -> None:
    assert FeedScrewFigures.model_validate({"passage_area_mm2": 3, "free_flow": value}).free_flow is kept


@pytest.mark.parametrize("value", ["perhaps", 1, "", None])
def test_anything_else_is_neither_yes_nor_no(value: Any) -> None:
    assert "neither yes nor no" in message(FeedScrewFigures, passage_area_mm2=3, free_flow=value)


@pytest.mark.parametrize(
    "value", [True, "1_000", "3 mm", "nan", "inf", [3], "", float("nan"), float("inf"), -1, 0, 1e9]
)
def test_what_is_no_sensible_number_is_refused(value: Any) -> None:
    assert "passage_area_mm2" in message(FeedScrewFigures, passage_area_mm2=value, free_flow="no")


def test_records_are_frozen() -> None:
    screw = FeedScrewFigures.model_validate({"passage_area_mm2": 3, "free_flow": "no"})
    assert screw.passage_area_m2 == pytest.approx(3e-6)
    with pytest.raises(ValidationError, match="frozen"):
        screw.passage_area_mm2 = 4.0  # type: ignore[misc]


def test_a_limit_takes_the_unit_of_its_row_or_another() -> None:
    row = {"name": "nozzle_least_mm", "unit": "mm", "basis": "assumed", "says": "least"}
    assert Limit.model_validate(row | {"value": "20 thou"}).value == pytest.approx(0.508)
    assert Limit.model_validate(row | {"value": "0.5"}).value == 0.5
    assert "not a plain number" in message(Limit, **row, value="20 kg")
