"""How a figure in a file is declared: what it means, its unit and bounds, and what it rests on.

Reference pages and fault messages are made from these declarations, so a unit or a bound is written once.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import date, datetime
from functools import lru_cache
from itertools import pairwise
from operator import ge, gt, le, lt
from typing import Annotated, Any, ClassVar, Literal, Self, get_args

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    TypeAdapter,
    ValidationError,
)
from pydantic.config import JsonDict
from pydantic.fields import FieldInfo

from configurator.errors import BadSize
from configurator.units.driveline import TYRES_ACCEPTED, overall_ratio, tyre_radius_m
from configurator.units.quantities import declared_unit, read_quantity, reference_of
from configurator.units.units import parse_diameter_mm

OWNERS_FIGURE = "owner's figure"
Basis = Literal["published", "common practice, no source", "assumed", "owner's figure"]

MOST_TEXTS_REMEMBERED = 16_384
CODE_PATTERN = r"^[a-z0-9][a-z0-9.-]*$"
BOUNDS: Mapping[str, Callable[[float, float], bool]] = {"gt": gt, "ge": ge, "lt": lt, "le": le}
_REFERENCE_WORDS = {"absolute": "absolute", "vacuum": "below the air"}
_ROUND_THOUSANDS = re.compile(r",[0-9]00(?![0-9])")
_ANY_TIME = TypeAdapter(datetime)
_PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


class AsTyped(float):
    """A figure in its declared unit, until it is checked, with the text it was written as."""

    text: str

    def __new__(cls, value: float, text: str) -> "AsTyped":
        figure = super().__new__(cls, value)
        figure.text = text
        return figure


class Record(BaseModel):
    """A frozen row of a catalogue or table of a vehicle file; a key it does not know is a fault.

    A figure may be written as text with a unit. That is read once a record was found at fault without, so that the many
    records of plain numbers pay nothing for it.

    gone : keys of earlier versions, each with what took its place.  in_other_units : further keys for a figure in
    another unit, each with the key and the unit.  as_vacuum : of a key for a pressure, absolute, the key for the same
    below the air.
    """

    gone: ClassVar[Mapping[str, str]] = {}
    in_other_units: ClassVar[Mapping[str, tuple[str, str]]] = {}
    as_vacuum: ClassVar[Mapping[str, str]] = {}
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)

    @classmethod
    def model_validate(cls, obj: Any, **how: Any) -> Self:
        """As pydantic has it, with units; raises its ValidationError."""
        try:
            return super().model_validate(obj, **how)
        except ValidationError:
            read = in_declared_units(cls, obj) if isinstance(obj, dict) else obj
            if read == obj:
                raise
        return super().model_validate(read, **how)


def figure(
    description: str, unit: str = "", *, basis: str = OWNERS_FIGURE, source: str = "", default: Any = ..., **bounds: Any
) -> Any:
    """Declare a field with its unit, basis and source; bounds are gt, ge, lt, le, min_length and max_length."""
    extra: JsonDict = {"unit": unit, "basis": basis, "source": source}
    return Field(default, description=description, json_schema_extra=extra, **bounds)


def unit_of(declared: FieldInfo) -> str:
    """The unit of a figure as declared; empty where it has none."""
    extra = declared.json_schema_extra
    return str(extra.get("unit", "")) if isinstance(extra, dict) else ""


def bounds_of(declared: FieldInfo) -> dict[str, float]:
    """The bounds of a figure, by gt, ge, lt and le."""
    return {key: getattr(bound, key) for bound in declared.metadata for key in BOUNDS if hasattr(bound, key)}


def allows(declared: FieldInfo, value: float) -> bool:
    """Whether a figure lies within its bounds.

    >>> allows(figure("mass", "kg", gt=50, lt=50_000), 3.2)
    False
    """
    return all(BOUNDS[key](value, bound) for key, bound in bounds_of(declared).items())


def in_declared_units(model: type[Record], given: Mapping[str, Any]) -> dict[str, Any]:
    """What was given, each text with a unit as a number in the unit of the key it belongs to, and under that key.

    Text that cannot be read stays, and a key that says the same as another; both are told where they are checked.
    """
    read: dict[str, Any] = {}
    for name, value in given.items():
        key, figure = name, value
        if name in model.in_other_units:
            key, unit = model.in_other_units[name]
            figure = value if isinstance(value, str) and not is_plain(value) else f"{value} {unit}"
        if value is None and key != name:
            continue
        with suppress(BadSize):
            key, figure = as_declared(model, key, figure)
        is_told_twice = key != name and given.get(key) is not None
        read[name if is_told_twice else key] = value if is_told_twice else _tables_declared(model, key, figure)
    return read


def _tables_declared(model: type[Record], key: str, value: Any) -> Any:
    """A table, or several, with their own figures in their units; anything else as it is."""
    declared = model.model_fields.get(key)
    inner = next(records_in(declared.annotation), None) if declared else None
    if inner is None:
        return value
    if isinstance(value, list):
        return [in_declared_units(inner, one) if isinstance(one, dict) else one for one in value]
    return in_declared_units(inner, value) if isinstance(value, dict) else value


def records_in(annotation: Any) -> Iterator[type[Record]]:
    """The records that an annotation is made of."""
    if isinstance(annotation, type) and issubclass(annotation, Record):
        yield annotation
    for inner in get_args(annotation):
        yield from records_in(inner)


def as_declared(model: type[Record], key: str, value: Any) -> tuple[str, Any]:
    """The key that a value belongs to, and the value in its unit; raises BadSize for text that is no such figure."""
    declared = model.model_fields.get(key)
    units = unit_of(declared).split(":") if declared else [""]
    if declared is None or not all(map(declared_unit, units)):
        return key, value
    if len(units) > 1 or isinstance(value, list | tuple):
        return key, _pairs_declared(value, units) if len(units) > 1 else [in_unit(one, units[0]) for one in value]
    if not isinstance(value, str) or is_plain(value):
        return key, value
    reading, twin = read_quantity(value, units[0]), model.as_vacuum.get(key, "")
    if twin and reading.reference == "vacuum":
        return as_declared(model, twin, value)
    if twin and not reading.reference and reading.unit is not declared_unit(units[0]):
        raise BadSize(value, "it may be absolute or below the air", "", f'write "{value} absolute" or "{value} vacuum"')
    if reading.reference and reading.reference != (reference_of(units[0]) or "vacuum"):
        raise BadSize(value, f"it is said to be {_REFERENCE_WORDS[reading.reference]}", "")
    possible = [figure for figure in reading.values if allows(declared, figure)] or reading.values[:1]
    if len(possible) > 1 and not _ROUND_THOUSANDS.search(value):
        raise BadSize(value, "the comma may part thousands or decimals", "", "write a decimal point, or none")
    return key, AsTyped(possible[0], value)


def _pairs_declared(value: Any, units: Sequence[str]) -> Any:
    """Pairs with each figure in its unit; as it stands what are no pairs, and what has no units in it."""
    pairs = [pair.split(":") for pair in value.split()] if isinstance(value, str) else value
    if not isinstance(pairs, list | tuple) or not all(isinstance(one, list | tuple) and len(one) == 2 for one in pairs):
        return value
    read = [[in_unit(one, unit) for one, unit in zip(pair, units, strict=True)] for pair in pairs]
    return value if read == [list(pair) for pair in pairs] else read


def in_unit(value: Any, unit: str) -> Any:
    """A text with a unit as a number in the declared one; as it stands all else, and text that cannot be read so.

    >>> in_unit("71 thou", "mm"), in_unit("71 thou", "deg"), in_unit(1.8, "mm")
    (1.8034, '71 thou', 1.8)
    """
    if isinstance(value, str) and not is_plain(value) and declared_unit(unit):
        with suppress(BadSize):
            return AsTyped(read_quantity(value, unit).values[0], value)
    return value


def is_plain(text: str) -> bool:
    """Whether a text is a number and nothing else."""
    return bool(_PLAIN_NUMBER.fullmatch(text.strip()))


def _plain_number(value: Any) -> Any:
    """Refuse what pydantic would take for a number although nobody would write it for one: yes, 1_000, a unit."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError("not a number")
    if isinstance(value, str) and not is_plain(value):
        raise ValueError("not a plain number")
    return value


