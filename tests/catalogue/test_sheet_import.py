"""A supplier's spreadsheet into a catalogue: headings and units, what is added and changed, faults by row, mappings."""

import builtins
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook

from configurator.catalogue import sheet
from configurator.catalogue.load import load_catalog
from configurator.catalogue.own import add_row, new_catalog
from configurator.catalogue.sheet_import import (
    ImportReport,
    SheetMapping,
    kept_by_name,
    mapping_of,
    preview,
)
from configurator.errors import BadInput, TipinError

ROWS: list[list[Any]] = [
    ["Part", "Bore (in)", "Cost (GBP)", "Notes"],
    ["NZ 0331", 0.0331, 11.2, "new"],
    ["NZ 0340", 0.034, 11.2, None],
    ["Straight-0.80", 0.0315, 11.9, None],
    ["straight-0.82", 0.0323, 13.5, None],
]
HEADINGS = {"code": "Part", "diameter": "Bore (in)", "price": "Cost (GBP)"}
STRAIGHT = {"style": "straight"}


@pytest.fixture
def own(tmp_path: Path) -> Path:
    new_catalog(tmp_path / "own", "GBP")
    return tmp_path / "own"


def as_csv(path: Path, rows: list[list[Any]], delimiter: str = ",", point: str = ".") -> Path:
    def cell(value: Any) -> str:
        text = "" if value is None else str(value)
        text = text.replace(".", point) if isinstance(value, float) else text
        return f'"{text}"' if delimiter in text else text

    lines = (delimiter.join(map(cell, row)) for row in rows)
    path.write_bytes("".join(f"{line}\r\n" for line in lines).encode())
    return path


def as_xlsx(path: Path, rows: list[list[Any]]) -> Path:
    book = Workbook()
    page = book.worksheets[0]
    for row in rows:
        page.append(row)
    book.save(path)
    return path


def sheets(folder: Path, rows: list[list[Any]]) -> dict[str, Path]:
    return {
        "commas": as_csv(folder / "commas.csv", rows),
        "semicolons": as_csv(folder / "semicolons.csv", rows, ";", ","),
        "tabs": as_csv(folder / "tabs.csv", rows, "\t"),
        "xlsx": as_xlsx(folder / "list.xlsx", rows),
    }


def previewed(own: Path, file: Path, same: dict[str, str] = STRAIGHT, **known: bool) -> ImportReport:
    return preview(own, file, mapping_of("nozzles", HEADINGS, same), **known).report


@pytest.mark.parametrize("kind", ["commas", "semicolons", "tabs", "xlsx"])
@pytest.mark.parametrize("above", [0, 2], ids=["heading first", "a title above"])
def test_a_sheet_is_previewed_and_then_written(kind: str, above: int, own: Path, tmp_path: Path) -> None:
    before = (own / "nozzles.csv").read_bytes()
    rows = [["Bay Shop, price list"], ["", ""]][:above] + ROWS
    planned = preview(own, sheets(tmp_path, rows)[kind], mapping_of("nozzles", HEADINGS, STRAIGHT))
    report = planned.report
    assert [row.code for row in report.added] == ["nz-0331", "nz-0340"]
    assert report.added[0].cells | {"diameter_mm": "0.84074", "price": "11.20"} == report.added[0].cells
    assert [(row.code, row.before, row.cells) for row in report.changed] == [
        ("straight-0.80", {"price": "13.50"}, {"price": "11.90"})
    ], "a bore in thousandths of an inch is the size that is there"
    assert (report.alike, report.faults, report.unused, report.did) == (1, [], ["Notes"], "previewed")
    assert (own / "nozzles.csv").read_bytes() == before, "nothing is written by a preview"
    assert planned.write().did == "imported"
    made = load_catalog(own).nozzles
    assert (made["nz-0331"].diameter_mm, made["nz-0331"].supplier, made["straight-0.80"].price) == (
        0.84074, "north-shelf", 11.9,
    )  # fmt: skip
    again = preview(own, sheets(tmp_path, rows)[kind], mapping_of("nozzles", HEADINGS, STRAIGHT)).report
    assert (again.added, again.changed, again.alike) == ([], [], 4)


def test_a_file_that_was_changed_since_the_preview_is_not_written_over(own: Path, tmp_path: Path) -> None:
    planned = preview(own, as_csv(tmp_path / "list.csv", ROWS), mapping_of("nozzles", HEADINGS, STRAIGHT))
    add_row(own, "nozzles", {"diameter_mm": "0.83", "style": "straight", "price": "9"})
    with pytest.raises(BadInput, match=r"nozzles\.csv: was changed while this was worked out"):
        planned.write("bay")
    assert "straight-0.83" in load_catalog(own).nozzles and not (own / "imports").exists()


