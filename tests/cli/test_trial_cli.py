"""`tipin trial` from outside: what is recorded, listed, undone, exported, imported, and every way to get it wrong."""

import csv
import io
import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trace_making
from test_cli import Ran, run

from configurator.book.book import open_book
from configurator.book.records import TraceMeasured, Trial, car_of
from configurator.book.trial_files import COLUMNS, TrialFile
from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS
from configurator.learning.trial_entry import COLD, TrialReport, read_when

EXAMPLES = {name: shipped_catalog_dir() / "examples" / f"{name}.toml" for name in trace_making.EXAMPLES}
ROADSTER, VAN, HILL_CLIMBER = EXAMPLES["roadster"], EXAMPLES["van"], EXAMPLES["hill-climber"]
CATALOG = load_catalog(shipped_catalog_dir())


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book of this test's own, and an empty folder to work in."""
    monkeypatch.delenv("TIPIN_CATALOG", raising=False)
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "book.sqlite"


def answer(*words: str | Path) -> TrialReport:
    ran = run("trial", *words, "--json")
    assert (ran.code, ran.err) == (0, "")
    report = TrialReport.model_validate_json(ran.out, strict=True)
    assert json.loads(report.model_dump_json()) == json.loads(ran.out)
    return report


def recorded(*words: str | Path) -> Trial:
    (trial,) = answer("add", *words).trials
    return trial


def refused(*words: str | Path) -> str:
    ran: Ran = run("trial", *words)
    assert ran.code == 2 and ran.out == ""
    assert ran.err.startswith("tipin: ") and "Traceback" not in ran.err
    return ran.err


def in_book(place: Path) -> list[Trial]:
    with open_book(place) as book:
        return list(book.trials(with_undone=True))


def test_everything_that_is_said_is_kept(place: Path) -> None:
    trial = recorded(
        ROADSTER, "--felt", "dull", "--strength", "faint", "--at", "2026-05-02 10:15Z", "--air-temperature", "12.5",
        "--altitude", "250", "--pressure", "98.1", "--fuel", "club fuel", "--clean-after", "240", "--note",
        "second gear",
    )  # fmt: skip
    assert in_book(place) == [trial]
    assert (trial.number, trial.vehicle, trial.at) == (1, "Club roadster", datetime(2026, 5, 2, 10, 15, tzinfo=UTC))
    assert trial.felt is not None and (trial.felt.word, trial.felt.strength) == ("dull", "faint")
    day = trial.conditions
    assert (day.air_temperature_c, day.altitude_m, day.air_pressure_kpa) == (12.5, 250, 98.1)
    assert (day.fuel, day.warm, trial.clean_after_ms, trial.note) == ("club fuel", True, 240, "second gear")
    engine = car_of(trial).engine
    assert (engine.air_temperature_c, engine.altitude_m, engine.air_pressure_kpa) == (12.5, 250, 98.1)


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_record_holds_what_is_fitted_with_its_figures(name: str) -> None:
    """From the record alone the model works out the same shot as from the vehicle file."""
    trial = recorded(EXAMPLES[name], "--felt", "stumble")
    case, again = Case.of(load_vehicle(EXAMPLES[name]), CATALOG), Case.of(car_of(trial), CATALOG)
    assert trial.codes == {str(slot): option.label for slot, option in case.as_fitted.items()}
    for circuit in case.circuit_names:
        same_shot(case, case.as_fitted, again, circuit)


def same_shot(case: Case, choice: dict, again: Case, circuit: str) -> None:  # type: ignore[type-arg]
    tables = [
        of.columns(circuit, {slot: (option,) for slot, option in parts.items()}).shot
        for of, parts in ((case, choice), (again, again.as_fitted))
    ]
    for key in ("delay_ms", "lean_sag_percent", "rich_sag_percent", "smoke_ms", "volume_cc", "ends_ms"):
        one, other = (float(getattr(table, key).squeeze()) for table in tables)
        assert one == pytest.approx(other, abs=1e-9), key


