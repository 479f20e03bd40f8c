"""The last work on every car of the book at once, without reading all that it holds."""

from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from configurator.book.car_records import SetAside, Version
from configurator.book.entries import entries_in
from configurator.book.entry_reading import read_entry
from configurator.book.records import Trial
from configurator.book.schema import FITTINGS, TRIALS


@dataclass(frozen=True)
class LastWork:
    """Of one car. last : the last run that can be read; None where none."""

    version: Version
    last: Trial | None

    @property
    def runs(self) -> int:
        """How many it has, those too that cannot be read."""
        return self.version[0]


def version_in(connection: Connection, vehicle: str | None) -> Version:
    """Of what the book holds of one car, or of all."""
    found: list[int] = []
    for table in (TRIALS, FITTINGS):
        wanted = select(func.count(), func.max(table.c.number)).where(table.c.undone.is_(False))
        many, number = connection.execute(wanted if vehicle is None else wanted.where(table.c.vehicle == vehicle)).one()
        found += [int(many), int(number or 0)]
    return found[0], found[1], found[2], found[3]


def last_work_in(connection: Connection) -> dict[str, LastWork]:
    """By name of the car."""
    counted = []
    for table in (TRIALS, FITTINGS):
        wanted = select(table.c.vehicle, func.count(), func.max(table.c.number)).where(table.c.undone.is_(False))
        groups = connection.execute(wanted.group_by(table.c.vehicle))
        counted.append({vehicle: (int(many), int(number)) for vehicle, many, number in groups})
    runs, told = counted
    numbers = [number for _, number in runs.values()]
    rows = connection.execute(select(TRIALS).where(TRIALS.c.number.in_(numbers))).all()
    last = {row.vehicle: read_entry(row, Trial) for row in rows}
    return {
        name: LastWork(
            (*runs.get(name, (0, 0)), *told.get(name, (0, 0))), _last_read(connection, last.get(name)),
        )
        for name in {*runs, *told}
    }  # fmt: skip


def _last_read(connection: Connection, last: Trial | SetAside | None) -> Trial | None:
    """The last run; where that cannot be read, the last of the car that can."""
    if isinstance(last, SetAside):
        earlier, _ = entries_in(connection, Trial, last.vehicle, with_undone=False)
        return earlier[-1] if earlier else None
    return last
