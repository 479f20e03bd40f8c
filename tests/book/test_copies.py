"""The book as a whole: looked through, copied while others write, put back whatever has become of it."""

import json
import os
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from book_stores import Files, Store
from runs import run as a_run
from test_book import refusal, told
from test_cli import Ran, run

from configurator.book.book import open_book, restore_book


@pytest.fixture(autouse=True)
def nothing_in_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TIPIN_BOOK", raising=False)


def filled(place: str) -> tuple[Any, ...]:
    with open_book(place) as book:
        for word in ("stumble", "dull", "clean"):
            book.add_trial(a_run(word, note="ü € '"), f"key-{word}")
        book.undo_trial(2)
        book.move_stock("lobe-mid", 3, "bought")
        book.add_fitting(told(shelf={"lobe-mid": -1}))
        book.show_in("inch")
    return held(place)


def held(place: str | Path) -> tuple[Any, ...]:
    with open_book(place) as book:
        return book.records(with_undone=True), book.stock(), book.stock_history(), book.units()


def test_a_copy_and_the_way_back(store: Store, tmp_path: Path) -> None:
    """From either database, into either."""
    place, copy = store.new(), tmp_path / "copy.sqlite"
    said = filled(place)
    ran = run("book", "backup", copy, "--book", place)
    assert ran.code == 0 and "3 runs, 1 entries of what is fitted, 2 movements" in ran.out, ran.err
    assert ran.out.endswith(f"Copy: {copy}\n") and held(copy) == said
    assert refusal(lambda: run_or_raise("book", "backup", copy, "--book", place)).endswith("a name not used yet")
    into = store.new()
    assert run("book", "restore", copy, "--book", into).code == 0
    assert held(into) == said
    with open_book(into) as book:
        assert book.add_trial(a_run(), "key-dull").number == 2, "keys come along"
        assert book.add_trial(a_run()).number == 4
    file = tmp_path / "file.sqlite"
    assert restore_book(copy, file) is None and held(file) == said


def run_or_raise(*words: str | Path) -> None:
    from configurator.errors import BadInput, Fault

    ran: Ran = run(*words)
    if ran.code == 2:
        raise BadInput([Fault("", "", ran.err.strip())])


def test_a_book_on_a_server_is_not_written_over(store: Store, tmp_path: Path) -> None:
    place, copy = store.new(), tmp_path / "copy.sqlite"
    filled(place)
    run("book", "backup", copy, "--book", place)
    with open_book(place) as book:
        book.add_trial(a_run())
    ran = run("book", "restore", copy, "--book", place)
    if isinstance(store, Files):  # the book before is kept beside
        assert ran.code == 0
        (kept,) = tmp_path.glob("*.before-restore-*")
        assert f"The book before: {kept}" in ran.out
        assert len(held(kept)[0].runs) == 4 and len(held(place)[0].runs) == 3
    else:
        assert ran.code == 2 and "holds something already; expected an empty database" in ran.err
        assert len(held(place)[0].runs) == 4


def with_a_journal(path: Path) -> None:
    os.truncate(path, 5000)
    path.with_name(f"{path.name}-journal").write_bytes(b"\xd9\xd5\x05\xf9" + b"x" * 600)


DAMAGES: dict[str, Callable[[Path], object]] = {
    "cut short": lambda path: os.truncate(path, 5000),
    "empty": lambda path: os.truncate(path, 0),
    "overwritten": lambda path: path.write_bytes(b"no book " * 2000),
    "gone": lambda path: path.unlink(),
    "with a journal of its own": with_a_journal,
}  # fmt: skip


@pytest.mark.parametrize("name", DAMAGES)
def test_a_copy_is_put_back_whatever_has_become_of_the_book(name: str, tmp_path: Path) -> None:
    place, copy = tmp_path / "book.sqlite", tmp_path / "copy.sqlite"
    said = filled(str(place))
    assert run("book", "backup", copy, "--book", place).code == 0
    DAMAGES[name](place)
    damaged = place.read_bytes() if place.exists() else None
    ran = run("book", "restore", copy, "--book", place)
    assert ran.code == 0, ran.err
    assert held(place) == said
    kept = [path.read_bytes() for path in tmp_path.glob("*.before-restore-*") if not path.name.endswith("-journal")]
    assert kept == ([] if damaged is None else [damaged]), "what is left of it is kept"


@pytest.mark.parametrize("what", ["no file", "no book", "cut short"])
def test_what_is_no_copy_is_not_put_back(what: str, tmp_path: Path) -> None:
    place, copy = tmp_path / "book.sqlite", tmp_path / "copy.sqlite"
    said = filled(str(place))
    if what == "no book":
        with closing(sqlite3.connect(copy)) as songs:
            songs.execute("CREATE TABLE songs (title TEXT)")
    elif what == "cut short":
        run("book", "backup", copy, "--book", place)
        os.truncate(copy, 9000)
    ran = run("book", "restore", copy, "--book", place)
    assert ran.code == 2 and str(copy) in ran.err, ran.err
    assert held(place) == said and not list(tmp_path.glob("*.before-restore-*"))


def test_a_copy_is_of_one_moment_while_others_write(store: Store, tmp_path: Path) -> None:
    place, over = store.new(), threading.Event()
    with open_book(place) as book:
        book.move_stock("lobe-mid", 1, "bought")

    def write() -> None:
        with open_book(place) as book:
            while not over.is_set():
                book.add_stock({"lobe-mid": 1, "lobe-low": 1}, "delivered")

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(5):
            copy = tmp_path / f"copy-{number}.sqlite"
            with open_book(place) as book:
                book.back_up(copy)
            with open_book(copy) as book:
                shelf = book.stock()
                assert shelf["lobe-mid"] - 1 == shelf.get("lobe-low", 0)
                assert book.report().faults == []
    finally:
        over.set()
        writer.join()


FAULTS = {
    "a shelf that is not its sum": (
        "UPDATE stock SET quantity = 9",
        "the shelf holds 9 of lobe-mid, and its movements",
    ),
    "a run that is gone": ("DELETE FROM trials WHERE number = 1", "2 runs, although the last has number 3"),
    "a letter": ("UPDATE trials SET record = replace(record, 'truck', 'trunk') WHERE number = 3", "run 3 is left out"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_what_is_wrong_with_a_book_is_told(name: str, store: Store) -> None:
    statement, says = FAULTS[name]
    place = store.new()
    filled(place)
    sound = run("book", "check", "--json", "--book", place)
    assert sound.code == 0 and json.loads(sound.out)["faults"] == [] and json.loads(sound.out)["runs"] == 3
    store.by_hand(place, statement)
    ran = run("book", "check", "--book", place)
    assert ran.code == 1 and says in " ".join(ran.out.split()), ran.out


def test_what_sqlite_finds_is_told(tmp_path: Path) -> None:
    from test_opening import damaged_index

    place = tmp_path / "book.sqlite"
    damaged_index(place)
    ran = run("book", "check", "--book", place)
    assert ran.code == 1 and "is not sound" in ran.out
    assert run("book", "check", "--book", tmp_path / "none.sqlite").code == 2
