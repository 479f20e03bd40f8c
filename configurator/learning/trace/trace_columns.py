"""What the columns of a mixture trace mean, from their headings or from the user, and their units.

A quantity is time, throttle, one of phi, lambda and afr, or speed. A heading is taken apart into words: `time_ms`,
`t [s]`, `TPS deg`, `Throttle (%)`, `AFR`. A user names a column with the quantity, and its unit where the heading does
not say it: {"lambda": "O2 reading", "time_ms": "clock"}.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from configurator.errors import Fault
from configurator.files.reading import did_you_mean

MIXTURES = ("phi", "lambda", "afr")
UNITS: dict[str, tuple[str, ...]] = {
    "time": ("s", "ms", "us"), "throttle": ("percent", "deg", "share", "volt"), "phi": (), "lambda": (), "afr": (),
    "speed": ("rpm",),
}  # fmt: skip
EXAMPLES = {
    "time": "time_ms or t [s]",
    "throttle": "throttle % or TPS deg",
    "phi": "phi, lambda or AFR",
    "speed": "rpm",
}
NEEDED_QUANTITIES = ("time", "throttle", "phi")

_NAMES = {
    "time": {"time", "t", "timestamp", "elapsed"},
    "throttle": {"throttle", "tps", "tp"},
    "phi": {"phi", "φ", "ϕ", "equivalence"},
    "lambda": {"lambda", "λ", "lam"},
    "afr": {"afr", "a/f"},
    "speed": {"rpm", "rev/min", "1/min", "speed"},
}
_UNIT_WORDS = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
    "ms": "ms", "msec": "ms", "millisecond": "ms", "milliseconds": "ms",
    "us": "us", "µs": "us", "μs": "us", "microseconds": "us",
    "%": "percent", "pct": "percent", "percent": "percent",
    "deg": "deg", "°": "deg", "degree": "deg", "degrees": "deg", "angle": "deg",
    "share": "share", "fraction": "share", "v": "volt", "volt": "volt", "volts": "volt",
    "rpm": "rpm", "rev/min": "rpm", "1/min": "rpm",
}  # fmt: skip
_NOT_A_READING = {"target", "desired", "setpoint", "command", "commanded", "rate", "delta", "error", "dot", "road"}
_SPACES = re.compile(r"[\s_\-.,:;()\[\]{}]+")


@dataclass(frozen=True)
class TraceColumn:
    """A column by its heading, the quantity it holds and its unit; "" where nobody said it."""

    heading: str
    quantity: str
    unit: str


def words_of(heading: str) -> list[str]:
    """The words of a heading in small letters, air-fuel ratio as one.

    >>> words_of("Time_ms"), words_of("t [s]"), words_of("Air-Fuel Ratio"), words_of("TPS%")
    (['time', 'ms'], ['t', 's'], ['afr'], ['tps', '%'])
    """
    text = heading.lower().replace("%", " % ").replace("°", " ° ")
    text = re.sub(r"air[\s_/-]*fuel([\s_-]*ratio)?", " afr ", text)
    return [word for word in _SPACES.split(text) if word]


def unit_in(words: Iterable[str], quantity: str) -> str:
    """The unit of a quantity among words, or nothing."""
    found = (_UNIT_WORDS.get(word, "") for word in words)
    return next((unit for unit in found if unit in UNITS[quantity]), "")


def recognised(heading: str) -> TraceColumn | None:
    """What a heading says by itself; None where it names no quantity, or one that is no reading, such as a target.

    >>> recognised("throttle %"), recognised("AFR target")
    (TraceColumn(heading='throttle %', quantity='throttle', unit='percent'), None)
    """
    words = words_of(heading)
    if _NOT_A_READING & set(words):
        return None
    for quantity, names in _NAMES.items():
        if names & set(words):
            return TraceColumn(heading, quantity, unit_in(words, quantity))
    return None


def chosen_columns(
    file: str, row: int, headings: tuple[str, ...], named: Mapping[str, str]
) -> tuple[dict[str, TraceColumn], list[Fault]]:
    """Columns to read by quantity ("phi" for any mixture), and what is wrong with heading or choice.

    row : of the headings. What the user names goes before what is recognised; of several mixtures phi goes before
    lambda, and lambda before afr.
    """
    chosen, faults = _columns_named(file, headings, named)
    found = [column for column in map(recognised, headings) if column is not None]
    for quantity in (*NEEDED_QUANTITIES, "speed"):
        if quantity in chosen:
            continue
        by_kind = ([one for one in found if one.quantity == kind] for kind in _kinds(quantity))
        likely = next(filter(None, by_kind), [])
        at_fault = any(fault.place.startswith(f"column for {quantity}") for fault in faults)
        if len(likely) == 1:
            chosen[quantity] = likely[0]
        elif likely and quantity != "speed":
            names = ", ".join(column.heading for column in likely)
            faults.append(Fault(file, f"row {row}", f"several columns may be {_said(quantity)}: {names}", "one",
                                f"name the one to read, as {likely[0].quantity}={likely[0].heading}"))  # fmt: skip
        elif quantity in NEEDED_QUANTITIES and not at_fault:
            faults.append(_none_found(file, row, headings, quantity))
    return chosen, faults


def _columns_named(
    file: str, headings: tuple[str, ...], named: Mapping[str, str]
) -> tuple[dict[str, TraceColumn], list[Fault]]:
    """Columns that the user names, by quantity, and what is wrong with their names."""
    chosen: dict[str, TraceColumn] = {}
    faults: list[Fault] = []
    for key, heading in named.items():
        column, fault = _named(file, key, heading, headings)
        if fault is not None:
            faults.append(fault)
        elif column is not None:
            quantity = "phi" if column.quantity in MIXTURES else column.quantity
            if quantity in chosen:
                faults.append(Fault(file, f"column {heading}", f"{chosen[quantity].heading} is named for that already",
                                    f"one column for {_said(quantity)}"))  # fmt: skip
            chosen[quantity] = column
    return chosen, faults


def _kinds(quantity: str) -> Iterable[str]:
    """What a quantity may be read from, the best first."""
    return MIXTURES if quantity == "phi" else (quantity,)


def _none_found(file: str, row: int, headings: tuple[str, ...], quantity: str) -> Fault:
    shown = ", ".join(headings[:12]) + (" ..." if len(headings) > 12 else "")
    found_none, remedy = f"no column for {_said(quantity)} among {shown}", f"or name its column, as {quantity}=HEADING"
    return Fault(file, f"row {row}", found_none, f"a heading such as {EXAMPLES[quantity]}", remedy)


def _said(quantity: str) -> str:
    return "the mixture" if quantity == "phi" else quantity


def _named(file: str, key: str, heading: str, headings: tuple[str, ...]) -> tuple[TraceColumn | None, Fault | None]:
    """The column that a user names, or what is wrong with it."""
    quantity, _, unit = key.strip().lower().partition("_")
    if quantity not in UNITS:
        known = [*UNITS, *(f"{name}_{unit}" for name, units in UNITS.items() for unit in units)]
        remedy = did_you_mean(key, known)
        return None, Fault(
            file, f"column {key}={heading}", f"{key} is no quantity of a trace", ", ".join(UNITS), remedy
        )
    place = f"column for {'phi' if quantity in MIXTURES else quantity}, {key}={heading}"
    if unit and unit not in UNITS[quantity]:
        expected = " or ".join((quantity, *(f"{quantity}_{known}" for known in UNITS[quantity])))
        return None, Fault(file, place, f"{unit} is no unit of {quantity} here", expected)
    if heading not in headings:
        matching = [name for name in headings if name.lower() == heading.strip().lower()]
        if len(matching) != 1:
            remedy = did_you_mean(heading, headings) or f"the columns are {', '.join(headings[:12])}"
            return None, Fault(file, place, f"there is no column {heading}", "one of the file's headings", remedy)
        heading = matching[0]
    return TraceColumn(heading, quantity, unit or unit_in(words_of(heading), quantity)), None
