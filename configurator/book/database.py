"""The database that holds the workshop book: how it is opened, how a transaction runs, and what is done when it fails.

One SQLite file, or a database of a PostgreSQL server. A change takes a lock before its first statement and waits its
turn if another process has it: so writers queue up, in both. It is on the disk before it is confirmed. What a killed
process or a lost connection left half done, the database undoes by itself.

A connection that breaks before a change is confirmed has changed nothing, so the work is done again for a while. One
that breaks at the confirmation leaves it open whether it was done: that is said, and nothing is done twice.
"""

import os
import stat
from collections.abc import Callable
from contextlib import suppress
from time import monotonic, sleep
from typing import Any, TypeVar

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, event
from sqlalchemy.exc import ArgumentError, DBAPIError

from configurator.book.book_place import read_place
from configurator.book.database_sayings import DRIVER_MISSING, NOT_CERTAIN, PUT_BACK, passes, saying_of
from configurator.errors import BadInput, Fault

WAIT_FOR_OTHERS_S = 30.0
"""How long a transaction waits for those of other processes."""
IDLE_MOST_S = 60.0
"""A server ends a change in which nothing happens for so long: a laptop that was shut holds up nobody for longer."""
TRY_AGAIN_FOR_S = 20.0
"""How long work is done again after a connection was lost: a server takes this long to restart, or longer."""
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.1, 2.0
LOCK = int.from_bytes(b"tipin")
"""Number of the lock that writers take on a server."""

Written = TypeVar("Written")
Refusal = Callable[..., BadInput]
"""Database.refusal of one database, which names it."""
Statements = Callable[[Connection], Written]
"""What is done in a transaction; it may be called again, so it changes nothing but the database."""


class Database:
    """Transactions on one database; `place` names it in messages, without a password. named : what it is called there
    where that is not the place. looks_only : no change is ever asked of it."""

    def __init__(self, place: str, *, named: str = "", looks_only: bool = False) -> None:
        self._read = read_place(place)
        self.place, self.file, self._looks_only = named or self._read.shown, self._read.file, looks_only
        self._was_reached = False
        on_server = self.file is None
        try:
            self._engine = create_engine(self._read.url, **(_for_server if on_server else _for_file)(self._read.url))
        except ImportError:
            raise self.refusal(*DRIVER_MISSING) from None
        except (ArgumentError, TypeError, ValueError) as error:
            raise self.refusal(f"cannot be reached ({self._read.without_secrets(str(error))})") from None
        (_prepare_postgresql if on_server else _prepare_sqlite)(self._engine)

    def read(self, work: Statements[Written]) -> Written:
        """The answer of work in a transaction that only reads, and sees one state of the book. Raises BadInput."""
        return self._done(work, writes=False)

    def change(self, work: Statements[Written], *, knows_again: bool = False) -> Written:
        """The answer of work in a transaction that is done whole or not at all. Raises BadInput. knows_again : the work
        itself sees whether it was done before, so it may be done again even where that is open."""
        assert not self._looks_only, "a look never writes"
        return self._done(work, writes=True, knows_again=knows_again)

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
        if state.st_size == 0:
            remedy = "put back a copy with `tipin book restore COPY`, or remove the file to begin a new book"
            raise self.refusal("is empty (0 bytes): what was in it is lost", "a workshop book", remedy)
        return True

    @property
    def was_left_open(self) -> bool:
        """Whether a change may have been under way in the file when a process or the machine stopped."""
        return self.file is not None and self.file.with_name(f"{self.file.name}-journal").exists()

    def refusal(self, problem: str, expected: str = "", remedy: str = "", at: str = "") -> BadInput:
        return BadInput([Fault(self.place, at, problem, expected, remedy)])

    def _done(self, work: Statements[Written], writes: bool, knows_again: bool = False) -> Written:
        """The answer of work, done again while what hinders it may pass."""
        pause_s, until = FIRST_PAUSE_S, None
        while True:
            try:
                return self._once(work, writes, knows_again)
            except DBAPIError as error:
                until = until or monotonic() + TRY_AGAIN_FOR_S
                if not passes(error, self._was_reached) or monotonic() + pause_s > until:
                    raise self._said_plainly(error) from None
            sleep(pause_s)
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    def _once(self, work: Statements[Written], writes: bool, knows_again: bool) -> Written:
        with self._engine.connect() as connection:
            self._was_reached = True
            try:
                answer = work(connection.execution_options(writes=writes))
                if writes:
                    self._confirm(connection, knows_again)
            except OverflowError:  # where another program has written the largest number there can be
                raise self.refusal("has no number left for it", "", PUT_BACK) from None
            finally:
                with suppress(DBAPIError):  # of a connection that is gone, which has undone all by itself
                    connection.rollback()
        return answer

    def _confirm(self, connection: Connection, knows_again: bool) -> None:
        try:
            connection.commit()
        except DBAPIError as error:
            if error.connection_invalidated and not knows_again:
                raise self.refusal(*NOT_CERTAIN) from None
            raise

    def _said_plainly(self, error: DBAPIError) -> BadInput:
        if saying := saying_of(error):
            return self.refusal(*saying)
        first_line = str(error.orig).strip().partition("\n")[0]
        return self.refusal(f"the database refuses ({self._read.without_secrets(first_line)})")


def _for_file(_: URL) -> dict[str, Any]:
    return {"poolclass": NullPool, "connect_args": {"timeout": WAIT_FOR_OTHERS_S}}


def _for_server(url: URL) -> dict[str, Any]:
    """A server that is gone without a word is noticed within half a minute; what the user says comes first."""
    wanted: dict[str, Any] = {
        "client_encoding": "utf8", "keepalives_idle": 15, "keepalives_interval": 5, "tcp_user_timeout": 30_000,
    }  # fmt: skip
    for variable, name, value in (
        ("PGCONNECT_TIMEOUT", "connect_timeout", 10),
        ("PGAPPNAME", "application_name", "tipin"),
    ):
        if variable not in os.environ:
            wanted[name] = value
    return {"connect_args": {name: value for name, value in wanted.items() if name not in url.query}}


def _prepare_sqlite(engine: Engine) -> None:
    """Let SQLAlchemy, not Python's sqlite3, say where a transaction begins; set what SQLite leaves to each opening."""

    @event.listens_for(engine, "connect")
    def connected(connection: Any, _: Any) -> None:
        connection.isolation_level = None
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = EXTRA")
        # A byte that is no letter spoils the record it is in, not the reading of all others.
        connection.text_factory = lambda text: text.decode("utf-8", "replace")

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE" if _writes(connection) else "BEGIN")


def _prepare_postgresql(engine: Engine) -> None:
    """Writers take a lock of the whole book; each statement behind it sees what the writer before confirmed."""

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        if not _writes(connection):
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            return
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL READ COMMITTED")
        settings = {
            "lock_timeout": f"{WAIT_FOR_OTHERS_S:g}s", "idle_in_transaction_session_timeout": f"{IDLE_MOST_S:g}s",
            "synchronous_commit": "on",
        }  # fmt: skip
        calls = ", ".join(f"set_config('{name}', '{value}', true)" for name, value in settings.items())
        connection.exec_driver_sql(f"SELECT {calls}")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")


def _writes(connection: Connection) -> bool:
    return bool(connection.get_execution_options().get("writes", False))
