"""How a book is opened: to look, which writes nothing, or to write; what is no sound book is told."""

import os
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from threading import Timer

import pytest
from book_stores import Files, Store
from postgres_server import running_server
from runs import run
from test_book import VERSION_1, refusal
from test_cli import run as command

from configurator.book.book import Book, find_book, open_book
from configurator.book.copies import copied, faults_in_file
from configurator.book.database import Database
from configurator.book.schema import NEWEST
from configurator.catalogue.load import shipped_catalog_dir

ROADSTER = shipped_catalog_dir() / "examples" / "roadster.toml"


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def an_old_book(store: Store, *more: str) -> str:
    place = store.new()
    text = run("dull").model_dump_json(exclude={"number", "undone"}).replace("'", "''")
    store.by_hand(place, *VERSION_1, f"INSERT INTO trials VALUES (1, 'test truck', FALSE, '{text}')", *more)
    return place


def test_a_file_of_no_bytes_is_told_and_left_alone(tmp_path: Path) -> None:
    """A disk or a program that carries files about has lost what was in it: no new book is begun over that."""
    place = tmp_path / "book.sqlite"
    place.touch()
    says = (
        f"{place}: is empty (0 bytes): what was in it is lost; expected a workshop book; put back a copy with "
        "`tipin book restore COPY`, or remove the file to begin a new book"
    )
    assert refusal(lambda: open_book(place)) == refusal(lambda: find_book(place)) == says
    for words in (["trial", "list"], ["next", ROADSTER], ["stock", "add", "straight-0.80", "1"]):
        ran = command(*words, "--book", place)
        assert (ran.code, ran.err) == (2, f"tipin: {says}\n")
    assert files(tmp_path) == {"book.sqlite": b""}


LOOKS: dict[str, list[str | Path]] = {
    "list": ["trial", "list"], "stock": ["stock", "list"], "history": ["stock", "history"], "fit": ["fit", ROADSTER],
    "units": ["units"], "export": ["trial", "export", "csv"], "size": ["size", ROADSTER],
}  # fmt: skip


@pytest.mark.parametrize("name", LOOKS)
def test_a_look_at_a_book_of_before_writes_nothing(name: str, tmp_path: Path) -> None:
    """And sees what is in it."""
    place = an_old_book(Files(tmp_path))
    before = files(tmp_path)
    ran = command(*LOOKS[name], "--book", place)
    assert ran.code in (0, 1), ran.err
    if name in ("list", "export"):
        assert "dull" in ran.out
    assert files(tmp_path) == before


def test_a_look_at_a_book_of_before_on_either_store(store: Store) -> None:
    place = an_old_book(store)
    tables = store.tables(place)
    found = find_book(place)
    assert found is not None
    with found as book:
        assert [trial.number for trial in book.trials()] == [1] and book.stock() == {} and book.units() == "metric"
    assert store.tables(place) == tables
    assert store.by_hand(place, "SELECT version FROM book_version") == [(1,)]
    empty = store.new()
    assert find_book(empty) is None


def test_a_look_cannot_be_written_with(place: str) -> None:
    with open_book(place) as book:
        book.add_trial(run())
    found = find_book(place)
    assert found is not None
    with found, pytest.raises(AssertionError, match="a look never writes"):
        found.add_trial(run())


