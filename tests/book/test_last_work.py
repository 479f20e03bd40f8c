"""The last work on every car, told without reading all runs: it agrees with reading them all."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from sqlite3 import connect

import building
from runs import AT, run

from configurator.book.book import open_book
from configurator.book.car_records import NOTHING_BOOKED
from configurator.book.fitting import fitting_of


def test_it_agrees_with_all_that_the_book_holds_after_every_change(tmp_path: Path) -> None:
    case = building.case()
    other = run().model_copy(update={"vehicle": "other"})
    with open_book(tmp_path / "book.sqlite") as book:
        assert book.last_work() == {} and book.version_of_car("car") == NOTHING_BOOKED
        name = case.vehicle.name
        told = fitting_of(case, AT, None, {}, "")
        changes: list[Callable[[], object]] = [
            lambda: book.add_trial(run()), lambda: book.add_trial(other),
            lambda: book.add_trial(run("clean", at=AT + timedelta(days=1))), lambda: book.add_fitting(told),
            lambda: book.undo_trial(3), lambda: book.undo_fitting(1, name), lambda: book.add_trial(run("smoke")),
            lambda: book.undo_trial(1), lambda: book.undo_trial(4),
        ]  # fmt: skip
        standing = {book.version_of_car(name): ""}
        for change in changes:
            change()
            records = book.records(name)
            assert book.version_of_car(name) == records.version
            assert book.records(name, with_undone=True).version == records.version
            work = book.last_work().get(name)
            if records.runs or records.fittings:
                assert work is not None and work.version == records.version
                assert work.last == (records.runs[-1] if records.runs else None) and work.runs == len(records.runs)
            else:
                assert work is None
            there = repr([(type(one).__name__, one.number) for one in records.standing])
            assert standing.setdefault(book.version_of_car(name), there if records.standing else "") in ("", there)
        assert len(set(standing.values())) == len(standing) == 7, "another version for whatever else stands"
        assert book.version_of_car(name) == NOTHING_BOOKED


def test_a_last_run_that_cannot_be_read_hides_no_car(tmp_path: Path) -> None:
    """The list of cars comes up, with that car as one of which no run can be told."""
    place = tmp_path / "book.sqlite"
    with open_book(place) as book:
        book.add_trial(run())
        book.add_trial(run().model_copy(update={"vehicle": "other"}))
    with connect(place) as by_hand:
        by_hand.execute("UPDATE trials SET record = replace(record, 'stumble', 'wobble') WHERE number = 1")
    with open_book(place) as book:
        work = book.last_work()
        assert work[run().vehicle].last is None and work[run().vehicle].runs == 1
        assert work["other"].last is not None
        assert work[run().vehicle].version == book.records(run().vehicle).version == book.version_of_car(run().vehicle)


def test_of_a_car_whose_last_run_cannot_be_read_the_one_before_is_told(tmp_path: Path) -> None:
    place = tmp_path / "book.sqlite"
    with open_book(place) as book:
        for word in ("smoke", "dull", "stumble"):
            book.add_trial(run(word))
    with connect(place) as by_hand:
        by_hand.execute("UPDATE trials SET record = replace(record, 'stumble', 'wobble') WHERE number = 3")
    with open_book(place) as book:
        work = book.last_work()[run().vehicle]
        assert work.last is not None and (work.last.number, work.runs) == (2, 3)
