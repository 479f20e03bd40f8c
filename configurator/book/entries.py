"""Runs and what was told to be fitted, as rows of the book."""

import re
from dataclasses import dataclass

from sqlalchemy import Connection, Table, func, select

from configurator.book.car_records import SetAside
from configurator.book.database import Refusal
from configurator.book.entry_reading import SomeEntry, read_entry
from configurator.book.fitting import Fitting
from configurator.book.records import Trial
from configurator.book.schema import FITTINGS, LONGEST_KEY, TRIALS, digest_of
from configurator.errors import BadInput

_KEPT_APART = {"number", "undone"}
"""Fields that stand in columns of their own."""
_KEY = re.compile(rf"[A-Za-z0-9._-]{{1,{LONGEST_KEY}}}")


@dataclass(frozen=True)
class _Kind:
    """called : what one is called. listed : where its number is found."""

    table: Table
    called: str
    listed: str


_KINDS: dict[type[Trial] | type[Fitting], _Kind] = {
    Trial: _Kind(TRIALS, "run", "the list of runs shows them"),
    Fitting: _Kind(FITTINGS, "entry", "`tipin fit VEHICLE` lists them"),
}


def kept_text(entry: Trial | Fitting) -> str:
    """An entry as it is kept."""
    return entry.model_dump_json(exclude=_KEPT_APART)


def next_number(connection: Connection, table: Table) -> int:
    """No server's own counting: that skips a number where a change was given up."""
    return (connection.execute(select(func.max(table.c.number))).scalar() or 0) + 1


def entries_in(
    connection: Connection, kind: type[SomeEntry], vehicle: str | None, with_undone: bool
) -> tuple[list[SomeEntry], list[SetAside]]:
    """Entries in the order in which they were recorded, of one vehicle or of all; and those that cannot be read."""
    table = _KINDS[kind].table
    wanted = select(table).order_by(table.c.number)
    if vehicle is not None:
        wanted = wanted.where(table.c.vehicle == vehicle)
    if not with_undone:
        wanted = wanted.where(table.c.undone.is_(False))
    entries, aside = [], []
    for row in connection.execute(wanted):
        read = read_entry(row, kind)
        if isinstance(read, SetAside):
            aside.append(read)
        else:
            entries.append(read)
    return entries, aside


def add_entry(connection: Connection, entry: SomeEntry, key: str | None = None) -> SomeEntry:
    """The entry with its number. key : by which it is known when it comes again."""
    table = _KINDS[type(entry)].table
    number, text = next_number(connection, table), kept_text(entry)
    connection.execute(
        table.insert().values(
            number=number, vehicle=entry.vehicle, undone=entry.undone, record=text,
            digest=digest_of(number, entry.vehicle, text), entry_key=key,
        )
    )  # fmt: skip
    return entry.model_copy(update={"number": number})


def entry_of_key(connection: Connection, kind: type[SomeEntry], key: str | None, refusal: Refusal) -> SomeEntry | None:
    """What was recorded with a key before; None where nothing was, or there is no key."""
    if key is None:
        return None
    table = _KINDS[kind].table
    row = connection.execute(select(table).where(table.c.entry_key == key)).first()
    read = read_entry(row, kind) if row else None
    if isinstance(read, SetAside):
        raise refusal(read.why, "an entry that can be read", at=f"{read.kind} {read.number}")
    return read


def check_key(key: str | None) -> None:
    """Raises BadInput for what is no key of an entry."""
    if key is not None and not _KEY.fullmatch(key):
        expected = f"1 to {LONGEST_KEY} letters, digits, dots, hyphens or underscores"
        raise BadInput.in_field("entry_key", "", "cannot be kept", expected)


def undo_entry(connection: Connection, kind: type[SomeEntry], number: int, refusal: Refusal) -> SomeEntry | SetAside:
    """Mark an entry as taken back, also one that cannot be read."""
    known = _KINDS[kind]
    table, at = known.table, f"{known.called} {number}"
    row = connection.execute(select(table).where(table.c.number == number)).first()
    if row is None:
        newest = connection.execute(select(func.max(table.c.number))).scalar()
        expected = f"a number from 1 to {newest}" if newest else "nothing: the book has none"
        raise refusal(f"there is no such {known.called}", expected, known.listed, at)
    if row.undone:
        raise refusal("was undone already", "one that counts", at=at)
    connection.execute(table.update().where(table.c.number == number).values(undone=True))
    return read_entry(row, kind).model_copy(update={"undone": True})