def test_with_says_what_was_fitted_in_this_run() -> None:
    """All slots, by figures of the parts that were in: a size, a screw, a lobe in a phase, pump, spacer and pad."""
    words = ["front.nozzle=0.80mm", "front.pump=pump-5cc", "front.lobe=lobe-force@0", "front.feed_screw=screw-freeflow",
             "spacer=spacer-10", "pad_relief=1mm"]  # fmt: skip
    trial = recorded(ROADSTER, "--felt", "clean", *(piece for word in words for piece in ("--with", word)))
    assert trial.codes == {
        "front.nozzle": "straight-0.80, 0.80 mm (31.5 thou)", "front.feed_screw": "screw-freeflow",
        "front.pump": "pump-5cc", "front.lobe": "lobe-force at 0 deg", "spacer": "spacer-10",
        "pad_relief": "manifold pad relieved by 1.0 mm",
    }  # fmt: skip
    case, again = Case.of(load_vehicle(ROADSTER), CATALOG), Case.of(car_of(trial), CATALOG)
    front = again.car.fitted.front
    assert front.nozzle.diameter_mm == 0.80 and front.pump.capacity_cc == 5 and front.feed_screw.passage_area_mm2 == 6.5
    assert (front.slack_mm, front.overtravel_mm) == (None, None), "a linkage that was set again is not measured yet"
    manifold, before = again.vehicle.manifold, case.vehicle.manifold
    assert before.pad_clearance_mm == 22 and manifold.pad_clearance_mm == pytest.approx(22 + 10 + 1)
    spacer = CATALOG.spacers["spacer-10"]
    assert manifold.bonnet_clearance_mm == pytest.approx((before.bonnet_clearance_mm or 0) - spacer.bonnet_mm)
    choice = {
        slot: next(option for option in options if option.label == trial.codes[str(slot)])
        for slot, options in case.options.items()
    }
    same_shot(case, choice, again, "front")


def test_a_redrilled_nozzle_is_kept_by_its_new_size() -> None:
    trial = recorded(ROADSTER, "--felt", "dull", "--with", "front.nozzle=redrill:0.80mm")
    nozzle = Case.of(car_of(trial), CATALOG).car.fitted.front.nozzle
    assert isinstance(nozzle, FittedNozzle) and nozzle.redrilled and nozzle.measured
    assert nozzle.diameter_mm == pytest.approx(0.80)
    stays = recorded(ROADSTER, "--felt", "dull")
    assert Case.of(car_of(stays), CATALOG).car.fitted.front.overtravel_mm == pytest.approx(0.381)


def test_the_confirmation_says_number_parts_and_feeling(place: Path) -> None:
    ran = run("trial", "add", HILL_CLIMBER, "--felt", "smoke", "--strength", "strong", "--with", "rear.nozzle=1.09mm")
    first, *rest = ran.out.splitlines()
    assert first == f"OK  run 1 recorded in {place}: Hill-climb special, smoke (strong)"
    said = {line.split()[0]: " ".join(line.split()[1:]) for line in rest[:9]}
    assert said["front.nozzle"] == "straight-0.92, 0.97 mm (38.0 thou)"
    assert said["rear.nozzle"] == "straight-1.09, 1.09 mm (42.9 thou)"
    assert said["rear.lobe"] == "lobe-crag at 0 deg" and said["spacer"] == "spacer-13"


def test_a_cold_engine_and_faults_by_hand_are_recorded_and_said() -> None:
    report = answer("add", VAN, "--felt", "flat", "--cold")
    assert not report.trials[0].conditions.warm
    assert report.notes[0] == COLD
    told = " ".join(report.notes)
    assert (
        "slack in the pump linkage: 0.60 mm" in told
        and "jets were redrilled" in told
        and "first checks open: 3 of 3" in told
    )
    assert all("Trust the run less" in note for note in report.notes[1:])
    assert answer("add", ROADSTER, "--felt", "flat").notes == []
    text = " ".join(run("trial", "add", VAN, "--felt", "stumble", "--cold").out.split())
    assert all(note in text for note in report.notes)


