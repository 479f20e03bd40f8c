"""What is entered with a key of its own is entered once, however often it comes."""

import os

import pytest
from book_stores import Store
from child_processes import Confirm, child_of
from runs import run
from test_book import VERSION_1, refusal, told

from configurator.book.book import open_book
from configurator.book.fitting import Fitting
from configurator.book.records import Trial
from configurator.book.schema import NEWEST

KEY = "a3f0-form_7.1"


def test_a_run_that_comes_again_is_the_same_run(place: str) -> None:
    """Also after the book was closed, and if it says something else by then: the time of its sending, at least."""
    with open_book(place) as book:
        first = book.add_trial(run("stumble"), KEY)
        assert book.add_trial(run("dull")).number == 2, "without a key each run is one of its own"
        assert book.add_trial(run("dull"), "another").number == 3
        assert (book.entered(Trial, KEY), book.entered(Trial, "none")) == (first, None)
        assert book.entered(Fitting, KEY) is None
    with open_book(place) as book:
        assert book.add_trial(run("smoke"), KEY) == first
        book.undo_trial(1)
        assert book.add_trial(run("smoke"), KEY) == first.model_copy(update={"undone": True}), (
            "it is not put back either"
        )
        assert len(book.trials(with_undone=True)) == 3


def test_what_is_fitted_and_its_shelf_are_booked_once(place: str) -> None:
    with open_book(place) as book:
        book.move_stock("lobe-high", 1, "bought")
        told_now = told("front.lobe=lobe-high", shelf={"lobe-mid": 1, "lobe-high": -1})
        first, moved = book.add_fitting(told_now, KEY)
        assert len(moved) == 2
        assert book.add_fitting(told_now, KEY) == (first, [])
        assert book.add_trial(run(), KEY).number == 1, "a run may have the key of something else"
        assert book.move_stock("lobe-mid", 1, "bought", KEY).number == 4
        assert book.stock() == {"lobe-mid": 2} and len(book.fittings()) == 1


def test_a_movement_that_comes_again_is_booked_once(place: str) -> None:
    with open_book(place) as book:
        first = book.add_stock({"lobe-mid": 2, "lobe-low": 1}, "delivered", KEY)
        assert book.add_stock({"lobe-mid": 2, "lobe-low": 1}, "delivered", KEY) == first
        taken = book.move_stock("lobe-low", -1, "sold", "sold-1")
        assert book.move_stock("lobe-low", -1, "sold", "sold-1") == taken, "although there is none left"
        counted = book.count_stock("lobe-mid", 5, "counted", "count")
        book.move_stock("lobe-mid", -1, "sold")
        assert book.count_stock("lobe-mid", 5, "counted", "count") == counted
        assert book.stock() == {"lobe-mid": 4} and len(book.stock_history()) == 5


def test_a_key_that_stands_for_something_else_is_refused(place: str) -> None:
    other = run().model_copy(update={"vehicle": "test van"})
    with open_book(place) as book:
        book.add_trial(run(), KEY)
        book.add_fitting(told(), KEY)
        book.move_stock("lobe-mid", 1, "bought", KEY)
        text = refusal(lambda: book.add_trial(other, KEY))
        assert text == f"entry key {KEY}: stands for something of test truck; expected one not used yet"
        assert "stands for something of test truck" in refusal(lambda: book.add_fitting(told(vehicle="test van"), KEY))
        assert "stands for lobe-mid" in refusal(lambda: book.move_stock("lobe-low", 1, "bought", KEY))
        assert (len(book.trials()), len(book.fittings()), book.stock()) == (1, 1, {"lobe-mid": 1})


@pytest.mark.parametrize("key", ["", "two words", "x" * 81, "nül", "a\n", "a/b"])
def test_what_is_no_key_is_refused(key: str, place: str) -> None:
    with open_book(place) as book:
        for work in (
            lambda: book.add_trial(run(), key),
            lambda: book.add_fitting(told(), key),
            lambda: book.move_stock("lobe-mid", 1, "bought", key),
        ):
            text = refusal(work)
            assert text == "entry key: cannot be kept; expected 1 to 80 letters, digits, dots, hyphens or underscores"
        assert (book.trials(), book.fittings(), book.stock()) == ([], [], {})


def test_ten_that_enter_the_same_at_once(store: Store) -> None:
    """As a phone that sends again because no answer came, while the first is still on its way."""
    place = store.new()

    def work(confirm: Confirm) -> None:
        with open_book(place) as book:
            for turn in range(5):
                confirm(str(book.add_trial(run(), f"turn-{turn}").number))

    children = [child_of(work) for _ in range(10)]
    said = [lines.read().split() for _, lines in children]
    assert [os.waitpid(child, 0)[1] for child, _ in children] == [0] * 10
    with open_book(place) as book:
        assert len(book.trials()) == 5
        assert all(sorted(numbers) == ["1", "2", "3", "4", "5"] for numbers in said)


def test_a_book_of_before_takes_keys(store: Store) -> None:
    place = store.new()
    text = run("dull").model_dump_json(exclude={"number", "undone"}).replace("'", "''")
    store.by_hand(place, *VERSION_1, f"INSERT INTO trials VALUES (7, 'test truck', FALSE, '{text}')")
    with open_book(place) as book:
        assert [book.add_trial(run(), KEY).number for _ in range(2)] == [8, 8]
        assert [trial.number for trial in book.trials()] == [7, 8]
    rows = store.by_hand(place, "SELECT number, length(digest), entry_key FROM trials ORDER BY number")
    assert [tuple(row) for row in rows] == [(7, 64, None), (8, 64, KEY)]
    assert store.by_hand(place, "SELECT version FROM book_version") == [(NEWEST,)]
