"""What is seen of a pull from outside: by hand on straight lines, and as physics.pull has it on random cars."""

import numpy as np
import pytest
from random_cars import FRONT, case_with, few_parts, random_car
from recording_making import truth_of
from scipy.ndimage import gaussian_filter1d

from configurator.arrays import Array
from configurator.physics.lateness import Lateness
from configurator.physics.pull_seen import SEEN_TIMES_S, STEP_S, seen_in, smoothed_at
from configurator.physics.tip_in import event_times


def lines(*corners: tuple[float, float]) -> Array:
    """A pull of straight lines at SEEN_TIMES_S, (times, 1)."""
    times, values = zip(*corners, strict=True)
    return np.asarray(np.interp(SEEN_TIMES_S, times, values))[:, None]


def test_a_ramp_is_seen_as_counted_by_hand() -> None:
    """0 to 1 in 0.4 s: it moves by 8 % after 32 ms, and is at a half to 85 % after 200 to 340 ms, 270 on the mean."""
    seen = seen_in(lines((0.0, 0.0), (0.4, 1.0)))
    assert seen.begins_s[0] == pytest.approx(0.032, abs=1e-3)
    assert seen.rise_ms[0] == pytest.approx(270 - 32, abs=3)
    assert seen.sag_percent[0] == pytest.approx(0, abs=0.1) and seen.level[0] == pytest.approx(1, abs=1e-3)
    assert seen_in(lines((0.0, 0.0), (0.4, 1.0)), 0.0).rise_ms[0] == pytest.approx(270, abs=3)


@pytest.mark.parametrize("size", [0.3, 2.0, 900.0])
def test_its_unit_does_not_matter_and_a_sag_is_in_shares_of_the_level(size: float) -> None:
    notch = lines((0.0, 0.0), (0.2, 1.0), (0.5, 1.0), (0.6, 0.7), (0.7, 1.0))
    seen = seen_in(size * notch)
    assert seen.sag_percent[0] == pytest.approx(30, abs=0.5)
    assert seen.sag_at_ms[0] == pytest.approx(600 - 1e3 * seen.begins_s[0], abs=11)
    assert seen.level[0] == pytest.approx(size, rel=1e-3)


def test_a_rise_that_stops_halfway_comes_late_and_a_dip_begins_it() -> None:
    """The rise stands still for 0.3 s at 60 %: those levels come 0.3 s later, 25 of the 35 % looked at."""
    straight, stops = lines((0.0, 0.0), (0.2, 1.0)), lines((0.0, 0.0), (0.12, 0.6), (0.42, 0.6), (0.5, 1.0))
    later = seen_in(stops, 0.0).rise_ms[0] - seen_in(straight, 0.0).rise_ms[0]
    assert later == pytest.approx(300 * 25 / 35, abs=5)
    dips = seen_in(lines((0.0, 0.0), (0.1, -0.5), (0.2, 0.0), (0.4, 1.0)))
    assert 0.0 < dips.begins_s[0] < 0.03 and dips.rise_ms[0] > 290


def test_what_never_pulls_is_not_a_number() -> None:
    seen = seen_in(
        np.hstack([0 * SEEN_TIMES_S[:, None], lines((0.0, 0.0), (0.3, -1.0)), lines((0.0, 0.0), (0.3, 1.0))])
    )
    assert np.isnan(seen.rise_ms[:2]).all() and np.isfinite(seen.rise_ms[2])


@pytest.mark.parametrize("smoothing_s", [0.03, 0.1])
def test_a_pull_is_smoothed_by_a_bell(smoothing_s: float) -> None:
    times = event_times()
    pull = 1.0 - np.exp(-times / 0.15) - 0.4 * np.exp(-(((times - 0.5) / 0.1) ** 2))
    own = smoothed_at(smoothing_s) @ pull
    fine = np.arange(-2.0, 4.0, 0.001)
    before_and_after = np.interp(fine, times, pull, left=0.0, right=pull[-1])
    expected = gaussian_filter1d(before_and_after, smoothing_s / 0.001)
    assert own == pytest.approx(np.interp(SEEN_TIMES_S, fine, expected), abs=3e-3)


def test_from_the_throttle_on_it_is_the_delay_that_is_felt() -> None:
    """Rise less that of the best is the delay of physics.pull, where the pull comes to all of the best."""
    delays = []
    for seed in range(16):
        truth = truth_of(case_with(random_car(seed), few_parts(), FRONT), Lateness(1.0, 1.4))
        seen = seen_in(smoothed_at(STEP_S / 2) @ np.column_stack([truth.given, truth.best]), 0.0)
        if seen.level[0] > 0.992 * seen.level[1] and seen.sag_percent[0] < 10:
            assert seen.rise_ms[0] - seen.rise_ms[1] == pytest.approx(truth.delay_ms, abs=6)
            delays.append(truth.delay_ms)
    assert len(delays) >= 4 and max(delays) > 40
