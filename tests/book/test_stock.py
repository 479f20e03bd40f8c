"""The shelf from the command line: what is listed, moved, counted and imported, and every way to get it wrong."""

import json
import re
from pathlib import Path

import pytest
from test_cli import Ran, run

from configurator.book.book import open_book
from configurator.book.shelf import StockReport, shelf_codes, stock_report
from configurator.catalogue.load import load_catalog, shipped_catalog_dir

CATALOG = load_catalog(shipped_catalog_dir())


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    monkeypatch.delenv("TIPIN_CATALOG", raising=False)
    return tmp_path / "book.sqlite"


def answer(*words: str | Path) -> StockReport:
    ran = run("stock", *words, "--json")
    assert (ran.code, ran.err) == (0, "")
    report = StockReport.model_validate_json(ran.out, strict=True)
    assert json.loads(report.model_dump_json()) == json.loads(ran.out)
    return report


def refused(*words: str | Path) -> str:
    ran = run("stock", *words)
    assert ran.code == 2 and ran.out == ""
    assert ran.err.startswith("tipin: ") and "Traceback" not in ran.err
    return ran.err


def shelf(report: StockReport) -> dict[str, int]:
    return {row.code: row.quantity for row in report.rows}


def test_looking_at_an_empty_shelf_makes_no_book(place: Path) -> None:
    for words in (["list"], ["history"]):
        ran = run("stock", *words)
        assert ran.code == 0 and "tipin stock add CODE NUMBER" in ran.out
    assert answer("list").rows == [] and answer("history").moved == []
    assert not place.exists()


def test_parts_are_added_taken_and_counted(place: Path) -> None:
    assert shelf(answer("add", "straight-0.80", "3")) == {"straight-0.80": 3}
    (move,) = answer("take", "straight-0.80", "1", "--why", "to the roadster").moved
    assert (move.number, move.code, move.change, move.why) == (2, "straight-0.80", -1, "to the roadster")
    (move,) = answer("count", "straight-0.80", "5").moved
    assert (move.change, move.why) == (3, "counted")
    assert answer("count", "straight-0.80", "5").moved[0].change == 0
    assert shelf(answer("count", "straight-0.80", "0")) == {}
    assert [move.change for move in answer("history").moved] == [3, -1, 3, 0, -5]


def test_the_list_has_family_price_and_value(place: Path) -> None:
    """In the order of the catalogue, whatever came first; prices are those of its files."""
    for code, number in (("lobe-fell", 2), ("straight-0.80", 3), ("straight-0.65", 1), ("gasket-nozzle", 8)):
        report = answer("add", code, str(number))
    families = [(row.code, row.family, row.quantity) for row in report.rows]
    assert families == [
        ("straight-0.65", "nozzles", 1), ("straight-0.80", "nozzles", 3), ("lobe-fell", "lobes", 2),
        ("gasket-nozzle", "consumables", 8),
    ]  # fmt: skip
    prices = [CATALOG.nozzles["straight-0.65"].price, CATALOG.nozzles["straight-0.80"].price,
              CATALOG.lobes["lobe-fell"].price, CATALOG.consumables["gasket-nozzle"].price]  # fmt: skip
    assert [row.price for row in report.rows] == prices
    assert report.value == round(sum(price * row.quantity for price, row in zip(prices, report.rows, strict=True)), 2)
    text = run("stock", "list").out
    assert [line.split()[0] for line in text.splitlines()[2:6]] == [row.code for row in report.rows]
    assert text.splitlines()[-1].split() == ["14", f"{report.value:.2f}"]


def test_a_part_that_left_the_catalogue_is_still_listed(place: Path) -> None:
    with open_book(place) as book:
        book.move_stock("straight-9.99", 2, "from an older catalogue")
    (row,) = answer("list").rows
    assert (row.family, row.price, row.value) == ("", None, None)
    assert "not in this catalogue" in run("stock", "list").out


def test_everything_sold_can_be_on_the_shelf() -> None:
    known = shelf_codes(CATALOG)
    assert {"nozzles", "feed_screws", "pumps", "lobes", "spacers", "consumables"} <= set(known.values())
    assert not {"operations", "suppliers", "limits", "offers"} & set(known.values())
    report = stock_report("book", {code: 1 for code in known}, CATALOG, [])
    assert [row.code for row in report.rows] == list(known) and None not in [row.price for row in report.rows]


