"""Both databases that may hold a book, to make books in and to look into them without our code."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, Protocol

from postgres_server import Server
from sqlalchemy import make_url

from configurator.book.database import LOCK


class Store(Protocol):
    """Where books are made."""

    def new(self) -> str:
        """A place for a book, as --book takes it."""

    def by_hand(self, place: str, *statements: str) -> list[Any]:
        """Rows of the last of some statements, run without our code."""

    def tables(self, place: str) -> set[str]:
        """Names of the tables there."""

    def held(self, place: str) -> Any:
        """A connection that holds the book as a writer would; its close() lets go."""

    def only_to_read(self, place: str) -> None:
        """From now on the database refuses every change."""

    def check(self, place: str) -> None:
        """Fails where the database itself finds something wrong."""

    def forget(self) -> None:
        """Throws away what was made."""


class Files:
    """SQLite files in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._made = folder, 0

    def new(self) -> str:
        self._made += 1
        return str(self._folder / f"book-{self._made}.sqlite")

    def by_hand(self, place: str, *statements: str) -> list[Any]:
        rows: list[Any] = []
        with closing(sqlite3.connect(place)) as connection, connection:
            for statement in statements:
                rows = connection.execute(statement).fetchall()
        return rows

    def tables(self, place: str) -> set[str]:
        return {name for (name,) in self.by_hand(place, "SELECT name FROM sqlite_master WHERE type = 'table'")}

    def held(self, place: str) -> Any:
        holder = sqlite3.connect(place, isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        return holder

    def only_to_read(self, place: str) -> None:
        """The format's version number in its header says so to every program."""
        with open(place, "r+b") as file:
            file.seek(18)
            file.write(b"\x03")

    def check(self, place: str) -> None:
        assert self.by_hand(place, "PRAGMA integrity_check") == [("ok",)]
        assert self.by_hand(place, "PRAGMA foreign_key_check") == []

    def forget(self) -> None:
        """The folder is the test's own, and goes with it."""


class Servers:
    """Databases of one PostgreSQL server."""

    def __init__(self, server: Server) -> None:
        self.server = server
        self._made: list[str] = []

    def new(self, *words: str) -> str:
        """Made with these words at the end of CREATE DATABASE."""
        self._made.append(self.server.new_database(*words))
        return self.server.url(self._made[-1])

    def with_an_alphabet(self) -> str:
        """The same where the server sorts as in a telephone book, without hyphens."""
        return self.new("TEMPLATE template0 LOCALE_PROVIDER icu ICU_LOCALE 'en-u-ka-shifted'")

    def forget(self) -> None:
        self.server.run("postgres", *[f"DROP DATABASE {name} WITH (FORCE)" for name in self._made])

    def by_hand(self, place: str, *statements: str) -> list[Any]:
        return self.server.run(_database_of(place), *statements)

    def tables(self, place: str) -> set[str]:
        return {name for (name,) in self.by_hand(place, "SELECT tablename FROM pg_tables WHERE schemaname = 'public'")}

    def held(self, place: str) -> Any:
        holder = self.server.connect(_database_of(place))
        holder.execute("SELECT pg_advisory_lock(%s)", (LOCK,))
        return holder

    def only_to_read(self, place: str) -> None:
        self.by_hand(place, f"ALTER DATABASE {_database_of(place)} SET default_transaction_read_only = on")

    def check(self, place: str) -> None:
        """Rows without their part on the shelf are the one thing that could be wrong in it unnoticed."""
        orphans = "SELECT count(*) FROM stock_moves m LEFT JOIN stock s ON s.code = m.code WHERE s.code IS NULL"
        assert self.by_hand(place, orphans) == [(0,)]


def _database_of(place: str) -> str:
    name = make_url(place).database
    assert name is not None
    return name
