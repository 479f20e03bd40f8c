"""A book in a file when things go wrong around it: a full disk, a process that is killed anywhere.

The processes are real ones. A forked child carries what it needs, so that a kill costs milliseconds.
"""

import os
import random
import signal
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from book_stores import Files
from child_processes import KILLED, Confirm, child_of, in_child
from runs import run
from sqlalchemy import Engine, event
from test_book import VERSION_1, refusal, told

from configurator.book.book import open_book
from configurator.errors import BadInput

RUN = run()


def sound(place: Path) -> list[int]:
    """Numbers of the runs in a book; fails if SQLite finds anything wrong with its file."""
    with open_book(place) as book:
        numbers = [trial.number or 0 for trial in book.trials()]
    with sqlite3.connect(place) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    return numbers


@contextmanager
def on_connect(work: Callable[[Any], object]) -> Iterator[None]:
    """Do this with every connection that is opened."""

    def connected(connection: Any, _: Any) -> None:
        work(connection)

    event.listen(Engine, "connect", connected)
    try:
        yield
    finally:
        event.remove(Engine, "connect", connected)


def killed_at(statement: int) -> Callable[[Any], object]:
    """Kills this process as SQLite is about to run its n-th statement, BEGIN and COMMIT among them."""
    begun = 0

    def count(_: str) -> None:
        nonlocal begun
        begun += 1
        if begun == statement:
            os.kill(os.getpid(), signal.SIGKILL)

    return lambda connection: connection.set_trace_callback(count)


def nothing(place: Path) -> None:
    pass


def an_old_book(place: Path) -> None:
    Files(place.parent).by_hand(str(place), *VERSION_1)


def a_book_with_a_run(place: Path) -> None:
    with open_book(place) as book:
        book.add_trial(RUN)
        book.move_stock("lobe-mid", 1, "bought")


@pytest.mark.parametrize("before", [nothing, an_old_book, a_book_with_a_run])
def test_a_process_killed_between_any_two_statements(before: Callable[[Path], None], tmp_path: Path) -> None:
    """A confirmed run is there, one that was not is not, at every statement of the whole way from opening on."""
    code, statement, least = KILLED, 0, []
    while code == KILLED:
        statement += 1
        place = tmp_path / f"{statement}.sqlite"
        before(place)
        least = [1] if before is a_book_with_a_run else []

        def work(confirm: Confirm, statement: int = statement, place: Path = place) -> None:
            with on_connect(killed_at(statement)), open_book(place) as book:
                confirm(str(book.add_trial(RUN).number))

        code, confirmed = in_child(work)
        assert code in (0, KILLED)
        assert sound(place) == [*least, *map(int, confirmed)], f"killed at statement {statement}"
    assert confirmed and statement > (8 if before is a_book_with_a_run else 15), "it was killed on the way, often"


def test_what_is_fitted_killed_between_any_two_statements(tmp_path: Path) -> None:
    """The entry and what it moves on the shelf are booked both or neither."""
    code, statement = KILLED, 0
    entry = told(shelf={"lobe-mid": -1, "lobe-low": 1})
    while code == KILLED:
        statement += 1
        place = tmp_path / f"{statement}.sqlite"
        a_book_with_a_run(place)

        def work(confirm: Confirm, statement: int = statement, place: Path = place) -> None:
            with on_connect(killed_at(statement)), open_book(place) as book:
                book.add_fitting(entry)
                confirm("told")

        code, confirmed = in_child(work)
        assert sound(place) == [1]
        with open_book(place) as book:
            assert len(book.fittings()) == len(confirmed)
            assert book.stock() == ({"lobe-low": 1} if confirmed else {"lobe-mid": 1})
    assert confirmed and statement > 12


def test_a_movement_killed_between_any_two_statements(tmp_path: Path) -> None:
    """Shelf and movement are booked both or neither."""
    code, statement = KILLED, 0
    while code == KILLED:
        statement += 1
        place = tmp_path / f"{statement}.sqlite"
        a_book_with_a_run(place)

        def work(confirm: Confirm, statement: int = statement, place: Path = place) -> None:
            with on_connect(killed_at(statement)), open_book(place) as book:
                book.add_stock({"lobe-mid": 2, "lobe-low": 1}, "delivered")
                confirm("booked")

        code, confirmed = in_child(work)
        assert sound(place) == [1]
        with open_book(place) as book:
            assert book.stock() == ({"lobe-low": 1, "lobe-mid": 3} if confirmed else {"lobe-mid": 1})
            assert len(book.stock_history()) == (3 if confirmed else 1)
    assert statement > 12


