"""A recording of the pull from a file: a table or JSON lines, in one set of units, with what each column was taken for.

At most 10 MB and 200,000 rows, 8 to 2,000 a second, at uneven times or with pauses between. A unit that nobody said is
told by the size of the figures; figures that no car has under the unit they are said to be in are refused, with the
unit that they look like.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path
from typing import Literal

import numpy as np

from configurator.arrays import Array, Mask
from configurator.errors import BadInput, Fault
from configurator.files.reading import Row, Table, read_text, table_of
from configurator.learning.logged.columns import LoggedColumn, shown_headings
from configurator.learning.logged.json_lines import table_of_json_lines
from configurator.learning.logged.readings import (
    LARGEST_LOG_BYTES,
    LEAST_ROWS,
    heading_row,
    logged_readings,
    time_from_start_s,
)
from configurator.learning.recording.recording_columns import AXES_READ, RECORDING_COLUMNS
from configurator.physics.atmosphere import GRAVITY_M_S2

RecordedOf = Literal["three axes", "forward", "car speed", "engine speed"]
SAMPLE_RANGE_S = (0.0005, 0.125)
"""Time between samples: slower than 8 a second sees no tip-in; position receivers are called 10 a second."""
LIKE_GRAVITY = (0.85, 1.15)
"""The acceleration of a car that mostly stands or cruises, over that of gravity, if gravity is in it."""
MOST_OF_A_CAR_M_S2 = 25.0
"""Nineteen in twenty readings of any car with carburettors lie below, gravity and rough roads included."""
MOST_READ_M_S2 = 60.0
MOST_PULL_IN_G = 0.7
"""Figures without gravity that nearly all lie below this are in g: a car that never passes 0.7 m/s2 has no tip-in."""
MOST_M_S, MOST_RPM = 120.0, 20_000.0
LEAST_SHARE_READ = 0.5
_M_S2 = {"ms2": 1.0, "g": GRAVITY_M_S2, "mg": 1e-3 * GRAVITY_M_S2}
_M_S = {"kmh": 1.0 / 3.6, "mph": 0.44704, "ms": 1.0, "kn": 1852.0 / 3600.0}
_SAID = {"ms2": "m/s2", "g": "g", "mg": "mg", "kmh": "km/h", "mph": "mph", "ms": "m/s", "kn": "knots", "rpm": "rev/min"}


@dataclass(frozen=True)
class Recording:
    """Readings in order of time, only rows with a reading.

    values : m/s2 of the axes, (n, 3); m/s2 forward, m/s or rev/min, (n, 1). has_gravity : whether the axes show the
    earth's. throttle : in any unit, nan where it was not read, (n,); None where nobody logged it. taken : what each
    column was taken for. notes : sentences.
    """

    file: str
    of: RecordedOf
    time_s: Array
    values: Array
    has_gravity: bool
    throttle: Array | None
    taken: tuple[str, ...]
    notes: tuple[str, ...]


def read_recording(path: Path, columns: Mapping[str, str] | None = None) -> Recording:
    """Read a recording; columns as {"x": "sensor 1", "speed_kmh": "v"}, where headings do not say it. Raises BadInput
    with row and column."""
    file, text = str(path), read_text(path, LARGEST_LOG_BYTES)
    table = table_of_json_lines(text, file) if text.lstrip().startswith("{") else table_of(text, file)
    named = columns or {}
    chosen, values, notes = logged_readings(_with_clock_in_seconds(table, named), file, RECORDING_COLUMNS, named)
    time_s = time_from_start_s(file, chosen["time"], values["time"], SAMPLE_RANGE_S)
    of, read = _read_from(file, chosen, named, table)
    seen = np.all([np.isfinite(values[slot]) for slot in read], axis=0)
    _enough(file, chosen[read[0]], seen)
    figures = np.column_stack([values[slot] for slot in read])[seen]
    own = [chosen[slot] for slot in read]
    if of in ("three axes", "forward"):
        figures, has_gravity, how = _accelerations(file, own, figures)
    else:
        (figures, how), has_gravity = _speeds(file, own[0], figures), False
    meant = np.abs(figures).max(axis=1) <= _MOST[of]
    seen[seen] = meant
    _enough(file, own[0], seen)
    if lost := int(np.sum(~seen)):
        notes.append(f"{lost} of {len(seen)} rows have no reading in {_headings(own)}, or one that no car has")
    throttle = chosen.get("throttle")
    taken = [f"time: {chosen['time'].heading}", f"{_CALLED[of]}: {_headings(own)}, {how}"]
    taken += [f"throttle: {throttle.heading}; only how it moves counts"] if throttle else []
    aside = [chosen[slot].heading for slot in chosen if slot not in ("time", "throttle", *read)]
    taken += [f"left aside: {', '.join(aside)}"] if aside else []
    moved = values["throttle"][seen] if throttle else None
    return Recording(file, of, time_s[seen], figures[meant], has_gravity, moved, tuple(taken), tuple(notes))


_MOST: Mapping[RecordedOf, float] = {
    "three axes": MOST_READ_M_S2, "forward": MOST_READ_M_S2, "car speed": MOST_M_S, "engine speed": MOST_RPM,
}  # fmt: skip
"""A single reading beyond is a glitch."""
_CALLED: Mapping[RecordedOf, str] = {
    "three axes": "acceleration in three axes", "forward": "acceleration forward", "car speed": "speed of the car",
    "engine speed": "speed of the engine",
}  # fmt: skip


def _headings(columns: list[LoggedColumn]) -> str:
    return ", ".join(column.heading for column in columns)


def _read_from(
    file: str, chosen: Mapping[str, LoggedColumn], named: Mapping[str, str], table: Table
) -> tuple[RecordedOf, tuple[str, ...]]:
    """What the pull is read from, and the slots for it: what the user names goes before what is recognised."""
    kinds: tuple[tuple[RecordedOf, tuple[str, ...]], ...] = (
        ("three axes", AXES_READ), ("forward", ("forward",)), ("car speed", ("speed",)), ("engine speed", ("rpm",)),
    )  # fmt: skip
    there = [kind for kind in kinds if all(slot in chosen for slot in kind[1])]
    said = {key.partition("_")[0] for key in named}
    there.sort(key=lambda kind: said.isdisjoint(kind[1]))
    if there:
        return there[0]
    axes = [slot for slot in AXES_READ if slot in chosen]
    found = f"has acceleration in {' and '.join(axes)} only" if axes else "no column for a pull"
    expected = "acceleration in x, y and z or forward, speed of the car, or rpm"
    remedy = "or name its column, as x=HEADING, forward=HEADING, speed_kmh=HEADING or rpm=HEADING"
    among = shown_headings(table.columns)
    raise BadInput([Fault(file, f"row {heading_row(table)}", f"{found} among {among}", expected, remedy)])


def _enough(file: str, column: LoggedColumn, seen: Mask) -> None:
    count = int(seen.sum())
    if count < LEAST_ROWS or count < LEAST_SHARE_READ * len(seen):
        found = f"holds a reading in {count} of {len(seen)} rows"
        expected = f"at least {LEAST_ROWS}, and every other row"
        raise BadInput([Fault(file, f"column {column.heading}", found, expected)])


def _accelerations(file: str, columns: list[LoggedColumn], figures: Array) -> tuple[Array, bool, str]:
    """In m/s2, whether gravity is in them, and how they were taken. Raises BadInput for a unit that cannot be meant."""
    units = sorted({column.unit for column in columns if column.unit})
    if len(units) > 1:
        problem = f"are said to be in {' and '.join(_SAID[unit] for unit in units)}"
        raise BadInput([Fault(file, f"column {_headings(columns)}", problem, "one unit for all three axes")])
    said = next(iter(units), "")
    size = np.sqrt((figures**2).sum(axis=1))
    middle, most = float(np.median(size)), float(np.percentile(size, 95.0))
    low, high = LIKE_GRAVITY
    three = len(columns) == len(AXES_READ)
    with_gravity = [unit for unit in _M_S2 if three and low <= middle * _M_S2[unit] / GRAVITY_M_S2 <= high]
    likely = next(iter(with_gravity), "g" if most < MOST_PULL_IN_G else "ms2" if most < MOST_OF_A_CAR_M_S2 else "mg")
    place = f"column {_headings(columns)}"
    unit = said or likely
    if most * _M_S2[unit] > MOST_OF_A_CAR_M_S2 or (said and with_gravity and said not in with_gravity):
        found = f"its middle size is {middle:.3g} {_SAID[unit]}, which no car has"
        looks = f"; it looks like {_SAID[likely]}" if likely != unit else ""
        remedy = f"name the column as {columns[0].quantity}_{likely}={columns[0].heading}" if looks else ""
        expected = f"about {GRAVITY_M_S2 / _M_S2[unit]:.3g} at rest with gravity in it, and about 0 without"
        raise BadInput([Fault(file, place, found + looks, expected, remedy)])
    if not most > 0.0:
        raise BadInput([Fault(file, place, "is 0 throughout", "an acceleration that changes")])
    has_gravity = unit in with_gravity
    how = f"in {_SAID[unit]}" + ("" if said else " by their size, as no unit is said")
    how += (", gravity in it" if has_gravity else ", gravity not in it") if three else ""
    return figures * _M_S2[unit], has_gravity, how


def _speeds(file: str, column: LoggedColumn, figures: Array) -> tuple[Array, str]:
    """In m/s or rev/min, and how they were taken."""
    most = float(np.percentile(np.abs(figures), 95.0))
    place = f"column {column.heading}"
    if column.quantity == "rpm":
        if not 300.0 <= most <= MOST_RPM:
            raise BadInput([Fault(file, place, f"goes up to {most:.3g} rev/min", f"300 to {MOST_RPM:g} rev/min")])
        return figures, "in rev/min"
    unit = column.unit or "kmh"
    if most * _M_S[unit] > MOST_M_S or most <= 0.0:
        raise BadInput([Fault(file, place, f"goes up to {most:.3g} {_SAID[unit]}", "the speed of a car",
                              f"name the column as speed_kmh={column.heading}, or with ms, mph or kn")])  # fmt: skip
    said = "" if column.unit else ", as no unit is said: name the column with speed_mph, speed_ms or speed_kn if not"
    return figures * _M_S[unit], f"in {_SAID[unit]}{said}"


def _with_clock_in_seconds(table: Table, named: Mapping[str, str]) -> Table:
    """The same with times of day, or dates with them, as seconds; of a table whose time is a number, itself."""
    chosen, _ = RECORDING_COLUMNS.chosen("", 1, table.columns, named)
    column = chosen.get("time")
    first = next((row.cells[column.heading] for row in table.rows if column and column.heading in row.cells), "")
    if column is None or _clock_s(first) is None:
        return table
    heading = column.heading
    rows = [
        Row(row.number, row.cells | {heading: repr(seconds)})
        if (seconds := _clock_s(row.cells.get(heading, ""))) is not None
        else row
        for row in table.rows
    ]
    return Table(table.columns, tuple(rows), table.faults)


def _clock_s(text: str) -> float | None:
    """Seconds of a date with a time, or of a time of day; None for what is neither.

    >>> _clock_s("10:15:00.25"), _clock_s("12.5")
    (36900.25, None)
    """
    if ":" not in text:
        return None
    try:
        return datetime.fromisoformat(text).timestamp()
    except (ValueError, OverflowError, OSError):
        pass
    try:
        of_day = time.fromisoformat(text)
    except ValueError:
        return None
    return of_day.hour * 3600.0 + of_day.minute * 60.0 + of_day.second + of_day.microsecond * 1e-6
