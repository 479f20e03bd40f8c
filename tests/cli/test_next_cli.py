"""`tipin next`, and what a book with runs in it changes in size and propose; without one nothing is changed."""

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from configurator.advice.belief_told import sure_percent
from configurator.advice.next_step import NextReport
from configurator.advice.sure_proposal import SureProposeReport
from configurator.advice.sure_sizes import SureSizeReport
from configurator.cli import app
from configurator.cli import main as run_main
from configurator.judging.right import DEMAND
from configurator.views.belief import belief_lines

ROADSTER = str(Path(__file__).parents[2] / "catalog" / "examples" / "roadster.toml")


def tipin(*words: str) -> Any:
    return CliRunner().invoke(app, list(words), catch_exceptions=False)


def answer(*words: str) -> dict[str, Any]:
    done = tipin(*words, "--json")
    assert done.exit_code in (0, 1), done.output
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A book with one run of the roadster, a strong stumble."""
    place = str(tmp_path_factory.mktemp("book") / "season.sqlite")
    assert tipin("trial", "add", ROADSTER, "--felt", "stumble", "--strength", "strong", "--book", place).exit_code == 0
    return place


@pytest.fixture(scope="module")
def faint(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A book with a faint stumble, which a nozzle alone may mend."""
    place = str(tmp_path_factory.mktemp("faint") / "season.sqlite")
    assert tipin("trial", "add", ROADSTER, "--felt", "stumble", "--strength", "faint", "--book", place).exit_code == 0
    return place


@pytest.fixture(autouse=True)
def no_book_of_the_users(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "none.sqlite"))


HEADS = {"try": "TRY  Club roadster: this next, about ", "stop": "OK  Club roadster: leave it as it is, ",
         "nothing": "NO  Club roadster: nothing to try"}  # fmt: skip


def test_next_says_what_to_try_and_what_stands_behind_it(book: str) -> None:
    done = tipin("next", ROADSTER, "--book", book)
    report = NextReport.model_validate(answer("next", ROADSTER, "--book", book))
    assert done.stdout.startswith(HEADS[report.do]) and done.exit_code == int(report.do == "nothing")
    assert "1 run stands behind this" in done.stdout and report.belief.runs == 1
    assert bool(report.changes) == (report.do == "try")
    assert all(f"{change.slot}: {change.to}" in done.stdout for change in report.changes)


def test_next_without_a_book_goes_by_the_model_alone(tmp_path: Path) -> None:
    done = tipin("next", ROADSTER)
    assert done.exit_code == 0 and "no run stands behind this yet" in done.stdout
    assert not (tmp_path / "none.sqlite").exists()


def test_the_shelf_limits_what_may_be_tried(tmp_path: Path) -> None:
    """With a nozzle on it that nobody wants, nothing else is bought; with what is wanted, that is tried."""
    place = ["--book", str(tmp_path / "shelf.sqlite")]
    assert tipin("trial", "add", ROADSTER, "--felt", "stumble", *place).exit_code == 0
    wanted = answer("next", ROADSTER, *place)["changes"]
    assert tipin("stock", "add", "straight-0.60", "1", *place).exit_code == 0
    codes = {change["code"] for change in answer("next", ROADSTER, *place, "--stock-only")["changes"]}
    assert codes <= {"straight-0.60", "lobe-fell"}, "what is fitted may be set otherwise"
    for change in wanted:
        assert tipin("stock", "add", change["code"], "1", *place).exit_code == 0
    assert answer("next", ROADSTER, *place, "--stock-only")["changes"] == wanted