def test_the_list_is_newest_last_with_undone_runs_marked() -> None:
    assert "records one" in run("trial", "list").out
    recorded(ROADSTER, "--felt", "stumble", "--at", "2026-05-02T10:15Z")
    recorded(VAN, "--felt", "smoke", "--cold", "--at", "2026-05-01T09:00Z", "--clean-after", "800")
    recorded(ROADSTER, "--felt", "clean", "--note", "got\nit\x1b[31m", "--at", "2026-05-02T11:00Z")
    assert run("trial", "undo", "1").out.startswith("OK  run 1 undone: Club roadster, stumble (clear)")
    lines = run("trial", "list").out.splitlines()
    starts = [line for line in lines if re.match(r"\d", line)]
    assert [re.split(r"  +", line)[:3] for line in starts] == [
        ["1", "2026-05-02 10:15", "Club roadster"], ["2", "2026-05-01 09:00", "Marshals' van"],
        ["3", "2026-05-02 11:00", "Club roadster"],
    ]  # fmt: skip
    assert [re.split(r"  +", line)[-1] for line in starts] == ["undone", "no, cold", "yes"]
    assert "clean after 800 ms" in "\n".join(lines) and "\x1b" not in "".join(lines) and r"got\nit\x1b[31m" in starts[2]
    assert max(map(len, lines)) <= 140
    assert [trial.number for trial in answer("list", ROADSTER).trials] == [1, 3]
    assert "vehicle" not in run("trial", "list", ROADSTER).out.splitlines()[0]


@pytest.mark.parametrize("words", [["list"], ["export", "csv"], ["export", "json"], ["undo", "1"]])
def test_looking_makes_no_book(words: list[str], place: Path) -> None:
    ran = run("trial", *words)
    assert ran.code == (2 if "undo" in words else 0)
    assert ran.err == ("" if ran.code == 0 else f"tipin: {place}, run 1: there is no book yet; expected a book with "
                       "runs in it\n")  # fmt: skip
    assert not place.exists()


@pytest.mark.parametrize("kind", ["csv", "json"])
def test_an_exported_file_is_imported_elsewhere(kind: str, place: Path, tmp_path: Path) -> None:
    recorded(ROADSTER, "--felt", "stumble", "--note", 'first, of two; "quoted"\nand on')
    recorded(HILL_CLIMBER, "--felt", "smoke", "--air-temperature", "7.25")
    run("trial", "undo", "1")
    file, other = tmp_path / f"runs.{kind}", tmp_path / "other.sqlite"
    assert run("trial", "export", kind, "-o", file).out == "OK  2 runs written\n"
    assert file.read_text(encoding="utf-8") == run("trial", "export", kind).out
    assert answer("import", file, "--book", other).trials == in_book(place)
    assert in_book(other) == in_book(place) and in_book(other)[0].undone
    again = answer("import", file, "--book", other)
    assert (again.trials, again.known) == ([], 2), "what the book holds is not added twice"
    assert "2 left out, as the book holds them already" in run("trial", "import", file, "--book", other).out
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book.sqlite", "other.sqlite", f"runs.{kind}"]


def test_exports_of_one_vehicle() -> None:
    recorded(ROADSTER, "--felt", "stumble")
    recorded(VAN, "--felt", "smoke")
    rows = list(csv.DictReader(io.StringIO(run("trial", "export", "csv", VAN).out)))
    assert [row["vehicle"] for row in rows] == ["Marshals' van"] and list(rows[0]) == list(COLUMNS)
    kept = TrialFile.model_validate_json(run("trial", "export", "json", ROADSTER).out)
    assert [trial.number for trial in kept.trials] == [1]


