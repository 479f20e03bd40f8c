"""The workshop book: runs, what is fitted and the shelf, kept so that what was confirmed is there whatever happens.

>>> from tempfile import TemporaryDirectory
>>> with TemporaryDirectory() as folder, open_book(f"{folder}/book.sqlite") as book:
...     _ = book.move_stock("straight-0.80", 3, "bought")
...     _ = book.move_stock("straight-0.80", -1, "to the roadster")
...     book.stock()
{'straight-0.80': 2}
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from pydantic import ValidationError
from sqlalchemy import Connection, Row, Table, func, select

from configurator.book.car_records import CarRecords
from configurator.book.database import Database
from configurator.book.fitting import Fitting
from configurator.book.orders import Orders
from configurator.book.records import Trial
from configurator.book.schema import FITTINGS, NEWEST, SETTINGS, STOCK, STOCK_MOVES, TRIALS, migrate_once, version_of
from configurator.book.stock import MOST_OF_ONE, StockMove
from configurator.book.usual_place import named_place, place_of_book
from configurator.units.showing import SHOWN_UNITS, ShownUnits

_UNITS = "units"
_KEPT_APART = {"number", "undone"}
"""Fields of a run that stand in columns of their own; so of a fitting."""
SomeEntry = TypeVar("SomeEntry", Trial, Fitting)
_CALLED: dict[type[Trial] | type[Fitting], tuple[str, str]] = {
    Trial: ("run", "the list of runs shows them"), Fitting: ("entry", "`tipin fit VEHICLE` lists them"),
}  # fmt: skip
"""What either is called, and where its number is found."""


class Book:
    """An open book. Each method is one transaction and raises BadInput, with nothing changed, if it fails."""

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

    @property
    def orders(self) -> Orders:
        """Its orders."""
        return Orders(self._database, self._move)

    def trials(self, vehicle: str | None = None, with_undone: bool = False) -> list[Trial]:
        """Runs in the order in which they were recorded, of one vehicle or of all; those undone only if asked for."""
        return self._entries(TRIALS, Trial, vehicle, with_undone)

    def fittings(self, vehicle: str | None = None, with_undone: bool = False) -> list[Fitting]:
        """What was told to be fitted, likewise."""
        return self._entries(FITTINGS, Fitting, vehicle, with_undone)

    def add_trial(self, trial: Trial) -> Trial:
        """Record a run; returns it with its number."""
        return self._database.change(lambda connection: self._add(connection, TRIALS, trial))

    def add_new_trials(self, trials: Iterable[Trial]) -> list[Trial]:
        """Record runs, those left out that the book holds already; returns what was added. All of them or none."""
        offered = list(trials)

        def add(connection: Connection) -> list[Trial]:
            known = set(connection.execute(select(TRIALS.c.record)).scalars())
            added = []
            for trial in offered:
                if _text_of(trial) not in known:
                    known.add(_text_of(trial))
                    added.append(self._add(connection, TRIALS, trial))
            return added

        return self._database.change(add)

    def undo_trial(self, number: int) -> Trial:
        """Take a run back: it stays in the book, marked."""

        return self._database.change(lambda connection: self._undo(connection, TRIALS, Trial, number))

    def records(self, vehicle: str, with_undone: bool = False) -> CarRecords:
        """Runs of a vehicle and what was told to be fitted on it."""
        return CarRecords(self.trials(vehicle, with_undone), self.fittings(vehicle, with_undone))

    def add_fitting(self, fitting: Fitting) -> tuple[Fitting, list[StockMove]]:
        """Record what is fitted, and book what went onto the shelf and off it; returns it with its number, and what was
        booked."""
        return self._database.change(lambda connection: self._fit(connection, fitting))

    def undo_fitting(self, number: int, vehicle: str) -> tuple[Fitting, list[StockMove]]:
        """Take back what was told to be fitted on a vehicle, and what the shelf got by it; it stays, marked."""

        def undo(connection: Connection) -> tuple[Fitting, list[StockMove]]:
            undone = self._undo(connection, FITTINGS, Fitting, number)
            if undone.vehicle != vehicle:
                raise self._database.refusal(f"is of {undone.vehicle}", f"one of {vehicle}", at=f"entry {number}")
            why = f"entry {number} of {undone.vehicle} undone"
            return undone, [self._move(connection, code, -change, why) for code, change in undone.shelf.items()]

        return self._database.change(undo)

    def stock(self) -> dict[str, int]:
        """How many there are on the shelf, by code; what has run out is left out."""
        wanted = select(STOCK.c.code, STOCK.c.quantity).where(STOCK.c.quantity > 0)
        rows = self._database.read(lambda connection: connection.execute(wanted).all())
        return {code: quantity for code, quantity in sorted(rows)}  # each server has an alphabet of its own

    def move_stock(self, code: str, change: int, why: str) -> StockMove:
        """Put parts on the shelf, or take them off where change is below zero; raises BadInput for more than there
        are."""
        return self._database.change(lambda connection: self._move(connection, code, change, why))

    def count_stock(self, code: str, quantity: int, why: str) -> StockMove:
        """Set how many there are, as counted; the difference is booked, none too."""
        return self._database.change(
            lambda connection: self._move(connection, code, quantity - _quantity(connection, code), why)
        )

    def add_stock(self, quantities: Mapping[str, int], why: str) -> list[StockMove]:
        """Put many parts on the shelf, all of them or none."""
        return self._database.change(
            lambda connection: [
                self._move(connection, code, number, why) for code, number in quantities.items() if number
            ]
        )

    def stock_history(self) -> list[StockMove]:
        """Every movement, oldest first."""
        wanted = select(STOCK_MOVES).order_by(STOCK_MOVES.c.number)
        rows = self._database.read(lambda connection: connection.execute(wanted).mappings().all())
        return [StockMove.model_validate(dict(row)) for row in rows]

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

    def _entries(self, table: Table, kind: type[SomeEntry], vehicle: str | None, with_undone: bool) -> list[SomeEntry]:
        wanted = select(table).order_by(table.c.number)
        if vehicle is not None:
            wanted = wanted.where(table.c.vehicle == vehicle)
        if not with_undone:
            wanted = wanted.where(table.c.undone.is_(False))
        return self._database.read(lambda connection: [self._entry(row, kind) for row in connection.execute(wanted)])

    def _add(self, connection: Connection, table: Table, entry: SomeEntry) -> SomeEntry:
        numbered = entry.model_copy(update={"number": _next_number(connection, table)})
        values = {"vehicle": entry.vehicle, "undone": entry.undone, "record": _text_of(entry)}
        connection.execute(table.insert().values(number=numbered.number, **values))
        return numbered

    def _fit(self, connection: Connection, fitting: Fitting) -> tuple[Fitting, list[StockMove]]:
        moved = [
            self._move(connection, code, change, f"{'out of' if change > 0 else 'into'} {fitting.vehicle}")
            for code, change in fitting.shelf.items()
        ]
        after = _next_number(connection, TRIALS) - 1
        return self._add(connection, FITTINGS, fitting.model_copy(update={"after_run": after})), moved

    def _undo(self, connection: Connection, table: Table, kind: type[SomeEntry], number: int) -> SomeEntry:
        row = connection.execute(select(table).where(table.c.number == number)).first()
        called, listed = _CALLED[kind]
        at = f"{called} {number}"
        if row is None:
            newest = connection.execute(select(func.max(table.c.number))).scalar()
            known = f"a number from 1 to {newest}" if newest else "nothing: the book has none"
            raise self._database.refusal(f"there is no such {called}", known, listed, at)
        if row.undone:
            raise self._database.refusal("was undone already", "one that counts", at=at)
        undone = self._entry(row, kind).model_copy(update={"undone": True})
        connection.execute(table.update().where(table.c.number == number).values(undone=True))
        return undone

    def _entry(self, row: Row[Any], kind: type[SomeEntry]) -> SomeEntry:
        try:
            kept = kind.model_validate_json(row.record)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            problem = f"its record cannot be read ({'.'.join(map(str, first['loc']))}: {first['msg']})"
            remedy = "put back the last copy you have of the book"
            raise self._database.refusal(problem, remedy=remedy, at=f"{_CALLED[kind][0]} {row.number}") from None
        return kept.model_copy(update={"number": row.number, "undone": row.undone})

    def _move(self, connection: Connection, code: str, change: int, why: str) -> StockMove:
        there = _quantity(connection, code)
        if there + change < 0:
            problem = f"{-change} of {code} cannot be taken: the shelf holds {there or 'none'}"
            raise self._database.refusal(problem, remedy="count the shelf to set right what is wrong")
        if there + change > MOST_OF_ONE:
            raise self._database.refusal(f"{there + change} of {code} on one shelf", f"at most {MOST_OF_ONE}")
        if connection.execute(select(STOCK).where(STOCK.c.code == code)).first() is None:
            connection.execute(STOCK.insert().values(code=code, quantity=0))
        now = datetime.now(UTC).replace(microsecond=0)
        connection.execute(STOCK.update().where(STOCK.c.code == code).values(quantity=STOCK.c.quantity + change))
        moved = StockMove(number=_next_number(connection, STOCK_MOVES), at=now, code=code, change=change, why=why)
        connection.execute(STOCK_MOVES.insert().values(moved.model_dump() | {"at": now.isoformat()}))
        return moved


def _text_of(entry: Trial | Fitting) -> str:
    return entry.model_dump_json(exclude=_KEPT_APART)


def _quantity(connection: Connection, code: str) -> int:
    return connection.execute(select(STOCK.c.quantity).where(STOCK.c.code == code)).scalar() or 0


def _next_number(connection: Connection, table: Table) -> int:
    """No server's own counting: that skips a number where a change was given up."""
    return (connection.execute(select(func.max(table.c.number))).scalar() or 0) + 1


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
