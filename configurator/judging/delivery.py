"""What one choice of parts delivers into one circuit: the flow over time, with the figures the rules judge it by."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.physics.verdict import ShotFlows
from configurator.slots.columns import Mount
from configurator.slots.options import Choice
from configurator.slots.slot import CIRCUIT_SLOTS, Slot


@dataclass(frozen=True)
class Delivery:
    """One circuit with a choice of parts.

    parts : labels of what pumps. flow_kg_s : mean flow in each step of the event [kg/s], shape (steps,); film_share :
    share of it that lands on the walls. hole_ms, flood_ms, volume_cc, ends_ms : as the rules read them; where lobe and
    lever do not go together nothing is pumped and the hole is endless.
    """

    vehicle: str
    circuit: str
    parts: tuple[str, ...]
    flow_kg_s: Array
    film_share: float
    hole_ms: float
    flood_ms: float
    volume_cc: float
    ends_ms: float

    @property
    def pumps(self) -> bool:
        """Whether lobe and lever go together."""
        return bool(np.isfinite(self.hole_ms))

    @property
    def shots(self) -> ShotFlows:
        """The shot as the verdict takes it, the only one of its table."""
        return ShotFlows(self.flow_kg_s[:, None], np.array([self.film_share]))


def delivery_of(case: Case, name: str, choice: Choice) -> Delivery:
    """What a circuit delivers with a choice of parts, at the case's demand factor."""
    circuit = case.circuits[name]
    parts = [choice[Slot(name, slot)] for slot in CIRCUIT_SLOTS]
    nozzle, screw, pump, lobe = parts
    nozzles = [nozzle.read(FittedNozzle)]
    judged = case.columns(name, {slot: (option,) for slot, option in choice.items()}).shot
    flow = np.zeros(len(circuit.event.time_s) - 1)
    if np.isfinite(judged.hole_ms.item()):
        slack_mm = case.slack_mm(name, [pump.changed], [lobe.changed])[0]
        shot = circuit.deliver(
            nozzles, [screw.read(FeedScrewFigures)], [pump.read(PumpFigures)], [lobe.read(Mount)], slack_mm
        )
        flow = circuit.flow_kg_s(shot)[:, 0]
    return Delivery(
        case.vehicle.name, name, tuple(option.label for option in parts), flow,
        circuit.film_share(nozzles).item(), judged.hole_ms.item(), judged.flood_ms.item(),
        np.nan_to_num(judged.volume_cc.item()).item(), max(0.0, judged.ends_ms.item()),
    )  # fmt: skip
