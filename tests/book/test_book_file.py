"""A book in a file: what is no book is refused, where it is by default, and what a copy of it holds."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from runs import AT, run
from test_book import refusal

from configurator.book import book as book_module
from configurator.book.book import Book, find_book, open_book


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "book.sqlite"


NO_BOOKS: dict[str, tuple[Callable[[Path], object], str]] = {
    "text": (lambda path: path.write_text("my notes on the roadster, " * 50), "it is not a database"),
    "directory": (lambda path: path.mkdir(), "is a directory; expected a file"),
    "pipe": (lambda path: os.mkfifo(path), "is not an ordinary file"),
    "cut short": (lambda path: cut_short(path), "is damaged"),
}


def cut_short(place: Path) -> None:
    with open_book(place) as book:
        for _ in range(5):
            book.add_trial(run())
    os.truncate(place, 5000)


@pytest.mark.parametrize("kind", NO_BOOKS)
def test_what_is_no_book_is_refused_and_left_alone(kind: str, place: Path) -> None:
    make, words = NO_BOOKS[kind]
    make(place)
    before = place.read_bytes() if place.is_file() else b""

    def look(opened: Book | None) -> None:
        assert opened is not None
        opened.trials()

    for work in (lambda: look(open_book(place)), lambda: look(find_book(place))):
        text = refusal(work)
        assert text.startswith(f"{place}: ") and words in text and "\n" not in text
    assert (place.read_bytes() if place.is_file() else b"") == before
    assert [path.name for path in place.parent.iterdir()] == [place.name]


def test_the_default_place_and_what_overrules_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TIPIN_BOOK", raising=False)
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data" / "tipin")
    assert find_book() is None
    assert list(tmp_path.iterdir()) == [], "looking makes nothing"
    with open_book() as book:
        assert book.place == str(tmp_path / "data" / "tipin" / "workshop-book.sqlite")
        book.add_trial(run())
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "named.sqlite"))
    assert find_book() is None
    with open_book() as book:
        assert book.place == str(tmp_path / "named.sqlite") and book.trials() == []
    with open_book(tmp_path / "given.sqlite") as book:
        assert book.place == str(tmp_path / "given.sqlite")
    monkeypatch.setenv("TIPIN_BOOK", "")
    found = find_book()
    assert found is not None and len(found.trials()) == 1
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "named.sqlite" / "tipin")
    assert "its folder cannot be made" in refusal(book_module.open_book)


def test_a_book_lies_on_the_disk_before_a_run_is_confirmed(place: Path) -> None:
    """What a copy holds that is taken at that moment, as by a backup."""
    with open_book(place) as book:
        book.add_trial(run(at=AT))
        copy = place.with_name("copy.sqlite")
        copy.write_bytes(place.read_bytes())
        assert [path.name for path in sorted(place.parent.iterdir())] == ["book.sqlite", "copy.sqlite"]
    with open_book(copy) as book:
        assert len(book.trials()) == 1
