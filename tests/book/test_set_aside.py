"""One record that cannot be read stands aside, by its number and with its reason; the others count, in every answer."""

import json
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from book_stores import Files, Store
from runs import run as a_run
from test_book import told
from test_cli import EVENING, ROADSTER, run, slim_catalog

from configurator.book.book import open_book
from configurator.book.car_records import SetAside
from configurator.book.fitting import fitting_of
from configurator.book.schema import digest_of
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.learning.as_known import known_by
from configurator.slots.wishes import chosen_parts

CASE = Case.of(load_vehicle(ROADSTER), load_catalog(shipped_catalog_dir()))
Change = Callable[[dict[str, Any]], object]

STRANGE: dict[str, tuple[Change, str]] = {
    "a key of the car": (
        lambda kept: kept["car"]["engine"].update(wobble=3), "a later tipin kept it, and wrote what this one does ",
    ),
    "a key of the run": (lambda kept: kept.update(moon="full"), "does not know (moon)"),
    "a later format": (lambda kept: kept.update(car_format=2), "a later tipin kept it"),
    "a word": (lambda kept: kept["felt"].update(word="bogs"), "its record cannot be read (bogs: is no symptom)"),
    "an assumed figure": (lambda kept: kept["car"].update(assumed={"wobble_mm": 3}), "the model has no such figure"),
    "a code that is no part's": (
        lambda kept: kept["car"]["fitted"]["front"].update(nozzle="x"), "the catalogue has no x",
    ),
    "a slot there is not": (lambda kept: kept["codes"].update({"middle.nozzle": "x"}), "cannot be read"),
    "a circuit its car has not": (lambda kept: kept["codes"].update({"rear.nozzle": "x"}), "has no rear pump circuit"),
    "no car": (lambda kept: kept.update(car={}), "cannot be read"),
    "a car of text": (lambda kept: kept["car"].update(engine="large"), "cannot be read"),
    "a time beyond the calendar": (
        lambda kept: kept.update(at="0001-01-01T00:00:00+14:00"), "cannot be read (at: Value error, outside the calen",
    ),
}  # fmt: skip


def changed(store: Store, place: str, number: int, change: Change, table: str = "trials") -> None:
    """A record as somebody else would have written it, with its digest."""
    ((vehicle, text),) = store.by_hand(place, f"SELECT vehicle, record FROM {table} WHERE number = {number}")
    kept = json.loads(text)
    change(kept)
    new = json.dumps(kept)
    digest = digest_of(number, vehicle, new)
    quoted = new.replace("'", "''")
    store.by_hand(place, f"UPDATE {table} SET record = '{quoted}', digest = '{digest}' WHERE number = {number}")


def book_of_three(place: str) -> None:
    with open_book(place) as book:
        for word in ("stumble", "dull", "stumble"):
            book.add_trial(a_run(word, CASE))


@pytest.mark.parametrize("kind", STRANGE)
def test_what_cannot_be_read_stands_aside(kind: str, store: Store) -> None:
    change, why = STRANGE[kind]
    place = store.new()
    book_of_three(place)
    changed(store, place, 2, change)
    with open_book(place) as book:
        held = book.records(CASE.vehicle.name)
        known = known_by(CASE, held.runs)
        assert known.believed.runs == 2 and [run.number for run in held.runs if run.number != 2] == [1, 3]
        (aside,) = [*held.set_aside, *known.set_aside]
        assert (aside.kind, aside.number, aside.vehicle) == ("run", 2, CASE.vehicle.name)
        assert why in aside.why and "\n" not in aside.why
        assert aside.says == f"run 2 is left out: {aside.why}; `tipin trial undo 2` takes it back for good"
        undone = book.undo_trial(2)
        assert undone.undone and undone.number == 2
        assert [run.number for run in book.trials()] == [1, 3] and book.records().set_aside == ()


COMMANDS: dict[str, list[str]] = {
    "check": ["check", ROADSTER], "size": ["size", ROADSTER], "propose": ["propose", ROADSTER],
    "next": ["next", ROADSTER], "card": ["card", ROADSTER, "-o", "card.html"],
    "why": ["why", ROADSTER, "front.nozzle=0.90mm"], "compare": ["compare", ROADSTER, "fitted", "front.nozzle=0.90mm"],
    "draw": ["draw", ROADSTER, "shot", "-o", "shot.svg"], "fit": ["fit", ROADSTER],
    "list": ["trial", "list", ROADSTER], "list of all": ["trial", "list"], "export": ["trial", "export", "csv"],
    "trial": ["trial", "add", ROADSTER, "--felt", "dull"], "order": ["order", EVENING],
}  # fmt: skip


@pytest.fixture(scope="module")
def slim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return slim_catalog(tmp_path_factory.mktemp("parts"), {})


OFTEN_ASKED = [(name, "a key of the car") for name in COMMANDS] + [
    (name, "a code that is no part's") for name in ("check", "next", "order", "list", "fit")
]