def _ratio(value: Any) -> Any:
    """Gears in text multiplied."""
    return overall_ratio(value) if isinstance(value, str) and not is_plain(value) else _plain_number(value)


def _wheel_radius_m(value: Any) -> Any:
    """The tyre that a text names by its radius."""
    radius_m = tyre_radius_m(value) if isinstance(value, str) else None
    if radius_m is None and isinstance(value, str) and not is_plain(value):
        raise BadSize(value, "neither a length nor the size of a tyre", TYRES_ACCEPTED)
    return _plain_number(value) if radius_m is None else radius_m


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


def _no_count(value: Any) -> Any:
    """Refuse a number in place of a day or a time, which would be taken for one since 1970.

    >>> _no_count("2026-05-04")
    '2026-05-04'
    """
    if isinstance(value, bool | int | float) or (isinstance(value, str) and is_plain(value)):
        raise ValueError("a number, not a day: expected year, month and day such as 2026-05-04")
    return value


def _time(value: Any) -> Any:
    """A time from text; what is none is left to be told."""
    with suppress(ValidationError):
        return _ANY_TIME.validate_python(_no_count(value))
    return value


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
Ratio = Annotated[float, _remembered(_ratio)]
WheelRadiusM = Annotated[float, _remembered(_wheel_radius_m)]
Code = Annotated[str, StringConstraints(pattern=CODE_PATTERN, max_length=60)]
Codes = Annotated[tuple[Code, ...], BeforeValidator(_words)]
Numbers = Annotated[tuple[Number, ...], BeforeValidator(_words)]
Day = Annotated[date, BeforeValidator(_no_count)]
Time = Annotated[datetime, BeforeValidator(_time)]
Dates = Annotated[tuple[Day, ...], BeforeValidator(_words)]
Pairs = Annotated[tuple[tuple[Number, Number], ...], BeforeValidator(_pairs)]


def increasing(values: Sequence[float]) -> bool:
    """Whether each value is greater than the one before.

    >>> increasing((0, 6, 12)), increasing((0, 6, 6))
    (True, False)
    """
    return all(low < high for low, high in pairwise(values))
