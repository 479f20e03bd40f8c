"""How the file of a book is opened: what SQLite leaves to each connection is set on each."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.pool import Pool

from configurator.book.database import Database
from configurator.errors import BadInput

EXTRA = 3
"""https://sqlite.org/pragma.html#pragma_synchronous: 0 off, 1 normal, 2 full, 3 extra."""


@pytest.fixture
def careless() -> Iterator[None]:
    """An SQLite that was built to trust the disk and to check no foreign keys: both defaults are its builder's."""

    def opened(connection: Any, _: Any) -> None:
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("PRAGMA foreign_keys = OFF")

    event.listen(Pool, "connect", opened)
    yield
    event.remove(Pool, "connect", opened)


@pytest.mark.usefixtures("careless")
def test_what_is_confirmed_is_on_the_disk_and_rows_belong_to_rows_there_are(tmp_path: Path) -> None:
    database = Database(str(tmp_path / "book.sqlite"))

    def setting(name: str) -> int:
        return database.read(lambda connection: int(connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()))

    assert setting("synchronous") == EXTRA
    assert setting("foreign_keys") == 1
    database.close()


def test_a_writer_takes_its_lock_before_it_reads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second writer waits for the first one's end, and a reader for nobody."""
    place = str(tmp_path / "book.sqlite")
    monkeypatch.setattr("configurator.book.database.WAIT_FOR_OTHERS_S", 0.05)
    monkeypatch.setattr("configurator.book.database.TRY_AGAIN_FOR_S", 0.0)
    first, second = Database(place), Database(place)
    first.change(lambda connection: connection.exec_driver_sql("CREATE TABLE seen (what TEXT)").close())

    def look(connection: Any) -> str:
        return str(connection.exec_driver_sql("SELECT count(*) FROM seen").scalar_one())

    def other_comes(connection: Any) -> tuple[str, str]:
        before = look(connection)
        with pytest.raises(BadInput):
            second.change(look)
        return before, second.read(look)

    assert first.change(other_comes) == ("0", "0")
    assert second.change(look) == "0", "and gets it when the first is done"