def test_an_export_goes_into_a_file_of_its_own_kind_only(tmp_path: Path) -> None:
    recorded(ROADSTER, "--felt", "stumble")
    car = tmp_path / "precious.toml"
    car.write_text("kept")
    ran = run("trial", "export", "csv", "--out", car)
    assert ran.code == 2 and "expected a name that ends in .csv or .json" in ran.err and car.read_text() == "kept"


def test_a_file_with_one_bad_run_records_none(place: Path, tmp_path: Path) -> None:
    for word in ("stumble", "dull"):
        recorded(ROADSTER, "--felt", word, "--book", "from.sqlite")
    text = run("trial", "export", "csv", "--book", "from.sqlite").out
    file = tmp_path / "runs.csv"
    file.write_text(text.replace(",dull,", ",sluggish,"), encoding="utf-8")
    assert f"{file}, row 3, column felt: sluggish is no symptom" in refused("import", file)
    assert not place.exists()


def logged(tmp_path: Path, name: str = "roadster") -> Path:
    return trace_making.file_of(tmp_path / "trace.csv", trace_making.logged(name))


def test_a_trace_is_measured_drawn_and_kept(tmp_path: Path, place: Path) -> None:
    """The truth is the model's own mixture, logged through a sensor that lags."""
    words: list[str | Path] = ["--trace", logged(tmp_path), "--trace-lag", "80", "--plot", "trace.svg"]
    ran = run("trial", "add", ROADSTER, "--felt", "stumble", *words)
    assert ran.code == 0 and re.search(r"measured +lean \d+ ms, rich \d+ ms, give or take \d+ ms", ran.out)
    assert ran.out.endswith("Picture: trace.svg\n") and "<svg" in (tmp_path / "trace.svg").read_text(encoding="utf-8")
    (trial,) = in_book(place)
    assert trial.trace is not None and trial.trace.lag_ms == 80
    truth = trace_making.truth("roadster")
    assert trial.trace.hole_ms == pytest.approx(truth.hole_ms, abs=max(20.0, 3 * trial.trace.doubt_ms))


