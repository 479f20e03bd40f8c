"""The workshop book: runs, what is fitted and the shelf, kept so that what was confirmed is there whatever happens.

>>> from tempfile import TemporaryDirectory
>>> with TemporaryDirectory() as folder, open_book(f"{folder}/book.sqlite") as book:
...     _ = book.move_stock("straight-0.80", 3, "bought")
...     _ = book.move_stock("straight-0.80", -1, "to the roadster")
...     book.stock()
{'straight-0.80': 2}
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import Connection, select

from configurator.book.car_records import CarRecords
from configurator.book.database import Database
from configurator.book.entries import (
    SomeEntry,
    add_entry,
    check_key,
    entries_in,
    entry_of_key,
    kept_text,
    next_number,
    undo_entry,
)
from configurator.book.fitting import Fitting
from configurator.book.last_work import LastWork, Version, last_work_in, version_in
from configurator.book.records import Trial
from configurator.book.schema import NEWEST, SETTINGS, TRIALS, migrate_once, version_of
from configurator.book.shelf_rows import book_moves, moves_in, moves_of_key, quantities_in, quantity_of
from configurator.book.stock import StockMove
from configurator.book.usual_place import named_place, place_of_book
from configurator.errors import BadInput
from configurator.units.showing import SHOWN_UNITS, ShownUnits

_UNITS = "units"


class Book:
    """An open book. Each method is one transaction and raises BadInput, with nothing changed, if it fails.

    entry_key : a word of whoever enters something, by which the book knows it when it comes again, as after an answer
    that was lost: then nothing is changed, and what was recorded the first time is returned. Raises BadInput for a key
    that was used for another vehicle or part.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._database.close()

    @property
    def place(self) -> str:
        """Where the book is, as messages name it."""
        return self._database.place

    def trials(self, vehicle: str | None = None, with_undone: bool = False) -> list[Trial]:
        """Runs in the order in which they were recorded, of one vehicle or of all; those undone only if asked for."""
        return self._entries(Trial, vehicle, with_undone)

    def fittings(self, vehicle: str | None = None, with_undone: bool = False) -> list[Fitting]:
        """What was told to be fitted, likewise."""
        return self._entries(Fitting, vehicle, with_undone)

    def entered(self, kind: type[SomeEntry], entry_key: str) -> SomeEntry | None:
        """The run, or the entry of what is fitted, that was recorded with a key; None where none was."""
        refusal = self._database.refusal
        return self._database.read(lambda connection: entry_of_key(connection, kind, entry_key, refusal))

    def add_trial(self, trial: Trial, entry_key: str | None = None) -> Trial:
        """Record a run; returns it with its number."""
        check_key(entry_key)

        def add(connection: Connection) -> Trial:
            return self._known(connection, trial, entry_key) or add_entry(connection, trial, entry_key)

        return self._database.change(add)

    def add_new_trials(self, trials: Iterable[Trial]) -> list[Trial]:
        """Record runs, those left out that the book holds already; returns what was added. All of them or none."""
        offered = list(trials)

        def add(connection: Connection) -> list[Trial]:
            known = set(connection.execute(select(TRIALS.c.record)).scalars())
            added = []
            for trial in offered:
                if kept_text(trial) not in known:
                    known.add(kept_text(trial))
                    added.append(add_entry(connection, trial))
            return added

        return self._database.change(add)

    def undo_trial(self, number: int) -> Trial:
        """Take a run back: it stays in the book, marked."""
        return self._database.change(lambda connection: undo_entry(connection, Trial, number, self._database.refusal))

    def records(self, vehicle: str, with_undone: bool = False) -> CarRecords:
        """Runs of a vehicle and what was told to be fitted on it."""
        return CarRecords(self.trials(vehicle, with_undone), self.fittings(vehicle, with_undone))

    def version_of_car(self, vehicle: str) -> Version:
        """Another one after every change of what the book holds of a car."""
        return self._database.read(lambda connection: version_in(connection, vehicle))

    def last_work(self) -> dict[str, LastWork]:
        """The last work on every car, by its name."""
        return self._database.read(last_work_in)

    def add_fitting(self, fitting: Fitting, entry_key: str | None = None) -> tuple[Fitting, list[StockMove]]:
        """Record what is fitted, and book what went onto the shelf and off it; returns it with its number, and what was
        booked: nothing where it comes again."""
        check_key(entry_key)

        def fit(connection: Connection) -> tuple[Fitting, list[StockMove]]:
            if known := self._known(connection, fitting, entry_key):
                return known, []
            moved = []
            for code, change in fitting.shelf.items():
                why = f"{'out of' if change > 0 else 'into'} {fitting.vehicle}"
                moved += book_moves(connection, {code: change}, why, None, self._database.refusal)
            after = next_number(connection, TRIALS) - 1
            return add_entry(connection, fitting.model_copy(update={"after_run": after}), entry_key), moved

        return self._database.change(fit)

    def undo_fitting(self, number: int, vehicle: str) -> tuple[Fitting, list[StockMove]]:
        """Take back what was told to be fitted on a vehicle, and what the shelf got by it; it stays, marked."""

        def undo(connection: Connection) -> tuple[Fitting, list[StockMove]]:
            undone = undo_entry(connection, Fitting, number, self._database.refusal)
            if undone.vehicle != vehicle:
                raise self._database.refusal(f"is of {undone.vehicle}", f"one of {vehicle}", at=f"entry {number}")
            why = f"entry {number} of {undone.vehicle} undone"
            back = {code: -change for code, change in undone.shelf.items()}
            return undone, book_moves(connection, back, why, None, self._database.refusal)

        return self._database.change(undo)

    def stock(self) -> dict[str, int]:
        """How many there are on the shelf, by code; what has run out is left out."""
        return self._database.read(quantities_in)

    def move_stock(self, code: str, change: int, why: str, entry_key: str | None = None) -> StockMove:
        """Put parts on the shelf, or take them off where change is below zero; raises BadInput for more than there
        are."""
        return self._book(lambda connection: {code: change}, [code], why, entry_key)[0]

    def count_stock(self, code: str, quantity: int, why: str, entry_key: str | None = None) -> StockMove:
        """Set how many there are, as counted; the difference is booked, none too."""
        return self._book(lambda connection: {code: quantity - quantity_of(connection, code)}, [code], why, entry_key)[
            0
        ]

    def add_stock(self, quantities: Mapping[str, int], why: str, entry_key: str | None = None) -> list[StockMove]:
        """Put many parts on the shelf, all of them or none."""
        changes = {code: number for code, number in quantities.items() if number}
        return self._book(lambda connection: changes, list(changes), why, entry_key)

    def stock_history(self) -> list[StockMove]:
        """Every movement, oldest first."""
        return self._database.read(moves_in)

    def units(self) -> ShownUnits:
        """The units chosen for what is shown; metric where nobody chose."""
        wanted = select(SETTINGS.c.value).where(SETTINGS.c.name == _UNITS)
        found = self._database.read(lambda connection: connection.execute(wanted).scalar())
        return next((units for units in SHOWN_UNITS if units == found), "metric")

    def show_in(self, units: ShownUnits) -> None:
        """Choose the units of what is shown."""

        def choose(connection: Connection) -> None:
            changed = connection.execute(SETTINGS.update().where(SETTINGS.c.name == _UNITS).values(value=units))
            if not changed.rowcount:
                connection.execute(SETTINGS.insert().values(name=_UNITS, value=units))

        self._database.change(choose)

    def _entries(self, kind: type[SomeEntry], vehicle: str | None, with_undone: bool) -> list[SomeEntry]:
        refusal = self._database.refusal
        return self._database.read(lambda connection: entries_in(connection, kind, vehicle, with_undone, refusal))

    def _known(self, connection: Connection, entry: SomeEntry, key: str | None) -> SomeEntry | None:
        """The entry as it was recorded with this key before."""
        known = entry_of_key(connection, type(entry), key, self._database.refusal)
        if known is not None and known.vehicle != entry.vehicle:
            raise BadInput.in_field(
                "entry_key", key or "", f"stands for something of {known.vehicle}", "one not used yet"
            )
        return known

    def _book(
        self, changes: Callable[[Connection], dict[str, int]], codes: Sequence[str], why: str, key: str | None
    ) -> list[StockMove]:
        """Movements booked, or those that were booked with this key before."""
        check_key(key)

        def book(connection: Connection) -> list[StockMove]:
            known = moves_of_key(connection, key, codes)
            return known or book_moves(connection, changes(connection), why, key, self._database.refusal)

        return self._database.change(book)


