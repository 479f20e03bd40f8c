"""`tipin catalogue` from outside: new, add, set, import; what it says, what it writes, and every way to get it wrong;
and the currency wherever a price is shown."""

import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
from test_cli import EVENING, ROADSTER, Ran, run, slim_catalog

from configurator.catalogue.load import FAMILIES, load_catalog, shipped_catalog_dir
from configurator.catalogue.own import CatalogueReport, new_catalog, short_names
from configurator.catalogue.sheet_import import ImportReport

LIST = "Part;Bore (in);Cost (GBP)\nNZ 0331;0,0331;11,20\nstraight-0.80;0,0315;11,90\n"
COLUMNS = ["--column", "code=Part", "--column", "diameter=Bore (in)", "--column", "price=Cost (GBP)"]
STRAIGHT = ["--same", "style=straight"]


@pytest.fixture(autouse=True)
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A catalogue of this test's own in an empty folder, and a price list beside it."""
    monkeypatch.delenv("TIPIN_CATALOG", raising=False)
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    monkeypatch.chdir(tmp_path)
    new_catalog(Path("own"), "GBP")
    Path("list.csv").write_text(LIST)
    return Path("own")


def into(own: Path, *words: str) -> Ran:
    return run("catalogue", *words, "--catalog", own)


def test_a_catalogue_is_made_and_what_is_next_does_what_it_says() -> None:
    ran = run("catalogue", "new", "mine")
    assert ran.code == 0 and "mine: made as a copy of the shipped catalogue" in ran.out
    following = ran.out.partition("Next: tipin ")[2].split()
    assert run(*following).code == 0 and "straight-0.83" in load_catalog("mine").nozzles
    again = run("catalogue", "new", "mine")
    assert (again.code, again.out) == (2, "") and "mine: is not empty" in again.err


def test_the_example_of_each_help_does_what_it_says() -> None:
    Path("list.csv").write_text("code,Cost\nstraight-0.80,9\n")
    for words in (["new"], ["set"], ["import"], ["add", "nozzles"]):
        example = " ".join(run("catalogue", *words, "--help").out.partition("Example: tipin ")[2].split())
        assert example.startswith(" ".join(["catalogue", *words]))
        plain = [word.strip("'\"") for word in re.findall(r'"[^"]*"|\S+', example)]
        ran = run(*plain, *([] if "--catalog" in plain or words == ["new"] else ["--catalog", "my-catalog"]))
        assert ran.code in (0, 1) and ran.err == "" and ran.out, example


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_has_an_option_for_each_of_its_columns(family: str) -> None:
    shown = run("catalogue", "add", family, "--help").out
    for short, column in short_names(family).items():
        for name in (short, column):
            assert re.search(rf"--{name.replace('_', '-')}\b", shown)
    assert family in run("catalogue", "add", "--help").out


def test_a_part_is_added_and_what_was_taken_from_its_kind_is_told(own: Path) -> None:
    ran = into(own, "add", "nozzles", "--diameter", "0.83mm", "--style", "straight", "--price", "12")
    assert (ran.code, ran.err) == (0, "")
    assert "straight-0.83: diameter_mm 0.83, style straight, price 12.00 GBP; as most of its kind here:" in ran.out
    again = into(own, "add", "nozzles", "--diameter-mm", "0.83", "--style", "straight", "--price", "12")
    assert again.code == 2 and again.err.startswith("tipin: --code: 'straight-0.83' is there already")


