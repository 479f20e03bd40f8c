"""Runs as files: CSV and JSON hold the same, come back exactly, and are refused whole with every fault in its place."""

import csv
import io
import json
from collections.abc import Callable
from dataclasses import fields
from datetime import datetime
from pathlib import Path
from typing import Any

import building
import pytest
import trace_making
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from runs import run
from test_book import refusal

from configurator.book.records import Conditions, Felt, TraceMeasured, Trial, car_of
from configurator.book.trial_files import COLUMNS, Format, as_text, read_trials
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS
from configurator.slots.columns import JudgedShots

CATALOG = load_catalog(shipped_catalog_dir())
EXAMPLES = [shipped_catalog_dir() / "examples" / f"{name}.toml" for name in trace_making.EXAMPLES]
FORMATS: tuple[Format, ...] = ("csv", "json")
PLAIN = run()

NUMBERS = st.floats(0, 5000, allow_nan=False)
TRACES = st.builds(TraceMeasured, hole_ms=NUMBERS, flood_ms=NUMBERS, lag_ms=NUMBERS, doubt_ms=NUMBERS)
TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc"), include_characters="\n\t"), max_size=30)
DAYS = st.builds(
    Conditions, air_temperature_c=st.none() | st.floats(-40, 60), altitude_m=st.none() | st.floats(-500, 6000),
    air_pressure_kpa=st.none() | st.floats(45, 110), warm=st.booleans(),
    fuel=st.none() | TEXTS.filter(lambda text: bool(text.strip())),
)  # fmt: skip
SAID = [(word, moment) for word, symptom in SYMPTOMS.items() for moment in (None, *symptom.moments)]
FELT = st.builds(
    lambda said, strength: Felt.model_validate({"word": said[0], "moment": said[1], "strength": strength}),
    st.sampled_from(SAID), st.sampled_from(["faint", "clear", "strong"]),
)  # fmt: skip
TIMES = st.datetimes(max_value=datetime(2026, 5, 1)).filter(lambda at: at.year > 1)
TRIALS = st.builds(
    lambda number, at, felt, day, trace, note, undone: Trial.model_validate(
        dict(PLAIN) | {"number": number, "at": at, "felt": felt, "conditions": day, "trace": trace, "note": note,
                       "undone": undone}
    ),
    st.integers(1, 10**6), TIMES, FELT, DAYS, st.none() | TRACES, TEXTS, st.booleans(),
)  # fmt: skip


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(trials=st.lists(TRIALS, min_size=1, max_size=3))
def test_what_was_exported_comes_back_exactly(trials: list[Trial], tmp_path: Path) -> None:
    for format in FORMATS:
        path = tmp_path / f"runs.{format}"
        path.write_text(as_text(trials, format), encoding="utf-8", newline="")
        assert read_trials(path, CATALOG) == trials, format


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_example_car_comes_back(path: Path, tmp_path: Path) -> None:
    trials = [run(case=Case.of(load_vehicle(path), CATALOG))]
    for format in FORMATS:
        file = tmp_path / f"runs.{format}"
        file.write_text(as_text(trials, format), encoding="utf-8", newline="")
        assert read_trials(file, CATALOG) == trials


def test_a_csv_row_is_for_people_too() -> None:
    (row,) = csv.DictReader(io.StringIO(as_text([run("smoke", note="second gear", day={"fuel": "super"})], "csv")))
    assert tuple(row) == COLUMNS
    said = {"at": "2026-05-02T10:15:00+00:00", "vehicle": "test truck", "felt": "smoke", "strength": "clear",
            "fuel": "super", "warm": "yes", "undone": "no", "note": "second gear", "hole_ms": "", "rear.nozzle": "",
            "front.nozzle": "straight-0.80, 0.80 mm (31.5 thou)", "spacer": "none"}  # fmt: skip
    assert {name: row[name] for name in said} == said


def test_a_spreadsheet_that_saves_with_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    trial = run(day={"air_pressure_kpa": 97.5, "air_temperature_c": -3.25}, clean_after_ms=240.5)
    rows = list(csv.reader(io.StringIO(as_text([trial], "csv"))))
    for place in (COLUMNS.index(name) for name in ("air_pressure_kpa", "air_temperature_c", "clean_after_ms")):
        rows[1][place] = rows[1][place].replace(".", ",")
    path = tmp_path / "runs.csv"
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        csv.writer(file, delimiter=";").writerows(rows)
    assert read_trials(path, CATALOG) == [trial]


def changed_rows(path: Path, *changes: dict[str, str | None]) -> Path:
    """A CSV of as many runs, each with some cells changed."""
    rows = list(csv.DictReader(io.StringIO(as_text([PLAIN] * len(changes), "csv"))))
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, COLUMNS)
        table.writeheader()
        table.writerows(row | change for row, change in zip(rows, changes, strict=True))
    return path


