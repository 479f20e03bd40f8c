"""The book: runs and stock come back as they went in, older books are brought up, and what is no book is refused.

Everything here is asked of both databases that may hold a book.
"""

import re
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import building
import psycopg
import pytest
from book_stores import Servers, Store
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from runs import run

from configurator.book import database
from configurator.book.book import find_book, open_book
from configurator.book.book_place import read_place
from configurator.book.car_records import CarRecords
from configurator.book.fitting import Fitting, fitting_of
from configurator.book.records import TraceMeasured
from configurator.book.schema import NEWEST
from configurator.errors import BadInput
from configurator.slots.wishes import chosen_parts

TRACE = TraceMeasured(hole_ms=123.456789, flood_ms=0.1 + 0.2, lag_ms=80, doubt_ms=7)


def refusal(work: Callable[[], Any]) -> str:
    with pytest.raises(BadInput) as caught:
        work()
    return str(caught.value)


def test_a_run_comes_back_as_it_went_in(place: str) -> None:
    day = {"air_temperature_c": 12.3, "air_pressure_kpa": 97.5, "fuel": "pump fuel, 98", "warm": False}
    first = run("smoke", day=day, clean_after_ms=1 / 3, trace=TRACE, note='"quoted",\n second line; ü €')
    with open_book(place) as book:
        added = [book.add_trial(first), book.add_trial(run())]
    assert [trial.number for trial in added] == [1, 2]
    assert added[0] == first.model_copy(update={"number": 1})
    with open_book(place) as book:
        assert book.trials() == added


def test_times_are_kept_in_utc(place: str) -> None:
    east = timezone(timedelta(hours=2))
    with open_book(place) as book:
        book.add_trial(run(at=datetime(2026, 5, 2, 10, 15, tzinfo=east)))
        (kept,) = book.trials()
    assert kept.at.tzinfo is not None and kept.at.isoformat().startswith("2026-05-02T08:15:00")
    assert run(at=datetime(2026, 5, 2, 8, 15)).at == kept.at, "a time without its zone is one of UTC"


def test_runs_are_asked_for_by_vehicle(place: str) -> None:
    other = building.case(building.vehicle(name="test van"))
    with open_book(place) as book:
        for case in (None, other, None):
            book.add_trial(run(case=case))
        assert [trial.number for trial in book.trials("test truck")] == [1, 3]
        assert [trial.number for trial in book.trials("test van")] == [2]
        assert book.trials("Test Van") == []


def test_an_undone_run_stays_marked(place: str) -> None:
    with open_book(place) as book:
        for _ in range(2):
            book.add_trial(run())
        assert book.undo_trial(1).undone
        assert [trial.number for trial in book.trials()] == [2]
        assert [(trial.number, trial.undone) for trial in book.trials(with_undone=True)] == [(1, True), (2, False)]
        assert "run 1: was undone already" in refusal(lambda: book.undo_trial(1))
        assert "run 3: there is no such run; expected a number from 1 to 2" in refusal(lambda: book.undo_trial(3))
        assert book.add_trial(run()).number == 3, "a number is used once"


def test_runs_that_the_book_holds_are_not_added_again(place: str) -> None:
    first, second = run(), run("smoke")
    with open_book(place) as book:
        book.add_trial(first)
        book.undo_trial(1)
        added = book.add_new_trials([first, second, second])
        assert [(trial.number, trial.felt.word if trial.felt else "") for trial in added] == [(2, "smoke")]
        assert len(book.trials(with_undone=True)) == 2


def test_stock_is_moved_and_never_below_zero(place: str) -> None:
    with open_book(place) as book:
        book.move_stock("straight-0.80", 3, "bought")
        assert book.move_stock("straight-0.80", -1, "to the truck").change == -1
        text = refusal(lambda: book.move_stock("straight-0.80", -3, "too many"))
        assert "3 of straight-0.80 cannot be taken: the shelf holds 2" in text
        assert "the shelf holds none" in refusal(lambda: book.move_stock("lobe-mid", -1, "none there"))
        assert book.count_stock("straight-0.80", 5, "counted").change == 3
        assert book.count_stock("straight-0.80", 5, "counted").change == 0
        assert "at most 100000" in refusal(lambda: book.move_stock("straight-0.80", 10**9, "absurd"))
        assert book.stock() == {"straight-0.80": 5}
        history = [(move.number, move.code, move.change, move.why) for move in book.stock_history()]
        assert history == [
            (1, "straight-0.80", 3, "bought"), (2, "straight-0.80", -1, "to the truck"),
            (3, "straight-0.80", 3, "counted"), (4, "straight-0.80", 0, "counted"),
        ]  # fmt: skip
        age = datetime.now(UTC) - book.stock_history()[-1].at
        assert timedelta(0) <= age < timedelta(minutes=1)


