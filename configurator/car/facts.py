"""What rules need to know of a car and of one of its circuits, besides the parts; nan where nobody measured it."""

from dataclasses import dataclass
from math import inf, isinf


@dataclass(frozen=True)
class CarFacts:
    """Facts of the whole car: bonnet clearance as it stands and what the fitted spacer takes of it [mm], rated flow at
    1.5 inHg over displacement [m3/min/l], how many carburettors alike, how far it stands above the height its main jets
    were chosen for [m], overall ratio and mass [kg] (infinite where no gearbox drives it), and what was found."""

    bonnet_clearance_mm: float
    spacer_height_mm: float
    flow_per_litre: float
    carburettors: int
    above_jetted_m: float
    overall_ratio: float
    mass_kg: float
    jets_redrilled: bool
    first_checks_open: int


@dataclass(frozen=True)
class CircuitFacts:
    """Facts of one circuit. A linkage disturbed by a change has no measurements until it is set again.
    rear_main_delivers_ms is infinite for a front circuit: the rule does not apply. sure_wanted_percent : share of what
    is believed of the engine that parts have to be right for; infinite where nothing is believed, and the pull in one
    engine decides. lean_mm, rich_mm : nozzles that were felt too small, and large enough, with the pump and lobe
    that are fitted; infinite where none was. least_mm, most_mm : the same whatever else changes. least_cc, most_cc :
    volume of a shot that was too little, and of one that smoked; least_cc_s : how fast one flows that was too little at
    once; infinite where none was felt so."""

    idle_rpm: float
    screw_coefficient: float
    pad_clearance_mm: float
    takes_straight: bool
    takes_aimed: bool
    linkage_disturbed: bool
    slack_mm: float
    preload_mm: float
    overtravel_mm: float
    rear_main_delivers_ms: float
    sure_wanted_percent: float = inf
    lean_mm: float = -inf
    rich_mm: float = inf
    least_mm: float = -inf
    most_mm: float = inf
    least_cc: float = -inf
    most_cc: float = inf
    least_cc_s: float = -inf

    def unless_believed(self, limit: float) -> float:
        """A limit on the shot in one engine, infinite where runs decide instead."""
        return limit if isinf(self.sure_wanted_percent) else inf


@dataclass(frozen=True)
class JobFacts:
    """Facts of a list of changes: joints it opens, and how many of those get new gaskets."""

    joints_opened: int
    joints_with_gaskets: int
