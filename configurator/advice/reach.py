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