def test_every_fault_of_a_table_is_told_with_row_and_column(tmp_path: Path) -> None:
    car = json.loads(as_text([PLAIN], "json"))["trials"][0]["car"]
    no_engine = json.dumps({key: value for key, value in car.items() if key != "engine"})
    small = json.dumps(car | {"engine": car["engine"] | {"displacement_cc": 5.7}})
    path = changed_rows(
        tmp_path / "runs.csv",
        {"felt": "stumbel"}, {"at": "yesterday", "strength": "much"}, {},
        {"air_temperature_c": "hot", "warm": "perhaps"}, {"hole_ms": "120"}, {"felt": "", "strength": ""},
        {"car": "{"}, {"car": no_engine}, {"car": small}, {"vehicle": ""}, {"undone": "maybe", "altitude_m": "99999"},
        {"car": "[" * 100_000}, {"moment": "soon"}, {"felt": "flat", "moment": "at-once"},
    )  # fmt: skip
    lines = [line.removeprefix(f"{path}, ") for line in refusal(lambda: read_trials(path, CATALOG)).splitlines()]
    found = [line.partition(":")[0] for line in lines]
    assert found == [
        "row 2, column felt", "row 3, column at", "row 3, column strength", "row 5, column air_temperature_c",
        "row 5, column warm", "row 6, column flood_ms", "row 6, column lag_ms", "row 6, column doubt_ms",
        "row 7, column felt", "row 8, column car", "row 9, column car", "row 10, column car [engine] displacement_cc",
        "row 11, column vehicle", "row 12, column altitude_m", "row 12, column undone", "row 13, column car",
        "row 14, column moment", "row 15, column moment",
    ]  # fmt: skip
    assert "at-once does not go with flat" in lines[-1] and "'at-once', 'later' or 'both'" in lines[-2]
    assert "did you mean stumble?" in lines[0] and "a number at least -500 and at most 6000 m" in lines[13]


def entries(*changes: dict[str, Any]) -> str:
    (plain,) = json.loads(as_text([PLAIN], "json"))["trials"]
    return json.dumps({"schema_version": 1, "trials": [plain | change for change in changes]})


BAD_JSON = {
    "word": (entries({}, {"felt": {"word": "stumbel"}}), "trials, entry 2, felt.word: stumbel is no symptom"),
    "key": (entries({"nots": ""}), "trials, entry 1, nots: is not known here; did you mean note?"),
    "time": (entries({"at": "noon"}), "trials, entry 1, at: "),
    "car": (entries({"car": {}}), "trials, entry 1, car: is no vehicle"),
    "car's key": (entries({"car": dict(PLAIN.car) | {"nmae": "x"}}), "trials, entry 1, car.nmae: is not known here"),
    "car's assumed is text": (entries({"car": dict(PLAIN.car) | {"assumed": "much"}}), "trials, entry 1, car: is no "),
    "car's fuel is text": (
        entries({"car": dict(PLAIN.car) | {"fuel": "petrol", "assumed": {"power_air_fuel_ratio": 12.5}}}),
        "trials, entry 1, car: is no vehicle",
    ),
    "a ratio of nothing": (
        entries({"car": dict(PLAIN.car) | {"assumed": {"power_air_fuel_ratio": 0}}}),
        "trials, entry 1, car: is no ",
    ),
    "a factor in words": (entries({"car": dict(PLAIN.car) | {"demand_factor": "1,2"}}), "trials, entry 1, car: is no "),
    "car is text": (entries({"car": "roadster"}), "trials, entry 1, car: "),
    "nothing said": (entries({"felt": None}), "says neither what was felt nor what was measured"),
    "endless": (entries({"clean_after_ms": float("inf")}), "trials, entry 1, clean_after_ms"),
    "no runs": ('{"schema_version": 1}', "trials: is missing"),
    "later": ('{"schema_version": 9, "trials": []}', "was written by a later tipin (schema_version 9)"),
    "cut short": (entries({})[:-5], "cannot be read, as it is not JSON"),
    "deep": ('{"a":' * 100_000, "cannot be read, as it is not JSON"),
}


@pytest.mark.parametrize("name", BAD_JSON)
def test_a_bad_json_file(name: str, tmp_path: Path) -> None:
    text, says = BAD_JSON[name]
    path = tmp_path / "runs.json"
    path.write_text(text, encoding="utf-8")
    found = refusal(lambda: read_trials(path, CATALOG))
    assert found.startswith(str(path)) and says in found


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("at,vehicle,car,weather\n", "column weather: is not a column of this table"),
        ("at,vehicel,car\n", "column vehicle: is missing"),
        ("at\n", "column car: is missing"),
        ("[]", "column []: is not a column"),
        ("felt\0\n", "NUL bytes"),
    ],
)
def test_a_file_of_another_shape(text: str, says: str, tmp_path: Path) -> None:
    path = tmp_path / "runs.csv"
    path.write_text(text, encoding="utf-8")
    assert says in refusal(lambda: read_trials(path, CATALOG))


