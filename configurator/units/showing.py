"""Figures as a workshop likes to read them: a finished text in the units chosen for what is shown.

One formatter, where a text leaves the program: what is worked out, kept in the book and written as JSON stays metric. A
size keeps its millimetres beside, since a nozzle is bought by them.
"""

import re
from collections.abc import Sequence
from contextvars import ContextVar
from typing import Any, Literal, get_args

from configurator.units.quantities import KNOWN_UNITS, Unit, declared_unit, reference_of

ShownUnits = Literal["metric", "inch"]
SHOWN_UNITS: tuple[ShownUnits, ...] = get_args(ShownUnits)
SHOWN: ContextVar[ShownUnits] = ContextVar("SHOWN", default="metric")
"""The choice of the workshop, as its book has it."""

_NUMBER = r"-?\d+(?:\.\d+)?"
_RANGE = rf"(?<![\w.,-])(?P<low>{_NUMBER} to )?(?P<number>{_NUMBER})\s+"
_BOTH = rf"{_RANGE}mm\s+\((?P<inch>{_NUMBER}\s+(?:thou|in))(?P<more>[^()]*)\)"
_ALONE = rf"(?<!thou \()(?<!in \()(?<!\d to ){_RANGE}(?P<unit>mm|m3/min|deg C|kPa|kg|m)(?![\w/(]| m2)"
_CELL = r"(?<![\w.])(\d\.\d\d) \((\d+\.\d)\)"
"""A size in a table, under a heading that names both units."""
_IN_INCHES = {"m3/min": "cfm", "deg C": "F", "kPa": "inHg", "kg": "lb", "m": "ft"}
_PLACES = {"thou": 1, "in": 3, "inHg": 1, "cfm": 0, "F": 0, "lb": 0, "ft": 0}
_MOST_IN_THOU_MM = 2.54
_MOST_IN_INCHES_M = 1.5
"""A wheel, and no height above the sea."""


def as_shown(text: str) -> str:
    """A text with its figures in the units that were chosen; doing it twice changes nothing.

    >>> chosen = SHOWN.set("inch")
    >>> as_shown("straight-0.80, 0.80 mm (31.5 thou); 38 mm left, 12 deg C, 98.1 kPa"), as_shown("0.7 to 0.8 mm")
    ('straight-0.80, 31.5 thou (0.80 mm); 1.496 in (38 mm) left, 54 F, 29.0 inHg', '27.6 to 31.5 thou (0.7 to 0.8 mm)')
    >>> SHOWN.reset(chosen)
    """
    if SHOWN.get() == "metric":
        return text
    if "mm (thou)" in text:
        text = re.sub(_CELL, r"\2 (\1)", text.replace("mm (thou)", "thou (mm)"))
    return re.sub(_ALONE, _in_inches, re.sub(_BOTH, r"\g<inch> (\g<low>\g<number> mm\g<more>)", text))


_BESIDE = {
    "cc": "cu in", "kg": "lb", "mm": "in", "m": "ft", "kPa": "inHg", "m3/min": "cfm", "C": "F", "kg m2": "lb ft2",
}  # fmt: skip


def in_both(value: float, unit: str) -> dict[str, str]:
    """A figure in its declared unit and, where the trade has one, in that of inches, by the unit's name; four figures.

    >>> in_both(3400, "kg"), in_both(54.18, "kPa vacuum")["inHg"], in_both(850, "rev/min")
    ({'kg': '3,400 kg', 'lb': '7,496 lb'}, '16 inHg vacuum', {'rev/min': '850 rev/min'})
    """
    own = declared_unit(unit)
    if own is None:
        return {unit: f"{value:g} {unit}"}
    beside = "thou" if own.name == "mm" and value < _MOST_IN_THOU_MM else _BESIDE.get(own.name, own.name)
    said = f" {reference_of(unit)}".rstrip()
    figures = {own.name: value, beside: _in_unit(value, own, KNOWN_UNITS[beside])}
    return {name: f"{float(f'{figure:.4g}'):,g} {name}{said}" for name, figure in figures.items()}


def shown_value(value: Any) -> Any:
    """What a template writes, the same; pieces of pages, and all that is no text, as they are."""
    return as_shown(value) if type(value) is str else value


def shown_alike(figures: Sequence[float], unit: str, metric: str = ".4g") -> tuple[list[str], str]:
    """Figures of one unit in the one that was chosen for all of them, and its name; metric : how they are written where
    nothing was chosen, or where the unit has no other.

    >>> chosen = SHOWN.set("inch")
    >>> shown_alike([38, 30, 60], "kPa absolute"), shown_alike([0.305], "m"), shown_alike([850], "rev/min")
    ((['11.2', '8.9', '17.7'], 'inHg absolute'), (['12.008'], 'in'), (['850'], 'rev/min'))
    >>> SHOWN.reset(chosen)
    """
    plain, said = unit.partition(" absolute")[0], " absolute" if unit.endswith(" absolute") else ""
    if SHOWN.get() == "metric" or plain not in (*_IN_INCHES, "mm"):
        return [f"{figure:{metric}}" for figure in figures], unit
    into = _shown_in(max(figures, key=abs), plain)
    return [_converted(figure, plain, into) for figure in figures], into + said


def _shown_in(number: float, unit: str) -> str:
    """The unit of inches that a figure is shown in."""
    if unit == "mm":
        return "thou" if abs(number) < _MOST_IN_THOU_MM else "in"
    return "in" if unit == "m" and 0 < abs(number) < _MOST_IN_INCHES_M else _IN_INCHES[unit]


def _in_inches(found: re.Match[str]) -> str:
    number, unit = float(found["number"]), found["unit"]
    into = _shown_in(number, unit)
    low = f"{_converted(float(found['low'].removesuffix(' to ')), unit, into)} to " if found["low"] else ""
    says = f"{low}{_converted(number, unit, into)} {into}"
    return f"{says} ({found['low'] or ''}{found['number']} mm)" if unit == "mm" else says


def _converted(number: float, unit: str, into: str) -> str:
    own, other = KNOWN_UNITS["C" if unit == "deg C" else unit], KNOWN_UNITS[into]
    return f"{_in_unit(number, own, other):.{_PLACES[into]}f}"


def _in_unit(number: float, own: Unit, other: Unit) -> float:
    return (own.zero + number * own.si - other.zero) / other.si
