"""What a pydantic declaration says, in words for a reader: kind of value, bounds, default."""

import types
import typing
from collections.abc import Iterator
from datetime import date, datetime
from typing import Any, Literal, Union, get_args, get_origin

import annotated_types
from pydantic import BaseModel, StringConstraints
from pydantic.fields import FieldInfo

from configurator.files.declared import Codes, DiameterMm, Flag, Number, Pairs, Ratio, WheelRadiusM

_READ_BY = {
    get_args(alias)[1].func: word
    for alias, word in (
        (DiameterMm, "diameter"), (Ratio, "ratio"), (WheelRadiusM, "number or tyre"),
        (Flag, "yes or no"), (Number, "number"),
        (Pairs, "list of pairs"), (Codes, "list"),
    )
}  # fmt: skip
_UNITS = ("mm", "in", "deg", "ms", "cc_s", "cc", "min", "percent")
_UNIT_WORDS = {"cc_s": "cc/s", "percent": "%"}


def _pieces(annotation: Any) -> Iterator[Any]:
    """The types and the metadata that an annotation is made of."""
    yield annotation
    for piece in get_args(annotation):
        if get_origin(annotation) is not Literal:
            yield from _pieces(piece)


def models_in(annotation: Any) -> list[type[BaseModel]]:
    """The models that an annotation holds."""
    return [piece for piece in _pieces(annotation) if isinstance(piece, type) and issubclass(piece, BaseModel)]


def kind(field: FieldInfo) -> str:
    """What to write: a number, a diameter, a code, one of a few words."""
    pieces = [*_pieces(field.annotation), *field.metadata]
    choices = [piece for piece in pieces if get_origin(piece) is Literal]
    read_by = [_READ_BY[func] for piece in pieces if (func := getattr(piece, "func", None)) in _READ_BY]
    is_list = any(get_origin(piece) is tuple for piece in pieces)
    if choices:
        words = " or ".join(f"`{word}`" for word in get_args(choices[0]))
        return f"list of {words}" if is_list else words
    if "list of pairs" in read_by or "list" in read_by:
        of_codes = any(isinstance(piece, StringConstraints) for piece in pieces)
        return "list of pairs" if "list of pairs" in read_by else f"list of {'codes' if of_codes else 'numbers'}"
    if any(get_origin(piece) is dict for piece in pieces):
        return "table"
    if read_by:
        return "whole number" if int in pieces else read_by[0]
    if models_in(field.annotation):
        return "code or table" if str in pieces else "table"
    return "code" if any(isinstance(piece, StringConstraints) and piece.pattern for piece in pieces) else "text"


def bounds(field: FieldInfo) -> str:
    """Bounds of a number; lengths of text and lists are left out."""
    words = ((annotated_types.Gt, "gt", "over"), (annotated_types.Ge, "ge", "from"),
             (annotated_types.Lt, "lt", "below"), (annotated_types.Le, "le", "to"))  # fmt: skip
    found = [
        f"{word} {plain(getattr(item, attribute))}"
        for declared, attribute, word in words
        for item in field.metadata
        if isinstance(item, declared)
    ]
    return " ".join(found)


def default(field: FieldInfo) -> str:
    """The value that stands where nothing is written, or that something must be."""
    if field.is_required():
        return "**required**"
    value = field.default
    if isinstance(value, BaseModel) or value in (None, (), "", {}):
        return ""
    if isinstance(value, tuple):
        return " ".join(plain(item) for item in value)
    return plain(value)


def said(field: FieldInfo, key: str) -> str:
    """Unit, basis or source as declared."""
    extra = field.json_schema_extra
    return str(extra.get(key, "")) if isinstance(extra, dict) else ""


def plain(value: Any) -> str:
    """A value as a person writes it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.10g}" if isinstance(value, int | float) else str(value)


def unit_in_name(name: str) -> str:
    """Unit that a key carries at its end; empty if it carries none.

    >>> unit_in_name("peak_cc_s"), unit_in_name("hole_ms"), unit_in_name("meets")
    ('cc/s', 'ms', '')
    """
    unit = next((unit for unit in _UNITS if name.endswith(f"_{unit}")), "")
    return _UNIT_WORDS.get(unit, unit)


def json_type(annotation: Any) -> str:
    """A type as a reader of JSON knows it, models as links to their heading."""
    names = {str: "text", float: "number", int: "whole number", bool: "true or false", type(None): "null",
             date: "day, year-month-day", datetime: "time, ISO 8601", Any: "any value"}  # fmt: skip
    if annotation in names:
        return names[annotation]
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return ", ".join(f'`"{word}"`' for word in inner)
    if origin is list:
        return f"list of {json_type(inner[0])}"
    if origin is dict:
        return f"object: name to {json_type(inner[1])}"
    if origin in (Union, types.UnionType):
        return " or ".join(json_type(piece) for piece in inner)
    if origin is typing.Annotated:
        return json_type(inner[0])
    return f"[{annotation.__name__}](#{annotation.__name__.lower()})"
