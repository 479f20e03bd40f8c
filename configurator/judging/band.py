"""The demand band and the delivered shot, against time: the picture that tells whether a shot fits."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.judging.case import Case
from configurator.judging.delivery import Delivery, delivery_of
from configurator.physics.shot_needed import shot_needed
from configurator.physics.spells import POOR_PHI, RICH_PHI
from configurator.slots.options import Choice


@dataclass(frozen=True)
class Band(Delivery):
    """Flows of one circuit at the times [ms]: to keep the mixture at POOR_PHI and at RICH_PHI, and delivered [cc/s]."""

    time_ms: Array
    lean_cc_s: Array
    rich_cc_s: Array
    delivered_cc_s: Array

    @property
    def title(self) -> str:
        return f"{self.vehicle}, {self.circuit} circuit\n{', '.join(self.parts)}"


def band_of(case: Case, name: str, choice: Choice) -> Band:
    """Band and delivered shot of one circuit with a choice of parts."""
    circuit, delivery = case.circuits[name], delivery_of(case, name, choice)
    to_cc_s = 1e6 / circuit.event.fuel.density_kg_m3
    needed = [shot_needed(circuit.event, phi, delivery.film_share, case.engine) for phi in (POOR_PHI, RICH_PHI)]
    lean, rich = (np.append(flow, flow[-1]) * to_cc_s for flow in needed)
    delivered = np.append(delivery.flow_kg_s, 0.0) * to_cc_s
    return Band(**vars(delivery), time_ms=circuit.event.time_s * 1e3, lean_cc_s=lean, rich_cc_s=rich,
                delivered_cc_s=delivered)  # fmt: skip
