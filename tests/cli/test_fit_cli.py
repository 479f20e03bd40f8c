"""`tipin fit` from outside, and every command after it: a random car in a vehicle file of this test's own."""

import json
from pathlib import Path

import pytest
from random_cars import FRONT, changed, random_car
from test_cli import run, slim_catalog
from toml_writing import toml

from configurator.book.book import open_book
from configurator.book.fitted_told import FittedReport
from configurator.catalogue.load import shipped_catalog_dir


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped catalogue with few nozzles and lobes, so that what is next is quickly found."""
    folder = slim_catalog(tmp_path_factory.mktemp("parts"), {})
    for name, codes in (
        ("nozzles", ("0.70", "0.80", "0.85", "0.90", "0.95")),
        ("lobes", ("fell", "cairn", "force", "ridge")),
    ):
        heading, *rows = (shipped_catalog_dir() / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        named = [f"{'straight' if name == 'nozzles' else 'lobe'}-{code}" for code in codes]
        kept = [row for row in rows if row.partition(",")[0] in named]
        (folder / f"{name}.csv").write_text("\n".join([heading, *kept]) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(params=[3])
def car(request: pytest.FixtureRequest, few: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A vehicle file, and a book that is not there yet."""
    monkeypatch.setenv("TIPIN_CATALOG", str(few))
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    monkeypatch.chdir(tmp_path)
    figures = changed(random_car(request.param), "manifold", pad_clearance_mm=20.0)
    path = tmp_path / "car.toml"
    path.write_text(toml({"name": "the car", **figures, "fitted": {"front": FRONT}}), encoding="utf-8")
    return path


def said(*words: str | Path) -> str:
    ran = run(*words)
    assert ran.code in (0, 1) and ran.err == "", ran.err
    return ran.out


def refused(*words: str | Path) -> str:
    ran = run("fit", *words)
    assert ran.code == 2 and ran.out == "" and "Traceback" not in ran.err
    return ran.err


def fitted(*words: str | Path) -> FittedReport:
    return FittedReport.model_validate_json(said("fit", *words, "--json"), strict=True)


def nozzle(report: FittedReport) -> tuple[str, str]:
    (part,) = [part for part in report.parts if part.slot == "front.nozzle"]
    return part.what.partition(",")[0], part.by


TOLD = (
    ("trial", "add", "CAR", "--felt", "stumble", "--with", "front.nozzle=straight-0.90"),
    ("trial", "add", "CAR", "--felt", "stumble", "--cold", "--with", "front.nozzle=straight-0.90"),
    ("fit", "CAR", "front.nozzle=straight-0.90"),
)


@pytest.mark.parametrize("words", TOLD, ids=["a run", "a cold run", "told"])
def test_check_says_where_book_and_file_differ(car: Path, words: tuple[str, ...]) -> None:
    before = said("check", car)
    assert "vehicle file" not in before
    assert run(*(str(car) if word == "CAR" else word for word in words), "--at", "2026-05-02 10:15Z").code == 0
    by = "entry" if words[0] == "fit" else "run"
    line = f"fitted now by {by} 1 of 2 May 2026: front.nozzle straight-0.90; the vehicle file says straight-0.80"
    assert line in " ".join(said("check", car).split())
    assert json.loads(said("check", car, "--json"))["notes"][0] == line
    assert json.loads(said("check", car, "--with", "front.nozzle=straight-0.80", "--json"))["with_changes"].keys() == {
        "front.nozzle"
    }, "the file's own nozzle is a change now"
    assert "with_changes" in said("check", car, "--with", "front.nozzle=straight-0.90", "--json")
    assert json.loads(said("check", car, "--with", "front.nozzle=straight-0.90", "--json"))["with_changes"] == {}


@pytest.mark.parametrize("car", [3, 5], indirect=True)
def test_every_command_begins_there(car: Path) -> None:
    """No change to what is fitted already is proposed, and what is changed is counted from there."""
    said("fit", car, "front.nozzle=straight-0.90", "--at", "2026-05-02 10:15Z")
    sizes = json.loads(said("size", car, "--json"))
    assert sizes["circuits"][0]["fitted"]["code"] == "straight-0.90"
    proposal, then = (json.loads(said(word, car, "--json")) for word in ("propose", "next"))
    for change in [*proposal["changes"], *then["changes"]]:
        if change["slot"] == "front.nozzle":
            assert change["from"].startswith("straight-0.90, ") and change["code"] != "straight-0.90"
    assert "straight-0.90" in said("why", car, "front.nozzle=straight-0.90").splitlines()[0]
    (row,) = [row for row in json.loads(said("compare", car, "fitted", "front.nozzle=0.8mm", "--json"))["parts"]
              if row["what"] == "front.nozzle"]  # fmt: skip
    assert row["first"].startswith("straight-0.90, ")
    said("card", car, "-o", "card.html", "--with", "front.nozzle=straight-0.85")
    page = Path("card.html").read_text(encoding="utf-8")
    assert "straight-0.90" in page
    run_of = json.loads(said("trial", "add", car, "--felt", "dull", "--json"))["trials"][0]
    assert run_of["codes"]["front.nozzle"].startswith("straight-0.90, ")


