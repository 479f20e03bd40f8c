"""What the columns of a logged table mean, from their headings or from the user, and their units.

A heading is taken apart into words: `time_ms`, `t [s]`, `TPS deg`, `Throttle (%)`, `AFR`. A user names a column with
the quantity, and its unit where the heading does not say it: {"lambda": "O2 reading", "time_ms": "clock"}.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from configurator.errors import Fault
from configurator.files.reading import did_you_mean

HeadingWords = Sequence[str]
_SPACES = re.compile(r"[\s_\-.,:;()\[\]{}]+")
MOST_HEADINGS_SHOWN = 12


@dataclass(frozen=True)
class LoggedColumn:
    """A column by its heading, the quantity it holds and its unit; "" where nobody said it."""

    heading: str
    quantity: str
    unit: str


@dataclass(frozen=True)
class LoggedQuantity:
    """One kind of reading.

    is_named : whether the words of a heading name it. units : by the words that say them. example : headings that are
    recognised. slot : what it is read for, where several quantities say the same; else its own name.
    """

    name: str
    is_named: Callable[[HeadingWords], bool]
    units: Mapping[str, str]
    example: str
    slot: str = ""

    @property
    def read_for(self) -> str:
        return self.slot or self.name

    def unit_among(self, words: Iterable[str]) -> str:
        """Its unit among words, or nothing."""
        return next((self.units[word] for word in words if word in self.units), "")

    @property
    def unit_names(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(self.units.values()))


def one_of(*names: str) -> Callable[[HeadingWords], bool]:
    """Whether one of these is among the words of a heading."""
    return lambda words: not set(names).isdisjoint(words)


SECONDS = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
    "ms": "ms", "msec": "ms", "millisecond": "ms", "milliseconds": "ms",
    "us": "us", "µs": "us", "μs": "us", "microseconds": "us",
    "ns": "ns", "nanoseconds": "ns",
}  # fmt: skip
LOGGED_TIME = LoggedQuantity("time", one_of("time", "t", "timestamp", "elapsed"), SECONDS, "time_ms or t [s]")
LOGGED_THROTTLE = LoggedQuantity(
    "throttle", one_of("throttle", "tps", "tp"),
    {"%": "percent", "pct": "percent", "percent": "percent", "deg": "deg", "°": "deg", "degree": "deg",
     "degrees": "deg", "angle": "deg", "share": "share", "fraction": "share", "v": "volt", "volt": "volt",
     "volts": "volt"},
    "throttle % or TPS deg",
)  # fmt: skip


@dataclass(frozen=True)
class Vocabulary:
    """The quantities of one kind of table, the best of a slot first.

    of : what the table is called. not_readings : words of headings that are none. needed : slots without which nothing
    can be told, and what each is called where that is not its own name. the_first : whether the first of several
    columns that are alike is read, in place of asking.
    """

    of: str
    quantities: tuple[LoggedQuantity, ...]
    not_readings: frozenset[str]
    needed: Mapping[str, str]
    the_first: bool = False

    def by_name(self, name: str) -> LoggedQuantity:
        return next(quantity for quantity in self.quantities if quantity.name == name)

    @property
    def slots(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(quantity.read_for for quantity in self.quantities))

    def said(self, slot: str) -> str:
        return self.needed.get(slot, slot)

    def recognised(self, heading: str) -> LoggedColumn | None:
        """What a heading says by itself; None where it names no quantity, or one that is no reading."""
        words = words_of(heading)
        if not self.not_readings.isdisjoint(words):
            return None
        for quantity in self.quantities:
            if quantity.is_named(words):
                return LoggedColumn(heading, quantity.name, quantity.unit_among(words))
        return None

    def chosen(
        self, file: str, row: int, headings: tuple[str, ...], named: Mapping[str, str]
    ) -> tuple[dict[str, LoggedColumn], list[Fault]]:
        """Columns to read by slot, and what is wrong with heading or choice. row : of the headings. What the user
        names goes before what is recognised."""
        chosen, faults = self._named(file, headings, named)
        found = [column for column in map(self.recognised, headings) if column is not None]
        for slot in self.slots:
            if slot in chosen:
                continue
            kinds = [quantity for quantity in self.quantities if quantity.read_for == slot]
            by_kind = ([one for one in found if one.quantity == kind.name] for kind in kinds)
            likely = next(filter(None, by_kind), [])
            at_fault = any(fault.place.startswith(f"column for {slot}") for fault in faults)
            if len(likely) == 1 or (likely and self.the_first):
                chosen[slot] = likely[0]
            elif likely and slot in self.needed:
                names = ", ".join(column.heading for column in likely)
                faults.append(Fault(file, f"row {row}", f"several columns may be {self.said(slot)}: {names}", "one",
                                    f"name the one to read, as {likely[0].quantity}={likely[0].heading}"))  # fmt: skip
            elif slot in self.needed and not at_fault:
                found_none = f"no column for {self.said(slot)} among {shown_headings(headings)}"
                expected = f"a heading such as {kinds[0].example}"
                faults.append(Fault(file, f"row {row}", found_none, expected, f"or name its column, as {slot}=HEADING"))
        return chosen, faults

    def _named(
        self, file: str, headings: tuple[str, ...], named: Mapping[str, str]
    ) -> tuple[dict[str, LoggedColumn], list[Fault]]:
        """Columns that the user names, by slot, and what is wrong with their names."""
        chosen: dict[str, LoggedColumn] = {}
        faults: list[Fault] = []
        for key, heading in named.items():
            column, fault = self._one_named(file, key, heading, headings)
            if fault is not None:
                faults.append(fault)
            elif column is not None:
                slot = self.by_name(column.quantity).read_for
                if slot in chosen:
                    problem = f"{chosen[slot].heading} is named for that already"
                    faults.append(Fault(file, f"column {heading}", problem, f"one column for {self.said(slot)}"))
                chosen[slot] = column
        return chosen, faults

    def _one_named(
        self, file: str, key: str, heading: str, headings: tuple[str, ...]
    ) -> tuple[LoggedColumn | None, Fault | None]:
        """The column that a user names, or what is wrong with it."""
        word, _, unit = key.strip().lower().partition("_")
        quantity = next((one for one in self.quantities if one.name == word), None)
        if quantity is None:
            names = [one.name for one in self.quantities]
            known = [*names, *(f"{one.name}_{unit}" for one in self.quantities for unit in one.unit_names)]
            problem, remedy = f"{key} is no quantity of {self.of}", did_you_mean(key, known)
            return None, Fault(file, f"column {key}={heading}", problem, ", ".join(names), remedy)
        place = f"column for {quantity.read_for}, {key}={heading}"
        if unit and unit not in quantity.unit_names:
            expected = " or ".join((word, *(f"{word}_{known}" for known in quantity.unit_names)))
            return None, Fault(file, place, f"{unit} is no unit of {word} here", expected)
        if heading not in headings:
            matching = [name for name in headings if name.lower() == heading.strip().lower()]
            if len(matching) != 1:
                remedy = (
                    did_you_mean(heading, headings) or f"the columns are {', '.join(headings[:MOST_HEADINGS_SHOWN])}"
                )
                return None, Fault(file, place, f"there is no column {heading}", "one of the file's headings", remedy)
            heading = matching[0]
        return LoggedColumn(heading, word, unit or quantity.unit_among(words_of(heading))), None


def words_of(heading: str) -> list[str]:
    """The words of a heading in small letters, air-fuel ratio as one.

    >>> words_of("Time_ms"), words_of("t [s]"), words_of("Air-Fuel Ratio"), words_of("TPS%")
    (['time', 'ms'], ['t', 's'], ['afr'], ['tps', '%'])
    """
    text = heading.lower().replace("%", " % ").replace("°", " ° ")
    text = re.sub(r"air[\s_/-]*fuel([\s_-]*ratio)?", " afr ", text)
    return [word for word in _SPACES.split(text) if word]


def shown_headings(headings: Sequence[str]) -> str:
    """The first of them, in a message."""
    return ", ".join(headings[:MOST_HEADINGS_SHOWN]) + (" ..." if len(headings) > MOST_HEADINGS_SHOWN else "")
