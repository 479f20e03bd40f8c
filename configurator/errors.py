"""What can go wrong with input, as values first and text second.

    TipinError              the command line catches this and nothing else
    ├── BadInput            files or fields that cannot be used: every Fault found in them
    ├── BadSize             a size that cannot be read (also a ValueError, so that a pydantic validator may raise it)
    └── OutOfRange          an argument outside the range for which a formula holds

Anything else that reaches the user is a fault of the program.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

MOST_FAULTS_SHOWN = 20
Naming = Callable[[str, str], str]
"""How a front end writes a field and the word given for it, which may be empty."""


def plain_naming(field: str, word: str) -> str:
    """
    >>> plain_naming("trace_lag", ""), plain_naming("keep", "front.pump")
    ('trace lag', 'keep front.pump')
    """
    return f"{field.replace('_', ' ')} {word}".strip()


class TipinError(Exception):
    """Base of every error that input can cause; its text is ready to show to the user."""

    def told(self, naming: Naming) -> str:
        """The text, with the fields it speaks of named as a front end names them."""
        return str(self)


@dataclass(frozen=True)
class Fault:
    """One thing wrong: in one place of one file, or in one field of what was asked for.

    file : path as the user gave it.  place : table and key, or row and column; may be empty for the file as a whole.
    problem : what is wrong, with the value found.  expected, remedy : what would be right, and what to do.
    field : name of what was asked for (altitude_m, symptom), with no file; place is then the word given for it.
    line, written : number of its line in the file, and that line; 0 and empty where it lies in none.

    >>> print(Fault("nozzles.csv", "row 4, column price", "'ten' is not a number", "a number of at least 0"))
    nozzles.csv, row 4, column price: 'ten' is not a number; expected a number of at least 0
    >>> Fault("", "wobble", "is no symptom", field="symptom").told(lambda field, word: f"What is felt, {word}")
    'What is felt, wobble: is no symptom'
    """

    file: str
    place: str
    problem: str
    expected: str = ""
    remedy: str = ""
    field: str = ""
    line: int = 0
    written: str = ""

    def __str__(self) -> str:
        return self.told(plain_naming)

    def told(self, naming: Naming) -> str:
        """The fault on one line, its field named as a front end names it; below it the line of the file."""
        found = naming(self.field, self.place) if self.field else self.place
        line = f"line {self.line}" if self.line and not self.place.startswith("row ") else ""
        where = ", ".join(part for part in (self.file, line, found) if part)
        expected = f"expected {self.expected}" if self.expected else ""
        what = "; ".join(part for part in (self.problem, expected, self.remedy) if part)
        says = one_line(f"{where}: {what}" if where else what)
        return f"{says}\n    {one_line(self.written)}" if self.written else says


class BadInput(TipinError):
    """Input has faults: all of them are in `faults`, the first twenty in the text.

    >>> print(BadInput([Fault("van.toml", "engine.idle_rpm", "missing", remedy="add it")]))
    van.toml, engine.idle_rpm: missing; add it
    """

    def __init__(self, faults: Sequence[Fault]) -> None:
        if not faults:
            raise ValueError("BadInput needs at least one fault")
        self.faults = tuple(faults)
        super().__init__(self.faults)

    @classmethod
    def in_field(cls, field: str, word: str, problem: str, expected: str = "", remedy: str = "") -> "BadInput":
        """One field of what was asked for is wrong; word : what was given for it, empty where that does not help."""
        return cls([Fault("", word, problem, expected, remedy, field)])

    def __str__(self) -> str:
        return self.told(plain_naming)

    def told(self, naming: Naming) -> str:
        lines = [fault.told(naming) for fault in self.faults[:MOST_FAULTS_SHOWN]]
        hidden = len(self.faults) - len(lines)
        return "\n".join([*lines, f"and {hidden} more"] if hidden else lines)


class BadSize(TipinError, ValueError):
    """A diameter or length that cannot be read or cannot be meant.

    found : the text or number given.  problem : what is wrong with it.  accepted : what is accepted.
    remedy : what was probably meant; may be empty.

    >>> print(BadSize("31", "31 mm is no orifice", "0.1 to 10 mm", 'did you mean "31 thou"?'))
    size '31': 31 mm is no orifice; expected 0.1 to 10 mm; did you mean "31 thou"?
    """

    def __init__(self, found: str, problem: str, accepted: str, remedy: str = "") -> None:
        self.found = found
        self.problem = problem
        self.accepted = accepted
        self.remedy = remedy
        super().__init__(found, problem, accepted, remedy)

    def __str__(self) -> str:
        found = self.found if len(self.found) <= 40 else self.found[:37] + "..."
        parts = (f"size '{found}': {self.problem}", f"expected {self.accepted}", self.remedy)
        return one_line("; ".join(part for part in parts if part))


class OutOfRange(TipinError):
    """An argument lies outside the range for which a formula is valid.

    low, high : inclusive bounds; infinite where there is none.  unit : may be empty.

    >>> print(OutOfRange("altitude", 12000.0, -1000.0, 11000.0, "m"))
    altitude is 12000 m; expected -1000 to 11000 m
    """

    def __init__(self, argument: str, value: float, low: float, high: float, unit: str) -> None:
        self.argument = argument
        self.value = value
        self.low = low
        self.high = high
        self.unit = unit
        super().__init__(argument, value, low, high, unit)

    def __str__(self) -> str:
        if math.isinf(self.high):
            expected = f"at least {self.low:g}"
        elif math.isinf(self.low):
            expected = f"at most {self.high:g}"
        else:
            expected = f"{self.low:g} to {self.high:g}"
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.argument} is {self.value:g}{unit}; expected {expected}{unit}"


def one_line(text: str) -> str:
    r"""Make text from a file safe to print on one line of a terminal: control characters become escapes.

    >>> print(one_line("a\nb\x1b[31m"))
    a\nb\x1b[31m
    """
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)