def test_a_process_killed_at_any_moment(tmp_path: Path) -> None:
    """Also within a statement, in the middle of writing to the disk: forty kills at random moments on one book. Between
    the commit and its confirmation a run may be there without having been confirmed, and no more than that one."""
    place, numbers = tmp_path / "book.sqlite", [1]
    chance = random.Random(20260502)
    a_book_with_a_run(place)

    def work(confirm: Confirm) -> None:
        with open_book(place) as book:
            while True:
                confirm(str(book.add_trial(RUN).number))

    for _ in range(40):
        child, lines = child_of(work)
        with lines:
            said = [lines.readline() for _ in range(chance.randint(0, 3))]
            time.sleep(chance.uniform(0.0, 0.02))
            os.kill(child, signal.SIGKILL)
            said += lines.readlines()
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == KILLED
        found = sound(place)
        confirmed = [*numbers, *map(int, said)]
        assert found[: len(confirmed)] == confirmed and len(found) - len(confirmed) in (0, 1)
        numbers = found
    assert len(numbers) > 40, "runs were recorded between the kills"


def test_a_full_disk(tmp_path: Path) -> None:
    """SQLite is forbidden to make its file larger, which it reports as a full disk."""
    place = tmp_path / "book.sqlite"
    a_book_with_a_run(place)

    def no_room(connection: Any) -> None:
        connection.execute("PRAGMA max_page_count = 1")  # which SQLite raises to as many as there are

    with on_connect(no_room), open_book(place) as book:
        added = 1
        with pytest.raises(BadInput) as caught:
            for _ in range(20):
                book.add_trial(RUN)
                added += 1
        others = [RUN.model_copy(update={"note": note}) for note in ("short", "long " * 1000)]
        assert refusal(lambda: book.add_new_trials(others))
    text = str(caught.value)
    assert text == f"{place}: there is no room left for it on the disk; nothing was changed; make room and try again"
    assert sound(place) == list(range(1, added + 1))
    with open_book(place) as book:
        assert book.add_trial(RUN).number == added + 1, "once there is room again, all is as before"


def test_a_disk_that_is_full_from_the_start(tmp_path: Path) -> None:
    place = tmp_path / "book.sqlite"

    def no_room(connection: Any) -> None:
        connection.execute("PRAGMA max_page_count = 2")

    with on_connect(no_room):
        assert "there is no room left" in refusal(lambda: open_book(place))
    assert sound(place) == []


def test_a_disk_that_refuses_to_write(tmp_path: Path) -> None:
    """The system itself allows the process no larger files, in the middle of its work."""
    import resource

    place = tmp_path / "book.sqlite"
    a_book_with_a_run(place)
    size = place.stat().st_size

    def work(confirm: Confirm) -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
        with open_book(place) as book:
            for _ in range(20):
                try:
                    confirm(str(book.add_trial(RUN).number))
                except BadInput as error:
                    confirm(str(error))
                    return

    code, said = in_child(work)
    assert code == 0
    assert said[-1].startswith(f"{place}: ") and "nothing was changed" in said[-1]
    assert sound(place) == [1, *map(int, said[:-1])]


def test_ctrl_c_in_the_middle_leaves_the_book_as_it_was(tmp_path: Path) -> None:
    place = tmp_path / "book.sqlite"
    a_book_with_a_run(place)

    def at_the_second(_: Any, __: Any, statement: str, values: Any, *___: Any) -> None:
        if statement.startswith("INSERT INTO trials") and "second of two" in str(values):
            raise KeyboardInterrupt

    two = [RUN.model_copy(update={"note": note}) for note in ("first of two", "second of two")]
    event.listen(Engine, "before_cursor_execute", at_the_second)
    with open_book(place) as book:
        with pytest.raises(KeyboardInterrupt):
            book.add_new_trials(two)
        event.remove(Engine, "before_cursor_execute", at_the_second)
        started = time.monotonic()
        assert book.add_trial(RUN).number == 2, "no lock is left behind"
        assert time.monotonic() - started < 5
    assert sound(place) == [1, 2]
