"""Throttle plates: how open they are at an angle, and what air they pass at a pressure.

Isentropic flow, choked below the critical pressure ratio (Heywood, Internal Combustion Engine Fundamentals, app. C).
The carburettor's rated flow fixes the effective area wide open; the butterfly's geometry scales it.
"""

import math
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.physics.atmosphere import (
    GAS_CONSTANT_AIR,
    HEAT_RATIO_AIR,
    STANDARD_PRESSURE_PA,
    STANDARD_TEMPERATURE_K,
    Surroundings,
)

_G = HEAT_RATIO_AIR
CRITICAL_RATIO: float = (2.0 / (_G + 1.0)) ** (_G / (_G - 1.0))
_CHOKED: float = math.sqrt(_G) * (2.0 / (_G + 1.0)) ** ((_G + 1.0) / (2.0 * (_G - 1.0)))


def flow_function(ratio: float) -> float:
    """Air flow per effective area, pressure over sqrt(R T): no unit; ratio is downstream over upstream pressure."""
    if ratio <= CRITICAL_RATIO:
        return _CHOKED
    if ratio >= 1.0:
        return 0.0
    head = (2.0 * _G / (_G - 1.0)) * (1.0 - ratio ** ((_G - 1.0) / _G))
    return float(ratio ** (1.0 / _G) * math.sqrt(head))


def air_flow(effective_area_m2: float, air: Surroundings, downstream_pa: float) -> float:
    """Air mass flow [kg/s] through an effective area [m2] from the surroundings to a pressure [Pa]."""
    root = math.sqrt(GAS_CONSTANT_AIR * air.temperature_k)
    return effective_area_m2 * air.pressure_pa / root * flow_function(downstream_pa / air.pressure_pa)


def rated_effective_area(rated_flow_m3_s: float, test_depression_pa: float) -> float:
    """Effective area wide open [m2] of a carburettor rated at a volume flow [m3/s] under a depression [Pa].

    Rated flow is of standard air. 0.28317 m3/s (600 ft3/min) at 1.5 inHg give 31.96 cm2.
    """
    air = Surroundings(STANDARD_PRESSURE_PA, STANDARD_TEMPERATURE_K)
    mass_flow = rated_flow_m3_s * air.density_kg_m3
    return mass_flow / air_flow(1.0, air, air.pressure_pa - test_depression_pa)


def butterfly_open_share(angle_deg: Array, closed_deg: float, shaft_ratio: float) -> Array:
    """Open area over bore area of a butterfly at an angle from the closed stop; shape of angle_deg.

    closed_deg : plate angle at the closed stop, from square across the bore. shaft_ratio : shaft over bore diameter a.
    With c = cos(psi)/cos(psi0): 1 - c + (2/pi)[a sqrt(1 - a^2/c^2) + c asin(a/c) - a sqrt(1 - a^2) - asin a], and
    1 - (2/pi)[a sqrt(1 - a^2) + asin a] once the shaft hides the plate (c <= a). Source: the projected area of the
    gap, derived by us and checked by quadrature in the tests.
    """
    psi = np.radians(np.clip(angle_deg + closed_deg, closed_deg, 90.0))
    a = shaft_ratio
    c = np.cos(psi) / math.cos(math.radians(closed_deg))
    hidden = c <= a
    safe = np.where(hidden, 1.0, c)
    lost = a * math.sqrt(1.0 - a * a) + math.asin(a)
    partly = 1.0 - safe + (2.0 / math.pi) * (a * np.sqrt(1.0 - (a / safe) ** 2) + safe * np.arcsin(a / safe) - lost)
    return np.where(hidden, 1.0 - (2.0 / math.pi) * lost, partly)


@dataclass(frozen=True)
class ThrottlePlate:
    """A butterfly in its barrel: the angle at which it is closed [deg], its shaft over the bore, and its own effective
    area wide open over the barrel's."""

    closed_deg: float
    shaft_to_bore: float
    over_barrel: float

    def relative_area(self, angle_deg: Array) -> Array:
        """Effective area of a barrel over that wide open: venturi and plate are two restrictions in series.

        With the plate's own area wide open k times the barrel's, 1/CA^2 = (1 - 1/k^2) + 1/(k opening)^2.
        """
        full = butterfly_open_share(np.array([90.0]), self.closed_deg, self.shaft_to_bore)
        opening = butterfly_open_share(angle_deg, self.closed_deg, self.shaft_to_bore) / full
        plate = np.maximum(self.over_barrel * opening, 1e-12)
        return np.asarray(opening * self.over_barrel / np.sqrt(1.0 + plate**2 * (1.0 - self.over_barrel**-2)))