def open_book(place: str | Path | None = None) -> Book:
    """Open the workshop book, made first if it is not there, brought up to this version if it is older.

    place : a file, the URL of a database, or None for the default one. Raises BadInput for anything that is no book.
    """
    database, by_default = _database(place)
    if by_default:
        _make_folder(database)
    database.is_there()
    _bring_up(database)
    return Book(database)


def find_book(place: str | Path | None = None) -> Book | None:
    """The workshop book if there is one, as for commands that only look; None where its file does not exist.

    Raises BadInput for anything that is no book, and for a folder that is missing, the default one excepted.
    """
    database, by_default = _database(place)
    if by_default and database.file is not None and not database.file.parent.exists():
        return None
    return open_book(place) if database.is_there() else None


def _database(place: str | Path | None) -> tuple[Database, bool]:
    """The database at a place, and whether that is the default one, which nobody named."""
    named = str(place) if place else None
    return Database(place_of_book(named)), named_place(named) is None


def _make_folder(database: Database) -> None:
    assert database.file is not None
    try:
        database.file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise database.refusal(f"its folder cannot be made ({error.strerror})", "", "name a file for it") from None


def _bring_up(database: Database) -> None:
    version = database.read(version_of)
    if version is None:
        raise database.refusal("is a database, but no workshop book", "a workshop book", "name another file")
    if version > NEWEST:
        expected = f"version {NEWEST} or older"
        raise database.refusal(f"was made by a later tipin (version {version})", expected, "install that tipin here")
    while version < NEWEST:
        version = database.change(migrate_once)