def test_a_trace_alone_is_a_run(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The measuring has tests of its own; what it is asked for, and what becomes of its answer, is seen here."""
    asked: list[tuple[Path, dict[str, str] | None, float | None]] = []

    class Gave:
        spells = TraceMeasured(hole_ms=120, flood_ms=0, lag_ms=60, doubt_ms=9)
        notes = ("two gaps were bridged",)

    def measured(case: Case, path: Path, *, columns: dict[str, str] | None, lag_ms: float | None) -> type[Gave]:
        asked.append((path, columns, lag_ms))
        return Gave

    monkeypatch.setattr("configurator.learning.trace.trace.measure_for_case", measured)
    words = ["--trace", "run.csv", "--trace-column", "phi=O2 = wide", "--trace-column", "time=t", "--trace-lag", "60"]
    report = answer("add", ROADSTER, *words)
    assert asked == [(Path("run.csv"), {"phi": "O2 = wide", "time": "t"}, 60)]
    assert (report.trials[0].felt, report.trials[0].trace) == (None, Gave.spells)
    assert report.notes == ["two gaps were bridged"] and in_book(place) == report.trials
    assert "a trace" in run("trial", "list").out


def test_times_are_read_as_people_write_them(monkeypatch: pytest.MonkeyPatch) -> None:
    now = datetime(2026, 5, 3, 12, 0, 0, 999, tzinfo=UTC)
    assert read_when(None, now) == datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
    local = datetime(2026, 5, 2, 10, 15).astimezone()
    assert read_when("2026-05-02 10:15", now) == read_when("2026-05-02T10:15:00", now) == local
    assert read_when("2026-05-02 10:15+02:00", now) == datetime(2026, 5, 2, 8, 15, tzinfo=UTC)
    moment = recorded(ROADSTER, "--felt", "dull").at
    assert timedelta(0) <= datetime.now(UTC) - moment < timedelta(minutes=1)


DULL: list[str | Path] = ["add", ROADSTER, "--felt", "dull"]
BAD: dict[str, tuple[list[str | Path], str]] = {
    "no such vehicle": (["add", "roadstar.toml", "--felt", "dull"], "roadstar.toml: there is no such file"),
    "nothing felt": (["add", ROADSTER], "says neither what was felt nor what was measured"),
    "unknown feeling": (["add", ROADSTER, "--felt", "stumbel"], "is no symptom; expected one of stumble, popback"),
    "unknown strength": ([*DULL, "--strength", "much"], "--strength: found 'much'"),
    "strength of nothing": (["add", ROADSTER, "--strength", "clear"], "--strength: says how strongly, but not what"),
    "unknown moment": ([*DULL, "--when", "soon"], "--when: found 'soon'"),
    "moment of nothing": (["add", ROADSTER, "--when", "later"], "--when: says when, but not what was felt"),
    "moment at odds": (["add", ROADSTER, "--felt", "flat", "--when", "both"], "--when both: does not go with flat"),
    "not a temperature": ([*DULL, "--air-temperature", "68 mm"], "found '68 mm': 'mm' is no unit of temperature"),
    "too hot": ([*DULL, "--air-temperature", "99"], "--air-temperature: found '99'"),
    "on the moon": ([*DULL, "--altitude", "400000"], "--altitude: found '400000'"),
    "no pressure": ([*DULL, "--pressure", "nan"], "--pressure: found 'nan': not a number with a unit"),
    "pressure in hPa": ([*DULL, "--pressure", "1013"], 'at most 110 kPa absolute; did you mean "1013 mbar"?'),
    "negative": ([*DULL, "--clean-after", "-3"], "--clean-after: found '-3'"),
    "long note": ([*DULL, "--note", "x" * 2001], "--note: found 'xxx"),
    "no fuel": ([*DULL, "--fuel", ""], "--fuel: found ''"),
    "no text": ([*DULL, "--note", "\udcff"], "--note: found"),
    "no time": ([*DULL, "--at", "noon"], "--at noon: is no time; expected a time such as"),
    "no such day": ([*DULL, "--at", "2026-02-30 10:00"], "is no time"),
    "the year 1": ([*DULL, "--at", "0001-01-01 00:00+14:00"], "is no time"),
    "to come": ([*DULL, "--at", "2999-01-01 10:00"], "is still to come"),
    "unknown part": ([*DULL, "--with", "front.pump=pump-9cc"], "nothing in the catalogue for"),
    "unknown slot": ([*DULL, "--with", "front.nozle=0.8mm"], "did you mean front.nozzle?"),
    "no file to import": (["import", "runs.csv"], "runs.csv: there is no such file"),
    "directory to import": (["import", "."], "is a directory"),
    "directory to write": (["export", "csv", "-o", "."], ".: is a directory; expected a file to write"),
    "no folder to write in": (["export", "csv", "-o", "gone/runs.csv"], "cannot be written (No such file"),
    "no folder for a book": ([*DULL, "--book", "gone/b.sqlite"], "its folder does not exist"),
    "book is a folder": (["list", "--book", "."], ".: is a directory"),
    "lag of no trace": ([*DULL, "--trace-lag", "80"], "--trace-lag: goes with a trace only"),
    "column of no trace": ([*DULL, "--trace-column", "phi=x"], "goes with a trace only"),
    "picture of no trace": ([*DULL, "--plot", "a.svg"], "--plot: goes with a trace or with a recorded pull"),
    "no such trace": (["add", ROADSTER, "--trace", "gone.csv"], "gone.csv: there is no such file"),
    "column without name": (["add", ROADSTER, "--trace", "a.csv", "--trace-column", "phi"], "is not of the form"),
    "column twice": (["add", ROADSTER, "--trace", "gone.csv", "--trace-column", "phi=a", "--trace-column", "phi=b"],
                     "phi is named twice"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_input_ends_in_one_message_and_2(name: str, tmp_path: Path) -> None:
    words, says = BAD[name]
    text = refused(*words)
    assert says in text and text.count("\n") == 1
    assert list(tmp_path.iterdir()) == [], "nothing is written"


def test_every_fault_of_a_run_is_told_at_once() -> None:
    text = refused("add", ROADSTER, "--felt", "dull", "--strength", "much", "--pressure", "3", "--altitude", "-9999")
    assert [line.partition(":")[0] for line in text.removeprefix("tipin: ").splitlines()] == [
        "--strength", "--altitude", "--pressure",
    ]  # fmt: skip


def test_a_bad_picture_or_book_is_refused_before_a_trace_is_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("configurator.learning.trace.trace.measure_for_case", lambda *_, **__: pytest.fail("measured"))
    words: list[str | Path] = ["add", ROADSTER, "--trace", "trace.csv", "--plot"]
    assert "cannot draw a '.gif' file" in refused(*words, "trace.gif")
    assert "its folder does not exist" in refused(*words, "trace.svg", "--book", "gone/b.sqlite")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "words",
    [["undo", "one"], ["undo"], ["undo", "0"], ["export", "xml"], ["export"], ["import"], ["add", "--felt", "dull"],
     ["add", ROADSTER, "--felt"], ["add", ROADSTER, "--altitude", "high"], ["list", "--felt", "dull"],
     ["list", "-o", "runs.csv"], ["undo", "1", ROADSTER], ["import", "runs.csv", ROADSTER], ["--undo", "1"]],
    ids=lambda words: " ".join(map(str, words[:1])),
)  # fmt: skip
def test_a_word_that_the_command_does_not_know_ends_in_2(words: list[str | Path], place: Path) -> None:
    ran = run("trial", *words)
    assert ran.code == 2 and ran.out == "" and "Traceback" not in ran.err
    assert not place.exists()


@pytest.mark.parametrize("words", [[ROADSTER, "--felt", "dull"], ["--felt", "dull", ROADSTER]], ids=["car", "option"])
def test_add_may_be_left_out(words: list[str | Path], place: Path) -> None:
    assert run("trial", *words).out.startswith("OK  run 1 recorded")
    assert [trial.felt.word for trial in in_book(place) if trial.felt] == ["dull"]


def test_the_words_of_the_help_are_those_there_are() -> None:
    text = " ".join(run("trial", "add", "--help").out.split())
    assert all(word in text for word in SYMPTOMS) and "Example: tipin trial" in text


UNSAID = "Whether at once or after a moment was not said: both are weighed."


def test_when_a_stumble_came_is_kept_and_shown() -> None:
    report = answer("add", ROADSTER, "--felt", "stumble", "--when", "later")
    assert report.trials[0].felt is not None and report.trials[0].felt.moment == "later" and report.notes == []
    assert "stumble (clear, after a moment)" in run("trial", "list", ROADSTER).out


class Terminal(io.StringIO):
    """What is typed at a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("felt", "typed", "moment"),
    [("stumble", "later", "later"), ("stumble", "At once", "at-once"), ("stumble", "", "both"), ("dull", None, None)],
)
def test_on_a_terminal_a_stumble_is_asked_when_it_came(
    felt: str, typed: str | None, moment: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is asked stands beside the answer, not in it; nothing else is asked."""
    monkeypatch.setattr("sys.stdin", Terminal("" if typed is None else typed + "\n"))
    ran = run("trial", "add", ROADSTER, "--felt", felt, "--json")
    (trial,) = TrialReport.model_validate_json(ran.out).trials
    assert trial.felt is not None and trial.felt.moment == moment
    assert ("When does the stumble come" in ran.err) is (typed is not None)


def test_without_a_terminal_nobody_is_asked_and_both_are_weighed() -> None:
    report = answer("add", ROADSTER, "--felt", "stumble")
    assert report.trials[0].felt is not None and report.trials[0].felt.moment is None and report.notes == [UNSAID]
