"""What a measured trace says: its spells of poor and of rich mixture, against the model's in every engine."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.book.records import TraceMeasured
from configurator.physics.lateness import FIRST_FUEL, POINTS
from configurator.physics.mixture import Supply
from configurator.physics.spells import POOR_PHI, RICH_PHI, metered

TRACE_MODEL_MS = 20.0
"""Standard error of the model's own spells, which a trace however good cannot be nearer to."""
TRACE_SPAN_MS = 1000.0
"""A spoilt trace shows any spells up to this."""


@dataclass(frozen=True)
class Spells:
    """Longest spells below POOR_PHI and above RICH_PHI [ms] in every engine of the grid, shape (points,)."""

    hole_ms: Array
    flood_ms: Array

    def worst_with(self, other: "Spells") -> "Spells":
        """With both circuits: the longer of each."""
        return Spells(np.maximum(self.hole_ms, other.hole_ms), np.maximum(self.flood_ms, other.flood_ms))


def spells_in(supply: Supply, flow_kg_s: Array, missed: float) -> Spells:
    """Spells of one shot. flow_kg_s : (steps, 1); missed : share of it that misses the walls as modelled."""
    event = supply.event
    response = supply.responses(flow_kg_s)
    phi = response.phi(np.tile(supply.bases, POINTS), missed / FIRST_FUEL)
    poor, rich = metered(event.time_s, iter(phi), len(FIRST_FUEL), ((POOR_PHI, -1.0), (RICH_PHI, 1.0)), event.judged)
    return Spells(1e3 * poor.longest_s, 1e3 * rich.longest_s)


def trace_density(trace: TraceMeasured, spells: Spells) -> Array:
    """Density of the measured spells [1/ms^2] in every engine, shape (points,); spells from the model."""
    doubt = float(np.hypot(trace.doubt_ms, TRACE_MODEL_MS))
    off = np.hypot(spells.hole_ms - trace.hole_ms, spells.flood_ms - trace.flood_ms) / doubt
    return np.asarray(np.exp(-0.5 * np.minimum(off, 1e3) ** 2) / (2.0 * np.pi * doubt**2))
