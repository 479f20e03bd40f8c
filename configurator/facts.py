"""What rules need to know of a car and of one of its circuits, besides the parts; nan where nobody measured it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class CarFacts:
    """Facts of the whole car: bonnet clearance without a spacer [mm], and what was found."""

    bonnet_clearance_mm: float
    jets_redrilled: bool
    first_checks_open: int


@dataclass(frozen=True)
class CircuitFacts:
    """Facts of one circuit. rear_main_delivers_ms is infinite for a front circuit: the rule does not apply."""

    idle_rpm: float
    screw_coefficient: float
    pad_clearance_mm: float
    takes_straight: bool
    takes_aimed: bool
    slack_mm: float
    preload_mm: float
    overtravel_mm: float
    rear_main_delivers_ms: float


@dataclass(frozen=True)
class JobFacts:
    """Facts of a list of changes: joints it opens, and how many of those get new gaskets."""

    joints_opened: int
    joints_with_gaskets: int
