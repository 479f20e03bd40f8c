"""Copies of a book: one SQLite file, whatever database the book is in, made while others use it, and read again before
it counts."""

import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy import Connection, MetaData, create_engine, inspect, select

from configurator.book.database import Database
from configurator.book.database_sayings import PUT_BACK
from configurator.book.schema import NEWEST, TABLES, VERSION, migrate_once, version_of
from configurator.errors import BadInput, Fault
from configurator.files.writing import write_new, write_whole


def back_up(database: Database, path: Path) -> None:
    """A copy of a book as a new file, all of one moment. Raises BadInput where that cannot be written, or does not say
    what the book says."""
    if path.exists():
        raise BadInput([Fault(str(path), "", "is there already", "a name not used yet")])
    with copied(database) as copy:
        _put(copy, path, replaces=False)


def back_up_before(database: Database, version: int) -> None:
    """A copy of a book of an earlier version, before it is brought up to this one: beside its file, or of a book on a
    server in this user's folder for data. The last one of a day stays."""
    with copied(database) as copy:
        if copy.read(version_of) == version:  # else another process was faster, and has made one
            _put(copy, _beside(database, f"version-{version}-{datetime.now(UTC):%Y-%m-%d}"), replaces=True)


@contextmanager
def copied(database: Database) -> Iterator[Database]:
    """A copy in a folder of its own, gone after the block; messages name the book."""
    with TemporaryDirectory(prefix="tipin-") as folder:
        path = Path(folder) / "book.sqlite"
        if database.file is not None:
            database.read(lambda connection: _copy_file(connection, path, database))
        else:
            database.read(lambda connection: _copy_tables(connection, path))
        copy = Database(str(path), named=database.place)
        try:
            yield copy
        finally:
            copy.close()


def put_back(path: Path, database: Database) -> Path | None:
    """Make a book what a copy of it says; returns where the book that was there is kept now, None where there was none.

    Raises BadInput for a copy that is no sound book, and for a database on a server that holds a book already.
    """
    source = Database(str(path))
    if not source.is_there() or not source.read(version_of):
        raise source.refusal("is no copy of a book", "a file that `tipin book backup` made")
    if faults := faults_in_file(source):
        raise source.refusal(f"is damaged itself ({faults[0]})", "another copy")
    with copied(source) as copy:
        if database.file is None:
            database.change(lambda connection: _fill(connection, copy, database))
            return None
        try:
            return _put_in_place(copy, database, database.file)
        except OSError as error:
            expected = "a folder that may be written, and a file that no other program has open"
            raise database.refusal(f"cannot be put in place ({error.strerror})", expected) from None


def faults_in_file(database: Database) -> list[str]:
    """What SQLite itself finds wrong with the file of a book; nothing for one on a server, which sees to that."""
    if database.file is None:
        return []

    def look(connection: Connection) -> list[str]:
        found = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(5)")]
        orphans = len(connection.exec_driver_sql("PRAGMA foreign_key_check").all())
        return [one for one in found if one != "ok"] + ["movements of parts that the shelf has not"] * bool(orphans)

    return database.read(look)


def _put(copy: Database, path: Path, *, replaces: bool) -> None:
    """The file of a copy at a place of its own, read again and held against it."""
    assert copy.file is not None
    content = copy.file.read_bytes()
    if replaces:
        write_whole(path, content)
    else:
        try:
            write_new(path, content)
        except OSError as error:
            problem = f"cannot be written ({error.strerror})"
            raise BadInput([Fault(str(path), "", problem, "a file in a folder there is")]) from None
    with closing(Database(str(path))) as written:
        if faults_in_file(written) or written.read(_says) != copy.read(_says):
            raise written.refusal("does not say what was written into it", "", "look at the disk, and try another")


def _put_in_place(copy: Database, database: Database, file: Path) -> Path | None:
    """The book that is there is kept beside; a file that is no sound database goes aside with all that belongs to it,
    and another that others may have open is changed in one transaction."""
    assert copy.file is not None
    kept = _beside(database, f"before-restore-{datetime.now(UTC):%Y-%m-%d-%H%M%S}")
    if not file.exists():
        write_new(file, copy.file.read_bytes())
        return None
    try:
        is_sound = file.stat().st_size > 0 and not faults_in_file(database)
    except BadInput:
        is_sound = False
    if not is_sound:
        for ending in ("", "-journal"):
            if file.with_name(file.name + ending).exists():
                os.replace(file.with_name(file.name + ending), kept.with_name(kept.name + ending))
        write_new(file, copy.file.read_bytes())
        return kept
    back_up(database, kept)
    with closing(sqlite3.connect(copy.file)) as content, closing(sqlite3.connect(file, timeout=30)) as there:
        content.backup(there)
    return kept


def _fill(connection: Connection, copy: Database, database: Database) -> None:
    if version_of(connection) != 0:
        raise database.refusal("holds something already", "an empty database", "have another one made for it")
    while copy.change(migrate_once) < NEWEST or migrate_once(connection) < NEWEST:
        pass

    def fill(source: Connection) -> None:
        for table in TABLES.sorted_tables:
            rows = [dict(row) for row in source.execute(select(table)).mappings()]
            if rows and table is not VERSION:
                connection.execute(table.insert(), rows)

    copy.read(fill)


def _says(connection: Connection) -> dict[str, str]:
    """Of every table the digest of its rows."""
    found = {}
    for name in _tables_in(connection):
        rows = sorted(map(repr, connection.exec_driver_sql(f"SELECT * FROM {name}")))
        found[name] = sha256("\n".join(rows).encode("utf-8", "replace")).hexdigest()
    return found


def _copy_file(connection: Connection, path: Path, database: Database) -> None:
    driver = connection.connection.driver_connection
    assert isinstance(driver, sqlite3.Connection)
    try:
        with closing(sqlite3.connect(path)) as copy:
            driver.backup(copy)
    except sqlite3.Error as error:
        raise database.refusal(f"cannot be copied ({error})", "a sound workshop book", PUT_BACK) from None


def _copy_tables(connection: Connection, path: Path) -> None:
    tables = MetaData()
    tables.reflect(connection, only=_tables_in(connection))
    engine = create_engine(f"sqlite:///{path}")
    try:
        with engine.begin() as copy:
            tables.create_all(copy)
            for table in tables.sorted_tables:
                rows = [dict(row) for row in connection.execute(select(table)).mappings()]
                if rows:
                    copy.execute(table.insert(), rows)
    finally:
        engine.dispose()


def _tables_in(connection: Connection) -> list[str]:
    there = inspect(connection).get_table_names()
    return [name for name in TABLES.tables if name in there]


def _beside(database: Database, what: str) -> Path:
    if database.file is not None:
        return database.file.with_name(f"{database.file.name}.{what}")
    from platformdirs import user_data_path

    folder = user_data_path("tipin", appauthor=False) / "copies"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput([Fault(str(folder), "", f"cannot be made ({error.strerror})", "a folder for copies")]) from None
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", database.place.partition("://")[2].partition("?")[0])
    return folder / f"{name}.sqlite.{what}"
