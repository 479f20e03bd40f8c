"""A command that has changed the book says so with an exit code of its own, whatever becomes of its answer."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from runs import run as a_run
from sqlalchemy import Engine, event
from test_cli import ROADSTER, run

from configurator.book.book import open_book
from configurator.book.trial_files import as_text

CHANGES: dict[str, tuple[list[str], str]] = {
    "trial add": (["trial", "add", ROADSTER, "--felt", "dull"], "recorded as run 2"),
    "trial undo": (["trial", "undo", "1"], "run 1 is undone"),
    "trial import": (["trial", "import", "runs.json"], "1 runs are recorded"),
    "fit": (["fit", ROADSTER, "front.nozzle=straight-0.90"], "recorded as entry 2"),
    "fit --undo": (["fit", ROADSTER, "--undo", "1"], "entry 1 is undone"),
    "stock add": (["stock", "add", "straight-0.80", "2"], "booked: +2 straight-0.80: added"),
    "stock take": (["stock", "take", "straight-0.80", "1", "--why", "sold"], "booked: -1 straight-0.80: sold"),
    "stock count": (["stock", "count", "straight-0.80", "5"], "booked: +4 straight-0.80: counted"),
    "stock import": (["stock", "import", "shelf.csv"], "booked: +3 straight-0.85: from shelf.csv"),
    "units": (["units", "inch"], "shown is inch from now on"),
}


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with a run, an entry and a part on the shelf; and files to import."""
    folder = tmp_path_factory.mktemp("kept")
    place = str(folder / "book.sqlite")
    for words in (["trial", "add", ROADSTER, "--felt", "stumble"], ["fit", ROADSTER, "front.nozzle=straight-0.85"],
                  ["stock", "add", "straight-0.80", "1"]):  # fmt: skip
        assert run(*words, "--book", place).code == 0
    (folder / "runs.json").write_text(as_text([a_run("smoke")], "json"), encoding="utf-8")
    (folder / "shelf.csv").write_text("code,quantity\nstraight-0.85,3\n", encoding="utf-8")
    return folder


@pytest.fixture
def place(kept: Path, tmp_path: Path) -> str:
    shutil.copytree(kept, tmp_path, dirs_exist_ok=True)
    return str(tmp_path / "book.sqlite")


def held(place: str) -> tuple[object, ...]:
    with open_book(place) as book:
        everything = book.records(with_undone=True)
        return everything.runs, everything.fittings, book.stock_history(), book.units()


OUTPUTS = {
    "full": ("exec > /dev/full", "No space left on device"), "closed": ("exec >&-", "the output is closed"),
    "a pipe that nobody reads": ("exec > >(exec true); sleep 0.3", "Broken pipe"),
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "output"),
    [*((name, "full") for name in CHANGES), *((name, kind) for name in ("trial add", "units") for kind in OUTPUTS)],
)
def test_the_book_is_changed_and_the_answer_is_lost(name: str, output: str, place: str, tmp_path: Path) -> None:
    words, did = CHANGES[name]
    before = held(place)
    redirect, why = OUTPUTS[output]
    command = [sys.executable, "-m", "configurator", *words, "--book", place]
    ran = subprocess.run(
        ["bash", "-c", f'{redirect}; exec "$@"', "-", *command], cwd=tmp_path, capture_output=True, text=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    assert ran.stderr == f"tipin: {did}, but the answer could not be written ({why})\n"
    assert ran.returncode == 3
    assert held(place) != before


def test_the_same_again_with_its_key_is_known(place: str, tmp_path: Path) -> None:
    """Also where the car has changed by it: what was to be fitted is fitted, what was to be taken is gone."""
    commands = {
        ("trial", "add", ROADSTER, "--felt", "dull", "--with", "front.nozzle=redrill:0.95mm"): "run 2",
        ("fit", ROADSTER, "front.nozzle=straight-0.90", "--old-to-shelf"): "entry 2",
        ("stock", "take", "straight-0.80", "1"): "-1 straight-0.80",
        ("stock", "count", "straight-0.95", "4"): "+4 straight-0.95",
        ("stock", "import", str(tmp_path / "shelf.csv")): "+3 straight-0.85",
    }
    keys = [f"key-{number}" for number in range(len(commands))]
    for words, key in zip(commands, keys, strict=True):
        assert run(*words, "--entry-key", key, "--book", place).code == 0
    before = held(place)
    for (words, says), key in zip(commands.items(), keys, strict=True):
        again = run(*words, "--entry-key", key, "--book", place)
        assert again.code == 0 and says in again.out, again.err
    assert held(place) == before


def test_an_answer_that_needs_the_book_again(place: str, tmp_path: Path) -> None:
    """The connection is lost, or the disk, once the change is confirmed: it is not said to have failed."""
    confirmed: list[bool] = []

    def fails_later(connection: object, *_: object) -> None:
        if confirmed:
            raise OSError(5, "Input/output error")

    def confirm(_: object) -> None:
        confirmed.append(True)

    event.listen(Engine, "commit", confirm)
    event.listen(Engine, "begin", fails_later)
    try:
        ran = run("stock", "add", "straight-0.80", "2", "--book", place)
    finally:
        event.remove(Engine, "commit", confirm)
        event.remove(Engine, "begin", fails_later)
    assert ran.code == 3 and "tipin: booked: +2 straight-0.80: added, but the answer could not be written" in ran.err
    with open_book(place) as book:
        assert book.stock()["straight-0.80"] == 3


def test_an_answer_with_letters_that_the_output_has_not(place: str, tmp_path: Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "configurator", "trial", "add", ROADSTER, "--felt", "dull", "--fuel", "Süper €",
         "--book", place],
        capture_output=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2]), "PYTHONIOENCODING": "latin-1"},
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert b"S\xfcper ?" in ran.stdout
