"""The grid of engines, and the bits of those that combinations cover, against plain counting."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from configurator.physics import lateness
from configurator.physics.lateness import (
    AS_MODELLED,
    AXIS,
    FIRST_FUEL,
    LATENESS_RANGE,
    MAIN_CIRCUIT,
    NOTHING_COVERED,
    POINTS,
    Lateness,
    Regions,
)

EVERY = POINTS * POINTS
ENGINES = st.floats(*LATENESS_RANGE)


def chance_covers(seed: int, *shape: int) -> np.ndarray:
    chance = np.random.default_rng(seed)
    return chance.random((*shape, EVERY)) < chance.random((*shape, 1))


def test_the_grid_holds_the_engine_as_modelled_in_its_middle() -> None:
    assert (FIRST_FUEL[0], FIRST_FUEL[-1]) == pytest.approx(LATENESS_RANGE) == (MAIN_CIRCUIT[0], MAIN_CIRCUIT[-1])
    assert AS_MODELLED.point == EVERY // 2
    assert (FIRST_FUEL[EVERY // 2], MAIN_CIRCUIT[EVERY // 2]) == pytest.approx((1.0, 1.0), abs=1e-3)
    np.testing.assert_allclose(np.diff(np.log(AXIS)), math.log(2.22 / 0.45) / 32, rtol=1e-9)


@given(st.integers(0, EVERY - 1))
def test_a_point_of_the_grid_is_the_nearest_to_itself(point: int) -> None:
    assert Lateness(float(FIRST_FUEL[point]), float(MAIN_CIRCUIT[point])).point == point


@given(ENGINES, ENGINES)
def test_the_nearest_point_is_nearest_in_both_unknowns(first: float, main: float) -> None:
    near = Lateness(first, main).point
    away = np.hypot(np.log(FIRST_FUEL / first), np.log(MAIN_CIRCUIT / main))
    assert away[near] == pytest.approx(away.min(), abs=1e-12)


@given(st.integers(0, 999))
def test_regions_keep_what_they_were_made_of(seed: int) -> None:
    covers = chance_covers(seed, 3, 2)
    regions = Regions.of(covers)
    np.testing.assert_array_equal(regions.covers, covers)
    points = np.random.default_rng(seed).integers(0, EVERY, 40)
    np.testing.assert_array_equal(regions.at(points.astype(np.float64)), covers[..., points])
    np.testing.assert_array_equal(Regions(regions.bits[1]).covers, covers[1])


def test_a_share_is_the_belief_that_is_covered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Added up one by one; also where regions are unpacked in several blocks."""
    covers, masses = chance_covers(1, 5, 3), np.random.default_rng(2).dirichlet(np.ones(EVERY))
    expected = [[math.fsum(masses[covers[i, j]]) for j in range(3)] for i in range(5)]
    for block in (4096, 4):
        monkeypatch.setattr(lateness, "UNPACKED", block)
        np.testing.assert_allclose(Regions.of(covers).share(masses), expected, rtol=1e-12)
    assert Regions.of(covers[0, 0]).share(masses) == pytest.approx(expected[0][0])


def test_nothing_covered_covers_nothing() -> None:
    nothing = Regions(NOTHING_COVERED)
    assert not nothing.covers.any() and nothing.covers.shape == (EVERY,)
    assert nothing.share(np.full(EVERY, 1.0 / EVERY)) == 0.0