def test_a_table_of_stock_is_added_whole_or_not_at_all(place: str) -> None:
    with open_book(place) as book:
        book.add_stock({"lobe-mid": 2, "lobe-low": 0}, "delivered")
        assert refusal(lambda: book.add_stock({"lobe-high": 1, "lobe-mid": 10**6}, "too many"))
        assert book.stock() == {"lobe-mid": 2}
        assert len(book.stock_history()) == 1


MOVES = st.lists(st.tuples(st.sampled_from("abc"), st.integers(-4, 4), st.booleans()), max_size=12)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(moves=MOVES)
def test_the_shelf_is_the_sum_of_its_movements(moves: list[tuple[str, int, bool]], store: Store) -> None:
    """Against a dictionary that does the same."""
    shelf: dict[str, int] = {}
    with open_book(store.new()) as book:
        for code, number, counted in moves:
            there = shelf.get(code, 0)
            if counted:
                book.count_stock(code, abs(number), "")
                shelf[code] = abs(number)
            elif there + number < 0:
                assert "cannot be taken" in refusal(lambda code=code, number=number: book.move_stock(code, number, ""))  # type: ignore[misc]
            else:
                book.move_stock(code, number, "")
                shelf[code] = there + number
        assert book.stock() == {code: number for code, number in shelf.items() if number}
        booked = dict.fromkeys(shelf, 0)
        for move in book.stock_history():
            booked[move.code] += move.change
        assert booked == shelf


def told(*words: str, shelf: dict[str, int] | None = None, vehicle: str = "test truck") -> Fitting:
    case = building.case(building.vehicle(name=vehicle))
    at = datetime(2026, 5, 2, 10, 15, tzinfo=UTC)
    return fitting_of(case, at, chosen_parts(case.options, words), shelf or {}, "a note; ü €")


def test_what_is_told_to_be_fitted_comes_back_as_it_went_in(place: str) -> None:
    first, other = told("front.nozzle=straight-0.90"), told("front.lobe=lobe-high", vehicle="test van")
    with open_book(place) as book:
        book.add_trial(run())
        added = [book.add_fitting(one)[0] for one in (first, other, told())]
    assert added[0] == first.model_copy(update={"number": 1, "after_run": 1})
    with open_book(place) as book:
        assert book.fittings() == added and [one.number for one in added] == [1, 2, 3]
        assert book.records("test truck") == CarRecords(book.trials(), [added[0], added[2]], version=(1, 1, 2, 3))
        assert book.undo_fitting(1, "test truck")[0] == added[0].model_copy(update={"undone": True})
        assert "entry 1: was undone already" in refusal(lambda: book.undo_fitting(1, "test truck"))
        assert "entry 4: there is no such entry; expected a number from 1 to 3" in refusal(
            lambda: book.undo_fitting(4, "test truck")
        )
        assert "entry 2: is of test van; expected one of test truck" in refusal(
            lambda: book.undo_fitting(2, "test truck")
        )
        assert book.fittings() == added[1:] and len(book.fittings(with_undone=True)) == 3
        assert [one.number for one in book.records("test truck", with_undone=True).fittings] == [1, 3]


def test_the_shelf_moves_with_what_is_fitted_or_nothing_is_done(place: str) -> None:
    with open_book(place) as book:
        assert "1 of lobe-high cannot be taken" in refusal(
            lambda: book.add_fitting(told(shelf={"lobe-mid": 1, "lobe-high": -1}))
        )
        assert (book.fittings(), book.stock(), book.stock_history()) == ([], {}, [])
        book.move_stock("lobe-high", 1, "bought")
        _, moved = book.add_fitting(told(shelf={"lobe-mid": 1, "lobe-high": -1}))
        assert [(move.code, move.change) for move in moved] == [("lobe-mid", 1), ("lobe-high", -1)]
        assert book.stock() == {"lobe-mid": 1}
        book.move_stock("lobe-mid", -1, "sold")
        assert "1 of lobe-mid cannot be taken" in refusal(lambda: book.undo_fitting(1, "test truck"))
        assert not book.fittings()[0].undone and book.stock() == {}
        book.move_stock("lobe-mid", 1, "back")
        book.undo_fitting(1, "test truck")
        assert book.stock() == {"lobe-high": 1}


def test_the_shelf_is_listed_in_the_same_order_everywhere(store: Store) -> None:
    """By the codes' signs, whatever alphabet the database goes by."""
    codes = ["lobe-mid", "lobe2", "screw-b", "screwa"]
    for place in (store.new(), *([store.with_an_alphabet()] if isinstance(store, Servers) else [])):
        with open_book(place) as book:
            book.add_stock(dict.fromkeys(reversed(codes), 1), "")
            assert list(book.stock()) == codes


