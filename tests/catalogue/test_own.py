"""A workshop's own catalogue: made whole or not at all, rows added and corrected, the file kept as it is kept."""

import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from configurator.catalogue.load import FAMILIES, load_catalog, shipped_catalog_dir
from configurator.catalogue.own import CODE_OF, add_row, correct_row, new_catalog, rows_of, short_names
from configurator.errors import BadInput
from configurator.files.declared import Record

SHIPPED = load_catalog(shipped_catalog_dir())
NOZZLE = {"diameter_mm": "0.83mm", "style": "straight", "price": "12"}


@pytest.fixture
def own(tmp_path: Path) -> Path:
    new_catalog(tmp_path / "own")
    return tmp_path / "own"


def refused(directory: Path, family: str, cells: dict[str, str]) -> list[tuple[str, str]]:
    """Field and words of every fault; nothing is written."""
    before = {path.name: path.read_bytes() for path in directory.iterdir() if path.is_file()}
    with pytest.raises(BadInput) as caught:
        add_row(directory, family, cells)
    assert {path.name: path.read_bytes() for path in directory.iterdir() if path.is_file()} == before
    return [(fault.field, str(fault)) for fault in caught.value.faults]


def test_a_new_catalogue_is_the_shipped_one(own: Path) -> None:
    assert {path.name for path in own.iterdir()} == {f"{family}.csv" for family in FAMILIES}
    made = load_catalog(own)
    assert all(dict(rows_of(made, family)) == dict(rows_of(SHIPPED, family)) for family in FAMILIES)
    assert made.currency == ""


def test_an_empty_folder_is_filled_and_a_currency_named(tmp_path: Path) -> None:
    (tmp_path / "own").mkdir()
    report = new_catalog(tmp_path / "own", "EUR")
    assert load_catalog(tmp_path / "own").currency == report.currency == "EUR"


