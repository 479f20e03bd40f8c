"""Twist-drill sizes: a size of hole that a workshop can make is one of these, and no formula makes either series.

Number drills #1 to #80: ASME B94.11M, in inches.
Metric drills 0.50 to 1.60 mm: the series of BS 328 as commonly quoted; the finest steps are not stocked everywhere.
A new metric drill up to 3 mm may be 0.014 mm under its size (tolerance h8), so the hole is measured after drilling.
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass

from configurator.errors import BadSize

INCH_MM = 25.4
"""Millimetres in an inch, exact by definition."""

# Ten to a line: #1 to #10, #11 to #20, and so on.
NUMBER_DRILLS_INCH: tuple[float, ...] = (
    0.2280, 0.2210, 0.2130, 0.2090, 0.2055, 0.2040, 0.2010, 0.1990, 0.1960, 0.1935,
    0.1910, 0.1890, 0.1850, 0.1820, 0.1800, 0.1770, 0.1730, 0.1695, 0.1660, 0.1610,
    0.1590, 0.1570, 0.1540, 0.1520, 0.1495, 0.1470, 0.1440, 0.1405, 0.1360, 0.1285,
    0.1200, 0.1160, 0.1130, 0.1110, 0.1100, 0.1065, 0.1040, 0.1015, 0.0995, 0.0980,
    0.0960, 0.0935, 0.0890, 0.0860, 0.0820, 0.0810, 0.0785, 0.0760, 0.0730, 0.0700,
    0.0670, 0.0635, 0.0595, 0.0550, 0.0520, 0.0465, 0.0430, 0.0420, 0.0410, 0.0400,
    0.0390, 0.0380, 0.0370, 0.0360, 0.0350, 0.0330, 0.0320, 0.0310, 0.0292, 0.0280,
    0.0260, 0.0250, 0.0240, 0.0225, 0.0210, 0.0200, 0.0180, 0.0160, 0.0145, 0.0135,
)  # fmt: skip

METRIC_DRILLS_MM: tuple[float, ...] = (
    0.50, 0.52, 0.55, 0.58, 0.60, 0.62, 0.65, 0.68, 0.70, 0.72, 0.75, 0.78, 0.80, 0.82, 0.85, 0.88, 0.90, 0.92, 0.95,
    0.98, 1.00, 1.05, 1.10, 1.15, 1.20, 1.25, 1.30, 1.35, 1.40, 1.45, 1.50, 1.55, 1.60,
)  # fmt: skip


@dataclass(frozen=True)
class Drill:
    """A drill by the name stamped on it: `#68` in the number gauge, `0.80 mm` in the metric series."""

    name: str
    diameter_mm: float


def number_drill(number: int) -> Drill:
    """The number-gauge drill of this number.

    Raises BadSize if there is none.  Source: ASME B94.11M.

    >>> number_drill(68)
    Drill(name='#68', diameter_mm=0.7874)
    """
    if not 1 <= number <= len(NUMBER_DRILLS_INCH):
        raise BadSize(f"#{number}", "there is no such number drill", f"#1 to #{len(NUMBER_DRILLS_INCH)}")
    # Rounded, because four decimals of an inch are exact in six decimals of a millimetre and floats are not.
    return Drill(f"#{number}", round(NUMBER_DRILLS_INCH[number - 1] * INCH_MM, 6))


def _all_drills() -> tuple[Drill, ...]:
    drills = [number_drill(n) for n in range(1, len(NUMBER_DRILLS_INCH) + 1)]
    drills += [Drill(f"{mm:.2f} mm", mm) for mm in METRIC_DRILLS_MM]
    return tuple(sorted(drills, key=lambda drill: (drill.diameter_mm, drill.name)))


DRILLS: tuple[Drill, ...] = _all_drills()
"""Every drill of both series, smallest first."""
_DIAMETERS_MM = [drill.diameter_mm for drill in DRILLS]


def drills_between(low_mm: float, high_mm: float) -> tuple[Drill, ...]:
    """Every drill of both series from low_mm to high_mm inclusive, smallest first; empty if there is none.

    >>> [drill.name for drill in drills_between(0.78, 0.80)]
    ['0.78 mm', '#68', '0.80 mm']
    """
    return DRILLS[bisect_left(_DIAMETERS_MM, low_mm) : bisect_right(_DIAMETERS_MM, high_mm)]
