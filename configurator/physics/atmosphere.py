"""The air around the car, and air as a gas.

Assumes dry air as a perfect gas. Source: ISO 2533 (standard atmosphere), lowest layer; altitude is geometric.
"""

from dataclasses import dataclass

from configurator.errors import OutOfRange

GAS_CONSTANT_AIR = 287.05287
"""J/(kg K), ISO 2533."""
HEAT_RATIO_AIR = 1.4
STANDARD_PRESSURE_PA = 101_325.0
STANDARD_TEMPERATURE_K = 288.15
GRAVITY_M_S2 = 9.80665

_LAPSE_K_M = 0.0065
_EARTH_RADIUS_M = 6_356_766.0


@dataclass(frozen=True)
class Surroundings:
    """Pressure [Pa] and temperature [K] of the air the carburettor breathes."""

    pressure_pa: float
    temperature_k: float

    @property
    def density_kg_m3(self) -> float:
        return self.pressure_pa / (GAS_CONSTANT_AIR * self.temperature_k)


def standard_atmosphere(altitude_m: float) -> Surroundings:
    """Pressure and temperature of the standard atmosphere at a geometric altitude [m].

    Raises OutOfRange outside -1,000 to 11,000 m. Source: ISO 2533, equations for the troposphere.

    >>> round(standard_atmosphere(1000.0).density_kg_m3, 5)
    1.11166
    """
    if not -1000.0 <= altitude_m <= 11_000.0:
        raise OutOfRange("altitude", altitude_m, -1000.0, 11_000.0, "m")
    geopotential_m = _EARTH_RADIUS_M * altitude_m / (_EARTH_RADIUS_M + altitude_m)
    temperature_k = STANDARD_TEMPERATURE_K - _LAPSE_K_M * geopotential_m
    exponent = GRAVITY_M_S2 / (GAS_CONSTANT_AIR * _LAPSE_K_M)
    pressure_pa = STANDARD_PRESSURE_PA * (temperature_k / STANDARD_TEMPERATURE_K) ** exponent
    return Surroundings(pressure_pa, temperature_k)