@pytest.mark.parametrize("there", ["file in it", "is a file", "no parent", "where you are"])
def test_no_catalogue_is_made_over_what_is_there(there: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "own"
    if there == "file in it":
        place.mkdir()
        (place / "notes.txt").write_text("mine")
    elif there == "is a file":
        place.write_text("mine")
    elif there == "no parent":
        place = tmp_path / "nowhere" / "own"
    else:
        place.mkdir()
        monkeypatch.chdir(place)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(BadInput, match="expected a folder"):
        new_catalog(place)
    assert sorted(tmp_path.rglob("*")) == before


def test_a_currency_that_cannot_be_leaves_no_folder(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        new_catalog(tmp_path / "own", "pounds sterling")
    assert [fault.field for fault in caught.value.faults] == ["currency"] and list(tmp_path.iterdir()) == []


KILLED = """
import os, sys
from pathlib import Path
import configurator.catalogue.own as own
import configurator.files.writing as writing
def dies(*_): os._exit(9)
{patch}
{call}
"""


@pytest.mark.parametrize(
    ("patch", "call"),
    [
        ("copied = iter(range(4)); real = own.shutil.copyfile\n"
         "own.shutil.copyfile = lambda *a: next(copied, None) is None and dies() or real(*a)",
         "own.new_catalog(Path(sys.argv[1]) / 'made', 'EUR')"),
        ("own.os.replace = dies", "own.new_catalog(Path(sys.argv[1]) / 'made')"),
        ("writing.os.replace = dies",
         "own.add_row(Path(sys.argv[1]) / 'own', 'nozzles', dict(diameter_mm='0.83', style='straight', price='1'))"),
        ("writing.os.fsync = dies", "own.correct_row(Path(sys.argv[1]) / 'own', 'pump-3cc', dict(price='1'))"),
    ],
    ids=["copying", "in place", "adding", "correcting"],
)  # fmt: skip
def test_a_kill_in_the_middle_leaves_nothing_half_written(patch: str, call: str, own: Path, tmp_path: Path) -> None:
    before = {path.name: path.read_bytes() for path in own.iterdir()}
    program = KILLED.format(patch=patch, call=call)
    assert subprocess.run([sys.executable, "-c", program, str(tmp_path)]).returncode == 9
    assert not (tmp_path / "made").exists()
    assert {name: (own / name).read_bytes() for name in before} == before
    assert load_catalog(own) is not None


def test_a_nozzle_is_added_with_a_code_of_the_shipped_pattern(own: Path) -> None:
    before = (own / "nozzles.csv").read_bytes()
    report = add_row(own, "nozzles", NOZZLE)
    assert (own / "nozzles.csv").read_bytes() == before + b"straight-0.83,north-shelf,12.00,15,0.83,,straight,,yes\n"
    (row,) = report.rows
    assert row.code == "straight-0.83" and row.as_its_kind == ["supplier", "labour_min", "redrillable"]
    added = load_catalog(own).nozzles["straight-0.83"]
    assert (added.diameter_mm, added.price, added.supplier, added.redrillable) == (0.83, 12.0, "north-shelf", True)


@pytest.mark.parametrize("family", CODE_OF)
def test_codes_are_made_as_the_shipped_ones_are(family: str) -> None:
    rows = rows_of(SHIPPED, family)
    made = [CODE_OF[family](row) for row in rows.values()]
    assert all(code == one or code.startswith(f"{one}-") for code, one in zip(rows, made, strict=True))
    assert len(set(made) & set(rows)) >= min(len(rows), 2)


def test_a_size_in_thou_goes_into_the_file_in_mm(own: Path) -> None:
    add_row(own, "nozzles", NOZZLE | {"diameter_mm": "31 thou", "code": "own-31"})
    assert load_catalog(own).nozzles["own-31"].diameter_mm == 0.7874
    assert (own / "nozzles.csv").read_text().endswith("own-31,north-shelf,12.00,15,0.7874,,straight,,yes\n")


def test_a_code_that_is_there_is_refused(own: Path) -> None:
    ((field, says),) = refused(own, "nozzles", NOZZLE | {"diameter_mm": "0.80"})
    assert field == "own_code" and "'straight-0.80' is there already" in says
    assert refused(own, "nozzles", NOZZLE | {"code": "pump-3cc"})[0][0] == "own_code", "in another family too"


def test_every_fault_is_told_by_its_field(own: Path) -> None:
    found = refused(own, "nozzles", {"diameter_mm": "31", "price": "ten", "style": "strait"})
    assert [field for field, _ in found] == ["diameter_mm", "style", "supplier", "price", "labour_min", "redrillable"]
    assert 'did you mean "31 thou"?' in found[0][1] and "did you mean straight?" in found[1][1]
    ((field, says),) = refused(own, "nozzles", NOZZLE | {"supplier": "nord-shelf"})
    assert field == "supplier" and "did you mean north-shelf?" in says
    assert "expected 1.5 to 10 times" in refused(own, "nozzles", NOZZLE | {"length_mm": "12"})[0][1]


def test_what_most_of_a_kind_have_alike_need_not_be_said(own: Path) -> None:
    """A few from elsewhere change nothing; once they are more than a quarter, it has to be said."""
    straight = sum(nozzle.style == "straight" for nozzle in SHIPPED.nozzles.values())
    elsewhere = NOZZLE | {"supplier": "long-bench", "labour_min": "20"}
    for number in range(straight // 4):
        add_row(own, "nozzles", elsewhere | {"code": f"other-{number}"})
    (row,) = add_row(own, "nozzles", NOZZLE).rows
    assert row.as_its_kind == ["supplier", "labour_min", "redrillable"] and row.cells["supplier"] == "north-shelf"
    for number in range(straight // 4, straight // 2):
        add_row(own, "nozzles", elsewhere | {"code": f"other-{number}"})
    found = refused(own, "nozzles", NOZZLE | {"diameter_mm": "0.84"})
    assert [field for field, _ in found] == ["supplier", "labour_min"]


def test_decimal_commas_are_read_wherever_a_number_stands(own: Path) -> None:
    add_row(own, "nozzles", NOZZLE | {"diameter_mm": "0,83mm", "price": "12,50"})
    correct_row(own, "lobe-beck", {"total_lift": "1,5", "phases_deg": "0 6,5 12"})
    catalog = load_catalog(own)
    assert (catalog.nozzles["straight-0.83"].price, catalog.nozzles["straight-0.83"].diameter_mm) == (12.5, 0.83)
    assert (catalog.lobes["lobe-beck"].total_lift_mm, catalog.lobes["lobe-beck"].phases_deg) == (1.5, (0.0, 6.5, 12.0))
    correct_row(own, "north-shelf", {"name": "Shelf 1,5"})
    assert load_catalog(own).suppliers["north-shelf"].name == "Shelf 1,5", "no number"


ADDS = """
import sys, time
from pathlib import Path
from configurator.catalogue.own import add_row
while time.time() < float(sys.argv[3]):
    pass
for number in range(4):
    code = f"{sys.argv[2]}-{number}"
    add_row(Path(sys.argv[1]), "nozzles", {"code": code, "diameter_mm": "0.83", "style": "straight", "price": "1"})
"""


def test_writers_of_one_instant_wait_for_each_other(own: Path) -> None:
    start = str(time.time() + 3.0)
    writers = [
        subprocess.Popen([sys.executable, "-c", ADDS, str(own), name, start], stderr=subprocess.PIPE, text=True)
        for name in ("one", "two", "three")
    ]
    assert [writer.communicate(timeout=120)[1] for writer in writers] == ["", "", ""]
    added = {f"{name}-{number}" for name in ("one", "two", "three") for number in range(4)}
    assert added <= set(load_catalog(own).nozzles)


def test_figures_of_a_part_are_never_taken_from_others(own: Path) -> None:
    for path in (own / "offers.csv", own / "kits.csv"):
        path.unlink()
    path = own / "feed_screws.csv"
    path.write_text("".join(line for line in path.read_text().splitlines(True) if "freeflow" not in line))
    path = own / "pumps.csv"
    path.write_text(path.read_text().replace("screw-freeflow", ""))
    assert {screw.free_flow for screw in load_catalog(own).feed_screws.values()} == {False}
    fields = [field for field, _ in refused(own, "feed_screws", {"code": "own", "price": "1"})]
    assert fields == ["passage_area_mm2", "free_flow"]


@pytest.mark.parametrize("family", [family for family in FAMILIES if family not in ("limits", "settings")])
def test_a_row_of_every_family_can_be_added_again_under_another_code(family: str, own: Path) -> None:
    code, record = list(rows_of(SHIPPED, family).items())[-1]
    said = {name: text for name, text in _cells(own / f"{family}.csv", code).items() if text}
    add_row(own, family, said | {"code": "another"})
    added = rows_of(load_catalog(own), family)["another"]
    assert isinstance(added, Record) and added.model_copy(update={"code": code}) == record


def _cells(path: Path, code: str) -> dict[str, str]:
    import csv

    with path.open(newline="", encoding="utf-8") as file:
        return next(row for row in csv.DictReader(file) if row["code"] == code)


@pytest.mark.parametrize("family", FAMILIES)
def test_names_without_units_stand_for_one_column_each(family: str) -> None:
    names = short_names(family)
    assert list(names.values()) == list(FAMILIES[family].model_fields) and len(names) == len(names.values())
    assert not [name for name in names if name.endswith(("_mm", "_mm2", "_cc", "_deg", "_min", "_n_per_mm", "_days"))]


def test_a_price_is_corrected_and_nothing_else(own: Path) -> None:
    before = (own / "pumps.csv").read_text()
    report = correct_row(own, "pump-3cc", {"price": "47.5"})
    assert (own / "pumps.csv").read_text() == before.replace("pump-3cc,north-shelf,46.00", "pump-3cc,north-shelf,47.50")
    assert (report.did, report.rows[0].before, report.rows[0].cells) == (
        "corrected", {"price": "46.00"}, {"price": "47.50"},
    )  # fmt: skip
    assert correct_row(own, "pump-3cc", {"price": "47.50"}).did == "left"


def test_a_limit_is_corrected_by_its_name_and_a_column_by_its_short_one(own: Path) -> None:
    correct_row(own, "delay_most_ms", {"value": "80", "basis": "owner's figure"})
    row = load_catalog(own).limit_rows["delay_most_ms"]
    assert (row.value, row.basis) == (80, "owner's figure")
    correct_row(own, "spacer-13", {"thickness": "0.5 in", "bonnet": "13.5"})
    assert load_catalog(own).spacers["spacer-13"].thickness_mm == 12.7


def test_a_cell_is_emptied(own: Path) -> None:
    correct_row(own, "long-bench", {"free_delivery_from": ""})
    assert load_catalog(own).suppliers["long-bench"].free_delivery_from is None


@pytest.mark.parametrize(
    ("code", "cells", "words"),
    [
        ("pump-3", {"price": "1"}, "no row has this code; expected a code or a name there is; did you mean pump-3cc?"),
        ("pump-3cc", {"prise": "1"}, "pumps have no column prise"),
        ("pump-3cc", {"price": "4,7,5"}, "pumps.csv, pump-3cc, price: found '4,7,5': not a plain number"),
        ("pump-3cc", {"capacity": "4"}, "capacity_cc 4 and capacity_ten_strokes_cc 30 disagree"),
        ("pump-3cc", {"supplier": "nobody"}, "pumps.csv, pump-3cc, supplier: no supplier has the code nobody"),
        ("screw-freeflow", {"code": "screw-free"}, "no part has the code screw-freeflow"),
    ],
)
def test_what_cannot_be_corrected_is_said_and_nothing_written(
    code: str, cells: dict[str, str], words: str, own: Path
) -> None:
    before = {path.name: path.read_bytes() for path in own.iterdir()}
    with pytest.raises(BadInput) as caught:
        correct_row(own, code, cells)
    assert words in str(caught.value)
    assert {path.name: path.read_bytes() for path in own.iterdir()} == before


def test_a_file_kept_by_hand_stays_as_it_is_kept(own: Path) -> None:
    path = own / "nozzles.csv"
    lines = path.read_text().replace(",", ";").replace(".", ",").replace("straight-0,", "straight-0.").splitlines()
    lines = [line.replace("aimed-0,", "aimed-0.").replace("straight-1,", "straight-1.").replace("aimed-1,", "aimed-1.")
             for line in lines]  # fmt: skip
    text = "\r\n".join(["\ufeff# Nozzles; as of May 2026", lines[0], "", "# straight", *lines[1:]])
    path.write_bytes(text.encode())
    add_row(own, "nozzles", NOZZLE)
    assert path.read_bytes().decode() == text + "\r\nstraight-0.83;north-shelf;12,00;15;0,83;;straight;;yes\r\n"
    correct_row(own, "straight-0.60", {"price": "14.25"})
    assert path.read_bytes().decode().startswith(text[: text.index("13,50")] + "14,25")
    assert load_catalog(own).nozzles["straight-0.83"].diameter_mm == 0.83


def test_a_family_without_a_file_gets_one(own: Path) -> None:
    (own / "settings.csv").unlink()
    add_row(own, "settings", {"name": "currency", "value": "kr"})
    assert (own / "settings.csv").read_text() == "name,value\ncurrency,kr\n" and load_catalog(own).currency == "kr"


def test_the_shipped_catalogue_stays_as_it_came(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="came with the program"):
        add_row(shipped_catalog_dir(), "nozzles", NOZZLE)
    link = tmp_path / "link"
    link.symlink_to(shipped_catalog_dir())
    with pytest.raises(BadInput, match="came with the program"):
        correct_row(link, "pump-3cc", {"price": "1"})


def test_a_catalogue_at_fault_is_mended_first(own: Path) -> None:
    shutil.copy(own / "pumps.csv", own / "lobes.csv")
    with pytest.raises(BadInput, match=r"lobes\.csv"):
        add_row(own, "nozzles", NOZZLE)
