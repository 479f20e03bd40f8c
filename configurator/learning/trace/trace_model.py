"""What a sensor in the exhaust of the whole engine would have seen, by the model, with what is fitted.

With two pump circuits it sees the mixture of both pairs of barrels, by the air each passes. So hole and flood here are
those of the engine; with one circuit they are the circuit's.
"""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.judging.case import Case
from configurator.judging.mixture import mixture_of
from configurator.physics.spells import POOR_PHI, RICH_PHI, metered


@dataclass(frozen=True)
class ModelTrace:
    """Mixture of the engine by the model, arrays over time from tip-in [ms], and its spells [ms]."""

    title: str
    time_ms: Array
    phi: Array
    hole_ms: float
    flood_ms: float


def model_trace(case: Case) -> ModelTrace:
    """The mixture that a case's model gives with what is fitted, in the case's engine."""
    time_s = case.car.tip_in.air.time_s
    phi = np.zeros(len(time_s))
    for name, circuit in case.circuits.items():
        phi += circuit.event.air_share * mixture_of(case, name, case.as_fitted).phi
    limits = ((POOR_PHI, -1.0), (RICH_PHI, 1.0))
    meters = metered(time_s, iter(phi[:, None]), 1, limits, np.ones(len(phi), dtype=bool))
    hole, flood = (float(meter.longest_s[0]) * 1e3 for meter in meters)
    return ModelTrace(case.vehicle.name, time_s * 1e3, phi, hole, flood)
