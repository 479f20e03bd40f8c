"""The last work on every car of the book at once, without reading all that it holds."""

from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from configurator.book.car_records import CarRecords
from configurator.book.entry_reading import read_entry
from configurator.book.records import Trial
from configurator.book.schema import FITTINGS, TRIALS

Version = tuple[int, int, int, int]
"""How many runs that count the book has of a car and the last one's number, and the same of what was told to be
fitted: another one after every change."""
NOTHING_BOOKED: Version = (0, 0, 0, 0)


@dataclass(frozen=True)
class LastWork:
    """Of one car. last : its last run; None where there is none, or it cannot be read."""

    version: Version
    runs: int
    last: Trial | None


def version_in(connection: Connection, vehicle: str) -> Version:
    """Of what the book holds of one car."""
    found: list[int] = []
    for table in (TRIALS, FITTINGS):
        wanted = select(func.count(), func.max(table.c.number)).where(table.c.vehicle == vehicle)
        many, number = connection.execute(wanted.where(table.c.undone.is_(False))).one()
        found += [int(many), int(number or 0)]
    return found[0], found[1], found[2], found[3]


def version_of_records(records: CarRecords) -> Version:
    """The version of a car's records, those undone left out."""
    runs, told = ([one.number or 0 for one in some if not one.undone] for some in (records.runs, records.fittings))
    return len(runs), max(runs, default=0), len(told), max(told, default=0)


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
    read = {row.vehicle: read_entry(row, Trial) for row in rows}
    last = {vehicle: run for vehicle, run in read.items() if isinstance(run, Trial)}
    return {
        name: LastWork((*runs.get(name, (0, 0)), *told.get(name, (0, 0))), runs.get(name, (0, 0))[0], last.get(name))
        for name in {*runs, *told}
    }  # fmt: skip
