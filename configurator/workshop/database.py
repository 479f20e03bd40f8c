"""The database that holds the workshop book: how it is opened, how a transaction runs, and what is said when it fails.

One SQLite file, or any database that SQLAlchemy reaches by a URL. In a file a change takes the write lock before its
first statement, waits its turn if another process has it, and is on the disk before it is confirmed. SQLite's journal
undoes at the next opening what a killed process left half done.
"""

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from configurator.errors import BadInput, Fault

WAIT_FOR_OTHERS_S = 30.0
"""How long a transaction waits for those of other processes."""

# What SQLite found, by the start of its error's name: problem, expectation, remedy.
_SAYINGS = (
    ("SQLITE_NOTADB", "is no workshop book: it is not a database", "a workshop book", "name another file"),
    ("SQLITE_CORRUPT", "is damaged", "a sound workshop book", "put back the last copy you have of it"),
    ("SQLITE_FULL", "there is no room left for it on the disk", "", "nothing was changed; make room and try again"),
    ("SQLITE_READONLY", "may only be read here, not changed", "", "ask for the right to write it, or name another"),
    ("SQLITE_CANTOPEN", "cannot be opened", "a file that may be read and written", "look at its folder and rights"),
    ("SQLITE_BUSY", "another program has held it for too long", "", "nothing was changed; close that and try again"),
    ("SQLITE_IOERR", "the disk refused to read or write it", "", "nothing was changed; look at the disk, try again"),
)


class Database:
    """Transactions on one database; `place` names it in messages, without a password."""

    def __init__(self, place: str) -> None:
        self.place, url = _url_of(place)
        self._is_sqlite = url.get_backend_name() == "sqlite"
        self.file = Path(url.database) if self._is_sqlite and url.database else None
        options: dict[str, Any] = {}
        if self._is_sqlite:
            options = {"poolclass": NullPool, "connect_args": {"timeout": WAIT_FOR_OTHERS_S}}
        try:
            self._engine = create_engine(url, **options)
        except (ArgumentError, NoSuchModuleError, ImportError, TypeError, ValueError) as error:
            raise self.refusal(
                f"cannot be reached ({error})", "a file, or a URL of a database that SQLAlchemy has a driver for"
            ) from None
        if self._is_sqlite:
            _prepare_sqlite(self._engine)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that only reads, and sees one state of the book. Raises BadInput."""
        with self._said_plainly(), self._engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that is done whole or not at all. Raises BadInput."""
        with self._said_plainly(), self._engine.connect() as connection:
            connection = connection.execution_options(writes=True)
            with connection.begin():
                yield connection

    def close(self) -> None:
        self._engine.dispose()

    def is_there(self) -> bool:
        """Whether the file is there; raises BadInput where it can be no book's, or where its folder is missing."""
        if self.file is None:
            return True
        try:
            state = self.file.stat()
        except FileNotFoundError:
            if self.file.parent.is_dir():
                return False
            problem, remedy = "its folder does not exist", f"make {self.file.parent}"
            raise self.refusal(problem, "a file in a folder there is", remedy) from None
        except (OSError, ValueError) as error:
            raise self.refusal(f"cannot be read ({getattr(error, 'strerror', None) or error})", "a file") from None
        if stat.S_ISDIR(state.st_mode):
            raise self.refusal("is a directory", "a file", "name a file inside it")
        if not stat.S_ISREG(state.st_mode):
            raise self.refusal("is not an ordinary file", "a file")
        return True

    def refusal(self, problem: str, expected: str = "", remedy: str = "", at: str = "") -> BadInput:
        return BadInput([Fault(self.place, at, problem, expected, remedy)])

    @contextmanager
    def _said_plainly(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            name = str(getattr(error.orig, "sqlite_errorname", ""))
            for start, problem, expected, remedy in _SAYINGS:
                if name.startswith(start):
                    raise self.refusal(problem, expected, remedy) from None
            raise self.refusal(f"the database refuses ({str(error.orig).strip().partition(chr(10))[0]})") from None


def _url_of(place: str) -> tuple[str, URL]:
    if any("\ud800" <= sign <= "\udfff" for sign in place):
        raise BadInput([Fault(place, "", "is no name in UTF-8", "a name that can be written down")])
    if "://" not in place:
        return place, URL.create("sqlite", database=os.path.abspath(place))
    try:
        url = make_url(place)
    except (ArgumentError, ValueError):
        raise BadInput([Fault("--book", "", "names no database", "a file, or dialect://user@host/database")]) from None
    shown = url.render_as_string(hide_password=True)
    if url.get_backend_name() == "sqlite" and url.database in (None, "", ":memory:"):
        raise BadInput([Fault(shown, "", "would be forgotten at once", "a file: sqlite:///FILE, or the file alone")])
    return shown, url


def _prepare_sqlite(engine: Engine) -> None:
    """Let SQLAlchemy, not Python's sqlite3, say where a transaction begins; set what SQLite leaves to each opening."""

    @event.listens_for(engine, "connect")
    def connected(connection: Any, _: Any) -> None:
        connection.isolation_level = None
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
