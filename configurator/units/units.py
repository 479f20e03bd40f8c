"""Sizes as people write them, turned into millimetres once at the edge, and back for reading.

A person may write `0.8 mm`, `0,8 mm`, `0.031 in`, `0.031"`, `31 thou` or, for a diameter, the number drill `#68`.
A number without a unit is in millimetres.
"""

import math
import re

from configurator.errors import BadSize
from configurator.units.drills import INCH_MM, NUMBER_DRILLS_INCH, number_drill

THOU_MM = INCH_MM / 1000
"""Millimetres in a thousandth of an inch, exact."""
MERCURY_INCH_PA = 3386.389
"""Pascals in a conventional inch of mercury (0 C, standard gravity)."""
CUBIC_FOOT_M3 = (12 * INCH_MM / 1000) ** 3
"""Cubic metres in a cubic foot, exact by definition of the inch."""

DIAMETER_RANGE_MM = (0.1, 10.0)
"""Diameters outside this are no orifice and no drill for one: most likely the unit is missing or wrong."""
LENGTH_RANGE_MM = (0.0, 10_000.0)
DIAMETERS_ACCEPTED = '"0.80 mm", "0.031 in", "31 thou" or "#68" (number drills #1 to #80)'
LENGTHS_ACCEPTED = '"10 mm", "0.4 in" or "400 thou"'

SAME_SIZE_MM = 0.0051
"""Diameters closer than this are one size to a person who types millimetres."""

_UNIT_MM = {"mm": 1.0, "in": INCH_MM, "thou": THOU_MM}
_SPELLINGS = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "in": "in", "inch": "in", "inches": "in", '"': "in", "\u2033": "in",
    "thou": "thou", "thousandth": "thou", "thousandths": "thou",
}  # fmt: skip
_NUMBER_AND_UNIT = re.compile(r"([+\-\u2212]?)([0-9]+[.,]?[0-9]*|[.,][0-9]+)\s*(.*)", re.DOTALL)
_LIKE_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
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
    value, unit = _value_and_unit(size, DIAMETERS_ACCEPTED)
    diameter_mm = round(value * _UNIT_MM[unit], 6)
    low, high = DIAMETER_RANGE_MM
    if not low <= diameter_mm <= high:
        problem = f"{value:g} {unit} is no orifice, which measures {low:g} to {high:g} mm"
        raise BadSize(str(size), problem, DIAMETERS_ACCEPTED, _probably_meant(value, unit))
    return diameter_mm


def parse_length_mm(size: str | float) -> float:
    """Read a length or clearance, in millimetres to a millionth; zero is a length.

    size : text as a person types it, or a number. One without a unit is in millimetres.
    Raises BadSize saying what is accepted.

    >>> parse_length_mm("15 thou"), parse_length_mm("0.5 in"), parse_length_mm(0)
    (0.381, 12.7, 0.0)
    """
    value, unit = _value_and_unit(size, LENGTHS_ACCEPTED)
    length_mm = round(value * _UNIT_MM[unit], 6)
    low, high = LENGTH_RANGE_MM
    if not low <= length_mm <= high:
        problem = f"{value:g} {unit} is outside {low:g} to {high:g} mm"
        raise BadSize(str(size), problem, LENGTHS_ACCEPTED)
    return length_mm


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


def _value_and_unit(size: str | float, accepted: str) -> tuple[float, str]:
    """Split a size into a finite value of at least zero and one of the units of `_UNIT_MM`; BadSize if it cannot be."""
    if isinstance(size, bool) or not isinstance(size, str | int | float):
        raise BadSize(str(size), "neither a number nor text", accepted)
    if isinstance(size, str):
        value, unit = _read_text(size, accepted)
    else:
        try:
            value, unit = float(size), "mm"
        except OverflowError:
            raise BadSize("whole number", "it has hundreds of digits", accepted) from None
    if not math.isfinite(value):
        raise BadSize(str(size), "not a finite number", accepted)
    if value < 0:
        raise BadSize(str(size), "a size cannot be negative", accepted)
    return value, unit


def _read_text(size: str, accepted: str) -> tuple[float, str]:
    text = size.strip()
    if not text:
        raise BadSize(size, "nothing is written", accepted)
    match = _NUMBER_AND_UNIT.fullmatch(text)
    if not match:
        raise BadSize(size, "not a number with a unit", accepted)
    sign, digits, unit_text = match.groups()
    if unit_text.startswith("/"):
        raise BadSize(size, "fractions are not read", accepted, "write it as a decimal")
    if _LIKE_THOUSANDS.fullmatch(digits):
        remedy = f"write {digits.replace(',', '')} or {digits.replace(',', '.')}"
        raise BadSize(size, "the comma may part thousands or decimals", accepted, remedy)
    unit = _SPELLINGS.get(unit_text.lower(), "") if unit_text else "mm"
    if not unit:
        raise BadSize(size, f"'{unit_text[:20]}' is not a unit of size here", accepted)
    value = float(digits.replace(",", "."))
    return (-value if sign in ("-", "\u2212") else value), unit


def _probably_meant(value: float, unit: str) -> str:
    """The same figures in other units, where they make an orifice of a size in use."""
    low, high = _PROBABLE_ORIFICE_MM
    meant = [f'"{value:g} {other}"' for other, mm in _UNIT_MM.items() if other != unit and low <= value * mm <= high]
    if value.is_integer() and 1 <= value <= 80 and low <= number_drill(int(value)).diameter_mm <= high:
        meant.append(f'"#{value:g}"')
    return f"did you mean {' or '.join(meant)}?" if meant else ""