def test_faults_are_told_by_option(own: Path) -> None:
    ran = into(own, "add", "nozzles", "--diameter", "31", "--style", "strait", "--price", "ten")
    assert ran.code == 2 and ran.out == ""
    said = [line.removeprefix("tipin: ").partition(":")[0] for line in ran.err.splitlines()]
    assert said == ["--diameter-mm", "--style", "--supplier", "--price", "--labour-min", "--redrillable"]
    assert set(said) <= set(re.findall(r"--[a-z-]+", run("catalogue", "add", "nozzles", "--help").out))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["add", "nozles", "--price", "1"], "nozles: is no family; expected one of nozzles"),
        (["set", "pump-3cc", "price"], "COLUMN=VALUE price: has no =; expected NAME=VALUE"),
        (["set", "pump-3", "price=1"], "did you mean pump-3cc?"),
        (["import", "list.csv"], "--family: is missing; expected nozzles, pumps or another family"),
        (["import", "list.csv", "--family", "nozles"], "did you mean nozzles?"),
        (["import", "list.csv", "--mapping", "bay"], "there is no such file"),
        (["import", "list.csv", "--family", "nozzles"], "--column diameter_mm: is named by no heading"),
        (["import", "list.csv", "--family", "nozzles", "--column", "code"], "--column code: has no ="),
        (["import", "lost.csv", "--family", "nozzles"], "lost.csv: there is no such file; did you mean list.csv?"),
        (["import", "list.csv", "--family", "nozzles", *COLUMNS, *STRAIGHT, "--yes", "--keep-mapping", "a/b"],
         "--keep-mapping a/b: is no name"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_ends_in_a_message_and_2(words: list[str], says: str, own: Path) -> None:
    before = {path: path.read_bytes() for path in own.rglob("*") if path.is_file()}
    ran = into(own, *words)
    assert ran.code == 2 and ran.err.startswith("tipin: ") and says in ran.err
    assert {path: path.read_bytes() for path in own.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("words", [["add", "nozzles", "--price", "1"], ["set", "pump-3cc", "price=1"],
                                   ["import", "list.csv", "--family", "nozzles"]])  # fmt: skip
def test_without_a_catalogue_of_its_own_nothing_is_written(words: list[str]) -> None:
    ran = run("catalogue", *words)
    assert ran.code == 2 and "--catalog: is missing" in ran.err and "`tipin catalogue new DIR` makes one" in ran.err
    ran = run("catalogue", *words, "--catalog", shipped_catalog_dir())
    assert ran.code == 2


def test_a_sheet_is_previewed_written_and_written_again_by_its_mapping(own: Path) -> None:
    words = ["import", "list.csv", "--family", "nozzles", *COLUMNS, *STRAIGHT]
    ran = into(own, *words)
    assert ran.code == 1 and ran.out.endswith("Nothing is written yet: --yes writes it.\n")
    assert "1 to add, 1 to change, 0 left as they are" in ran.out
    assert "straight-0.80: price 13.50 GBP -> 11.90 GBP" in ran.out and "nz-0331" not in load_catalog(own).nozzles
    ran = into(own, *words, "--yes", "--keep-mapping", "bay")
    assert ran.code == 0 and "Written. Next time: tipin catalogue import FILE --mapping bay" in ran.out
    assert load_catalog(own).nozzles["straight-0.80"].price == 11.9
    ran = into(own, "import", "list.csv", "--mapping", "bay")
    assert ran.code == 0 and ran.out.endswith("Nothing is written.\n")
    Path("list.csv").write_text(LIST.replace("11,90", "12,10"))
    assert into(own, "import", "list.csv", "--mapping", "bay", "--yes").code == 0
    assert load_catalog(own).nozzles["straight-0.80"].price == 12.1


def test_a_sheet_at_fault_is_shown_and_never_written(own: Path) -> None:
    Path("list.csv").write_text(LIST.replace("11,90", "cheap"))
    ran = into(own, "import", "list.csv", "--family", "nozzles", *COLUMNS, *STRAIGHT, "--yes", "--keep-mapping", "bay")
    assert ran.code == 2 and ran.out.startswith("NO  list.csv into own/nozzles.csv") and "1 fault" in ran.out
    assert "list.csv, row 3, column Cost (GBP): found 'cheap'" in ran.out
    assert "nz-0331" not in load_catalog(own).nozzles and not (own / "imports").exists()


@pytest.mark.parametrize(("answer", "code"), [(b"y\n", 0), (b"n\n", 1), (b"\n", 1)])
def test_a_terminal_is_asked(answer: bytes, code: int, own: Path) -> None:
    ours, theirs = pty.openpty()
    os.write(ours, answer)
    words = ["catalogue", "import", "list.csv", "--family", "nozzles", *COLUMNS, *STRAIGHT, "--catalog", str(own)]
    done = subprocess.run(
        [sys.executable, "-m", "configurator", *words], stdin=theirs, capture_output=True, text=True, timeout=60
    )
    os.close(ours)
    os.close(theirs)
    assert done.returncode == code and "Write this? [y/N]" in done.stderr
    assert ("nz-0331" in load_catalog(own).nozzles) == (code == 0)
    assert done.stdout.endswith("Written.\n" if code == 0 else "Nothing is written.\n")


def test_answers_come_as_json(own: Path) -> None:
    for model, words in (
        (CatalogueReport, ["add", "spacers", "--thickness", "16", "--bonnet", "16.8", "--price", "30", "--supplier",
                           "north-shelf", "--labour", "50"]),
        (CatalogueReport, ["set", "currency", "value=EUR"]),
        (ImportReport, ["import", "list.csv", "--family", "nozzles", "--column", "code=Part", "--only-known"]),
    ):  # fmt: skip
        ran = into(own, *words, "--json")
        assert ran.code in (0, 1) and ran.err == ""
        report = model.model_validate_json(ran.out, strict=True)
        assert json.loads(report.model_dump_json()) == json.loads(ran.out)
    assert load_catalog(own).spacers["spacer-16"].thickness_mm == 16
    made = CatalogueReport.model_validate_json(run("catalogue", "new", "mine", "--json").out, strict=True)
    assert made.did == "made"


MONEY = re.compile(r"(?<![\w.-])\d+\.\d\d(?![\w.])(?! (?:mm|cc|deg|in|cm3|s|ms|thou)\b)")
SHOWN: dict[str, list[str]] = {
    "propose": [ROADSTER, "--symptom", "stumble"], "why": [ROADSTER, "front.pump=pump-5cc"],
    "compare": [ROADSTER, "fitted", "front.nozzle=0.78mm"], "order": [EVENING], "card": [ROADSTER, "-o", "card.html"],
    "parts": ["pumps"], "stock": ["add", "pump-5cc", "2"],
}  # fmt: skip


@pytest.mark.parametrize("name", SHOWN)
@pytest.mark.parametrize("currency", ["GBP", ""])
def test_the_currency_stands_behind_every_price_where_one_is_named(name: str, currency: str, own: Path) -> None:
    folder = slim_catalog(Path("slim"), {})
    (folder / "settings.csv").write_text(f"name,value\n{f'currency,{currency}' if currency else ''}\n")
    out = run(name, *SHOWN[name], "--catalog", folder).out
    if name == "card":
        out += re.sub("<svg.*?</svg>|<style.*?</style>|<[^>]*>", " ", Path("card.html").read_text(), flags=re.DOTALL)
    bare = [found.group() for found in MONEY.finditer(out) if out[found.end() : found.end() + 4] != " GBP"]
    assert ("GBP" in out) == bool(currency)
    assert (bare == []) == bool(currency), bare


PUMP = {
    "lever": "short", "price": "10", "supplier": "north-shelf", "labour-min": "30", "diaphragm-area": "900",
    "safe-stroke": "8", "spring-preload": "11", "spring-rate": "1.6", "depth-below-bowl": "19",
}  # fmt: skip


@pytest.mark.parametrize("option", ["--capacity", "--capacity-ten-strokes"])
@pytest.mark.parametrize("said", ["42 cc in ten", "42cc in ten strokes", "2.563 cu in in ten"])
def test_a_pump_is_added_by_what_ten_strokes_gave(option: str, said: str, own: Path) -> None:
    words = [word for name, cell in PUMP.items() for word in (f"--{name}", cell)]
    ran = into(own, "add", "pumps", "--code", "pump-own", *words, option, said)
    assert (ran.code, ran.err) == (0, "")
    pump = load_catalog(own).pumps["pump-own"]
    assert pump.capacity_ten_strokes_cc == pytest.approx(42, abs=0.01) and pump.capacity_cc == pytest.approx(
        4.2, abs=1e-3
    )


@pytest.mark.parametrize("said", ["1.112,50", "1 112,50", "1,112.50", "1112,5", "1'112.50"])
def test_a_price_with_a_sign_for_thousands_is_read_by_its_hundredths(said: str, own: Path) -> None:
    assert into(own, "set", "pump-3cc", f"price={said}").code == 0
    assert load_catalog(own).pumps["pump-3cc"].price == 1112.5


@pytest.mark.parametrize("said", ["1.112.50", "1,112,50", "1.12,50", "1 112.505", "12.112,50.3"])
def test_a_price_that_is_none_is_quoted_as_it_was_typed(said: str, own: Path) -> None:
    ran = into(own, "set", "pump-3cc", f"price={said}")
    assert ran.code == 2 and f"found '{said}'" in ran.err


def test_minutes_are_asked_for_as_a_job_takes_them(own: Path) -> None:
    ran = into(own, "set", "pump-3cc", "labour_min=a while")
    assert ran.code == 2 and 'or text such as "12 min" or "0.5 h"' in ran.err
    assert into(own, "set", "pump-3cc", "labour_min=0.5 h").code == 0
    assert load_catalog(own).pumps["pump-3cc"].labour_min == 30
