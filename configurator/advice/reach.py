"""How far a nozzle goes at once: a step that can be felt, the way that was felt."""

from configurator.car.fitted import FittedNozzle

ALONG_MM, ACROSS_MM = 0.24, 0.08
"""How far the way that was felt, or either way where nothing was; and how far otherwise: three times what practice
goes, and as far (assumed; docs/belief.md has what searches come of it)."""
EDGE_MM = 1e-6


def is_within_reach(now: FittedNozzle, other: FittedNozzle, side: int | None, scatter_mm: float) -> bool:
    """Whether another nozzle is a step from the one that is in: more than orifices of one size scatter, and not too
    far. side : what was felt asks of the nozzle, larger (1), smaller (-1) or neither (0); None where nothing was felt.
    """
    step_mm = other.diameter_mm - now.diameter_mm
    most_mm = ALONG_MM if side is None or step_mm * side > 0.0 else ACROSS_MM
    return other.is_told_from(now, scatter_mm) and abs(step_mm) <= most_mm + EDGE_MM


def lies_between(now: FittedNozzle, other: FittedNozzle, bracket_mm: tuple[float, float], scatter_mm: float) -> bool:
    """Whether another nozzle of the same style lies between one that stumbled and one that smoked, and can be told from
    both and from the one that is in."""
    stumbled_mm, smoked_mm = bracket_mm
    apart_mm = min(other.diameter_mm - stumbled_mm, smoked_mm - other.diameter_mm)
    return other.style == now.style and other.is_told_from(now, scatter_mm) and apart_mm > scatter_mm + EDGE_MM


def between_best(sureness: float, diameter_mm: float, bracket_mm: tuple[float, float]) -> tuple[float, float]:
    """What sizes between are sorted by, the best last: the surest, of those alike to a per cent the one in the
    middle."""
    return round(sureness, 2), -abs(diameter_mm - sum(bracket_mm) / 2)