def test_the_database_itself_refuses_less_than_nothing(store: Store) -> None:
    place = store.new()
    with open_book(place) as book:
        book.move_stock("a", 1, "")
    with pytest.raises((sqlite3.IntegrityError, psycopg.IntegrityError)):
        store.by_hand(place, "UPDATE stock SET quantity = -1")


def test_the_units_of_what_is_shown_are_kept(place: str) -> None:
    with open_book(place) as book:
        assert book.units() == "metric"
        for units in ("inch", "inch", "metric", "inch"):
            book.show_in(units)
            assert book.units() == units
    with open_book(place) as book:
        assert book.units() == "inch"


VERSION_1 = (
    "CREATE TABLE book_version (version INTEGER NOT NULL)",
    "INSERT INTO book_version VALUES (1)",
    "CREATE TABLE trials (number INTEGER PRIMARY KEY, vehicle VARCHAR(200) NOT NULL, undone BOOLEAN NOT NULL, "
    "record TEXT NOT NULL)",
)


def test_a_book_of_version_1_is_brought_up(store: Store) -> None:
    """Version 1 had runs, no shelf, and nothing told without a run; what it holds stays, and what is new works."""
    place = store.new()
    kept = run("dull", note="from long ago")
    text = kept.model_dump_json(exclude={"number", "undone"}).replace("'", "''")
    store.by_hand(place, *VERSION_1, f"INSERT INTO trials VALUES (7, 'test truck', TRUE, '{text}')")
    with open_book(place) as book:
        assert book.trials() == []
        assert book.trials(with_undone=True) == [kept.model_copy(update={"number": 7, "undone": True})]
        book.move_stock("lobe-mid", 1, "first of the shelf")
        assert book.add_fitting(told())[0].after_run == 7
        assert book.add_trial(run()).number == 8
        assert book.units() == "metric"
        book.show_in("inch")
    assert store.by_hand(place, "SELECT version FROM book_version") == [(NEWEST,)]


def test_a_migration_is_done_whole_or_not_at_all(store: Store) -> None:
    """The second table of version 2 cannot be made: the first is gone as well, and the next opening mends it."""
    place = store.new()
    store.by_hand(place, *VERSION_1, "CREATE TABLE stock_moves (of_somebody_else TEXT)")
    assert re.search(r"the database refuses \(.*stock_moves.* already exists\)", refusal(lambda: open_book(place)))
    assert store.tables(place) == {"book_version", "trials", "stock_moves"}
    assert store.by_hand(place, "SELECT version FROM book_version") == [(1,)]
    store.by_hand(place, "DROP TABLE stock_moves")
    with open_book(place) as book:
        assert book.stock() == {}


NO_BOOKS = {
    "another database": (["CREATE TABLE songs (title TEXT)"], "but no workshop book"),
    "another version table": (["CREATE TABLE book_version (name TEXT)"], "no workshop book"),
    "no version": (VERSION_1[:1], "no workshop book"),
    "a later tipin": ([VERSION_1[0], "INSERT INTO book_version VALUES (99)"], "by a later tipin (version 99)"),
}


@pytest.mark.parametrize("kind", NO_BOOKS)
def test_a_database_that_is_no_book_is_refused_and_left_alone(kind: str, store: Store) -> None:
    statements, words = NO_BOOKS[kind]
    place = store.new()
    store.by_hand(place, *statements)
    tables = store.tables(place)
    for work in (open_book, find_book):
        text = refusal(lambda work=work: work(place))  # type: ignore[misc]
        assert text.startswith(f"{read_place(place).shown}: ") and words in text and "\n" not in text
    assert store.tables(place) == tables


def test_a_book_that_may_only_be_read_is_read(store: Store) -> None:
    place = store.new()
    with open_book(place) as book:
        book.add_trial(run())
    store.only_to_read(place)
    with open_book(place) as book:
        assert len(book.trials()) == 1
        assert refusal(lambda: book.add_trial(run())).startswith(f"{book.place}: may only be read here, not changed")


def test_a_book_that_another_program_holds(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "WAIT_FOR_OTHERS_S", 0.05)
    place = store.new()
    with open_book(place) as book:
        holder = store.held(place)
        assert "another program has held it for too long" in refusal(lambda: book.add_trial(run()))
        assert book.trials() == [], "reading waits for nobody"
        holder.close()
        assert book.add_trial(run()).number == 1


def test_a_change_that_is_given_up_leaves_no_gap_in_the_numbers(place: str) -> None:
    with open_book(place) as book:
        assert refusal(lambda: book.add_stock({"a": 1, "b": 10**6}, "too many"))
        assert book.move_stock("a", 1, "").number == 1