def test_every_fault_is_told_by_its_row_and_heading_and_nothing_is_written(own: Path, tmp_path: Path) -> None:
    before = (own / "nozzles.csv").read_bytes()
    rows = [*ROWS, ["nz-1", 0.9, "x"], ["nz-2", "3 furlongs", -1.0], ["NZ 0340", 0.034, 1.0], ["pump-3cc", 0.034, 1.0]]
    file = as_csv(tmp_path / "list.csv", rows)
    planned = preview(own, file, mapping_of("nozzles", HEADINGS, STRAIGHT))
    places = [fault.removeprefix(f"{file}, ").partition(": ")[0] for fault in planned.report.faults]
    assert places == [
        "row 6, column Bore (in)", "row 6, column Cost (GBP)", "row 7, column Bore (in)", "row 7, column Cost (GBP)",
        "row 8, column Part", "row 9, column Part",
    ]  # fmt: skip
    assert "said twice" in planned.report.faults[4] and "one of the pumps" in planned.report.faults[5]
    with pytest.raises(BadInput):
        planned.write()
    assert (own / "nozzles.csv").read_bytes() == before


def test_a_fault_that_only_the_whole_catalogue_shows_is_told_by_its_row(own: Path, tmp_path: Path) -> None:
    report = previewed(own, as_csv(tmp_path / "list.csv", ROWS), STRAIGHT | {"supplier": "bay-shop"})
    assert len(report.faults) == 4 and "row 2, column supplier: no supplier has the code bay-shop" in report.faults[0]
    add_row(own, "suppliers", {"code": "bay-shop", "name": "Bay Shop"})
    assert previewed(own, tmp_path / "list.csv", STRAIGHT | {"supplier": "bay-shop"}).faults == []


def test_headings_that_are_lacking_are_suggested_by_likeness(own: Path, tmp_path: Path) -> None:
    file = as_csv(tmp_path / "list.csv", ROWS)
    with pytest.raises(BadInput) as caught:
        preview(own, file, mapping_of("nozzles", {"code": "Part"}, {}))
    told = {fault.place: fault.remedy for fault in caught.value.faults}
    assert told == {
        "diameter_mm": 'did you mean diameter_mm="Bore (in)"?', "price": 'did you mean price="Cost (GBP)"?',
        "style": "",
    }  # fmt: skip
    with pytest.raises(BadInput, match=r"Bore: is no heading of this sheet.*did you mean Bore \(in\)\?"):
        preview(own, file, mapping_of("nozzles", {"diameter": "Bore"}, {}))
    with pytest.raises(BadInput, match="nozzles have no column bore"):
        mapping_of("nozzles", {"bore": "Bore (in)"}, {})


def test_headings_that_are_our_own_need_not_be_named(own: Path, tmp_path: Path) -> None:
    file = as_csv(tmp_path / "list.csv", [["code", "diameter", "price", "style"], ["own-1", "0.83", "9", "Aimed"]])
    report = preview(own, file, SheetMapping(family="nozzles")).report
    assert report.headings == {"code": "code", "diameter_mm": "diameter", "price": "price", "style": "style"}
    assert [row.code for row in report.added] == ["own-1"] and report.faults == []


def test_a_price_list_alone_corrects_prices_and_may_pass_over_the_rest(own: Path, tmp_path: Path) -> None:
    file = as_csv(tmp_path / "list.csv", [["Part", "Each"], ["straight-0.80", "£ 9,95"], ["pump-9cc", "80"]])
    mapping = mapping_of("nozzles", {"code": "Part", "price": "Each"}, {})
    with pytest.raises(BadInput, match="diameter_mm: is named by no heading"):
        preview(own, file, mapping)
    report = preview(own, file, mapping, only_known=True).report
    assert (report.passed_over, report.added) == (1, [])
    assert [(row.code, row.cells) for row in report.changed] == [("straight-0.80", {"price": "9.95"})]


def test_without_codes_they_are_made_and_found_again(own: Path, tmp_path: Path) -> None:
    file = as_csv(tmp_path / "list.csv", [["Bore, mm", "Each"], ["0.83", "9"], ["0.85", "9.50"]])
    report = preview(own, file, mapping_of("nozzles", {"diameter": "Bore, mm", "price": "Each"}, STRAIGHT)).report
    assert [row.code for row in report.added] == ["straight-0.83"]
    assert [(row.code, row.cells) for row in report.changed] == [("straight-0.85", {"price": "9.50"})]


@pytest.mark.parametrize(
    ("heading", "text", "diameter_mm"),
    [("Bore (in)", "0.031", 0.7874), ("Bore [thou]", "31", 0.7874), ("Bore in", "0.031", 0.7874),
     ("Bore (mm)", "0,83", 0.83), ("Bore", "0.83", 0.83), ("Bore (in)", "0.83 mm", 0.83), ("Bore (in)", "#68", 0.7874),
     ('Bore (")', "0.031", 0.7874)],
)  # fmt: skip
def test_a_heading_names_the_unit_of_bare_numbers(
    heading: str, text: str, diameter_mm: float, own: Path, tmp_path: Path
) -> None:
    file = as_xlsx(tmp_path / "list.xlsx", [["Part", heading, "Each"], ["own", text, "9"]])
    mapping = mapping_of("nozzles", {"code": "Part", "diameter": heading, "price": "Each"}, STRAIGHT)
    preview(own, file, mapping).write()
    assert load_catalog(own).nozzles["own"].diameter_mm == diameter_mm


