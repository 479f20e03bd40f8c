"""How a figure in a file is declared: what it means, its unit and bounds, and what it rests on.

Reference pages and fault messages are made from these declarations, so a unit or a bound is written once.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints
from pydantic.config import JsonDict

from configurator.units.units import parse_diameter_mm, parse_length_mm

OWNERS_FIGURE = "owner's figure"
Basis = Literal["published", "common practice, no source", "assumed", "owner's figure"]

MOST_TEXTS_REMEMBERED = 16_384
CODE_PATTERN = r"^[a-z0-9][a-z0-9.-]*$"
_PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


class Record(BaseModel):
    """A frozen row of a catalogue or table of a vehicle file; a key it does not know is a fault.

    gone : keys of earlier versions, each with what took its place.
    """

    gone: ClassVar[Mapping[str, str]] = {}
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


def figure(
    description: str, unit: str = "", *, basis: str = OWNERS_FIGURE, source: str = "", default: Any = ..., **bounds: Any
) -> Any:
    """Declare a field with its unit, basis and source; bounds are gt, ge, lt, le, min_length and max_length."""
    extra: JsonDict = {"unit": unit, "basis": basis, "source": source}
    return Field(default, description=description, json_schema_extra=extra, **bounds)


def _plain_number(value: Any) -> Any:
    """Refuse what pydantic would take for a number although nobody would write it for one: yes, 1_000, a unit."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError("not a number")
    if isinstance(value, str) and not _PLAIN_NUMBER.fullmatch(value.strip()):
        raise ValueError("not a plain number")
    return value


def _yes_or_no(value: Any) -> bool:
    """Tables know no true and false of their own, so the words count; they count in TOML too, as numbers in text do.

    >>> _yes_or_no("No"), _yes_or_no("true"), _yes_or_no(True)
    (False, True, True)
    """
    if isinstance(value, bool):
        return value
    answers = {"yes": True, "true": True, "no": False, "false": False}
    if not isinstance(value, str) or value.strip().lower() not in answers:
        raise ValueError("neither yes nor no")
    return answers[value.strip().lower()]


def _words(value: Any) -> Any:
    """A cell lists its values with spaces between; TOML has lists of its own."""
    return tuple(value.split()) if isinstance(value, str) else value


def _pairs(value: Any) -> Any:
    """A cell lists pairs as `0:0 5:1.1`; TOML may write that too, or a list of lists."""
    if not isinstance(value, str):
        return value
    pairs = [tuple(pair.split(":")) for pair in value.split()]
    if any(len(pair) != 2 for pair in pairs):
        raise ValueError("not a list of angle:lift pairs such as 0:0 5:1.1 10:1.9")
    return tuple(pairs)


def _remembered(read: Callable[[Any], Any]) -> BeforeValidator:
    """Reads a cell's text once: a large table holds the same few texts again and again."""
    read_text = lru_cache(MOST_TEXTS_REMEMBERED)(read)

    def read_once(value: Any) -> Any:
        return read_text(value) if type(value) is str else read(value)

    return BeforeValidator(read_once)


_number = _remembered(_plain_number)
Number = Annotated[float, _number]
Whole = Annotated[int, _number]
Flag = Annotated[bool, _remembered(_yes_or_no)]
DiameterMm = Annotated[float, _remembered(parse_diameter_mm)]
LengthMm = Annotated[float, _remembered(parse_length_mm)]
Code = Annotated[str, StringConstraints(pattern=CODE_PATTERN, max_length=60)]
Codes = Annotated[tuple[Code, ...], BeforeValidator(_words)]
Numbers = Annotated[tuple[Number, ...], BeforeValidator(_words)]
Dates = Annotated[tuple[date, ...], BeforeValidator(_words)]
Pairs = Annotated[tuple[tuple[Number, Number], ...], BeforeValidator(_pairs)]


def increasing(values: Sequence[float]) -> bool:
    """Whether each value is greater than the one before.

    >>> increasing((0, 6, 12)), increasing((0, 6, 6))
    (True, False)
    """
    return all(low < high for low, high in pairwise(values))
