"""The two unknowns of an engine: how late its first fuel is, and how late its main circuit comes.

    first fuel: 1 - X_shot = (1 - X_shot of the model)/e        main circuit: lag l tau, lip sqrt(l) lip

Both are 1 for an engine that is as the model says. `At once` and `a moment later` are different feelings, and pull on
different ones. What is believed of an engine, and what a combination of parts covers, is kept at the points of a grid
over their logarithms.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from configurator.arrays import Array, Mask

POINTS = 33
"""Points of the grid along each unknown, a constant ratio (5 %) apart."""
LATENESS_RANGE = (0.45, 2.22)
"""What is looked at of each unknown: beyond it an engine has a fault that no part mends."""
AXIS = np.geomspace(*LATENESS_RANGE, POINTS)
FIRST_FUEL, MAIN_CIRCUIT = (axis.ravel() for axis in np.meshgrid(AXIS, AXIS, indexing="ij"))
"""The unknowns at every point of the grid, shape (POINTS * POINTS,)."""


@dataclass(frozen=True)
class Lateness:
    """One engine: how many times as late as the model says its first fuel is, and its main circuit."""

    first_fuel: float = 1.0
    main_circuit: float = 1.0

    @property
    def point(self) -> int:
        """Place of the nearest point of the grid."""
        first, main = (int(np.abs(np.log(AXIS / one)).argmin()) for one in (self.first_fuel, self.main_circuit))
        return first * POINTS + main


AS_MODELLED = Lateness()


Bits = NDArray[np.uint8]


@dataclass(frozen=True)
class Regions:
    """The points of the grid that combinations cover: bits, shape (..., bytes)."""

    bits: Bits

    @classmethod
    def of(cls, covers: Mask) -> "Regions":
        """covers : shape (..., POINTS * POINTS)."""
        return cls(np.packbits(covers, axis=-1))

    @property
    def covers(self) -> Mask:
        """Whether each point is covered, shape (..., POINTS * POINTS)."""
        return np.unpackbits(self.bits, axis=-1, count=len(FIRST_FUEL)).astype(bool)

    def at(self, points: Array) -> Mask:
        """Whether some points are covered, shape (..., points); points : their places, (points,)."""
        places = np.asarray(points, dtype=np.intp)
        return np.asarray(self.bits[..., places // 8] >> (7 - places % 8) & 1, dtype=bool)

    def share(self, masses: Array) -> Array:
        """Share of a belief that is covered, shape (...); masses : of each point, adding up to 1. With several beliefs,
        (points, beliefs), of each of them, shape (..., beliefs)."""
        flat = self.bits.reshape(-1, self.bits.shape[-1])
        shares = np.empty((len(flat), *masses.shape[1:]))
        for first in range(0, len(flat), UNPACKED):
            shares[first : first + UNPACKED] = Regions(flat[first : first + UNPACKED]).covers @ masses
        return shares.reshape((*self.bits.shape[:-1], *masses.shape[1:]))


UNPACKED = 4096
"""Regions unpacked at once."""
NOTHING_COVERED = np.zeros(-(-len(FIRST_FUEL) // 8), dtype=np.uint8)