BAD = {
    "unknown code": (["add", "straight-0.82x", "1"], "tipin: CODE: no part has the code straight-0.82x"),
    "near a code": (["add", "lobe-fel", "1"], "did you mean lobe-fell?"),
    "work is no goods": (["add", "redrill-nozzle", "1"], "redrill-nozzle is one of the operations, not goods"),
    "too many": (["add", "straight-0.80", "1000000"], "NUMBER 1000000: is too many; expected at most 100000"),
    "more than there are": (["take", "straight-0.80", "1"], "the shelf holds none"),
    "a long why": (["add", "straight-0.80", "1", "--why", "x" * 501], "501 characters; expected at most 500"),
    "a why in no alphabet": (["add", "straight-0.80", "1", "--why", "\udcff"], "cannot be printed"),
    "no such table": (["import", "no-such.csv"], "there is no such file"),
    "no such catalogue": (["list", "--catalog", "no-such-folder"], "there is no such directory"),
    "no folder for a book": (["list", "--book", "no-such-folder/book.sqlite"], "its folder does not exist"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_ends_in_one_message_and_2(name: str, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(place.parent)
    words, says = BAD[name]
    text = refused(*words)
    assert says in text and text.count("\n") == 1
    assert "take" in words or list(place.parent.iterdir()) == [], "nothing is written"
    with open_book(place) as book:
        assert book.stock_history() == []


@pytest.mark.parametrize("words", [["add", "straight-0.80", "two"], ["lend", "straight-0.80", "1"],
                         ["count", "straight-0.80", "-1"], ["add", "a", "1", "b"], ["add", "straight-0.80"],
                         ["take"], ["add", "straight-0.80", "0"], ["list", "--why", "just so"]])  # fmt: skip
def test_a_word_that_the_command_does_not_know_ends_in_2(words: list[str], place: Path) -> None:
    ran: Ran = run("stock", *words)
    assert ran.code == 2 and ran.out == "" and "Traceback" not in ran.err
    assert not place.exists()


def test_a_table_is_imported(place: Path, tmp_path: Path) -> None:
    table = tmp_path / "delivery.csv"
    table.write_text("\ufeffcode;quantity\nstraight-0.80;3\n\nlobe-fell;0\nscrew-wide;2\n", encoding="utf-8")
    answer("add", "straight-0.80", "1")
    report = answer("import", table)
    assert shelf(report) == {"straight-0.80": 4, "screw-wide": 2}
    assert [(move.code, move.change, move.why) for move in report.moved] == [
        ("straight-0.80", 3, "from delivery.csv"), ("screw-wide", 2, "from delivery.csv"),
    ]  # fmt: skip


def test_a_bad_table_is_refused_whole_with_every_fault(place: Path, tmp_path: Path) -> None:
    table = tmp_path / "delivery.csv"
    rows = ["code,quantity", "straight-0.80,3", "straight-8.00,1", "lobe-fell,-2", "lobe-fell,some", "screw-wide",
            "straight-0.80,1", "redrill-nozzle,1"]  # fmt: skip
    table.write_text("\n".join(rows), encoding="utf-8")
    lines = refused("import", table).removeprefix("tipin: ").splitlines()
    found = [re.sub(rf"^{re.escape(str(table))}, ", "", line) for line in lines if not line.startswith("    ")]
    assert [line.strip() for line in lines if line.startswith("    ")] == rows[2:], "each with the row itself"
    assert [line.partition(":")[0] for line in found] == [
        "row 3, column code", "row 4, column quantity", "row 5, column quantity", "row 6, column quantity",
        "row 7, column code", "row 8, column code",
    ]  # fmt: skip
    assert "already in row 2" in found[4] and "not goods" in found[5]
    assert not place.exists()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("code,quantity\n", "has no rows"),
        ("code,number\nstraight-0.80,1\n", "column number: is not a column of this table"),
        ("kode,quantity\nstraight-0.80,1\n", "did you mean code?"),
        ("quantity\n3\n", "column code: is missing"),
        ("code,code,quantity\na,b,1\n", "has two columns code"),
        ("code,quantity\nstraight-0.80,1,2\n", "under no heading"),
        ("code,quantity\n\0,1\n", "NUL bytes"),
    ],
)
def test_a_table_of_another_shape(text: str, says: str, place: Path, tmp_path: Path) -> None:
    table = tmp_path / "delivery.csv"
    table.write_text(text, encoding="utf-8")
    assert says in refused("import", table)
    assert not place.exists()


def test_a_book_that_is_none_is_refused(tmp_path: Path) -> None:
    no_book = tmp_path / "book.sqlite"
    no_book.write_text("a shopping list")
    for words in (["list"], ["history"], ["add", "straight-0.80", "1"]):
        assert "no workshop book" in refused(*words, "--book", no_book)
    assert no_book.read_text() == "a shopping list"
