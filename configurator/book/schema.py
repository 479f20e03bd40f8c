"""The tables of the workshop book, and how a book made by an earlier version is brought up to this one.

A run is kept as one text, and so is what is told to be fitted: it is always read whole. What a query needs stands in
columns of its own. Nothing is ever deleted, and the book itself counts numbers, from 1 up. The database refuses a shelf
with less than nothing on it.
"""

from collections.abc import Callable

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Connection,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    inspect,
    select,
)

LONGEST_CODE = 60
"""As a catalogue allows."""

TABLES = MetaData()
VERSION = Table("book_version", TABLES, Column("version", Integer, nullable=False))


def _of_cars(name: str) -> Table:
    """What is kept of cars, numbered: each as one text, with what it is looked for by."""
    return Table(
        name, TABLES,
        Column("number", Integer, primary_key=True, autoincrement=False),
        Column("vehicle", String(200), nullable=False, index=True),
        Column("undone", Boolean, nullable=False),
        Column("record", Text, nullable=False),
    )  # fmt: skip


TRIALS, FITTINGS = _of_cars("trials"), _of_cars("fittings")
STOCK = Table(
    "stock", TABLES,
    Column("code", String(LONGEST_CODE), primary_key=True),
    Column("quantity", Integer, CheckConstraint("quantity >= 0", name="never_below_zero"), nullable=False),
)  # fmt: skip
STOCK_MOVES = Table(
    "stock_moves", TABLES,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("at", String(40), nullable=False),
    Column("code", String(LONGEST_CODE), ForeignKey(STOCK.c.code), nullable=False),
    Column("change", Integer, nullable=False),
    Column("why", String(500), nullable=False),
)  # fmt: skip
SETTINGS = Table(
    "settings", TABLES,
    Column("name", String(40), primary_key=True),
    Column("value", String(200), nullable=False),
)  # fmt: skip
ORDERS = Table(
    "orders", TABLES,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("at", String(40), nullable=False),
    Column("name", String(200), nullable=False),
    Column("record", Text, nullable=False),
)  # fmt: skip
PARCELS = Table(
    "order_parcels", TABLES,
    Column("order_number", Integer, ForeignKey(ORDERS.c.number), primary_key=True, autoincrement=False),
    Column("supplier", String(LONGEST_CODE), primary_key=True),
    Column("sent_at", String(40)),
    Column("arrived_at", String(40)),
)  # fmt: skip
"""What one supplier sends of an order."""


def _trial_log(connection: Connection) -> None:
    TRIALS.create(connection)


def _shelf(connection: Connection) -> None:
    STOCK.create(connection)
    STOCK_MOVES.create(connection)


def _what_is_fitted(connection: Connection) -> None:
    FITTINGS.create(connection)


def _settings(connection: Connection) -> None:
    SETTINGS.create(connection)


def _kept_orders(connection: Connection) -> None:
    ORDERS.create(connection)
    PARCELS.create(connection)


# Migration n makes version n of n - 1. One that a book has been through is never changed: when a table changes later,
# its old shape is written out in the migration that made it.
MIGRATIONS: tuple[Callable[[Connection], None], ...] = (_trial_log, _shelf, _what_is_fitted, _settings, _kept_orders)
NEWEST = len(MIGRATIONS)


def version_of(connection: Connection) -> int | None:
    """Version of the book's tables: 0 in an empty database, None in one that holds other tables and is no book."""
    tables = inspect(connection).get_table_names()
    if VERSION.name not in tables:
        return None if tables else 0
    columns = [column["name"] for column in inspect(connection).get_columns(VERSION.name)]
    found = connection.execute(select(VERSION.c.version)).scalar() if columns == ["version"] else None
    return found if isinstance(found, int) else None


def migrate_once(connection: Connection) -> int:
    """Bring the tables up by one version, unless another process was faster; returns the version they have then.
    To be called in a transaction of its own."""
    version = version_of(connection) or 0
    if version >= NEWEST:
        return version
    if version == 0:
        VERSION.create(connection)
        connection.execute(VERSION.insert().values(version=0))
    MIGRATIONS[version](connection)
    connection.execute(VERSION.update().values(version=version + 1))
    return version + 1
