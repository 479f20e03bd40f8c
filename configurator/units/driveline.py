"""What is printed on a tyre, and the gears an engine drives through, as the two figures that a vehicle file takes."""

import re

from configurator.errors import BadSize
from configurator.units.drills import INCH_MM

TYRES_ACCEPTED = 'a number in m, text such as "300 mm" or "12 in", or the tyre as printed: "205/60R15", "7.00-16"'
RATIOS_ACCEPTED = 'a number, or gear and final drive such as "4.10 x 2.52"'

ROLLING_SHARE = 0.97
"""Rolling radius of a loaded tyre over its free radius: assumed; common tables have 0.96 to 0.97."""
UNPRINTED_PROFILE = 0.80
"""Height over width of a metric tyre on which no profile is printed, as 185R14: common tables have 0.79 to 0.82."""
INCH_PROFILE = 1.0
"""Height over nominal width of a tyre in inches, as 7.00-16: assumed; tables have 0.95 to 1.06."""

MOST_PRINTED = 40
_RIM = r"\s*(?:[A-Z]{0,2}R|[A-Z]?-|X)\s*(?P<rim>[0-9]{2}(?:\.[05])?)"
_BEHIND = r"(?:\s*(?:LT|C|[0-9]{2,3}(?:/[0-9]{2,3})?\s*[A-Z]|[0-9]{1,2}\s?PR))*"
# Patterns stay text until one is asked for: compiled at the start they would take longer than all else here.
_PRINTED = tuple(
    rf"(?:P|LT)?\s*{size}{_RIM}{_BEHIND}"
    for size in (
        r"(?P<width_mm>[1-3][0-9]{2})\s*/\s*(?P<profile>[2-9][0-9])",
        r"(?P<width_mm>[1-3][0-9]{2})",
        r"(?P<across_in>[1-4][0-9](?:\.[0-9]{1,2})?)\s*X\s*[0-9]{1,2}(?:\.[0-9]{1,2})?",
        r"(?P<width_in>[3-9]\.[0-9]{1,2}|1[0-4]\.[0-9]{1,2})",
    )
)

_GEAR = (
    r"([0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:\s*:\s*1)?(?:\s+(?:in|axle|final|drive|rear|diff|gear|gearbox|transfer|box|low|high"
    r"|top|direct|overdrive|overall|total|first|second|third|fourth|fifth|sixth|1st|2nd|3rd|4th|5th|6th))*"
)
TIMES = r"\s*(?:(?<![a-z])x(?![a-z])|\u00d7|\*|times)\s*"


def tyre_radius_m(printed: str) -> float | None:
    """Rolling radius [m] of the loaded tyre with this size on it; None for text that is no size of a tyre.

    Free diameter of the size, by rim and twice the height of the section, times ROLLING_SHARE.

    >>> tyre_radius_m("205/60R15"), tyre_radius_m("7.00-16"), tyre_radius_m("26x10-15"), tyre_radius_m("185R14")
    (0.3041, 0.3696, 0.3203, 0.316)
    """
    text = printed.strip()[:MOST_PRINTED]
    sizes = next((found for size in _PRINTED if (found := re.fullmatch(size, text, re.IGNORECASE))), None)
    if sizes is None:
        return None
    given = {name: float(figure) for name, figure in sizes.groupdict().items()}
    if "across_in" in given:
        free_mm = given["across_in"] * INCH_MM
    else:
        height_mm = (
            given["width_in"] * INCH_MM * INCH_PROFILE if "width_in" in given
            else given["width_mm"] * given.get("profile", 100 * UNPRINTED_PROFILE) / 100
        )  # fmt: skip
        free_mm = given["rim"] * INCH_MM + 2 * height_mm
    return round(ROLLING_SHARE * free_mm / 2000, 4)


def overall_ratio(gears: str) -> float:
    """Engine turns to one of the wheels: the product of the ratios named, with what each is of.

    Raises BadSize.

    >>> overall_ratio("4.10 x 2.52 first"), overall_ratio("3.9:1 axle x 2,1 second"), overall_ratio("8.2")
    (10.332, 8.19, 8.2)
    """
    product = 1.0
    for part in re.split(TIMES, gears.strip(), flags=re.IGNORECASE):
        gear = re.fullmatch(_GEAR, part, re.IGNORECASE)
        if gear is None:
            raise BadSize(gears, "not ratios with x between them", RATIOS_ACCEPTED)
        product *= float(gear[1].replace(",", "."))
    return float(f"{product:.10g}")
