"""What one choice of parts delivers into one circuit: the flow over time, with the figures the rules judge it by."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.judging.feelings import felt_words
from configurator.slots.columns import JudgedShots, Mount
from configurator.slots.options import Choice
from configurator.slots.slot import AXES, CIRCUIT_SLOTS, Slot


@dataclass(frozen=True)
class Delivery:
    """One circuit with a choice of parts.

    parts : labels of what pumps. flow_kg_s : mean flow in each step of the event [kg/s], shape (steps,). film_share :
    share of it that lands on the walls. shot : as the rules read it, of this one choice, and felt : the same in a
    driver's words; where lobe and lever do not go together nothing is pumped and the pull never comes.
    """

    vehicle: str
    circuit: str
    parts: tuple[str, ...]
    flow_kg_s: Array
    film_share: float
    shot: JudgedShots
    felt: str

    @property
    def pumps(self) -> bool:
        """Whether lobe and lever go together."""
        return bool(self.shot.pumps)

    @property
    def volume_cc(self) -> float:
        """Shot [cc], 0 where nothing is pumped."""
        return float(np.nan_to_num(self.shot.volume_cc))

    @property
    def ends_ms(self) -> float:
        """When 95 % of it is out [ms after tip-in]."""
        return max(0.0, float(self.shot.ends_ms))


def delivery_of(case: Case, name: str, choice: Choice) -> Delivery:
    """What a circuit delivers with a choice of parts, in the case's engine."""
    circuit = case.circuits[name]
    parts = [choice[Slot(name, slot)] for slot in CIRCUIT_SLOTS]
    nozzle, screw, pump, lobe = parts
    nozzles = [nozzle.read(FittedNozzle)]
    judged = case.columns(name, {slot: (option,) for slot, option in choice.items()}).shot.at((0,) * len(AXES))
    flow = np.zeros(len(circuit.event.time_s) - 1)
    if judged.pumps:
        slack_mm = case.slack_mm(name, [pump.changed], [lobe.changed])[0]
        shot = circuit.deliver(
            nozzles, [screw.read(FeedScrewFigures)], [pump.read(PumpFigures)], [lobe.read(Mount)], slack_mm
        )
        flow = circuit.flow_kg_s(shot)[:, 0]
    labels = tuple(option.label for option in parts)
    felt, film_share = felt_words(judged, case.catalog.limits), circuit.film_share(nozzles).item()
    return Delivery(case.vehicle.name, name, labels, flow, film_share, judged, felt)