def test_a_file_beyond_all_bounds_is_refused_by_its_size(tmp_path: Path) -> None:
    path = tmp_path / "runs.csv"
    path.touch()
    with path.open("r+b") as file:
        file.truncate(60_000_000)
    assert "holds 60 MB; expected at most 50 MB" in refusal(lambda: read_trials(path, CATALOG))


def test_the_car_of_a_run_is_judged_as_the_case_was(tmp_path: Path) -> None:
    """Exported, imported, its case made again from the record alone: the model says the same of it."""
    case = building.case(building.vehicle(carburettor={"rated_flow_m3_min": 15}, front={"lobe": "lobe-low"}))
    path = tmp_path / "runs.json"
    path.write_text(as_text([run(case=case)], "json"), encoding="utf-8")
    (trial,) = read_trials(path, CATALOG)
    again = Case.of(car_of(trial), building.catalog())
    one, other = shots(case), shots(again)
    assert one.regions is not None and other.regions is not None
    assert one.regions.bits.tobytes() == other.regions.bits.tobytes() and one.regions.bits.any()
    for figure in (item.name for item in fields(one) if item.name != "regions"):
        assert getattr(one, figure) == pytest.approx(getattr(other, figure), nan_ok=True), figure


def shots(case: Case) -> JudgedShots:
    listed = {slot: (option,) for slot, option in case.as_fitted.items()}
    return case.columns("front", listed, with_regions=True).shot


def imported(path: Path, change: Callable[[dict[str, Any]], object]) -> Path:
    """A file with one run, changed by hand."""
    content = json.loads(as_text([PLAIN], "json"))
    change(content["trials"][0])
    path.write_text(json.dumps(content), encoding="utf-8")
    return path


def front(kept: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = kept["car"]["fitted"]["front"]
    return found


NEVER_ENTERED: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "a nozzle that is none": (
        lambda kept: front(kept).update(nozzle="x"), "1, car, [fitted.front] nozzle: the catalogue has no x",
    ),
    "a lever that nobody has": (lambda kept: front(kept)["pump"].update(lever="elbow"), "no part has a lever 'elbow'"),
    "an assumed figure that is none": (lambda kept: kept["car"].update(assumed={"wobble_mm": 1}), "has no such figure"),
    "a day to come": (lambda kept: kept.update(at="2999-05-02T10:15:00Z"), "at: 2999-05-02 10:15 is still to c"),
    "a time in seconds": (lambda kept: kept.update(at=1_700_000_000), "entry 1, at: "),
    "a time beyond the calendar": (lambda kept: kept.update(at="0001-01-01T00:00:00+14:00"), "entry 1, at: "),
    "another car's name": (
        lambda kept: kept.update(vehicle="test van"),
        "entry 1, vehicle: found 'test van', and its car is called 'test truck'; expected the same name in both",
    ),
    "a slot that is none": (lambda kept: kept["codes"].update({"middle.nozzle": "x"}), "middle.nozzle: is no slot"),
    "a circuit it has not": (lambda kept: kept["codes"].update({"rear.nozzle": "x"}), "its car has no rear pump"),
    "a label beyond all": (lambda kept: kept["codes"].update({"front.nozzle": "x" * 201}), "is no name of a part"),
    "a label of two lines": (lambda kept: kept["codes"].update({"front.nozzle": "x\ny"}), "is no name of a part"),
    "a note beyond all": (lambda kept: kept.update(note="x" * 2001), "entry 1, note: "),
    "a later format": (lambda kept: kept.update(car_format=2), "was kept by a later tipin (format 2)"),
}  # fmt: skip


@pytest.mark.parametrize("name", NEVER_ENTERED)
def test_what_nobody_could_have_entered_is_not_imported(name: str, tmp_path: Path) -> None:
    change, says = NEVER_ENTERED[name]
    path = imported(tmp_path / "runs.json", change)
    text = refusal(lambda: read_trials(path, building.catalog()))
    assert text.startswith(f"{path}, trials, entry 1, ") and says in text


def test_a_part_by_its_code_is_kept_by_its_figures(tmp_path: Path) -> None:
    """So that the run stays what it was, whatever becomes of the catalogue."""
    path = imported(tmp_path / "runs.json", lambda kept: front(kept).update(nozzle="straight-0.80"))
    (trial,) = read_trials(path, building.catalog())
    nozzle = trial.car["fitted"]["front"]["nozzle"]
    assert nozzle["diameter"] == 0.8 and nozzle["style"] == "straight"
    assert (trial.codes, trial.felt) == (PLAIN.codes, PLAIN.felt)
    assert read_trials(path, building.catalog()) == [trial], "the same file twice is the same run"
