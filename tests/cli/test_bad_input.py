"""Bad input of every kind: the loaders raise BadInput, and its message says what, where and what is expected."""

import csv
import os
import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from configurator.car.fitted import resolve_fitted
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import FAMILIES, MAY_BE_ABSENT, load_catalog, shipped_catalog_dir
from configurator.errors import BadInput

EXAMPLES = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))
FILES = [*EXAMPLES, *(shipped_catalog_dir() / f"{family}.csv" for family in FAMILIES)]
LARGEST = {".toml": "5 MB", ".csv": "50 MB"}
Ruin = Callable[[Path], object]
each_file = pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
each_example = pytest.mark.parametrize("file", EXAMPLES, ids=lambda file: file.stem)


@pytest.fixture
def copy(tmp_path: Path) -> Callable[[Path], Path]:
    """Copies of the whole catalogue and the examples; the copy of one file is returned."""

    def copied(file: Path) -> Path:
        for source in FILES:
            shutil.copy(source, tmp_path)
        return tmp_path / file.name

    return copied


def load(path: Path) -> None:
    """What a command does with this file: a vehicle with its parts looked up, or a whole catalogue."""
    if path.suffix == ".toml":
        resolve_fitted(load_vehicle(path), load_catalog(shipped_catalog_dir()))
    else:
        load_catalog(path.parent)


def refusal(path: Path) -> str:
    with pytest.raises(BadInput) as caught:
        load(path)
    text = str(caught.value)
    assert str(path) in text
    assert not any(fault.problem == "" for fault in caught.value.faults)
    return text


def write_cells(path: Path, code: str, cells: dict[str, str]) -> int:
    """Write into the row of this code, and say which row of the spreadsheet that is."""
    with path.open(encoding="utf-8", newline="") as file:
        heading, *rows = csv.reader(file)
    number = [row[0] for row in rows].index(code)
    for column, text in cells.items():
        rows[number][heading.index(column)] = text
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([heading, *rows])
    return number + 2


def make_directory(path: Path) -> None:
    path.unlink()
    path.mkdir()


def make_pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


RUINS: dict[str, tuple[Ruin, str]] = {
    "missing": (lambda path: path.unlink(), "there is no such file"),
    "empty": (lambda path: path.write_bytes(b""), "is empty; expected"),
    "blank": (lambda path: path.write_text(" \n\n\t\n"), "is empty; expected"),
    "not UTF-8": (lambda path: path.write_bytes(path.read_bytes() + b"\n# na\xefve"), "is not UTF-8 text (byte 0xef)"),
    "UTF-16": (lambda path: path.write_bytes(path.read_text().encode("utf-16-le")), "NUL bytes"),
    "binary": (lambda path: path.write_bytes(bytes(range(256)) * 20), "NUL bytes, so it is no text file; expected"),
    "60 MB": (lambda path: os.truncate(path, 60_000_000), "holds 60 MB; expected at most {largest}"),
    "directory": (make_directory, "is a directory; expected a file"),
    "pipe": (make_pipe, "is not an ordinary file; expected a file"),
}


@each_file
@pytest.mark.parametrize("ruin", RUINS)
def test_a_ruined_file(file: Path, ruin: str, copy: Callable[[Path], Path]) -> None:
    path = copy(file)
    work, words = RUINS[ruin]
    work(path)
    if ruin == "missing" and path.stem in MAY_BE_ABSENT:
        assert not getattr(load_catalog(path.parent), path.stem), "a catalogue can do without it"
        return
    assert words.format(largest=LARGEST[file.suffix]) in refusal(path)


def test_a_large_file_is_never_read(copy: Callable[[Path], Path], monkeypatch: pytest.MonkeyPatch) -> None:
    path = copy(EXAMPLES[0])
    os.truncate(path, 50_000_000)
    monkeypatch.setattr(Path, "read_bytes", lambda self: pytest.fail("it was read"))
    with pytest.raises(BadInput, match="50 MB"):
        load_vehicle(path)


