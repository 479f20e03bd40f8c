"""A mixture trace from a file: time, throttle, mixture and, where there is one, speed, in one set of units.

A table as loggers and spreadsheets write it, at most 10 MB and 200,000 rows; a second row may hold the units. Rows may
be out of order. A reading that is empty, a word such as nan, or beyond what a sensor can say is a dropout. Figures that
no engine has under the unit they are said to be in are refused, with the unit that they look like.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from configurator.arrays import Array
from configurator.errors import BadInput, Fault
from configurator.files.reading import read_table
from configurator.learning.logged.columns import LoggedColumn
from configurator.learning.logged.readings import (
    LARGEST_LOG_BYTES,
    LEAST_ROWS,
    logged_readings,
    time_from_start_s,
)
from configurator.learning.trace.trace_columns import TRACE_COLUMNS

STEP_RANGE_S = (0.0005, 0.1)
"""Time between samples: slower than 10 a second sees no hole, faster than 2000 a second is no mixture sensor."""
PHI_RANGE = (0.05, 2.5)
"""Readings beyond this come of no sensor that works: air reads about 0.1, the richest that burns 2."""
USUAL_PHI = (0.5, 1.9)
SPEED_RANGE_RPM = (0.0, 20_000.0)
"""Beyond what any engine with carburettors turns."""
MOST_DROPOUT_SHARE = 0.5
_FULL_THROTTLE = {"percent": 100.0, "deg": 90.0, "share": 1.0, "volt": 5.0}
_UNIT_SAID = {"percent": "%", "deg": "degrees", "share": "a share of 0 to 1", "volt": "volts"}


@dataclass(frozen=True)
class Trace:
    """Readings in order of time, arrays of one length; nan where there is no reading.

    throttle : share of full opening, by the range of its unit; only how it moves counts. phi : equivalence ratio.
    speed_rpm : all nan without such a column. mixture_column : heading that phi came from. notes : sentences.
    """

    file: str
    time_s: Array
    throttle: Array
    phi: Array
    speed_rpm: Array
    mixture: LoggedColumn
    notes: tuple[str, ...]


def read_trace(path: Path, columns: Mapping[str, str] | None, stoichiometric_ratio: float) -> Trace:
    """Read a mixture trace; columns as {"lambda": "O2 reading", "time_ms": "clock"}, where headings do not say it.

    stoichiometric_ratio : air to fuel by mass, to read an air-fuel ratio. Raises BadInput with row and column.
    """
    file = str(path)
    table = read_table(path, LARGEST_LOG_BYTES)
    chosen, values, notes = logged_readings(table, file, TRACE_COLUMNS, columns or {})
    time_s = time_from_start_s(file, chosen["time"], values["time"], STEP_RANGE_S)
    throttle = _throttle(file, chosen["throttle"], values["throttle"])
    phi = _phi(file, chosen["phi"], values["phi"], stoichiometric_ratio)
    lost = int(np.sum(~np.isfinite(phi)))
    if lost:
        notes.append(f"{lost} of {len(phi)} mixture readings are missing or beyond what a sensor can say")
    speed = _speed(file, chosen.get("speed"), values.get("speed", np.full(len(time_s), np.nan)), notes)
    return Trace(file, time_s, throttle, phi, speed, chosen["phi"], tuple(notes))


def _throttle(file: str, column: LoggedColumn, values: Array) -> Array:
    """Throttle over its full opening; only the size of its moves hangs on the unit."""
    place = f"column {column.heading}"
    seen = values[np.isfinite(values)]
    if len(seen) < LEAST_ROWS:
        raise BadInput([Fault(file, place, f"holds {len(seen)} readings", f"at least {LEAST_ROWS}")])
    least, most = float(np.percentile(seen, 0.5)), float(np.percentile(seen, 99.5))
    guessed = "share" if most <= 1.2 else "volt" if most <= 5.2 and least > 0.2 else "percent"
    unit = column.unit or guessed
    full = _FULL_THROTTLE[unit]
    found = f"runs from {least:.3g} to {most:.3g}"
    if most > 1.2 * full or least < -0.2 * full:
        looks = f"; it looks like {_UNIT_SAID[guessed]}" if guessed != unit and least > -20.0 and most <= 120.0 else ""
        remedy = f"name the column as throttle_{guessed}={column.heading}" if looks else ""
        raise BadInput([Fault(file, place, found + looks, f"0 to {full:g} as {_UNIT_SAID[unit]}", remedy)])
    if unit in ("percent", "deg") and least >= 0.0 and 0.2 < most <= 1.2:
        remedy = f"name the column as throttle_share={column.heading}"
        looks = f"{found}; it looks like a share of 0 to 1"
        raise BadInput([Fault(file, place, looks, f"0 to {full:g} as {_UNIT_SAID[unit]}", remedy)])
    return np.asarray(values / full)


def _phi(file: str, column: LoggedColumn, values: Array, stoichiometric_ratio: float) -> Array:
    """Equivalence ratio of a mixture column, nan for a reading that no sensor gives."""
    place = f"column {column.heading}"
    seen = values[np.isfinite(values)]
    if len(seen) < LEAST_ROWS:
        raise BadInput([Fault(file, place, f"holds {len(seen)} readings", f"at least {LEAST_ROWS}")])
    middle = float(np.median(seen))
    low, high = USUAL_PHI
    if not low <= _as_phi(middle, column.quantity, stoichiometric_ratio) <= high:
        other = [q for q in ("lambda", "afr") if low <= _as_phi(middle, q, stoichiometric_ratio) <= high]
        looks = "lambda or phi" if other == ["lambda"] else "an air-fuel ratio" if other == ["afr"] else ""
        if looks:
            remedy = f"name the column as {other[0]}={column.heading}"
            found = f"its middle value is {middle:g}; it looks like {looks}"
        else:
            found, remedy = f"its middle value is {middle:g}, which is no mixture that burns", ""
            if 0.0 < middle < 5.0:
                remedy = "if it is the sensor's voltage, have the logger turn it into lambda"
        expected = {"phi": "about 1 as phi", "lambda": "about 1 as lambda"}.get(
            column.quantity, f"about {stoichiometric_ratio:g} as an air-fuel ratio"
        )
        raise BadInput([Fault(file, place, found, expected, remedy)])
    phi = _as_phi_array(values, column.quantity, stoichiometric_ratio)
    phi = np.where((phi >= PHI_RANGE[0]) & (phi <= PHI_RANGE[1]), phi, np.nan)
    if np.mean(np.isfinite(phi)) < MOST_DROPOUT_SHARE:
        found = f"{np.mean(~np.isfinite(phi)):.0%} of the rows have no reading that a sensor can give"
        raise BadInput([Fault(file, place, found, f"at most {MOST_DROPOUT_SHARE:.0%}")])
    return np.asarray(phi)


def _speed(file: str, column: LoggedColumn | None, values: Array, notes: list[str]) -> Array:
    """Speed [rev/min], nan where no engine turns so: a few of those are told, and more than half of them refused."""
    seen = np.isfinite(values)
    turns = seen & (values >= SPEED_RANGE_RPM[0]) & (values <= SPEED_RANGE_RPM[1])
    beyond = int(np.sum(seen & ~turns))
    if column is not None and beyond:
        found = f"{beyond} of {np.sum(seen)} speeds are beyond what an engine turns"
        if beyond > MOST_DROPOUT_SHARE * np.sum(seen):
            expected = f"{SPEED_RANGE_RPM[0]:g} to {SPEED_RANGE_RPM[1]:g} rev/min"
            raise BadInput([Fault(file, f"column {column.heading}", found, expected)])
        notes.append(found)
    return np.where(turns, values, np.nan)


def _as_phi_array(values: Array, quantity: str, stoichiometric_ratio: float) -> Array:
    if quantity == "phi":
        return values
    over = 1.0 if quantity == "lambda" else stoichiometric_ratio
    return np.divide(over, values, out=np.full_like(values, np.nan), where=np.isfinite(values) & (values > 0.0))


def _as_phi(value: float, quantity: str, stoichiometric_ratio: float) -> float:
    return float(_as_phi_array(np.array([value]), quantity, stoichiometric_ratio)[0])