def test_shown_recorded_undone(car: Path, tmp_path: Path) -> None:
    assert nozzle(fitted(car)) == ("straight-0.80", "the vehicle file")
    assert not (tmp_path / "book.sqlite").exists(), "looking makes no book"
    one = fitted(car, "front.nozzle=straight-0.90", "--note", "on loan")
    assert (one.did, one.entry, nozzle(one)) == ("recorded", 1, ("straight-0.90", "entry 1"))
    said("trial", "add", car, "--felt", "stumble", "--with", "front.nozzle=straight-0.95", "--at", "2026-05-02 10:15Z")
    assert nozzle(fitted(car)) == ("straight-0.90", "entry 1"), "that run was driven before"
    gone = fitted(car, "--undo", "1")
    assert (gone.did, nozzle(gone)) == ("undone", ("straight-0.95", "run 1"))
    assert [(step.by, step.undone, step.note) for step in gone.history] == [
        ("run 1", False, ""), ("entry 1", True, "on loan"),
    ]  # fmt: skip
    assert "entry 1, undone: front.nozzle straight-0.90" in said("fit", car)
    assert "entry 1: was undone already" in refused(car, "--undo", "1")
    back = fitted(car, "--as-file")
    assert nozzle(back) == ("straight-0.80", "entry 2") and "vehicle file" not in said("check", car)


def test_a_run_of_before_is_of_what_was_in_then(car: Path) -> None:
    said("fit", car, "front.nozzle=straight-0.90", "--at", "2026-05-02 10:15Z")
    said("fit", car, "front.nozzle=straight-0.95", "--at", "2026-05-04 10:15Z")
    words = ("trial", "add", car, "--felt", "dull", "--json", "--at")
    for day, code in (("01", "straight-0.80"), ("03", "straight-0.90"), ("05", "straight-0.95")):
        (trial,) = json.loads(said(*words, f"2026-05-{day} 10:15Z"))["trials"]
        assert trial["codes"]["front.nozzle"].startswith(code)
    late = fitted(car, "front.nozzle=straight-0.85", "--at", "2026-05-02 11:00Z")
    assert late.notes == ["run 3 is later and says what is fitted now"]


def test_what_came_out_and_what_went_in_is_booked_when_told(car: Path, tmp_path: Path) -> None:
    said("stock", "add", "straight-0.90", "1")
    words = (car, "front.nozzle=straight-0.90", "--old-to-shelf", "--new-from-shelf")
    moved = fitted(*words).moved
    assert [(move.code, move.change, move.why) for move in moved] == [
        ("straight-0.80", 1, "out of the car"), ("straight-0.90", -1, "into the car"),
    ]  # fmt: skip
    with open_book(tmp_path / "book.sqlite") as book:
        assert book.stock() == {"straight-0.80": 1}
    assert fitted(*words).moved == [], "it is in already: nothing comes or goes"
    assert "1 of straight-0.95 cannot be taken" in refused(
        car, "front.nozzle=straight-0.95", "--old-to-shelf", "--new-from-shelf"
    )
    with open_book(tmp_path / "book.sqlite") as book:
        assert book.stock() == {"straight-0.80": 1} and len(book.fittings()) == 2, "nothing of it was kept"
    fitted(car, "--undo", "1")
    with open_book(tmp_path / "book.sqlite") as book:
        assert book.stock() == {"straight-0.90": 1}
        assert [move.why for move in book.stock_history()][-2:] == ["entry 1 of the car undone"] * 2


def test_work_on_a_part_moves_nothing_and_what_has_no_code_is_said(car: Path) -> None:
    one = fitted(car, "front.lobe=fitted@6", "front.nozzle=redrill:0.9mm", "pad_relief=1mm", "--old-to-shelf")
    assert one.moved == [] and one.notes == []
    two = fitted(car, "front.nozzle=straight-0.90", "--old-to-shelf")
    assert two.moved == []
    assert two.notes == [
        "front.nozzle: straight nozzle, 0.90 mm (35.4 thou) has no code to be booked by; the shelf is left as it is"
    ]


def test_what_does_not_fit_is_kept_with_a_warning(car: Path) -> None:
    one = fitted(car, "front.pump=pump-5cc", "front.lobe=lobe-fell@0")
    assert [part.what for part in one.parts if part.slot == "front.pump"] == ["pump-5cc"]
    assert one.notes and all(note.startswith("front: ") and "It is kept as told" in note for note in one.notes)
    assert "the lobe is made for another pump's lever" in one.notes[0]
    assert fitted(car, "front.nozzle=straight-0.90").notes == [], "what did not fit before is said once"
    assert fitted(car, "front.pump=pump-3cc").notes == []
    assert "! front: the lobe is made" in said("fit", car, "front.lobe=lobe-ridge")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["front.nozzle=straight-9.90"], "front.nozzle=straight-9.90: nothing in the catalogue for front.nozzle is"),
        (["front.nozle=straight-0.90"], "did you mean front.nozzle?"),
        (["straight-0.90"], "straight-0.90: is not of the form SLOT=WHAT"),
        (["front.nozzle=straight-0.90", "--undo", "1"], "is told two things at once"),
        (["front.nozzle=straight-0.90", "--as-file"], "is told two things at once"),
        (["--old-to-shelf"], "but not what is fitted"),
        (["--note", "x"], "but not what is fitted"),
        (["--undo", "1"], "there is no book yet"),
        (["front.nozzle=straight-0.90", "--at", "2999-01-01 10:00"], "is still to come"),
        (["front.nozzle=straight-0.90", "--note", "x" * 2001], "2001 characters"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_and_makes_no_book(
    car: Path, tmp_path: Path, words: list[str], says: str
) -> None:
    assert says in refused(car, *words)
    assert not (tmp_path / "book.sqlite").exists()


def test_an_entry_of_another_car_is_not_undone(car: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    other.write_text(car.read_text(encoding="utf-8").replace("the car", "the other"), encoding="utf-8")
    said("fit", car, "front.nozzle=straight-0.90")
    assert "entry 1: is of the car; expected one of the other" in refused(other, "--undo", "1")
    assert nozzle(fitted(car)) == ("straight-0.90", "entry 1") and nozzle(fitted(other))[0] == "straight-0.80"
