"""Answers that can mean two things: each is asked back in words, with what to write instead."""

import re
from collections.abc import Callable, Mapping
from types import MappingProxyType

from configurator.errors import BadSize
from configurator.units.driveline import TIMES, overall_ratio
from configurator.units.quantities import numbers_of, parted

LEAST_BARE_CC = 500
"""Below this a displacement without a unit is as likely one in cubic inches."""
LEAST_BARE_OVERALL = 6.0
"""Below this a single ratio is more likely that of an axle than of gear and axle together (common practice)."""
MOST_BARE_KG = 1800
"""From here on a weight without a unit is as likely one in pounds."""
READINGS_OF_A_LOBE = 3
"""As many besides the closed stop give the shape of a lobe, and fewer the lift at its end alone."""
MOST_INCHES_OF_MERCURY = 30
"""All the air there is."""
_GAUGES = ("", "kpa", "bar", "mbar", "millibar", "millibars", "hpa", "psi")
_OVERALL = re.compile(r"\b(overall|total)\b", re.IGNORECASE)


def displacement_asked_back(answer: str) -> str:
    """
    >>> displacement_asked_back("283"), displacement_asked_back("283 cu in"), displacement_asked_back("1600")
    ('283 cc or 283 cu in? write the unit', '', '')
    """
    number = _bare(answer)
    if number is None or not 50 < number < LEAST_BARE_CC:
        return ""
    return f"{answer} cc or {answer} cu in? write the unit"


def vacuum_asked_back(answer: str) -> str:
    """A gauge for vacuum has inches or millimetres of mercury on it; of other pressures either may be meant.

    >>> vacuum_asked_back("55 kPa"), vacuum_asked_back("40"), vacuum_asked_back("16 inHg")
    ('55 kPa vacuum or 55 kPa absolute? write which', '40 mmHg, 40 kPa vacuum or 40 kPa absolute? write which', '')
    """
    try:
        _, digits, unit = parted(answer)
    except BadSize:
        return ""
    if unit.lower().replace(" ", "") not in _GAUGES:
        return ""
    if unit:
        return f"{digits} {unit} vacuum or {digits} {unit} absolute? write which"
    mercury = "inHg" if numbers_of(digits)[0] < MOST_INCHES_OF_MERCURY else "mmHg"
    return f"{digits} {mercury}, {digits} kPa vacuum or {digits} kPa absolute? write which"


def gears_asked_back(answer: str) -> str:
    """
    >>> gears_asked_back("4.10"), gears_asked_back("4.10 x 2.52 first"), gears_asked_back("4.1 overall")
    ('4.10 is the axle alone? write it with its gear, 4.10 x 2.52 first, or all in one, 10.3 overall', '', '')
    """
    if re.search(TIMES, answer, re.IGNORECASE) or _OVERALL.search(answer):
        return ""
    try:
        ratio = overall_ratio(answer)
    except BadSize:
        return ""
    if ratio >= LEAST_BARE_OVERALL:
        return ""
    return f"{answer} is the axle alone? write it with its gear, {answer} x 2.52 first, or all in one, 10.3 overall"


def lobe_asked_back(answer: str) -> str:
    """
    >>> lobe_asked_back("50:3.4"), lobe_asked_back("15:1.1 30:1.9 55:2.8"), lobe_asked_back("lobe-fell@6")
    ('1 reading beside the closed stop; 3 or more are needed, such as 15:1.1 30:1.9 55:2.8', '', '')
    """
    pairs = [pair for pair in answer.replace(";", " ").split() if not pair.startswith("0:")]
    if not answer[:1].isdigit() or not all(":" in pair for pair in pairs) or len(pairs) >= READINGS_OF_A_LOBE:
        return ""
    readings = "1 reading" if len(pairs) == 1 else f"{len(pairs)} readings"
    needed = f"{READINGS_OF_A_LOBE} or more are needed"
    return f"{readings} beside the closed stop; {needed}, such as 15:1.1 30:1.9 55:2.8"


def weight_asked_back(answer: str) -> str:
    """
    >>> weight_asked_back("3,200"), weight_asked_back("3,200 lb"), weight_asked_back("1200")
    ('3,200 kg or 3,200 lb? write the unit', '', '')
    """
    number = _bare(answer)
    return "" if number is None or number < MOST_BARE_KG else f"{answer} kg or {answer} lb? write the unit"


def _bare(answer: str) -> float | None:
    try:
        _, digits, unit = parted(answer)
    except BadSize:
        return None
    return None if unit else numbers_of(digits)[0]


ASKED_BACK: Mapping[str, Callable[[str], str]] = MappingProxyType(
    {
        "engine_size": displacement_asked_back,
        "idle_vacuum": vacuum_asked_back,
        "gears": gears_asked_back,
        "weight": weight_asked_back,
        "front_lobe": lobe_asked_back,
        "rear_lobe": lobe_asked_back,
    }
)
"""By question; what it returns is empty where an answer means one thing."""
SAID_OF_A_FILES_FIGURE: Mapping[str, str] = MappingProxyType(
    {"engine_size": "cc", "idle_vacuum": "kPa absolute", "gears": "overall", "weight": "kg"}
)
"""What a plain figure of a vehicle file is, in words, where as an answer it would mean two things."""


def asked_back(key: str, answer: str) -> str:
    """What is asked back of an answer to a question; empty where it means one thing, and where it cannot be read."""
    return ASKED_BACK[key](answer) if key in ASKED_BACK else ""


def as_answer(key: str, figure: str) -> str:
    """A figure of a vehicle file as an answer that means one thing.

    >>> as_answer("engine_size", "400"), as_answer("engine_size", "3200"), as_answer("gears", "4.1")
    ('400 cc', '3200', '4.1 overall')
    """
    return f"{figure} {SAID_OF_A_FILES_FIGURE[key]}" if _bare(figure) and asked_back(key, figure) else figure