@pytest.mark.parametrize(
    ("heading", "column", "words"),
    [("Bore (furlongs)", "diameter", "names the unit 'furlongs', which is not read"),
     ("Cost (EUR)", "price", "names the currency EUR, and the catalogue's is GBP")],
)  # fmt: skip
def test_a_heading_of_another_unit_or_currency_is_refused(
    heading: str, column: str, words: str, own: Path, tmp_path: Path
) -> None:
    file = as_csv(tmp_path / "list.csv", [["Part", heading], ["straight-0.80", "1"]])
    with pytest.raises(BadInput, match=words):
        preview(own, file, mapping_of("nozzles", {"code": "Part", column: heading}, {}))


def test_a_unit_of_another_kind_is_never_passed_over(own: Path, tmp_path: Path) -> None:
    for heading, faults in (("Area (mm\u00b2)", 0), ("Area (furlongs)", 1), ("Area", 0)):
        file = as_csv(tmp_path / "list.csv", [["code", heading, "Delivery"], ["screw-wide", "4.4", "6"]])
        report = preview(own, file, mapping_of("feed_screws", {"passage_area": heading}, {})).report
        told = [fault for fault in report.faults if "found '4.4 furlongs'" in fault] or report.changed
        assert len(told) == faults, heading


def test_money_besides_prices_goes_without_its_currency_too(own: Path, tmp_path: Path) -> None:
    file = as_csv(tmp_path / "list.csv", [["code", "Delivery (GBP)"], ["long-bench", "GBP 7.50"]])
    preview(own, file, mapping_of("suppliers", {"delivery_charge": "Delivery (GBP)"}, {})).write()
    assert load_catalog(own).suppliers["long-bench"].delivery_charge == 7.5


def test_a_mapping_is_kept_and_used_again(own: Path, tmp_path: Path) -> None:
    mapping = mapping_of("nozzles", HEADINGS, STRAIGHT)
    planned = preview(own, as_csv(tmp_path / "list.csv", ROWS), mapping)
    with pytest.raises(BadInput, match="is no name"):
        planned.write("../bay")
    assert "nz-0331" not in load_catalog(own).nozzles
    planned.write("bay")
    assert kept_by_name(own, "bay") == mapping and load_catalog(own) is not None
    over = mapping_of(None, {"price": "Net"}, {"diameter": "0.8mm"}, kept_by_name(own, "bay"))
    assert over.headings == {"code": "Part", "price": "Net"}
    assert over.same == {"style": "straight", "diameter_mm": "0.8mm"}
    with pytest.raises(BadInput, match=r"no such file; did you mean bay\.csv\?"):
        kept_by_name(own, "bey")
    with pytest.raises(BadInput, match="family: is missing"):
        mapping_of(None, {}, {})


@pytest.mark.parametrize(
    ("text", "words"),
    [("family,column,heading,text\n", "names no family"), ("family,column,heading\nnozzles,bore,x\n", "no column bore"),
     ("family,colum\nnozzles,x\n", "did you mean column?"), ("family,column\npumps,code\nlobes,code\n", "or several")],
)  # fmt: skip
def test_a_kept_mapping_spoilt_by_hand_is_a_fault(text: str, words: str, own: Path) -> None:
    (own / "imports").mkdir()
    (own / "imports" / "bay.csv").write_text(text)
    with pytest.raises(BadInput, match=words):
        kept_by_name(own, "bay")


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 half of it", b"Part,Price\n"])
def test_an_xlsx_that_is_none(content: bytes, own: Path, tmp_path: Path) -> None:
    (tmp_path / "list.xlsx").write_bytes(content)
    with pytest.raises(BadInput, match=r"list\.xlsx: cannot be read as an \.xlsx"):
        previewed(own, tmp_path / "list.xlsx")
    with pytest.raises(BadInput, match="there is no such file"):
        previewed(own, tmp_path / "lost.xlsx")


def test_without_the_library_for_xlsx_it_is_named(own: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = as_xlsx(tmp_path / "list.xlsx", ROWS)
    monkeypatch.setattr(sheet, "find_spec", lambda name: None)
    with pytest.raises(TipinError, match=r"an \.xlsx needs openpyxl: pip install '\.\[xlsx\]'"):
        previewed(own, file)


def test_a_csv_needs_no_library(own: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        assert not name.startswith("openpyxl")
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    assert previewed(own, as_csv(tmp_path / "list.csv", ROWS)).faults == []


def test_a_large_sheet_takes_seconds(own: Path, tmp_path: Path) -> None:
    rows = [[f"own-{number}", 0.83, 9.0 + number / 100] for number in range(5_000)]
    file = as_csv(tmp_path / "list.csv", [["Part", "Bore (mm)", "Each"], *rows])
    mapping = mapping_of("nozzles", {"code": "Part", "diameter": "Bore (mm)", "price": "Each"}, STRAIGHT)
    from time import process_time

    begin = process_time()
    preview(own, file, mapping).write()
    assert process_time() - begin < 20 and len(load_catalog(own).nozzles) > 5_000