def test_a_copy_is_made_before_a_migration(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside a file; for a server in the folder for data. It says what the book said, and is a book itself."""
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")
    place = an_old_book(store)
    with open_book(place) as book:
        assert len(book.trials()) == 1
        book.add_trial(run())
    kept = [path for path in tmp_path.rglob("*.version-1-*") if path.is_file()]
    assert len(kept) == 1
    with closing(sqlite3.connect(kept[0])) as copy:
        assert copy.execute("SELECT version FROM book_version").fetchall() == [(1,)]
        assert copy.execute("SELECT number, vehicle FROM trials").fetchall() == [(1, "test truck")]
    with open_book(kept[0]) as again:
        assert [trial.number for trial in again.trials()] == [1]


def test_no_copy_no_migration(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = Files(tmp_path)
    place = an_old_book(store)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("configurator.files.writing.os.replace", full)
    assert "cannot be written (No space left on device)" in refusal(lambda: open_book(place))
    assert store.by_hand(place, "SELECT version FROM book_version") == [(1,)]


def damaged_index(place: Path) -> None:
    """A page overwritten, as by a bad block: SQLite itself only sees it when it looks at everything."""
    with open_book(place) as book:
        for number in range(200):
            book.add_trial(run(note=f"{number} " + "x" * 300))
    with closing(sqlite3.connect(place)) as connection:
        ((root,),) = connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'ix_trials_vehicle'"
        ).fetchall()
        ((size,),) = connection.execute("PRAGMA page_size").fetchall()
    with place.open("r+b") as file:
        file.seek((root - 1) * size + size - 300)
        file.write(b"\x00" * 200)


def test_a_book_that_was_not_closed_well_is_looked_through(tmp_path: Path) -> None:
    place = tmp_path / "book.sqlite"
    damaged_index(place)
    with open_book(place):
        pass  # nothing says that anything is wrong
    journal = place.with_name("book.sqlite-journal")
    for look in (open_book, find_book):
        journal.write_bytes(b"\0" * 512)  # what a process leaves that was killed before it had written anything
        text = refusal(lambda look=look: look(place))  # type: ignore[misc]
        assert text.startswith(f"{place}: is damaged: ") and "`tipin book restore COPY`" in text
    sound = tmp_path / "sound.sqlite"
    with open_book(sound) as book:
        book.add_trial(run())
    sound.with_name("sound.sqlite-journal").write_bytes(b"\0" * 512)
    with open_book(sound) as book:
        assert len(book.trials()) == 1


@pytest.mark.parametrize("version", ["-1", "-99999", "NULL", "'many'", "1.5"])
def test_a_version_that_is_none(version: str, tmp_path: Path) -> None:
    store = Files(tmp_path)
    place = store.new()
    store.by_hand(place, "CREATE TABLE book_version (version INTEGER)", f"INSERT INTO book_version VALUES ({version})")
    before = files(tmp_path)
    for look in (open_book, find_book):
        assert "is a database, but no workshop book" in refusal(lambda look=look: look(place))  # type: ignore[misc]
    assert files(tmp_path) == before


def test_a_book_of_a_later_tipin_is_called_later(store: Store) -> None:
    place = store.new()
    with open_book(place) as book:
        book.add_trial(run())
    store.by_hand(place, f"UPDATE book_version SET version = {NEWEST + 1}")
    for look in (open_book, find_book):
        text = refusal(lambda look=look: look(place))  # type: ignore[misc]
        assert f"was made by a later tipin (version {NEWEST + 1})" in text and "damaged" not in text


ODD: dict[str, tuple[str, Callable[[Book], object]]] = {
    "a number in words": ("UPDATE stock SET quantity = 'many'", Book.stock),
    "a number beyond all": ("UPDATE stock SET quantity = 9999999999999", Book.stock),
    "half a part": ("UPDATE stock SET quantity = 1.5", Book.stock),
    "words, counted": ("UPDATE stock SET quantity = 'many'", lambda book: book.count_stock("lobe-mid", 1, "")),
    "words, moved": ("UPDATE stock SET quantity = 'many'", lambda book: book.move_stock("lobe-mid", 1, "")),
    "a time in words": ("UPDATE stock_moves SET at = 'noon'", Book.stock_history),
    "a change in words": ("UPDATE stock_moves SET change = 'more'", Book.stock_history),
    "a code that is none": ("UPDATE stock_moves SET why = x'00ff'", Book.stock_history),
    "no more numbers": ("UPDATE trials SET number = 9223372036854775807", lambda book: book.add_trial(run())),
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
def test_odd_values_get_a_message(name: str, tmp_path: Path) -> None:
    statement, work = ODD[name]
    store = Files(tmp_path)
    place = store.new()
    with open_book(place) as book:
        book.move_stock("lobe-mid", 1, "bought")
        book.add_trial(run())
    store.by_hand(place, "PRAGMA ignore_check_constraints = ON", statement)
    with open_book(place) as book:
        text = refusal(lambda: work(book))
    assert text.startswith(f"{place}") and "\n" not in text


@pytest.mark.needs("postgres")
def test_a_first_connection_waits_for_a_server_that_is_being_restarted(monkeypatch: pytest.MonkeyPatch) -> None:
    """As docs/shared-book.md promises, for whoever comes first as well."""
    with running_server() as server:
        place = server.url(server.new_database())
        server.stop()
        later = Timer(2.0, server.start)
        later.start()
        began = time.monotonic()
        with open_book(place) as book:
            assert book.add_trial(run()).number == 1
        later.join()
        assert 1.5 < time.monotonic() - began < 15


def test_a_copy_says_what_the_book_says(store: Store) -> None:
    place = store.new()
    with open_book(place) as book:
        book.add_trial(run(note="ü € '"), "key")
        book.move_stock("lobe-mid", 2, "bought")
        held = book.records(), book.stock_history()
    database = Database(place)
    with copied(database) as copy:
        assert faults_in_file(copy) == [] and copy.place == database.place
        with Book(copy) as there:
            assert (there.records(), there.stock_history()) == held
    database.close()
    assert os.path.exists(place) or "://" in place