def test_a_shelf_without_a_book_is_bad_input(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "none.sqlite"
    monkeypatch.setattr("sys.argv", ["tipin", "next", ROADSTER, "--stock-only"])
    with pytest.raises(SystemExit) as left:
        run_main()
    assert left.value.code == 2 and not place.exists()
    assert capsys.readouterr().err == (
        f"tipin: --stock-only: there is no book {place}, so no shelf; put parts on the shelf with `tipin stock add`, "
        "or leave the option out\n"
    )


def test_size_takes_the_smallest_nozzle_that_is_sure_enough(faint: str) -> None:
    """As sure as three quarters of the surest is: what is smaller is less, and that it is the smallest is said."""
    (sizes,) = SureSizeReport.model_validate(answer("size", ROADSTER, "--book", faint)).circuits
    own = [row for row in sizes.candidates if row.pump == sizes.fitted.pump and set(row.breaks) <= set(DEMAND)]
    wanted = 0.75 * max(row.sureness for row in own)
    report = SureSizeReport.model_validate(answer("size", ROADSTER, "--book", faint, "--sure", str(100 * wanted)))
    (sizes,) = report.circuits
    assert sizes.enough and sizes.smallest is not None and sizes.sureness is not None and sizes.sureness >= wanted
    smaller = [row for row in own if row.diameter_mm < sizes.smallest.diameter_mm]
    assert smaller and all(row.sureness < wanted for row in smaller)
    assert report.sureness_wanted == pytest.approx(wanted) and report.engine == report.belief.engine


def test_size_gives_nearly_the_surest_where_none_is_sure_enough(faint: str) -> None:
    report = SureSizeReport.model_validate(answer("size", ROADSTER, "--book", faint, "--sure", "99.5"))
    (sizes,) = report.circuits
    own = [row for row in sizes.candidates if row.pump == sizes.fitted.pump and set(row.breaks) <= set(DEMAND)]
    most = max(row.sureness for row in own)
    assert not report.ok and not sizes.enough and sizes.sureness is not None and sizes.sureness >= 0.9 * most
    done = tipin("size", ROADSTER, "--book", faint, "--sure", "99.5")
    assert done.exit_code == 1 and "YES" not in done.stdout
    assert "none reaches 99.5 %, and none is much surer" in done.stdout


def test_propose_says_how_sure_it_is(book: str) -> None:
    report = SureProposeReport.model_validate(answer("propose", ROADSTER, "--book", book))
    assert report.sureness is not None and report.belief.runs == 1
    done = tipin("propose", ROADSTER, "--book", book)
    assert f"  sure to be right to {sure_percent(report.sureness)}" in done.stdout
    assert ("none reaches 90 %, and none is much surer" in done.stdout) == (report.sureness < 0.9)
    assert "1 run stands behind this" in done.stdout


def test_a_symptom_counts_as_one_more_run(book: str) -> None:
    report = SureProposeReport.model_validate(answer("propose", ROADSTER, "--book", book, "--symptom", "stumble"))
    assert (report.belief.runs, report.belief.felt_now) == (1, True)
    assert report.symptom == "stumble" and "nearly always too little fuel" in report.hint
    assert answer("next", ROADSTER, "--book", book)["belief"]["runs"] == 1
    for runs, says in ((1, "1 run and what is felt now stand"), (0, "what is felt now stands")):
        (told,) = belief_lines(report.belief.model_copy(update={"runs": runs}))
        assert " ".join(told.split()).startswith(f"{says} behind this")


@pytest.mark.parametrize("command", ["size", "propose"])
def test_nothing_changes_without_a_run_that_counts(command: str, tmp_path: Path) -> None:
    plain = tipin(command, ROADSTER, "--json").stdout
    place = str(tmp_path / "cold.sqlite")
    assert tipin("trial", "add", ROADSTER, "--felt", "smoke", "--cold", "--book", place).exit_code == 0
    assert tipin(command, ROADSTER, "--json", "--book", place).stdout == plain
    assert "sureness_wanted" not in plain and '"belief"' not in plain


def test_the_environment_names_the_book(book: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TIPIN_BOOK", book)
    assert answer("next", ROADSTER)["belief"]["runs"] == 1
    assert answer("size", ROADSTER)["belief"]["runs"] == 1
