"""Suppliers, offers, kits and drills: what they bring and cost, and what is said of bad rows."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.cli import app
from configurator.errors import BadInput
from configurator.ordering.articles import articles
from configurator.ordering.meeting import load_meeting

EVENING = shipped_catalog_dir() / "examples" / "workshop" / "one-evening.toml"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "catalog"
    shutil.copytree(shipped_catalog_dir(), place)
    return place


BAD_ROWS = [
    ("offers", "x-offer,straight-0.99,north-shelf,1,1,3", ["column part", "no part has the code straight-0.99"]),
    ("offers", "x-offer,straight-0.80,nobody,1,1,3", ["column supplier", "no supplier has the code nobody"]),
    ("offers", "x-offer,straight-0.80,north-shelf,0,1,3", ["column pack_size", "at least 1"]),
    ("offers", "x-offer,straight-0.80,north-shelf,1,1,-3", ["column price", "at least 0"]),
    ("offers", "straight-0.80,straight-0.80,north-shelf,1,1,3", ["already used in nozzles.csv"]),
    (
        "kits",
        "x-kit,north-shelf,9,straight-0.80 lobe-nothing",
        ["column contents", "no part has the code lobe-nothing"],
    ),
    ("kits", "x-kit,north-shelf,9,", ["column contents"]),
    ("drill_bits", "x-drill,north-shelf,nan,0.8", ["column price"]),
    ("drill_bits", "x-drill,north-shelf,2,31", ["column diameter_mm", '"31 thou"']),
    ("suppliers", "x-shop,A shop,,-1,,0,0", ["column delivery_charge", "at least 0"]),
    ("suppliers", "x-shop,A shop,,1,,0,2.5", ["column lead_time_days", "whole number"]),
]


@pytest.mark.parametrize(("family", "row", "words"), BAD_ROWS)
def test_a_bad_row_is_told_with_file_row_and_column(folder: Path, family: str, row: str, words: list[str]) -> None:
    path = folder / f"{family}.csv"
    text = path.read_text(encoding="utf-8").rstrip("\n") + f"\n{row}\n"
    path.write_text(text, encoding="utf-8")
    number = len(text.splitlines())
    with pytest.raises(BadInput) as error:
        load_catalog(folder)
    told = str(error.value)
    assert f"{path}, row {number}" in told and all(word in told for word in words), told


def test_a_kit_brings_what_is_in_it_and_a_pump_what_is_in_its_box() -> None:
    catalog = load_catalog(shipped_catalog_dir())
    by_code = {article.code: article for article in articles(catalog)}
    for kit in catalog.kits.values():
        assert sum(by_code[kit.code].brings.values()) == len(kit.contents)
        assert by_code[kit.code].cost(2) == round(200 * kit.price)
    for pump in catalog.pumps.values():
        assert set(by_code[pump.code].brings) == {pump.code, *pump.comes_with}


def test_a_break_holds_from_its_quantity_on() -> None:
    catalog = load_catalog(shipped_catalog_dir())
    (ten,) = (a for a in articles(catalog) if a.code == "offer-gasket-nozzle-ten")
    assert dict(ten.brings) == {"gasket-nozzle": 10}
    assert [ten.cost(packs) for packs in (0, 1, 4, 5, 6)] == [0, 390, 1560, 1600, 1920]


def _make_directory(path: Path) -> None:
    path.unlink()
    path.mkdir()


RUINS: list[tuple[Callable[[Path], object], str]] = [
    (lambda path: path.unlink(), "no such file"),
    (lambda path: path.write_bytes(b""), "is empty|name: is missing"),
    (lambda path: path.write_bytes(path.read_bytes() + b"\n# na\xefve"), "is not UTF-8 text"),
    (lambda path: path.write_bytes(bytes(range(256))), "NUL bytes"),
    (lambda path: path.write_text("name = My evening"), "line 1"),
    (lambda path: path.write_text("x" * 6_000_000), "holds 6 MB"),
    (_make_directory, "is a directory"),
]


@pytest.mark.parametrize(("ruin", "words"), RUINS)
def test_a_ruined_workshop_file_is_refused(tmp_path: Path, ruin: Callable[[Path], object], words: str) -> None:
    path = tmp_path / "evening.toml"
    path.write_bytes(EVENING.read_bytes())
    ruin(path)
    with pytest.raises(BadInput, match=words):
        load_meeting(path)


@pytest.mark.parametrize("words", [["--budget", "nan"], ["--budget", "inf"], ["--budget", "-1"], ["--effort", "0"]])
def test_an_option_that_is_no_figure_is_refused(words: list[str]) -> None:
    assert CliRunner().invoke(app, ["order", str(EVENING), *words]).exit_code == 2


def test_a_picture_that_cannot_be_drawn_is_refused_before_the_work(tmp_path: Path) -> None:
    done = CliRunner().invoke(
        app, ["order", str(EVENING), "--csv", str(tmp_path), "--plot", str(tmp_path / "curve.gif")]
    )
    assert isinstance(done.exception, BadInput) and not list(tmp_path.iterdir())
