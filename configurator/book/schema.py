"""The tables of the workshop book, and how a book made by an earlier version is brought up to this one.

A run is kept as one text, and so is what is told to be fitted: it is always read whole. What a query needs stands in
columns of its own. Nothing is ever deleted, and the book itself counts numbers, from 1 up. The database refuses a shelf
with less than nothing on it. What comes with a key of its own is known by it when it comes again. A digest says whether
a record is as it was written.
"""

from collections.abc import Callable
from hashlib import sha256

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
LONGEST_KEY = 80

TABLES = MetaData()
VERSION = Table("book_version", TABLES, Column("version", Integer, nullable=False))


def _of_cars(name: str, tables: MetaData, *later: Column[str]) -> Table:
    """What is kept of cars, numbered: each as one text, with what it is looked for by."""
    return Table(
        name, tables,
        Column("number", Integer, primary_key=True, autoincrement=False),
        Column("vehicle", String(200), nullable=False, index=True),
        Column("undone", Boolean, nullable=False),
        Column("record", Text, nullable=False),
        *later,
    )  # fmt: skip


def _of_moves(tables: MetaData, *later: Column[str]) -> Table:
    """Every movement on the shelf."""
    return Table(
        "stock_moves", tables,
        Column("number", Integer, primary_key=True, autoincrement=False),
        Column("at", String(40), nullable=False),
        Column("code", String(LONGEST_CODE), ForeignKey(STOCK.c.code), nullable=False),
        Column("change", Integer, nullable=False),
        Column("why", String(500), nullable=False),
        *later,
    )  # fmt: skip


def _entry_key() -> Column[str]:
    return Column("entry_key", String(LONGEST_KEY))


def _digest() -> Column[str]:
    """Empty where an earlier version wrote the row while this one had the book open."""
    return Column("digest", String(64))


TRIALS, FITTINGS = (_of_cars(name, TABLES, _digest(), _entry_key()) for name in ("trials", "fittings"))
STOCK = Table(
    "stock", TABLES,
    Column("code", String(LONGEST_CODE), primary_key=True),
    Column("quantity", Integer, CheckConstraint("quantity >= 0", name="never_below_zero"), nullable=False),
)  # fmt: skip
STOCK_MOVES = _of_moves(TABLES, _entry_key())
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


def digest_of(number: int, vehicle: str, record: str) -> str:
    """What tells whether a row of a car is as it was written; that it was undone later counts for nothing.

    >>> digest_of(1, "roadster", "{}")[:8]
    'a84e0c6e'
    """
    return sha256(f"{number}\n{vehicle}\n{record}".encode()).hexdigest()


def _trial_log(connection: Connection) -> None:
    _of_cars("trials", MetaData()).create(connection)


def _shelf(connection: Connection) -> None:
    STOCK.create(connection)
    _of_moves(MetaData()).create(connection)


def _what_is_fitted(connection: Connection) -> None:
    _of_cars("fittings", MetaData()).create(connection)


def _settings(connection: Connection) -> None:
    SETTINGS.create(connection)


def _kept_orders(connection: Connection) -> None:
    ORDERS.create(connection)
    PARCELS.create(connection)


def _keys_and_digests(connection: Connection) -> None:
    """In columns, not in tables of their own: rights that users have been granted hold for these, too."""
    for table in (TRIALS, FITTINGS, STOCK_MOVES):
        connection.exec_driver_sql(f"ALTER TABLE {table.name} ADD COLUMN entry_key VARCHAR({LONGEST_KEY})")
        connection.exec_driver_sql(f"CREATE INDEX ix_{table.name}_entry_key ON {table.name} (entry_key)")
    for table in (TRIALS, FITTINGS):
        connection.exec_driver_sql(f"ALTER TABLE {table.name} ADD COLUMN digest VARCHAR(64)")
        for row in connection.execute(select(table.c.number, table.c.vehicle, table.c.record)).all():
            changed = table.update().where(table.c.number == row.number)
            connection.execute(changed.values(digest=digest_of(row.number, row.vehicle, row.record)))


# Migration n makes version n of n - 1. One that a book has been through is never changed: when a table changes later,
# its old shape is written out in the migration that made it.
MIGRATIONS: tuple[Callable[[Connection], None], ...] = (
    _trial_log,
    _shelf,
    _what_is_fitted,
    _settings,
    _keys_and_digests,
    _kept_orders,
)
NEWEST = len(MIGRATIONS)


def version_of(connection: Connection) -> int | None:
    """Version of the book's tables: 0 in an empty database, None in one that holds other tables and is no book."""
    tables = inspect(connection).get_table_names()
    if VERSION.name not in tables:
        return None if tables else 0
    columns = [column["name"] for column in inspect(connection).get_columns(VERSION.name)]
    found = connection.execute(select(VERSION.c.version)).scalar() if columns == ["version"] else None
    return found if isinstance(found, int) and found >= 0 else None


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
