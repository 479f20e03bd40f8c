"""From pump to nozzle tip: two restrictions in series, the feed screw and the nozzle's orifices.

The nozzle is a short drilled hole, so its discharge coefficient falls at low Reynolds number; the screw's passage is
given one coefficient. Flow and Reynolds number depend on each other and are found together.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

import numpy as np

from configurator.arrays import Array, Indices
from configurator.errors import OutOfRange

REYNOLDS_RANGE = (10.0, 2.0e4)
LENGTH_RATIO_RANGE = (1.5, 10.0)


def long_orifice_coefficient(length_over_diameter: Array, reynolds: Array) -> Array:
    """Discharge coefficient of a sharp-edged cylindrical orifice; arguments broadcast, no unit.

    1/Cd = 1/Cdu + (20/Re)(1 + 2.25 l/d) - 0.005 (l/d) / (1 + 7.5 log10(0.00015 Re)^2)
    Cdu = 0.827 - 0.0085 l/d from l/d 2 up, 0.810 from 1.5 to 2.

    Re is held inside 10 to 20,000, the range of the correlation (Cd is flat beyond the upper edge). Raises OutOfRange
    for l/d outside 1.5 to 10: shorter holes switch between two flow patterns.
    Source: Lichtarowicz, Duggins & Markland, J. Mech. Eng. Sci. 7(2), 1965, eqs. 7 and 12. We take Re at the ideal
    velocity sqrt(2 dp/rho): then 1/Cd goes as l/d over Re in the viscous limit, as it must; with the mean velocity the
    equation has no root below about Re 200. The other reading moves Cd by 4 % at Re 1,000 (l/d 4), by under 0.1 % from
    10,000.

    >>> round(float(long_orifice_coefficient(np.array(4.0), np.array(10_000.0))), 5)
    0.79063
    """
    return _Orifice.of(length_over_diameter).coefficient(reynolds)


@dataclass(frozen=True)
class _Orifice:
    """What the discharge coefficient's equation takes from the shape of an orifice alone: 1/Cdu and its two terms."""

    least_loss: Array
    viscous: Array
    hump: Array

    @classmethod
    def of(cls, length_over_diameter: Array) -> "_Orifice":
        low, high = LENGTH_RATIO_RANGE
        for worst in (float(np.min(length_over_diameter)), float(np.max(length_over_diameter))):
            if not low <= worst <= high:
                raise OutOfRange("orifice length over diameter", worst, low, high, "")
        ultimate = np.where(length_over_diameter < 2.0, 0.810, 0.827 - 0.0085 * length_over_diameter)
        return cls(1.0 / ultimate, 20.0 * (1.0 + 2.25 * length_over_diameter), 0.005 * length_over_diameter)

    def coefficient(self, reynolds: Array) -> Array:
        re = np.clip(reynolds, *REYNOLDS_RANGE)
        away = np.log10(0.00015 * re)
        loss = self.least_loss + self.viscous / re
        loss -= self.hump / (1.0 + 7.5 * (away * away))
        return np.asarray(1.0 / loss)


@dataclass(frozen=True)
class FuelPath:
    """Nozzle and feed screw of each combination, arrays of shape (n,); fuel properties are common.

    diameter_m and length_m are of one orifice, orifices the number of equal orifices fed through one screw.
    """

    diameter_m: Array
    length_m: Array
    orifices: Array
    screw_area_m2: Array
    screw_coefficient: float
    fuel_density_kg_m3: float
    fuel_viscosity_pa_s: float

    def take(self, which: Indices) -> Self:
        """Some of the combinations."""
        return replace(
            self, diameter_m=self.diameter_m[which], length_m=self.length_m[which], orifices=self.orifices[which],
            screw_area_m2=self.screw_area_m2[which],
        )  # fmt: skip

    @cached_property
    def nozzle_area_m2(self) -> Array:
        """Total orifice area [m2], shape (n,)."""
        return self.orifices * (np.pi / 4.0) * self.diameter_m**2

    @cached_property
    def _orifice(self) -> _Orifice:
        return _Orifice.of(self.length_m / self.diameter_m)

    @cached_property
    def _screw_m2(self) -> Array:
        """Effective area of the screw."""
        return self.screw_coefficient * self.screw_area_m2

    @cached_property
    def _reynolds_per_m_s(self) -> Array:
        return self.fuel_density_kg_m3 * self.diameter_m / self.fuel_viscosity_pa_s

    def effective_area(self, pressure_pa: Array, nozzle_coefficient: Array | None = None) -> tuple[Array, Array]:
        """Effective area of the whole path [m2] and the nozzle's coefficient at a pressure [Pa], both shape (n,).

        1/CA^2 = 1/CA_nozzle^2 + 1/CA_screw^2; Re at the ideal velocity of the nozzle's share of the pressure. With a
        coefficient from a near-by pressure as the start one pass is enough; without one, three passes are made.
        """
        screw, area, passes = self._screw_m2, self.nozzle_area_m2, 1
        if nozzle_coefficient is None:
            nozzle_coefficient, passes = np.full_like(self.diameter_m, 0.78), 3
        ideal_speed = np.sqrt((2.0 / self.fuel_density_kg_m3) * np.maximum(pressure_pa, 0.0))
        ideal_reynolds = self._reynolds_per_m_s * ideal_speed
        coefficient = nozzle_coefficient
        for _ in range(passes):
            share = screw / _hypotenuse(coefficient * area, screw)
            coefficient = self._orifice.coefficient(ideal_reynolds * share)
        nozzle = coefficient * area
        return nozzle * screw / _hypotenuse(nozzle, screw), coefficient

    def flow(self, pressure_pa: Array) -> Array:
        """Volume flow [m3/s] that a pressure [Pa] drives through the path: Q = CA sqrt(2 dp / rho), shape (n,)."""
        area, _ = self.effective_area(pressure_pa)
        return np.asarray(area * np.sqrt(2.0 * np.maximum(pressure_pa, 0.0) / self.fuel_density_kg_m3))


def _hypotenuse(one: Array, other: Array) -> Array:
    """sqrt(one^2 + other^2); numpy's own guards against overflow and takes several times as long."""
    square = one * one
    square += other * other
    return np.asarray(np.sqrt(square, out=square))


def screw_cut(
    nozzle_area_m2: Array, screw_area_m2: Array, nozzle_coefficient: float, screw_coefficient: float
) -> Array:
    """Share of the nozzle's flow that the screw takes away, 0 to 1; arguments broadcast.

    1 - 1/sqrt(1 + (CA_nozzle/CA_screw)^2), from the two restrictions in series.
    """
    ratio = (nozzle_coefficient * nozzle_area_m2) / (screw_coefficient * screw_area_m2)
    return np.asarray(1.0 - 1.0 / np.sqrt(1.0 + ratio**2))
