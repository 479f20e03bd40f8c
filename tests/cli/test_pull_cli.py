"""`tipin trial add` with a recording of the pull, and `tipin trial compare`, from outside."""

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from recording_making import Phone, as_table, driven, recorded, truth_of
from test_cli import run

from configurator.arrays import Array
from configurator.book.book import open_book
from configurator.book.records import Conditions, Felt, Trial, car_of, trial_of
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.learning.pull_told import PullsCompared
from configurator.learning.trial_entry import TrialReport
from configurator.physics.lateness import Lateness
from configurator.physics.pull_seen import seen_in, smoothed_at
from configurator.slots.wishes import chosen_parts

ROADSTER = shipped_catalog_dir() / "examples" / "roadster.toml"
CASE = Case.of(load_vehicle(ROADSTER), load_catalog(shipped_catalog_dir()))
LARGER = ["--with", "front.nozzle=straight-0.85", "--with", "front.lobe=lobe-cairn@0"]
NOW = datetime(2026, 5, 2, 10, tzinfo=UTC)
WET = Lateness(1.35, 1.1)


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book of this test's own, and an empty folder to work in."""
    monkeypatch.delenv("TIPIN_CATALOG", raising=False)
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "book.sqlite"


def log(*parts: str, throttle: bool = False, luck: int = 1, tip_ins: int = 3) -> dict[str, Array]:
    """A phone's recording of the roadster with these parts, wetter than the model has it."""
    choice = chosen_parts(CASE.options, list(parts))
    fitted = trial_of(CASE, NOW, Felt(word="clean"), Conditions(), choice=choice)
    drive = driven([truth_of(Case.of(car_of(fitted), CASE.catalog), WET)] * tip_ins, 4.6, opening_s=0.15, luck=luck)
    columns = recorded(drive, Phone(rate_hz=100.0, luck=luck))
    if throttle:
        columns["tps %"] = np.interp(columns["t"], drive.time_s, drive.throttle)
    return columns


def answer(*words: str | Path) -> TrialReport:
    ran = run("trial", "add", ROADSTER, *words, "--json")
    assert (ran.code, ran.err) == (0, "")
    return TrialReport.model_validate_json(ran.out, strict=True)


def in_book(place: Path) -> list[Trial]:
    with open_book(place) as book:
        return list(book.trials(with_undone=True))


def test_a_recording_is_measured_told_and_kept(tmp_path: Path, place: Path) -> None:
    as_table(tmp_path / "pull.csv", log(throttle=True))
    ran = run("trial", "add", ROADSTER, "--pull", "pull.csv", "--plot", "pull.svg")
    assert (ran.code, ran.err) == (0, "")
    picture = (tmp_path / "pull.svg").read_text(encoding="utf-8")
    assert "Measured pull after tip-in of Club roadster: 3 tip-ins, pull there" in picture
    said = " ".join(ran.out.split())
    assert "recorded in" in said and "Club roadster, a recorded pull" in said
    (trial,) = in_book(place)
    assert trial.pull is not None and trial.pull.from_throttle and len(trial.pull.tip_ins) == 3
    assert "(three tip-ins, " in said and "; the model said " in said and "then falls by" in said
    assert "time: t" in said and "acceleration in three axes: x, y, z, in m/s2 by their size" in said
    assert "throttle: tps %; only how it moves counts" in said
    told = answer("--pull", "pull.csv").pull
    assert told is not None
    truth = truth_of(CASE, WET)
    seen = seen_in(smoothed_at(trial.pull.smoothed_ms / 1e3) @ np.column_stack([truth.given, truth.best]), 0.0)
    assert told.delay_ms == pytest.approx(seen.rise_ms[0] - seen.rise_ms[1], abs=12)
    assert told.delay_span_ms[0] <= told.delay_ms <= told.delay_span_ms[1]
    assert "a recorded pull" in run("trial", "list").out


def test_without_the_throttle_the_whole_is_told_by_the_engines_that_fit(tmp_path: Path) -> None:
    as_table(tmp_path / "pull.csv", log())
    report = answer("--pull", "pull.csv", "--felt", "stumble", "--when", "at-once")
    told = report.pull
    assert told is not None and not told.from_throttle and "from where the pull first moves" in told.says[0]
    low, high = told.whole_delay_span_ms
    assert low < told.whole_delay_ms < high and low < truth_of(CASE, WET).delay_ms < high
    assert told.says[2].startswith("in all it hesitates about")
    assert any("nobody logged the throttle" in note for note in report.notes)


