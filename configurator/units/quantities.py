"""Figures as people write them, each with its unit, turned into the unit that a file or an option is declared in.

`3.2 l`, `350 cu in`, `600 cfm`, `3,200 lb`, `68 F`, `18 inHg vacuum`. A table of our own: a library of units would take
a second to load, and reads `cfm` as a length. Tests hold every factor to scipy.constants.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from math import log10
from typing import Literal

from configurator.errors import BadSize
from configurator.units.drills import INCH_MM

THOU_MM = INCH_MM / 1000
"""Millimetres in a thousandth of an inch, exact."""
MERCURY_INCH_PA = 3386.389
"""Pascals in a conventional inch of mercury (0 C, standard gravity)."""
_INCH_M, _FOOT_M = INCH_MM / 1000, 12 * INCH_MM / 1000
CUBIC_FOOT_M3 = _FOOT_M**3
"""Cubic metres in a cubic foot, exact by definition of the inch."""
_POUND_KG, _GRAVITY_M_S2 = 0.45359237, 9.80665
_POUND_N = _POUND_KG * _GRAVITY_M_S2

Reference = Literal["", "absolute", "vacuum"]
"""Whether a pressure was said to be absolute or below the air; empty where nothing was said."""


@dataclass(frozen=True)
class Unit:
    """A unit by what it measures and its size in SI; zero : where its scale begins, in SI."""

    name: str
    measures: str
    si: float
    zero: float = 0.0


# What is measured, the unit as we write it, its size in SI, and other spellings without spaces, the usual units first.
_TABLE: tuple[tuple[str, str, float, str], ...] = (
    ("volume", "cc", 1e-6, "ccs ccm cm3 ml"),
    ("volume", "l", 1e-3, "litre litres liter liters ltr dm3"),
    ("volume", "cu in", _INCH_M**3, "cuins in3 ci cid cubicinch cubicinches"),
    ("mass", "kg", 1.0, "kgs kilo kilos kilogram kilograms"),
    ("mass", "lb", _POUND_KG, "lbs pound pounds"),
    ("mass", "t", 1e3, "tonne tonnes"),
    ("length", "mm", 1e-3, "millimetre millimetres millimeter millimeters"),
    ("length", "in", _INCH_M, 'inch inches ins " \u2033'),
    ("length", "thou", _INCH_M / 1e3, "thousandth thousandths"),
    ("length", "cm", 1e-2, "centimetre centimetres centimeter centimeters"),
    ("length", "ft", _FOOT_M, "foot feet"),
    ("length", "m", 1.0, "metre metres meter meters"),
    ("pressure", "kPa", 1e3, ""),
    ("pressure", "inHg", MERCURY_INCH_PA, 'inofmercury inchesofmercury inchhg incheshg "hg'),
    ("pressure", "mmHg", MERCURY_INCH_PA / INCH_MM, "mmofmercury"),
    ("pressure", "mbar", 1e2, "millibar millibars hpa"),
    ("pressure", "psi", _POUND_N / _INCH_M**2, "lb/in2 lb/sqin"),
    ("pressure", "bar", 1e5, ""),
    ("air flow", "m3/min", 1 / 60, "m3/minute"),
    ("air flow", "cfm", CUBIC_FOOT_M3 / 60, "ft3/min ft3/minute cuft/min cubicfeet/minute"),
    ("air flow", "l/s", 1e-3, "litre/second litres/second l/sec"),
    ("air flow", "m3/h", 1 / 3600, "m3/hour"),
    ("air flow", "l/min", 1e-3 / 60, "litres/minute"),
    ("temperature", "C", 1.0, "degc celsius degreesc"),
    ("temperature", "F", 1 / 1.8, "degf fahrenheit degreesf"),
    ("angle", "deg", 1.0, "degree degrees"),
    ("time", "s", 1.0, "sec second seconds"),
    ("time", "ms", 1e-3, "millisecond milliseconds"),
    ("time", "min", 60.0, "mins minute minutes"),
    ("time", "h", 3600.0, "hr hrs hour hours"),
    ("time", "days", 86_400.0, "day"),
    ("speed", "rev/min", 1.0, "rpm r/min revs/min 1/min"),
    ("area", "mm2", 1e-6, "sqmm"),
    ("area", "sq in", _INCH_M**2, "in2 squareinch squareinches"),
    ("area", "cm2", 1e-4, "sqcm"),
    ("force", "N", 1.0, "newton newtons"),
    ("force", "lbf", _POUND_N, "lb lbs pound pounds"),
    ("force", "kgf", _GRAVITY_M_S2, "kg"),
    ("stiffness", "N/mm", 1e3, ""),
    ("stiffness", "lb/in", _POUND_N / _INCH_M, "lbf/in lbs/in"),
    ("stiffness", "N/m", 1.0, ""),
    ("density", "kg/m3", 1.0, ""),
    ("density", "kg/l", 1e3, "g/cc g/cm3 g/ml"),
    ("viscosity", "mPa s", 1e-3, "cp"),
    ("inertia", "kg m2", 1.0, ""),
    ("inertia", "lb ft2", _POUND_KG * _FOOT_M**2, ""),
    ("a share", "%", 1.0, "percent"),
)
_ZEROS = {"C": 273.15, "F": 459.67 / 1.8}
KNOWN_UNITS = {name: Unit(name, measures, si, _ZEROS.get(name, 0.0)) for measures, name, si, _ in _TABLE}
"""Every unit by the name it is written with."""

_THOUSANDS = r"[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9,])(?:\.[0-9]*)?"
_NUMBER_AND_UNIT = rf"([+\-\u2212]?)({_THOUSANDS}|[0-9]+[.,]?[0-9]*|[.,][0-9]+)\s*(.*)"
_FRACTION = r"(?:([0-9]{1,3})[ -])?([0-9]{1,2})/(2|4|8|16|32|64)(?![0-9/.,])"
_SAID = r"(.*?)[\s(]*(vacuum|vac|below the air|depression|absolute|abs)\.?\)?"
_SIGNS = str.maketrans({"\u00b3": "3", "\u00b2": "2", "\u00b0": "deg", "^": "", ".": "", " ": ""})


def _plain(spelling: str) -> str:
    """A unit as it is looked up: without case, spaces and dots, and with a stroke for "per"."""
    return re.sub(r"\bper\b", "/", spelling.lower()).translate(_SIGNS)


def _by_spelling() -> dict[str, dict[str, Unit]]:
    found: dict[str, dict[str, Unit]] = {}
    for measures, name, _, spellings in _TABLE:
        found.setdefault(measures, {}).update(
            {spelt: KNOWN_UNITS[name] for spelt in (_plain(name), *spellings.split())}
        )
    return found


_BY_SPELLING = _by_spelling()
_DECLARED = {spelt: unit for units in reversed(_BY_SPELLING.values()) for spelt, unit in units.items()}


@dataclass(frozen=True)
class WithUnit:
    """A figure as read, in the unit it was asked for in. values : two where a comma may part thousands or decimals;
    unit : what it was written in; reference : of a pressure, whether it was said to be absolute or below the air."""

    values: tuple[float, ...]
    unit: Unit
    reference: Reference = ""


def declared_unit(unit: str) -> Unit | None:
    """The unit of a declaration, what follows its name left out; None where no other unit measures the same.

    >>> declared_unit("ft3/min").name, declared_unit("kPa absolute").name, declared_unit("cycles")
    ('cfm', 'kPa', None)
    """
    return _DECLARED.get(_plain(_said(unit)[0]))


def reference_of(unit: str) -> Reference:
    """Whether a declared pressure is absolute or below the air; empty for a difference, and for all else.

    >>> reference_of("kPa absolute"), reference_of("inHg")
    ('absolute', '')
    """
    return _said(unit)[1]


def read_quantity(text: str, unit: str) -> WithUnit:
    """Read a figure with a unit, in the declared unit, to twelve figures; without one it is in the declared unit.

    Raises BadSize, saying what is wrong and what was probably meant; what is accepted is for who knows its bounds.

    >>> read_quantity("350 cu in", "cc").values, read_quantity("68 F", "deg C").values
    ((5735.4724,), (20.0,))
    >>> read_quantity("18 inHg vacuum", "kPa").reference, read_quantity("1,250 kg", "kg").values
    ('vacuum', (1250.0, 1.25))
    """
    wanted = declared_unit(unit)
    assert wanted is not None
    sign, digits, unit_text = parted(text)
    unit_text, reference = _said(unit_text)
    found = _BY_SPELLING[wanted.measures].get(_plain(unit_text)) if unit_text else wanted
    if found is None:
        raise BadSize(text, f"'{unit_text[:20]}' is no unit of {wanted.measures}", "", _unit_meant(unit_text, wanted))
    if reference and wanted.measures != "pressure":
        raise BadSize(text, f"{reference} is said of a pressure only", "")
    return WithUnit(tuple(_in(wanted, found, sign * number) for number in numbers_of(digits)), found, reference)


def _unit_meant(unit_text: str, wanted: Unit) -> str:
    """The unit whose spelling is nearest to what was written; empty where none is near."""
    from difflib import get_close_matches

    spellings = _BY_SPELLING[wanted.measures]
    near = [] if any(map(str.isdigit, unit_text)) else get_close_matches(_plain(unit_text)[:20], spellings, 1, 0.65)
    return f"did you mean {spellings[near[0]].name}?" if near else ""


def parted(text: str) -> tuple[int, str, str]:
    """The sign of a figure, its digits as they stand, and its unit; raises BadSize as read_quantity."""
    if not text.strip():
        raise BadSize(text, "nothing is written", "")
    match = re.fullmatch(_NUMBER_AND_UNIT, without_fraction(text.strip()), re.DOTALL)
    if not match:
        raise BadSize(text, "not a number with a unit", "")
    sign, digits, unit_text = match.groups()
    if unit_text.startswith("/"):
        raise BadSize(text, "only halves, quarters and so on to 64ths are read", "", "write it as a decimal")
    return (-1 if sign in ("-", "\u2212") else 1), digits, unit_text


def without_fraction(text: str) -> str:
    """A text with the fraction of an inch rule that it begins with as a decimal, exact; any other as it stands.

    >>> without_fraction("1/32 in"), without_fraction("1 1/8 in"), without_fraction("1-1/8 in"), without_fraction("1/3")
    ('0.03125 in', '1.125 in', '1.125 in', '1/3')
    """
    found = re.match(_FRACTION, text)
    if not found or not 0 < int(found[2]) < int(found[3]):
        return text
    return f"{int(found[1] or 0) + int(found[2]) / int(found[3])!r}{text[found.end() :]}"


def numbers_of(digits: str) -> tuple[float, ...]:
    """What digits may mean: with thousands first, where three figures stand behind a comma.

    >>> numbers_of("3,200"), numbers_of("3,200.5"), numbers_of("3,2"), numbers_of("0,875")
    ((3200.0, 3.2), (3200.5,), (3.2,), (0.875,))
    """
    if not re.fullmatch(_THOUSANDS, digits):
        return (float(digits.replace(",", ".")),)
    thousands = float(digits.replace(",", ""))
    return (thousands,) if digits.count(",") > 1 or "." in digits else (thousands, float(digits.replace(",", ".")))


def _in(wanted: Unit, found: Unit, value: float) -> float:
    if wanted is found:
        return value
    si = found.zero + value * found.si
    return float(f"{(si - wanted.zero) / wanted.si:.12g}")


def _said(unit_text: str) -> tuple[str, Reference]:
    match = re.fullmatch(_SAID, unit_text.lower(), re.DOTALL)
    if not match:
        return unit_text.strip(), ""
    return unit_text[: match.end(1)].strip(), "absolute" if match[2].startswith("abs") else "vacuum"


def others(unit: Unit) -> list[Unit]:
    """The other units that measure the same, the usual ones first."""
    return [other for other in KNOWN_UNITS.values() if other.measures == unit.measures and other is not unit]


def examples(unit: str, low: float, high: float) -> list[str]:
    """Two figures within bounds, in the other units that the trade writes them in; of minutes, as a job takes.

    >>> examples("cc", 50, 30_000), examples("cc", 0.2, 20), examples("kPa absolute", 30, 70)
    (['1.2 l', '75 cu in'], ['0.12 cu in'], ['14 inHg absolute', '340 mmHg absolute'])
    """
    own = declared_unit(unit)
    if own is KNOWN_UNITS["min"] and low <= 12 <= high:
        return ["12 min", "0.5 h"]
    middle = (low * high) ** 0.5 if low > 0 else (low + high) / 2
    if own is None:
        return []
    found = [(_in(other, own, middle), other.name) for other in others(own)]
    texts = [f"{_two_figures(value)} {name}" for value, name in found if 0.09 < abs(value) < 10_000][:2]
    return [f"{text} {reference_of(unit)}".strip() for text in texts]


def _two_figures(value: float) -> str:
    places = 1 - int(log10(abs(value)) // 1)
    return f"{round(value, places):g}"


def meant(number: float, unit: str, allows: Callable[[float], bool]) -> list[str]:
    """A number outside its bounds with the other units in which it would be within them, two at most.

    >>> meant(600, "m3/min", lambda flow: 0.5 < flow < 60)
    ['600 cfm', '600 l/s']
    """
    own = declared_unit(unit)
    if own is None:
        return []
    return [f"{number:g} {other.name}" for other in others(own) if allows(_in(own, other, number))][:2]