@pytest.mark.parametrize(("command", "kind"), OFTEN_ASKED)
def test_every_command_goes_on_without_it(
    command: str, kind: str, slim: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TIPIN_CATALOG", str(slim))
    store = Files(tmp_path)
    place = store.new()
    book_of_three(place)
    with open_book(place) as book:
        book.add_fitting(fitting_of(CASE, a_run().at, chosen_parts(CASE.options, ["front.nozzle=0.85mm"]), {}, ""))
    changed(store, place, 2, STRANGE[kind][0])
    ran = run(*COMMANDS[command], "--book", place)
    assert ran.code in (0, 1), ran.err
    listed_alike = kind != "a key of the car" and command in ("list", "list of all", "export", "trial", "fit")
    told_of = "run 2 is left out" in " ".join((ran.out + ran.err).split())
    assert told_of or listed_alike or command == "trial"


def test_answers_tell_it_to_a_script(slim: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TIPIN_CATALOG", str(slim))
    store = Files(tmp_path)
    place = store.new()
    book_of_three(place)
    changed(store, place, 2, STRANGE["a key of the car"][0])
    for command in ("check", "size", "propose", "next"):
        (says,) = json.loads(run(*COMMANDS[command], "--json", "--book", place).out)["set_aside"]
        assert says.startswith("run 2 is left out: a later tipin kept it")
    (aside,) = json.loads(run("trial", "list", "--json", "--book", place).out)["set_aside"]
    assert (aside["number"], aside["undone"]) == (2, False)
    assert run("trial", "undo", "2", "--book", place).out.startswith("OK  run 2 undone, which could not be read: ")
    assert json.loads(run("next", ROADSTER, "--json", "--book", place).out)["set_aside"] == []
    assert "left out" not in run("trial", "list", "--book", place).out


def test_one_letter_that_is_not_as_it_was_written(store: Store) -> None:
    """Wherever in the record, whatever it is now: a figure that could still be read is no less wrong."""
    place = store.new()
    with open_book(place) as book:
        book.add_trial(a_run())
        book.add_trial(a_run("dull"))
    ((text,),) = store.by_hand(place, "SELECT record FROM trials WHERE number = 2")
    chance = random.Random(17)
    for at in sorted(chance.sample(range(len(text)), 62)):
        letter = chance.choice([sign for sign in '0123456789abcxyz{}[]":,. -' if sign != text[at]])
        damaged = (text[:at] + letter + text[at + 1 :]).replace("'", "''")
        store.by_hand(place, f"UPDATE trials SET record = '{damaged}' WHERE number = 2")
        with open_book(place) as book:
            held = book.records("test truck")
            assert [run.number for run in held.runs] == [1]
            assert [one.says for one in held.set_aside] == [
                "run 2 is left out: its record is not as it was written: another program or the disk has changed it; "
                "`tipin trial undo 2` takes it back for good"
            ]


def test_a_letter_that_is_none(tmp_path: Path) -> None:
    """A byte that is no UTF-8, which SQLite itself would refuse to give away with all the other runs."""
    store = Files(tmp_path)
    place = store.new()
    book_of_three(place)
    cast = "CAST(substr(CAST(record AS BLOB), 1, 40) || x'FF' || substr(CAST(record AS BLOB), 42) AS TEXT)"
    store.by_hand(place, f"UPDATE trials SET record = {cast} WHERE number = 2")
    with open_book(place) as book:
        assert [run.number for run in book.trials()] == [1, 3]
        assert [one.number for one in book.records().set_aside] == [2]


def test_what_was_told_to_be_fitted_stands_aside_too(store: Store) -> None:
    place = store.new()
    with open_book(place) as book:
        book.add_fitting(told("front.nozzle=straight-0.90"))
        book.move_stock("lobe-mid", 1, "bought")
        book.add_fitting(told("front.nozzle=straight-0.80", shelf={"lobe-mid": -1}))
    changed(store, place, 2, lambda kept: kept["car"].update(fitted={}), "fittings")
    with open_book(place) as book:
        held = book.records("test truck")
        assert [one.number for one in held.fittings] == [1]
        assert held.set_aside[0].says == (
            "entry 2 is left out: its record cannot be read (front: Field required); `tipin fit` takes it back for good"
        )
        undone, moved = book.undo_fitting(2, "test truck")
        assert isinstance(undone, SetAside) and undone.undone and moved == [] and book.stock() == {}


def test_a_run_that_stands_aside_is_not_known_again(place: str, store: Store) -> None:
    """Its file may be imported once more, and then counts."""
    with open_book(place) as book:
        book.add_trial(a_run())
    store.by_hand(place, "UPDATE trials SET record = '{}' WHERE number = 1")
    with open_book(place) as book:
        assert [run.number for run in book.add_new_trials([a_run()])] == [2]
        assert book.add_new_trials([a_run()]) == []


def test_a_run_without_a_digest_counts(store: Store) -> None:
    """An earlier tipin wrote it while this one had the book open."""
    place = store.new()
    book_of_three(place)
    store.by_hand(place, "UPDATE trials SET digest = NULL")
    with open_book(place) as book:
        assert len(book.trials()) == 3
