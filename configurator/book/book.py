"""The workshop book: runs, what is fitted and the shelf, kept so that what was confirmed is there whatever happens.

>>> from tempfile import TemporaryDirectory
>>> with TemporaryDirectory() as folder, open_book(f"{folder}/book.sqlite") as book:
...     _ = book.move_stock("straight-0.80", 3, "bought")
...     _ = book.move_stock("straight-0.80", -1, "to the roadster")
...     book.stock()
{'straight-0.80': 2}
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack, closing
from pathlib import Path
from tempfile import TemporaryDirectory
from types import TracebackType
from typing import Self

from sqlalchemy import Connection, select

from configurator.book.car_records import CarRecords, SetAside, Version
from configurator.book.copies import back_up, back_up_before, copied, faults_in_file, put_back
from configurator.book.database import Database
from configurator.book.database_sayings import PUT_BACK
from configurator.book.entries import (
    add_entry,
    check_key,
    entries_in,
    entry_of_key,
    kept_text,
    next_number,
    undo_entry,
)
from configurator.book.entry_reading import SomeEntry
from configurator.book.fitting import Fitting
from configurator.book.last_work import LastWork, last_work_in, version_in
from configurator.book.orders import Orders
from configurator.book.records import Trial
from configurator.book.schema import NEWEST, SETTINGS, TRIALS, migrate_once, version_of
from configurator.book.shelf_rows import book_moves, moves_in, moves_of_key, quantities_in, quantity_of
from configurator.book.soundness import BookReport, faults_in_rows, row_counts
from configurator.book.stock import StockMove
from configurator.book.usual_place import named_place, place_of_book
from configurator.errors import BadInput
from configurator.files.writing import write_new
from configurator.units.showing import SHOWN_UNITS, ShownUnits

_UNITS = "units"


class Book:
    """An open book. Each method is one transaction and raises BadInput, with nothing changed, if it fails.

    entry_key : a word of whoever enters something, by which the book knows it when it comes again, as after an answer
    that was lost: then nothing is changed, and what was recorded the first time is returned. Raises BadInput for a key
    that was used for another vehicle or part.
    """

    def __init__(self, database: Database, copy: ExitStack | None = None) -> None:
        self._database, self._copy = database, copy or ExitStack()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._database.close()
        self._copy.close()

    @property
    def place(self) -> str:
        """Where the book is, as messages name it."""
        return self._database.place

    @property
    def orders(self) -> Orders:
        """Its orders."""

        def move(connection: Connection, code: str, change: int, why: str) -> StockMove:
            return book_moves(connection, {code: change}, why, None, self._database.refusal)[0]

        return Orders(self._database, move)

    def records(self, vehicle: str | None = None, with_undone: bool = False) -> CarRecords:
        """What the book holds of one vehicle, or of all, in the order in which it was recorded; what was undone only if
        asked for."""

        def look(connection: Connection) -> CarRecords:
            runs, runs_aside = entries_in(connection, Trial, vehicle, with_undone)
            fittings, fittings_aside = entries_in(connection, Fitting, vehicle, with_undone)
            return CarRecords(runs, fittings, (*runs_aside, *fittings_aside), version_in(connection, vehicle))

        return self._database.read(look)

    def trials(self, vehicle: str | None = None, with_undone: bool = False) -> Sequence[Trial]:
        """The runs of those that can be read."""
        return self.records(vehicle, with_undone).runs

    def fittings(self, vehicle: str | None = None, with_undone: bool = False) -> Sequence[Fitting]:
        """What was told to be fitted, likewise."""
        return self.records(vehicle, with_undone).fittings

    def entered(self, kind: type[SomeEntry], entry_key: str) -> SomeEntry | None:
        """The run, or the entry of what is fitted, that was recorded with a key; None where none was."""
        refusal = self._database.refusal
        return self._database.read(lambda connection: entry_of_key(connection, kind, entry_key, refusal))

    def add_trial(self, trial: Trial, entry_key: str | None = None) -> Trial:
        """Record a run; returns it with its number."""
        check_key(entry_key)

        def add(connection: Connection) -> Trial:
            return self._known(connection, trial, entry_key) or add_entry(connection, trial, entry_key)

        return self._database.change(add, knows_again=entry_key is not None)

    def add_new_trials(self, trials: Iterable[Trial]) -> list[Trial]:
        """Record runs, those left out that the book holds already; returns what was added. All of them or none."""
        offered = list(trials)

        def add(connection: Connection) -> list[Trial]:
            held, _ = entries_in(connection, Trial, None, with_undone=True)
            known = set(map(kept_text, held))
            added = []
            for trial in offered:
                if kept_text(trial) not in known:
                    known.add(kept_text(trial))
                    added.append(add_entry(connection, trial))
            return added

        return self._database.change(add)

    def undo_trial(self, number: int) -> Trial | SetAside:
        """Take a run back, also one that cannot be read: it stays in the book, marked."""
        return self._database.change(lambda connection: undo_entry(connection, Trial, number, self._database.refusal))

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

        return self._database.change(fit, knows_again=entry_key is not None)

    def undo_fitting(self, number: int, vehicle: str) -> tuple[Fitting | SetAside, list[StockMove]]:
        """Take back what was told to be fitted on a vehicle, and what the shelf got by it; it stays, marked. The shelf
        stays as it is where the entry cannot be read."""

        def undo(connection: Connection) -> tuple[Fitting | SetAside, list[StockMove]]:
            undone = undo_entry(connection, Fitting, number, self._database.refusal)
            if undone.vehicle != vehicle:
                raise self._database.refusal(f"is of {undone.vehicle}", f"one of {vehicle}", at=f"entry {number}")
            if isinstance(undone, SetAside):
                return undone, []
            why = f"entry {number} of {undone.vehicle} undone"
            back = {code: -change for code, change in undone.shelf.items()}
            return undone, book_moves(connection, back, why, None, self._database.refusal)

        return self._database.change(undo)

    def stock(self) -> dict[str, int]:
        """How many there are on the shelf, by code; what has run out is left out."""
        return self._database.read(lambda connection: quantities_in(connection, self._database.refusal))

    def move_stock(self, code: str, change: int, why: str, entry_key: str | None = None) -> StockMove:
        """Put parts on the shelf, or take them off where change is below zero; raises BadInput for more than there
        are."""
        return self._book(lambda connection: {code: change}, [code], why, entry_key)[0]

    def count_stock(self, code: str, quantity: int, why: str, entry_key: str | None = None) -> StockMove:
        """Set how many there are, as counted; the difference is booked, none too."""

        def difference(connection: Connection) -> dict[str, int]:
            return {code: quantity - quantity_of(connection, code, self._database.refusal)}

        return self._book(difference, [code], why, entry_key)[0]

    def add_stock(self, quantities: Mapping[str, int], why: str, entry_key: str | None = None) -> list[StockMove]:
        """Put many parts on the shelf, all of them or none."""
        changes = {code: number for code, number in quantities.items() if number}
        return self._book(lambda connection: changes, list(changes), why, entry_key)

    def stock_history(self) -> list[StockMove]:
        """Every movement, oldest first."""
        return self._database.read(lambda connection: moves_in(connection, self._database.refusal))

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

    def report(self, file: Path | None = None) -> BookReport:
        """What the book holds, and what is wrong with it. file : a copy that goes with the answer."""
        faults = faults_in_file(self._database) or self._database.read(faults_in_rows)
        faults += [one.says for one in self.records().set_aside]
        return BookReport(
            book=self.place, **self._database.read(row_counts), faults=faults, file=str(file) if file else None
        )

    def back_up(self, path: Path) -> None:
        """Make a copy of the book as a new file, while others use it. Raises BadInput where that cannot be done."""
        back_up(self._database, path)

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
            known = moves_of_key(connection, key, codes, self._database.refusal)
            return known or book_moves(connection, changes(connection), why, key, self._database.refusal)

        return self._database.change(book, knows_again=key is not None)


def open_book(place: str | Path | None = None) -> Book:
    """Open the workshop book to write in, made first if it is not there, brought up to this version if it is older.

    place : a file, the URL of a database, or None for the default one. Raises BadInput for anything that is no book.
    """
    database, by_default = _database(place, looks_only=False)
    if by_default:
        _make_folder(database)
    if not database.is_there():
        _make_file(database)
    version = _version(database)
    if 0 < version < NEWEST:
        back_up_before(database, version)
    while version < NEWEST:
        version = database.change(migrate_once)
    return Book(database)


def find_book(place: str | Path | None = None) -> Book | None:
    """The workshop book if there is one, to look into; None where its file does not exist, or its database is empty.
    Nothing is written: a book of an earlier version is looked into as a copy brought up to this one.

    Raises BadInput for anything that is no book, and for a folder that is missing, the default one excepted.
    """
    database, by_default = _database(place, looks_only=True)
    if by_default and database.file is not None and not database.file.parent.exists():
        return None
    if not database.is_there():
        return None
    version = _version(database)
    if version == NEWEST:
        return Book(database)
    if version == 0:
        return None
    with ExitStack() as stack:
        copy = stack.enter_context(copied(database))
        while version < NEWEST:
            version = copy.change(migrate_once)
        return Book(copy, stack.pop_all())


def restore_book(copy: Path, place: str | Path | None = None) -> Path | None:
    """Make the book what a copy says; returns where the one that was there is kept now, None where there was none.
    Raises BadInput for a copy that is no sound book, and for a server's database that is not empty."""
    database, by_default = _database(place, looks_only=False)
    if by_default:
        _make_folder(database)
    return put_back(copy, database)


