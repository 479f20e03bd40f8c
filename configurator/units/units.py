"""Sizes as people write them, turned into millimetres once at the edge, and back for reading.

A person may write `0.8 mm`, `0,8 mm`, `0.031 in`, `0.031"`, `31 thou` or, for a diameter, the number drill `#68`.
A number without a unit is in millimetres.
"""

import math
import re

from configurator.errors import BadSize
from configurator.units.drills import INCH_MM, NUMBER_DRILLS_INCH, number_drill
from configurator.units.quantities import KNOWN_UNITS, THOU_MM, Unit, WithUnit, read_quantity

DIAMETER_RANGE_MM = (0.1, 10.0)
"""Diameters outside this are no orifice and no drill for one: most likely the unit is missing or wrong."""
LENGTH_RANGE_MM = (0.0, 10_000.0)
DIAMETERS_ACCEPTED = '"0.80 mm", "0.031 in", "31 thou" or "#68" (number drills #1 to #80)'
LENGTHS_ACCEPTED = '"10 mm", "0.4 in" or "400 thou"'

SAME_SIZE_MM = 0.0051
"""Diameters closer than this are one size to a person who types millimetres."""

_NUMBER_DRILL = re.compile(r"#\s*([0-9]{1,9})")
_PROBABLE_ORIFICE_MM = (0.3, 3.0)


def parse_diameter_mm(size: str | float) -> float:
    """Read the diameter of an orifice or a drill, in millimetres to a millionth.

    size : text as a person types it, or a number. One without a unit is in millimetres.
    Raises BadSize saying what is accepted, and which unit was probably meant.

    >>> parse_diameter_mm("31 thou"), parse_diameter_mm("#68"), parse_diameter_mm("0,8 mm"), parse_diameter_mm(0.8)
    (0.7874, 0.7874, 0.8, 0.8)
    """
    if isinstance(size, str) and size.strip().startswith("#"):
        return _number_drill_mm(size)
    low, high = DIAMETER_RANGE_MM
    return _within(size, low, high, f"is no orifice, which measures {low:g} to {high:g} mm", DIAMETERS_ACCEPTED)


def parse_length_mm(size: str | float) -> float:
    """Read a length or clearance, in millimetres to a millionth; zero is a length.

    size : text as a person types it, or a number. One without a unit is in millimetres.
    Raises BadSize saying what is accepted.

    >>> parse_length_mm("15 thou"), parse_length_mm("0.5 in"), parse_length_mm(0)
    (0.381, 12.7, 0.0)
    """
    low, high = LENGTH_RANGE_MM
    return _within(size, low, high, f"is outside {low:g} to {high:g} mm", LENGTHS_ACCEPTED)


def show_diameter(diameter_mm: float) -> str:
    """A diameter to read: millimetres with thousandths of an inch beside.

    >>> show_diameter(0.8)
    '0.80 mm (31.5 thou)'
    """
    return f"{diameter_mm:.2f} mm ({diameter_mm / THOU_MM:.1f} thou)"


def closeness_mm(typed: str) -> float:
    """How near a size counts as the one typed [mm]: half a hundredth of a millimetre, half a thou with inches.

    >>> closeness_mm("0.80 mm"), round(closeness_mm("31 thou"), 4), round(closeness_mm("#68"), 4)
    (0.0051, 0.0128, 0.0128)
    """
    in_inches = any(mark in typed for mark in ("thou", "in", '"', "#"))
    return 0.5 * THOU_MM + 1e-4 if in_inches else SAME_SIZE_MM


def show_size(diameter_mm: float) -> str:
    """A diameter in every unit a workshop reads: mm, thou, inch, and a number drill within half a thou of it.

    >>> show_size(0.78), show_size(1.24)
    ('0.78 mm (30.7 thou, 0.0307 in, about #68)', '1.24 mm (48.8 thou, 0.0488 in)')
    """
    drills = [number_drill(number) for number in range(1, len(NUMBER_DRILLS_INCH) + 1)]
    nearest = min(drills, key=lambda drill: abs(drill.diameter_mm - diameter_mm))
    about = f", about {nearest.name}" if abs(nearest.diameter_mm - diameter_mm) <= 0.5 * THOU_MM else ""
    return f"{show_diameter(diameter_mm).rstrip(')')}, {diameter_mm / INCH_MM:.4f} in{about})"


def _number_drill_mm(size: str) -> float:
    match = _NUMBER_DRILL.fullmatch(size.strip())
    if not match:
        raise BadSize(size, "a number drill is # and a whole number", DIAMETERS_ACCEPTED)
    return number_drill(int(match[1])).diameter_mm


def _within(size: str | float, low: float, high: float, problem: str, accepted: str) -> float:
    """The length in millimetres; BadSize if it cannot be read or lies outside what it can be."""
    try:
        reading = _reading(size)
    except BadSize as error:
        raise BadSize(error.found, error.problem, accepted, error.remedy) from None
    possible = [length for length in (round(value, 6) for value in reading.values) if low <= length <= high]
    if len(possible) > 1:
        raise BadSize(str(size), "the comma may part thousands or decimals", accepted, "write a decimal point, or none")
    if not possible:
        own = reading.values[0] * KNOWN_UNITS["mm"].si / reading.unit.si
        remedy = _probably_meant(own, reading.unit) if accepted == DIAMETERS_ACCEPTED else ""
        raise BadSize(str(size), f"{own:g} {reading.unit.name} {problem}", accepted, remedy)
    return possible[0]


def _reading(size: str | float) -> WithUnit:
    """A size as text or as a number of millimetres: finite, and at least zero."""
    if isinstance(size, bool) or not isinstance(size, str | int | float):
        raise BadSize(str(size), "neither a number nor text", "")
    try:
        reading = read_quantity(size, "mm") if isinstance(size, str) else WithUnit((float(size),), KNOWN_UNITS["mm"])
    except OverflowError:
        raise BadSize("whole number", "it has hundreds of digits", "") from None
    if not all(map(math.isfinite, reading.values)):
        raise BadSize(str(size), "not a finite number", "")
    if min(reading.values) < 0:
        raise BadSize(str(size), "a size cannot be negative", "")
    return reading


STAMPED_FROM_MM = 0.35
"""Smallest orifice that is stamped in hundredths of a millimetre (common practice, no source)."""


def _probably_meant(value: float, unit: Unit) -> str:
    """The same figures in other units, where they make an orifice of a size in use."""
    low, high = _PROBABLE_ORIFICE_MM
    others = [KNOWN_UNITS[name] for name in ("mm", "in", "thou") if name != unit.name]
    hundredths = unit.name == "mm" and value.is_integer() and max(low, STAMPED_FROM_MM) <= value / 100 <= high
    meant = [f'"{value / 100:.2f} mm"'] if hundredths else []  # as nozzles are stamped in hundredths of a millimetre
    meant += [f'"{value:g} {one.name}"' for one in others if low <= value * one.si / KNOWN_UNITS["mm"].si <= high]
    if value.is_integer() and 1 <= value <= 80 and low <= number_drill(int(value)).diameter_mm <= high:
        meant.append(f'"#{value:g}"')
    return f"did you mean {' or '.join(meant)}?" if meant else ""
