"""Spells beyond a limit, against brute force and by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from configurator.arrays import Array
from configurator.physics.spells import SpellMeter, metered


def longest_by_brute_force(time_s: Array, depth: Array) -> float:
    """Longest run above zero of the straight lines between samples, looked at 20,000 times."""
    dense = np.linspace(time_s[0], time_s[-1], 20_001)
    above = np.interp(dense, time_s, depth) > 0.0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], above.astype(int), [0]])))
    runs = edges[1::2] - edges[::2]
    return float(runs.max(initial=0)) * float(dense[1] - dense[0])


DEPTHS = st.floats(0.01, 1.0).flatmap(lambda size: st.sampled_from([size, -size]))


@given(st.lists(st.tuples(st.floats(0.01, 0.3), DEPTHS, DEPTHS), min_size=2, max_size=25))
@settings(deadline=None)
def test_meter_against_brute_force(samples: list[tuple[float, float, float]]) -> None:
    intervals, one, two = np.array(samples).T
    time_s, depths = np.cumsum(intervals), np.stack([one, two], axis=1)
    meter = SpellMeter(2)
    for index, row in enumerate(depths):
        meter.feed(row, float(time_s[index] - time_s[index - 1]) if index else 0.0)
    expected = [longest_by_brute_force(time_s, depths[:, column]) for column in (0, 1)]
    np.testing.assert_allclose(meter.longest_s, expected, atol=3.0 * (time_s[-1] - time_s[0]) / 20_000)


def test_meter_on_a_triangle_by_hand() -> None:
    # Up from -1 to 3 and back in steps of 0.1 s: above zero for 0.075 + 0.05 s; then a shorter one
    meter = SpellMeter(1)
    for depth, interval in ((-1.0, 0.0), (3.0, 0.1), (-3.0, 0.1), (-1.0, 0.1), (1.0, 0.1), (-1.0, 0.1)):
        meter.feed(np.array([depth]), interval)
    assert meter.longest_s[0] == pytest.approx(0.125, rel=1e-12)


def test_a_pause_ends_a_spell() -> None:
    meter = SpellMeter(1)
    for depth in (1.0, 1.0, 1.0):
        meter.feed(np.array([depth]), 0.1)
    meter.pause()
    for depth in (1.0, 1.0):
        meter.feed(np.array([depth]), 0.1)
    assert meter.longest_s[0] == pytest.approx(0.2, rel=1e-12)


@pytest.mark.parametrize(
    "depth, counts, expected",
    [
        ([-1, -1, -1], [1, 1, 1], []),
        ([1, 1, 1], [1, 1, 1], [(0.0, 2.0)]),
        ([1, 1, 1], [0, 1, 1], [(1.0, 2.0)]),
        ([1, 1, 0], [1, 1, 0], [(0.0, 1.0)]),
        ([1, -1, 1, 1], [1, 1, 1, 1], [(0.0, 0.5), (1.5, 3.0)]),
        ([1, 1, -1, 1, 1, 1, 1], [1, 1, 1, 0, 0, 1, 1], [(0.0, 1.5), (5.0, 6.0)]),
        ([1, 1, 1], [0, 0, 0], []),
    ],
)
def test_spells_stand_where_they_are_and_count(
    depth: list[float], counts: list[int], expected: list[tuple[float, float]]
) -> None:
    times, rows = np.arange(float(len(depth))), np.array(depth, dtype=float)[:, None]
    (meter,) = metered(times, rows, 1, [(0.0, 1.0)], np.array(counts, dtype=bool))
    _, began_s, ended_s = meter.spells
    assert list(zip(began_s, ended_s, strict=True)) == expected


def test_each_limit_has_its_own_side() -> None:
    """By hand, phi from 1 up to 2 and back down to 0.5 in steps of a second: above 1.5 from 0.5 s to 1 1/3 s, below 0.8
    from 1.8 s on."""
    times, phi = np.array([0.0, 1.0, 2.0]), np.array([[1.0], [2.0], [0.5]])
    poor, rich = metered(times, phi, 1, [(0.80, -1.0), (1.50, 1.0)], np.ones(3, dtype=bool))
    assert (rich.longest_s[0], poor.longest_s[0]) == pytest.approx((1.0 / 2.0 + 1.0 / 3.0, 0.2), rel=1e-12)
