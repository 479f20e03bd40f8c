"""The standard atmosphere against ISO 2533 as two independent libraries compute it."""

import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as st

from configurator.errors import OutOfRange
from configurator.physics.atmosphere import Surroundings, standard_atmosphere


@pytest.mark.parametrize(
    ("altitude_m", "density_kg_m3", "pressure_pa"),
    [
        (0.0, 1.225000, 101_325.0),
        (1000.0, 1.111660, 89_876.3),
        (1500.0, 1.058104, 84_559.7),
        (2000.0, 1.006554, 79_501.4),
        (3000.0, 0.909254, 70_121.1),
    ],
)
def test_table_of_the_standard(altitude_m: float, density_kg_m3: float, pressure_pa: float) -> None:
    # ISO 2533, geometric altitude; computed with fluids and ambiance, which agree to 1e-6
    air = standard_atmosphere(altitude_m)
    assert air.density_kg_m3 == pytest.approx(density_kg_m3, rel=2e-6)
    assert air.pressure_pa == pytest.approx(pressure_pa, rel=2e-6)


def test_sea_level_is_fifteen_degrees() -> None:
    assert standard_atmosphere(0.0) == Surroundings(101_325.0, 288.15)


@given(st.floats(-1000.0, 11_000.0))
def test_agrees_with_the_1976_atmosphere_everywhere(altitude_m: float) -> None:
    air, other = standard_atmosphere(altitude_m), ATMOSPHERE_1976(altitude_m)
    # US Standard Atmosphere 1976 and ISO 2533 are the same in this layer, but for the last digit of R
    assert air.pressure_pa == pytest.approx(other.P, rel=5e-6)
    assert air.temperature_k == pytest.approx(other.T, rel=1e-6)
    assert air.density_kg_m3 == pytest.approx(other.rho, rel=5e-6)


def test_altitude_is_geometric_not_geopotential() -> None:
    # At 3,000 m the two readings of "altitude" differ by 1.5e-4 in density: far more than the table's last digit
    geopotential = standard_atmosphere(3000.0 * 6_356_766.0 / (6_356_766.0 - 3000.0)).density_kg_m3
    assert abs(standard_atmosphere(3000.0).density_kg_m3 / geopotential - 1.0) > 1e-4


def test_measured_air_is_a_perfect_gas() -> None:
    # p / (R T) by hand: 95,000 / (287.05287 * 308.15)
    assert Surroundings(95_000.0, 308.15).density_kg_m3 == pytest.approx(1.073988, rel=1e-6)


@pytest.mark.parametrize("altitude_m", [-1000.1, 11_000.1, float("nan")])
def test_outside_the_lowest_layer_it_says_so(altitude_m: float) -> None:
    with pytest.raises(OutOfRange, match="altitude"):
        standard_atmosphere(altitude_m)
