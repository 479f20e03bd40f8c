"""What a rule may read of one circuit, by the names that its parameters have.

A slot's figures are columns along its own axis of AXES, so that rules over several slots broadcast to a table.
"""

from dataclasses import dataclass

from configurator.car.facts import CarFacts, CircuitFacts, JobFacts
from configurator.catalogue.limits import Limits
from configurator.slots.columns import FeedScrews, JudgedShots, Lobes, Nozzles, PadReliefs, Pumps, Spacers

NO_CHANGES = JobFacts(joints_opened=0, joints_with_gaskets=0)


@dataclass(frozen=True)
class CircuitFigures:
    """Options of a circuit's slots, with the facts and limits they are judged by; what they deliver left out."""

    nozzle: Nozzles
    feed_screw: FeedScrews
    pump: Pumps
    lobe: Lobes
    spacer: Spacers
    pad_relief: PadReliefs
    facts: CircuitFacts
    car: CarFacts
    limits: Limits


@dataclass(frozen=True)
class JudgedFigures(CircuitFigures):
    """The same with what every combination delivers, and the list of changes that is asked about."""

    shot: JudgedShots
    job: JobFacts = NO_CHANGES
