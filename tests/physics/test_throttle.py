"""Throttle plates: air flow against textbook gas dynamics and a library, the butterfly against quadrature."""

import math

import numpy as np
import pytest
from fluids.compressible import P_critical_flow
from fluids.flow_meter import nozzle_expansibility
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from configurator.physics.atmosphere import Surroundings
from configurator.physics.throttle import (
    CRITICAL_RATIO,
    air_flow,
    butterfly_open_share,
    flow_function,
    rated_effective_area,
)

AIR = Surroundings(101_325.0, 298.15)
AREA_M2 = 1e-3


@pytest.mark.parametrize(
    ("downstream_pa", "kg_s"),
    [(95_000.0, 0.118216096), (80_000.0, 0.197778616), (60_000.0, 0.235016173), (50_000.0, 0.237159600)],
)
def test_isentropic_flow_through_ten_square_centimetres(downstream_pa: float, kg_s: float) -> None:
    # Heywood, Internal Combustion Engine Fundamentals, app. C: computed for 101,325 Pa, 298.15 K, R 287.05, gamma 1.4;
    # the last line is choked. Ours has R 287.05287.
    assert air_flow(AREA_M2, AIR, downstream_pa) == pytest.approx(kg_s, rel=6e-6)


def test_choking() -> None:
    # (2/2.4)^3.5 and sqrt(1.4) (2/2.4)^3, by hand
    assert pytest.approx(0.528282, abs=1e-6) == CRITICAL_RATIO
    assert flow_function(0.2) == pytest.approx(0.684731, abs=1e-6)
    assert P_critical_flow(101_325.0, 1.4) == pytest.approx(CRITICAL_RATIO * 101_325.0, rel=1e-12)
    assert flow_function(0.0) == flow_function(0.5) == flow_function(CRITICAL_RATIO)
    # No step and no kink where it chokes: the flow is at its greatest there
    above = flow_function(CRITICAL_RATIO + 1e-4)
    assert flow_function(0.1) > above > flow_function(0.1) * (1.0 - 1e-7)


@given(st.floats(0.53, 0.99999))
def test_subcritical_flow_against_a_library(ratio: float) -> None:
    upstream, downstream = 101_325.0, ratio * 101_325.0
    expansion = nozzle_expansibility(D=1.0, Do=1e-3, P1=upstream, P2=downstream, k=1.4)
    flow = AREA_M2 * expansion * math.sqrt(2.0 * AIR.density_kg_m3 * (upstream - downstream))
    assert air_flow(AREA_M2, AIR, downstream) == pytest.approx(flow, rel=1e-6)


@given(st.floats(0.0, 1.2), st.floats(1e-3, 0.5))
def test_less_pressure_below_never_passes_less(ratio: float, less: float) -> None:
    assert flow_function(max(ratio - less, 0.0)) >= flow_function(ratio) >= 0.0
    if ratio >= 1.0:
        assert flow_function(ratio) == 0.0


def test_small_depressions_are_incompressible() -> None:
    incompressible = AREA_M2 * math.sqrt(2.0 * AIR.density_kg_m3 * 100.0)
    assert air_flow(AREA_M2, AIR, 101_225.0) == pytest.approx(incompressible, rel=1e-3)


def test_rated_area_of_six_hundred_cubic_feet_a_minute() -> None:
    # 600 ft3/min at 1.5 inHg (5,079.58 Pa), 1.225 kg/m3: 31.9648 cm2 compressible, 31.0945 incompressible [computed]
    rated = 600.0 * 0.3048**3 / 60.0
    assert rated_effective_area(rated, 5079.58) * 1e4 == pytest.approx(31.9648, abs=1e-4)
    assert rated / math.sqrt(2.0 * 5079.58 / 1.225) * 1e4 == pytest.approx(31.0945, abs=1e-4)


@given(st.floats(0.05, 0.6), st.floats(1000.0, 15_000.0))
def test_rated_area_passes_the_rated_flow(rated_m3_s: float, depression_pa: float) -> None:
    standard = Surroundings(101_325.0, 288.15)
    flow = air_flow(rated_effective_area(rated_m3_s, depression_pa), standard, 101_325.0 - depression_pa)
    assert flow == pytest.approx(rated_m3_s * 1.225, rel=1e-6)


def test_between_two_depressions_the_square_root_holds_nearly() -> None:
    # Trade rule: twice the test depression shows 1.41 times the flow. Compressible flow gives 1.4 % less.
    one, two = rated_effective_area(0.28, 5079.58), rated_effective_area(0.28 * math.sqrt(2.0), 2.0 * 5079.58)
    assert one == pytest.approx(two, rel=0.03)
    assert two > one


def gap_by_quadrature(angle_deg: float, closed_deg: float, shaft: float) -> float:
    """Open share of the bore by integrating, strip by strip, the gap a tilted ellipse and a shaft leave."""
    squeeze = math.cos(math.radians(angle_deg + closed_deg)) / math.cos(math.radians(closed_deg))

    def open_width(along_shaft: float) -> float:
        half_chord = math.sqrt(max(1.0 - along_shaft**2, 0.0))
        plate, rod = squeeze * half_chord, min(shaft, half_chord)
        return half_chord - max(plate, rod)

    breaks = [math.sqrt(1.0 - shaft**2)]
    if squeeze > shaft:
        breaks.append(math.sqrt(1.0 - (shaft / squeeze) ** 2))
    area = 4.0 * quad(open_width, 0.0, 1.0, points=breaks, limit=200)[0]
    return float(area) / math.pi


@pytest.mark.parametrize("closed_deg", [0.0, 5.0, 12.0])
@pytest.mark.parametrize("shaft", [0.0, 0.1, 0.15, 0.2])
@pytest.mark.parametrize("angle_deg", [0.0, 3.0, 25.0, 55.0, 70.0, 78.0])
def test_butterfly_against_quadrature(angle_deg: float, closed_deg: float, shaft: float) -> None:
    share = butterfly_open_share(np.array([angle_deg]), closed_deg, shaft)
    assert share[0] == pytest.approx(gap_by_quadrature(angle_deg, closed_deg, shaft), abs=1e-7)


@pytest.mark.parametrize(
    ("plate_deg", "shares"),
    [
        (30.0, (0.130667, 0.130598, 0.130110)),
        (60.0, (0.498090, 0.497455, 0.492889)),
        (90.0, (1.0, 0.872889, 0.747060)),
    ],
)
def test_butterfly_values(plate_deg: float, shares: tuple[float, float, float]) -> None:
    # Computed by quadrature: closed stop at 5 degrees, shaft 0, 0.1 and 0.2 of the bore
    for shaft, share in zip((0.0, 0.1, 0.2), shares, strict=True):
        assert butterfly_open_share(np.array([plate_deg - 5.0]), 5.0, shaft)[0] == pytest.approx(share, abs=1e-6)


@given(st.floats(0.0, 15.0), st.floats(0.0, 0.3))
def test_butterfly_opens_steadily_from_nothing(closed_deg: float, shaft: float) -> None:
    share = butterfly_open_share(np.linspace(-5.0, 95.0, 300), closed_deg, shaft)
    assert share[0] == pytest.approx(0.0, abs=1e-12)
    assert np.all(np.diff(share) >= -1e-12)
    assert np.ptp(share[-10:]) < 1e-12 and 0.5 < share[-1] <= 1.0
