"""The figures of a logged table: a second row may hold units, rows may be out of order, times may stand twice, a
reading may be missing. What is no number is a fault with its row and column."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from configurator.arrays import Array, Indices
from configurator.errors import BadInput, Fault
from configurator.files.reading import Row, Table
from configurator.learning.logged.columns import LoggedColumn, Vocabulary, words_of

LARGEST_LOG_BYTES = 10_000_000
MOST_ROWS = 200_000
LEAST_ROWS = 20
LONGEST_S = 3600.0
_NO_READING = {"nan", "n/a", "na", "-", "--", "---", "null", "none", "off", "inf", "err", "error"}
_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
_SAID = {"s": "seconds", "ms": "milliseconds", "us": "microseconds", "ns": "nanoseconds"}


def logged_readings(
    table: Table, file: str, vocabulary: Vocabulary, named: Mapping[str, str]
) -> tuple[dict[str, LoggedColumn], dict[str, Array], list[str]]:
    """Columns and their figures by slot, in order of time, one row a time, nan where there is no reading; and sentences
    on what was done. Raises BadInput with row and column."""
    chosen, faults = vocabulary.chosen(file, heading_row(table), table.columns, named)
    faults = [*table.faults, *faults]
    if faults:
        raise BadInput(faults)
    rows, chosen = _without_unit_row(table.rows, chosen, vocabulary)
    if not LEAST_ROWS <= len(rows) <= MOST_ROWS:
        raise BadInput([Fault(file, "", f"has {len(rows):,} rows of readings", f"{LEAST_ROWS} to {MOST_ROWS:,}")])
    values = {slot: _numbers(file, rows, column, faults) for slot, column in chosen.items()}
    if faults:
        raise BadInput(faults)
    timed = np.isfinite(values["time"])
    numbers = np.array([row.number for row in rows])[timed]
    values = {slot: column[timed] for slot, column in values.items()}
    if len(numbers) < LEAST_ROWS:
        raise BadInput([Fault(file, f"column {chosen['time'].heading}", f"{len(numbers)} times", f"{LEAST_ROWS}")])
    order = np.argsort(values["time"], kind="stable")
    notes = _order_notes(file, chosen["time"], values["time"], order, numbers)
    return chosen, _one_row_a_time(values), notes


def heading_row(table: Table) -> int:
    """Number of the row that holds the headings."""
    return max(1, table.rows[0].number - 1) if table.rows else 1


def _without_unit_row(
    rows: Sequence[Row], chosen: Mapping[str, LoggedColumn], vocabulary: Vocabulary
) -> tuple[Sequence[Row], dict[str, LoggedColumn]]:
    """Rows of readings, and the columns with what a row of units below the headings says."""
    columns = dict(chosen)
    if not rows:
        return rows, columns
    cells = rows[0].cells
    said = {
        slot: vocabulary.by_name(column.quantity).unit_among(words_of(cells.get(column.heading, "")))
        for slot, column in columns.items()
    }
    if not said["time"]:
        return rows, columns
    for slot, column in columns.items():
        columns[slot] = LoggedColumn(column.heading, column.quantity, column.unit or said[slot])
    return rows[1:], columns


def _numbers(file: str, rows: Sequence[Row], column: LoggedColumn, faults: list[Fault]) -> Array:
    """A column's figures, nan for a reading that is missing; text that is no number is a fault."""
    values = np.full(len(rows), np.nan)
    for index, row in enumerate(rows):
        cell = row.cells.get(column.heading, "")
        try:
            number = float(cell) if cell else math.nan
        except ValueError:
            number = math.nan
            if cell.lower() not in _NO_READING:
                remedy = "write decimals with a point" if "," in cell else ""
                faults.append(Fault(file, f"row {row.number}, column {column.heading}",
                                    f"'{cell[:40]}' is not a number", "a number, or nothing where there is no reading",
                                    remedy))  # fmt: skip
        values[index] = number if math.isfinite(number) else math.nan
    return values


def _order_notes(file: str, column: LoggedColumn, time: Array, order: Indices, numbers: Indices) -> list[str]:
    """Says that rows were sorted; raises BadInput where two runs follow one another in one file."""
    back = np.flatnonzero(np.diff(time) < 0.0)
    if not len(back):
        return []
    stretch = np.concatenate([[0], np.cumsum(np.diff(time) < 0.0)])[order]
    if np.count_nonzero(np.diff(stretch)) > 4 * len(back):
        place = f"row {numbers[back[0] + 1]}, column {column.heading}"
        raise BadInput([Fault(file, place, "time starts again", "one run in a file", "cut the file there")])
    return ["rows were out of order and were sorted by their time"]


def _one_row_a_time(values: dict[str, Array]) -> dict[str, Array]:
    """Rows in order of time, those of one time put together: the mean of their readings."""
    time, at = np.unique(values["time"], return_inverse=True)
    merged = {"time": time}
    for slot, column in values.items():
        if slot != "time":
            seen = np.isfinite(column)
            count = np.bincount(at, seen, len(time))
            total = np.bincount(at, np.where(seen, column, 0.0), len(time))
            merged[slot] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return merged


def time_from_start_s(file: str, column: LoggedColumn, time: Array, step_range_s: tuple[float, float]) -> Array:
    """Time from the first row [s]; a unit that nobody said is told by the time between samples."""
    step = float(np.median(np.diff(time))) if len(time) > 1 else 0.0
    low, high = step_range_s
    fitting = [unit for unit, factor in _SECONDS.items() if low <= step * factor <= high]
    unit = column.unit or next(iter(fitting), "")
    place = f"column {column.heading}"
    if unit in fitting:
        time_s = (time - time[0]) * _SECONDS[unit]
        if time_s[-1] > LONGEST_S:
            found = f"runs over {time_s[-1]:.3g} s, from {time[0]:g} to {time[-1]:g} {unit}"
            remedy = "cut out the run, and look for a row whose time is far from the others"
            raise BadInput([Fault(file, place, found, f"at most {LONGEST_S:g} s", remedy)])
        return np.asarray(time_s)
    expected = f"samples {low * 1e3:g} to {high * 1e3:g} ms apart"
    if not unit:
        raise BadInput([Fault(file, place, f"samples are {step:g} apart, in no unit of time that fits", expected)])
    found = f"samples are {step:g} {unit} apart"
    looks = f"it looks like {_SAID[fitting[0]]}" if fitting else "the logger was too slow or too fast for a tip-in"
    remedy = f"name the column as time_{fitting[0]}={column.heading}" if fitting else ""
    raise BadInput([Fault(file, place, f"{found}; {looks}", expected, remedy)])