def _database(place: str | Path | None, *, looks_only: bool) -> tuple[Database, bool]:
    """The database at a place, and whether that is the default one, which nobody named."""
    named = str(place) if place else None
    return Database(place_of_book(named), looks_only=looks_only), named_place(named) is None


def _make_folder(database: Database) -> None:
    assert database.file is not None
    try:
        database.file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise database.refusal(f"its folder cannot be made ({error.strerror})", "", "name a file for it") from None


def _make_file(database: Database) -> None:
    """An empty book, put in place whole: a file that was begun and not finished is never mistaken for a book."""
    assert database.file is not None
    with TemporaryDirectory(prefix="tipin-") as folder:
        made = Path(folder) / "book.sqlite"
        with closing(Database(str(made), named=database.place)) as new:
            while new.change(migrate_once) < NEWEST:
                pass
        try:
            write_new(database.file, made.read_bytes())
        except FileExistsError:
            pass  # another process was faster
        except (OSError, ValueError) as error:
            problem = f"cannot be made ({getattr(error, 'strerror', None) or error})"
            raise database.refusal(problem, "a file that may be written", "look at its folder and rights") from None


def _version(database: Database) -> int:
    """The version of the book there; 0 for an empty database. Raises BadInput for what is no sound book."""
    left_open = database.was_left_open
    version = database.read(version_of)
    if left_open and (faults := faults_in_file(database)):
        raise database.refusal(f"is damaged: {faults[0]}", "a sound workshop book", PUT_BACK)
    if version is None:
        raise database.refusal("is a database, but no workshop book", "a workshop book", "name another file")
    if version > NEWEST:
        expected = f"version {NEWEST} or older"
        raise database.refusal(f"was made by a later tipin (version {version})", expected, "install that tipin here")
    return version