def test_a_file_without_permission(monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(self: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", denied)
    with pytest.raises(BadInput, match=r"van.toml: cannot be read \(Permission denied\)"):
        load_vehicle(EXAMPLES[-1])


@pytest.mark.parametrize("name", ["car\0.toml", "x" * 5000, ""])
def test_a_name_that_is_none(name: str) -> None:
    with pytest.raises(BadInput):
        load_vehicle(name)
    with pytest.raises(BadInput):
        load_catalog(Path(name) / "deeper")


def test_the_name_of_a_neighbouring_file_is_offered(copy: Callable[[Path], Path]) -> None:
    path = copy(EXAMPLES[1])
    assert "did you mean roadster.toml?" in refusal(path.with_name("roadstar.toml"))


@pytest.mark.parametrize(
    ("name", "words"), [("nowhere", "there is no such directory"), ("van.toml", "is not a directory")]
)
def test_a_catalogue_that_is_no_directory(name: str, words: str, copy: Callable[[Path], Path]) -> None:
    directory = copy(EXAMPLES[0]).with_name(name)
    with pytest.raises(BadInput) as caught:
        load_catalog(directory)
    assert f"{directory}: {words}; expected a catalogue directory with nozzles.csv" in str(caught.value)


# Vehicle files ---------------------------------------------------------------------------------------------------

FRONT_PUMP = "[fitted.front] pump"
IN_EVERY_EXAMPLE: list[tuple[str, str, str]] = [
    ("[engine]", "[engine", "is not TOML: "),
    ("[engine]", "[engine]\nidle_rpm = 1", "is not TOML: "),
    ("[engine]", "x = " + "[" * 5000 + "\n[engine]", "is nested too deeply"),
    ("[engine]", "a." * 100_000 + "a = 1\n[engine]", "is nested too deeply"),
    ("[engine]", "[engine]\nidle_rmp = 800", "[engine] idle_rmp: is not known here; did you mean idle_rpm?"),
    ("[engine]", "[engnie]", "engnie: is not known here; did you mean engine?"),
    ("[engine]", "[[engine]]", "[engine]: found a list; expected a table of keys and values"),
    ("displacement_cc", "#", "[engine] displacement_cc: is missing; expected a number above 50 and below 30000 cc"),
    ("displacement_cc =", 'displacement_cc = "2 hp" #',
     "displacement_cc: found '2 hp': 'hp' is no unit of volume; expected a number"),
    ("displacement_cc =", "displacement_cc = -2000 #",
     "[engine] displacement_cc: found -2000; expected a number above 50"),
    ("displacement_cc =", "displacement_cc = nan #", "[engine] displacement_cc: found nan; expected a number above 50"),
    ("displacement_cc =", "displacement_cc = inf #", "[engine] displacement_cc: found inf; expected a number above 50"),
    ("displacement_cc =", "displacement_cc = 2e9 #", "displacement_cc: found 2000000000.0; expected a number above 50"),
    ("displacement_cc =", "displacement_cc = true #", "displacement_cc: found true: not a number; expected a number"),
    ("displacement_cc =", f"displacement_cc = 0x{'f' * 9000} #", "found a number of thousands of digits; expected"),
    ("displacement_cc =", f"displacement_cc = {'9' * 9000} #", "is not TOML: "),
    ("transmission =", 'transmission = "manuel" #',
     "transmission: found 'manuel'; expected 'manual', 'converter' or 'free'"),
    ("barrels =", "barrels = 3 #", "[carburettor] barrels: barrels is 3; expected 2 or 4"),
    ("distance_to_valves_mm =", 'distance_to_valves_mm = "9 kg" #',
     "'kg' is no unit of length; expected a number at least 20"),
    ("opening_time_s =", "opening_time_s = 15 #", "[tip_in] opening_time_s: found 15; expected a number at least 0.02"),
    ("\npump =", '\npump = "pump-33cc" #',
     f"{FRONT_PUMP}: the catalogue has no pump-33cc; expected the code of a pump"),
    ("\npump =", '\npump = "lobe-beck" #', f"{FRONT_PUMP}: 'lobe-beck' is a lobe; expected the code of a pump"),
    ("\npump =", "\npump = 3 #", f"{FRONT_PUMP}: found 3; expected code of the pump, standard or large, or"),
    ("\npump =", '\npump = { code = "pump-3cc", lever = "short" } #',
     f"{FRONT_PUMP}: a code and measured figures together"),
    ("\npump =", '\npump = { levr = "short" } #', "pump.levr: is not known here; did you mean lever?"),
    ("\nfeed_screw =", '\nfeed_screw = "Screw" #', "found 'Screw'; expected a code of lower case letters"),
    ("phase_deg =", "phase_deg = -6 #",
     "[fitted.front] phase_deg: found -6; expected a number at least 0 and below 60 deg"),
    ("\nnozzle =", '\nnozzle = { diameter = "31", style = "straight" } #', 'did you mean "31 thou"'),
    ("\nnozzle =", '\nnozzle = { diameter = "#81", style = "straight" } #',
     "[fitted.front] nozzle.diameter: found '#81'"),
    ("\nnozzle =", '\nnozzle = { diameter = 2.5, style = "straight" } #',
     "[fitted.front] nozzle: length_mm 3 is 1.2 times"),
    ("\nnozzle =", '\nnozzle = { diameter_mm = 0.8, style = "straight" } #', "did you mean diameter?"),
]  # fmt: skip


@each_example
@pytest.mark.parametrize(("old", "new", "words"), IN_EVERY_EXAMPLE, ids=lambda text: str(text)[:30])
def test_a_fault_in_a_vehicle_file(file: Path, old: str, new: str, words: str, copy: Callable[[Path], Path]) -> None:
    path = copy(file)
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    assert words in refusal(path)


REAR = """[fitted.rear]
nozzle = "straight-0.80"
feed_screw = "screw-plain"
pump = "pump-3cc"
lobe = "lobe-fell"
phase_deg = 6
"""
IN_ONE_EXAMPLE = [
    ("roadster", "mass_kg", "stall_rpm = 2000\nmass_kg",
     "stall_rpm with transmission manual; expected with a converter"),
    ("tow-truck", "stall_rpm =", "stall_rpm = 501 #", "driveline.stall_rpm 501 with engine.idle_rpm"),
    ("tow-truck", "[tip_in]", "[tip_in]\nstart = \"cruise\"\ncruise_rpm = 6990",
     "with tip_in.cruise_rpm 6990; expected a stall speed above that"),
    ("tow-truck", "phase_deg =", "#",
     "[fitted.front] phase_deg: is missing; expected the mounting phase in use: 0 or"),
    ("tow-truck", "slack_mm =", "slack_mm = 1\npreload_mm = 1 #", "slack_mm and preload_mm are both above 0"),
    ("tow-truck", "[engine]", "late_first_fuel = 0.44\n[engine]",
     "late_first_fuel: found 0.44; expected a number at least 0.45 and at most 2.22"),
    ("tow-truck", "[engine]", "late_main_circuit = 2.3\n[engine]",
     "late_main_circuit: found 2.3; expected a number at least 0.45 and at most 2.22"),
    ("tow-truck", "[carburettor]", "[carburettor]\njetted_altitude_m = 6500",
     "[carburettor] jetted_altitude_m: found 6500; expected a number at least -500 and at most 6000 m"),
    ("van", "[tip_in]", REAR + "[tip_in]", "a rear circuit in [fitted.rear] with barrels 2"),
    ("hill-climber", "barrels = 4", "barrels = 2", "[carburettor]: rear_opens_at_deg with barrels 2"),
    ("hill-climber", "rated_flow_m3_min", "rated_flow_ft3_min = 848\nrated_flow_m3_min", "says the same as rated_flow"),
    ("hill-climber", "nozzle_styles =", 'nozzle_styles = ["strait"] #', "nozzle_styles, value 1: found 'strait'"),
    ("hill-climber", "nozzle_styles =", "nozzle_styles = [] #",
     "[carburettor] nozzle_styles: found a list; expected 1 or more values"),
    ("hill-climber", "nozzle_measured =", 'nozzle_measured = "38 thoo" #',
     "[fitted.front] nozzle_measured: found '38 thoo': 'thoo' is no unit"),
    ("hill-climber", "nozzle_measured =", "nozzle_measured = 0.25 #",
     ", length_mm 3 is 12.0 times the orifice diameter 0.25 mm; expected 1.5 to 10 times"),
    ("hill-climber", "table =", 'table = "0:0 5-0.8 10:1.5" #',
     "[fitted.front] lobe.table: found '0:0 5-0.8 10:1.5"),
    ("hill-climber", "table =", 'table = "0:0 30:3.5 20:2.6" #',
     "[fitted.front] lobe: table has an angle that is not greater"),
    ("hill-climber", "spacer =", 'spacer = "spacer-133" #', "[fitted] spacer: the catalogue has no spacer-133"),
    ("hill-climber", "[fitted.rear]", "[fitted.raer]", "[fitted] raer: is not known here; did you mean rear?"),
    ("van", "nozzle = {", "nozzle = {\n", "is not TOML: "),
    ("van", "[tip_in]", "[assumed]\nlip_mm = \"high\"\n[tip_in]", "[assumed] lip_mm: found 'high': not a plain number"),
    ("van", "[tip_in]", "[assumed]\nlip_mm = nan\n[tip_in]", "[assumed] lip_mm: found nan; expected a finite number"),
    ("van", "jets_redrilled =", 'jets_redrilled = "some" #', "jets_redrilled: found 'some': neither yes nor no"),
]  # fmt: skip


@pytest.mark.parametrize(("stem", "old", "new", "words"), IN_ONE_EXAMPLE, ids=lambda text: str(text)[:30])
def test_a_fault_in_one_example(stem: str, old: str, new: str, words: str, copy: Callable[[Path], Path]) -> None:
    path = copy(Path(f"{stem}.toml"))
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    assert words in refusal(path)


def test_all_faults_of_a_vehicle_file_at_once(copy: Callable[[Path], Path]) -> None:
    path = copy(EXAMPLES[1])
    text = path.read_text(encoding="utf-8").replace("displacement_cc =", "displacement_cc = -1\nidle = 2 #", 1)
    path.write_text(text.replace("barrels =", "barrels = 2.5 #", 1), encoding="utf-8")
    assert len(refusal(path).splitlines()) == 3


# Catalogue files -------------------------------------------------------------------------------------------------

IN_A_TABLE = [
    ("nozzles", "diameter_mm", "diametre_mm",
     "column diametre_mm: is not a column of this table; did you mean diameter_mm?"),
    ("nozzles", "diameter_mm", "x," * 100, "row 1: has 109 columns in its heading; expected at most 100"),
    ("nozzles", "diameter_mm", "style", "row 1: has two columns style; expected each column once"),
    ("nozzles", ",yes\n", ",yes,and more\n", "row 2: holds 'and more' under no heading; expected cells under the 9"),
    ("nozzles", ",yes\n", ',"yes\n', "is not a table: "),
]  # fmt: skip
# family, code or name of the row, column, what is written there, what is said of it after the row's number
IN_A_CELL = [
    ("nozzles", "straight-0.60", "diameter_mm", "0.60 kg",
     ", column diameter_mm: found '0.60 kg': 'kg' is no unit of length"),
    ("nozzles", "straight-0.60", "diameter_mm", "60", ", column diameter_mm: found '60': 60 mm is no orifice"),
    ("nozzles", "straight-0.60", "diameter_mm", "9.5",
     ", column diameter_mm: found 9.5; expected a number above 0.2 and below 3 mm"),
    ("nozzles", "straight-0.60", "diameter_mm", "-0.60",
     ", column diameter_mm: found '-0.60': a size cannot be negative"),
    ("nozzles", "straight-0.60", "diameter_mm", "nan", ", column diameter_mm: found 'nan': not a number with a unit"),
    ("nozzles", "straight-0.60", "diameter_mm", "", ", column diameter_mm: is missing; expected a number above 0.2"),
    ("nozzles", "straight-0.60", "orifices", "2.5",
     ", column orifices: found '2.5'; expected a whole number at least 1"),
    ("nozzles", "straight-0.60", "price", "inf",
     ", column price: found 'inf': not a plain number; expected a number at least 0"),
    ("nozzles", "straight-0.60", "price", "-1",
     ", column price: found '-1'; expected a number at least 0 and below 100000 currency"),
    ("nozzles", "straight-0.60", "price", "£13.50", ", column price: found '£13.50': not a plain number"),
    ("nozzles", "straight-0.60", "redrillable", "perhaps",
     ", column redrillable: found 'perhaps': neither yes nor no"),
    ("nozzles", "straight-0.62", "code", "straight-0.60",
     ", column code: 'straight-0.60' is already used in nozzles.csv row 2"),
    ("nozzles", "straight-0.62", "code", "Straight 0.62",
     ", column code: found 'Straight 0.62'; expected a code of lower"),
    ("nozzles", "straight-0.60", "style", "strait",
     ", column style: found 'strait'; expected 'straight' or 'aimed'"),
    ("lobes", "lobe-beck", "code", "screw-plain",
     ", column code: 'screw-plain' is already used in feed_screws.csv row 2"),
    ("feed_screws", "screw-plain", "supplier", "nord-shelf",
     ", column supplier: no supplier has the code nord-shelf; did you mean north-shelf?"),
    ("pumps", "pump-3cc", "capacity_ten_strokes_cc", "50",
     ": capacity_cc 3 and capacity_ten_strokes_cc 50 disagree; expected ten times"),
    ("pumps", "pump-3cc", "capacity_cc capacity_ten_strokes_cc", "", ", column capacity_cc: is missing"),
    ("pumps", "pump-5cc", "comes_with", "screw-freeflo lobe-force",
     ", column comes_with: no part has the code screw-freeflo; did you mean screw-freeflow?"),
    ("pumps", "pump-5cc", "comes_with", "pump-5cc",
     ", column comes_with: pumps come with each other in a circle: pump-5cc -> pump-5cc"),
    ("lobes", "lobe-edge", "lever", "longer",
     ", column lever: no pump has a lever 'longer'; expected one of long, short; did you mean long?"),
    ("lobes", "lobe-beck", "nose table", "", ": neither nose nor table; expected one of them"),
    ("lobes", "lobe-tarn", "table", "0:0 4/0.5 8:1.0", ", column table: found '0:0 4/0.5 8:1.0"),
    ("lobes", "lobe-beck", "phases_deg", "12 6 0", ": phases_deg is 12 6 0; expected increasing angles"),
    ("lobes", "lobe-beck", "phases_deg", "0 6 12 18",
     ", column phases_deg: found '0 6 12 18'; expected at most 3 values"),
    ("lobes", "lobe-beck", "phases_deg", "0 x 12", ", column phases_deg: found 'x': not a plain number"),
    ("spacers", "spacer-6", "bonnet_mm", "0.68", ": bonnet_mm 0.68 is less than thickness_mm 6"),
    ("spacers", "spacer-6", "thickness_mm", "6 kg", ", column thickness_mm: found '6 kg': 'kg' is no unit"),
    ("consumables", "gasket-nozzle", "joint", "nozle_seat",
     ", column joint: found 'nozle_seat'; expected 'nozzle_seat',"),
    ("operations", "redrill-nozzle", "max_diameter_mm", "",
     ": redrill_nozzle lacks max_diameter_mm; expected both"),
    ("suppliers", "north-shelf", "name", "", ", column name: is missing; expected name"),
    ("limits", "smoke_most_ms", "name", "smoke_most_m",
     ", column name: there is no limit smoke_most_m; did you mean smoke_most_ms?"),
    ("limits", "screw_cut_most_percent", "unit", "mm",
     ", column unit: screw_cut_most_percent is given in 'mm'; expected %"),
    ("limits", "screw_cut_most_percent", "value", "1000",
     ", column value: found 1000.0; expected a number at least 0.5 and at most 60 %"),
    ("limits", "screw_cut_most_percent", "value", "ten", ", column value: found 'ten': not a plain number"),
    ("limits", "screw_cut_most_percent", "basis", "hearsay",
     ", column basis: found 'hearsay'; expected 'published',"),
    ("limits", "smoke_most_ms", "name", "delay_most_ms",
     ", column name: 'delay_most_ms' is already used in limits.csv row 14"),
]  # fmt: skip


@pytest.mark.parametrize(("family", "old", "new", "words"), IN_A_TABLE, ids=lambda text: str(text)[:30])
def test_a_fault_in_a_table(family: str, old: str, new: str, words: str, copy: Callable[[Path], Path]) -> None:
    path = copy(Path(f"{family}.csv"))
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    assert words in refusal(path)


@pytest.mark.parametrize(("family", "code", "columns", "new", "words"), IN_A_CELL, ids=lambda text: str(text)[:30])
def test_a_fault_in_a_cell(
    family: str, code: str, columns: str, new: str, words: str, copy: Callable[[Path], Path]
) -> None:
    path = copy(Path(f"{family}.csv"))
    row = write_cells(path, code, dict.fromkeys(columns.split(), new))
    assert f"{path}, row {row}{words}" in refusal(path)


def test_a_limit_that_is_gone_is_named_with_what_it_is(copy: Callable[[Path], Path]) -> None:
    path = copy(Path("limits.csv"))
    write_cells(path, "smoke_most_ms", {"name": "smoke_most_m"})
    assert "the limit smoke_most_ms is missing; add a row smoke_most_ms: longest time of black smoke" in refusal(path)


def test_the_least_nozzle_is_not_greater_than_the_most(copy: Callable[[Path], Path]) -> None:
    path = copy(Path("limits.csv"))
    write_cells(path, "nozzle_most_mm", {"value": "1.32"})
    write_cells(path, "nozzle_least_mm", {"value": "1.64"})
    assert "nozzle_least_mm 1.64 is greater than nozzle_most_mm 1.32" in refusal(path)


@pytest.mark.parametrize("family", [family for family in FAMILIES if family not in MAY_BE_ABSENT])
def test_an_empty_family(family: str, copy: Callable[[Path], Path]) -> None:
    path = copy(Path(f"{family}.csv"))
    path.write_text(path.read_text(encoding="utf-8").splitlines()[0], encoding="utf-8")
    assert f"{path}: has no rows below its heading; expected at least one" in refusal(path)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_missing_column_is_said_once(family: str, copy: Callable[[Path], Path]) -> None:
    path = copy(Path(f"{family}.csv"))
    heading, *rows = path.read_text(encoding="utf-8").splitlines()
    lost, *kept = heading.split(",")
    path.write_text("\n".join([",".join(kept), *(row.split(",", 1)[1] for row in rows)]), encoding="utf-8")
    assert refusal(path).count(f"column {lost}: is missing") == 1


def test_kits_in_a_circle_are_named_in_order(copy: Callable[[Path], Path]) -> None:
    path = copy(Path("pumps.csv"))
    heading, *rows = path.read_text(encoding="utf-8").splitlines()
    partner = {"pump-3cc": "pump-5cc", "pump-5cc": "pump-3cc-soft", "pump-3cc-soft": "pump-3cc"}
    rows = [f"{row.rsplit(',', 1)[0]},{partner.get(row.split(',')[0], '')}" for row in rows]
    path.write_text("\n".join([heading, *rows]), encoding="utf-8")
    text = refusal(path)
    circle = text.split("in a circle: ")[1].split(";")[0].split(" -> ")
    assert len(circle) == 4 and all(partner[kit] == inside for kit, inside in pairwise(circle))


def test_a_missing_suppliers_file_is_one_fault(copy: Callable[[Path], Path]) -> None:
    path = copy(Path("suppliers.csv"))
    path.unlink()
    assert len(refusal(path).splitlines()) == 1