@pytest.mark.long(20)
def test_two_runs_are_compared_and_a_change_is_told_from_chance(tmp_path: Path) -> None:
    as_table(tmp_path / "before.csv", log())
    as_table(tmp_path / "again.csv", log(luck=2))
    as_table(tmp_path / "after.csv", log("front.nozzle=straight-0.85", "front.lobe=lobe-cairn@0", luck=3))
    for name, fitted in (("before", []), ("again", []), ("after", LARGER)):
        assert run("trial", "add", ROADSTER, "--pull", f"{name}.csv", *fitted).code == 0
    alike = run("trial", "compare", ROADSTER, "1", "2")
    assert alike.code == 1 and alike.out.startswith("NO  Club roadster: runs 1 and 2 differ by no more than chance\n")
    assert "changed between them: no part" in alike.out and alike.out.count("so it may be chance") == 2
    other = run("trial", "compare", ROADSTER, "1", "3")
    assert other.code == 0 and other.out.startswith("OK  Club roadster: runs 1 and 3 differ by more than chance\n")
    assert "ms less, give or take" in other.out and "straight-0.85" in other.out
    report = PullsCompared.model_validate_json(run("trial", "compare", ROADSTER, "1", "3", "--json").out, strict=True)
    assert report.delay_differs and report.delay_change_ms < 0 and report.runs == [1, 3]
    assert report.delay_change_ms == pytest.approx(report.delay_ms[1] - report.delay_ms[0])


def test_a_pull_goes_out_and_comes_in_again_with_its_run(tmp_path: Path, place: Path) -> None:
    as_table(tmp_path / "pull.csv", log(tip_ins=2))
    assert run("trial", "add", ROADSTER, "--pull", "pull.csv").code == 0
    for form in ("csv", "json"):
        assert run("trial", "export", form, "-o", f"runs.{form}").code == 0
        assert run("trial", "import", f"runs.{form}", "--book", f"{form}.sqlite").code == 0
        (own,), (other,) = in_book(place), in_book(tmp_path / f"{form}.sqlite")
        assert own.pull == other.pull and other.pull is not None


@pytest.mark.long(12)
def test_what_to_try_next_follows_from_a_pull_alone(tmp_path: Path) -> None:
    as_table(tmp_path / "pull.csv", log())
    assert run("trial", "add", ROADSTER, "--pull", "pull.csv").code == 0
    ran = run("next", ROADSTER, "--json")
    assert ran.code in (0, 1) and json.loads(ran.out)["schema_version"]


BAD: dict[str, tuple[list[str | Path], str]] = {
    "no such file": (["add", ROADSTER, "--pull", "gone.csv"], "gone.csv: there is no such file"),
    "column of nothing": (["add", ROADSTER, "--felt", "clean", "--pull-column", "x=a"], "--pull-column: goes with a"),
    "column without name": (["add", ROADSTER, "--pull", "a.csv", "--pull-column", "x"],
                            "--pull-column x: is not of the form WHAT=NAME; expected for example speed_kmh=NAME"),
    "no run": (["compare", ROADSTER, "1", "2"], "Club roadster, run 1: there is no such run"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_input_ends_in_one_message_and_2(name: str, tmp_path: Path) -> None:
    words, says = BAD[name]
    ran = run("trial", *words)
    assert (ran.code, ran.out) == (2, "") and says in ran.err and ran.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == [], "nothing is written"


def test_runs_that_cannot_be_compared_are_told_apart(tmp_path: Path) -> None:
    as_table(tmp_path / "a.csv", log(tip_ins=1))
    as_table(tmp_path / "b.csv", log(tip_ins=1, throttle=True))
    assert run("trial", "add", ROADSTER, "--pull", "a.csv").code == 0
    assert run("trial", "add", ROADSTER, "--pull", "b.csv").code == 0
    assert run("trial", "add", ROADSTER, "--felt", "clean").code == 0
    unlike = run("trial", "compare", ROADSTER, "1", "2").err
    assert "runs 1 and 2: the throttle was logged in one of the two only" in unlike
    assert "run 3: has no recorded pull; expected one of runs 1, 2" in run("trial", "compare", ROADSTER, "1", "3").err


def test_without_its_library_it_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    as_table(tmp_path / "pull.csv", log(tip_ins=1))
    monkeypatch.setattr("configurator.learning.recording.smoothing.find_spec", lambda name: None)
    ran = run("trial", "add", ROADSTER, "--pull", "pull.csv")
    assert ran.code == 2 and "needs scipy: pip install '.[recording]'" in ran.err
