"""What it takes to stay on a limit: the shot needed, fed back, keeps the mixture there."""

import numpy as np
import pytest
from test_verdict import EVENTS, FILM_SHARE, ONE_CIRCUIT

from configurator.physics.verdict import Allowed, Levels, ShotFlows, mixture, shot_needed, spells


@pytest.mark.parametrize("name", EVENTS)
@pytest.mark.parametrize("factor", [0.7, 1.0, 1.5])
def test_the_shot_needed_keeps_the_mixture_on_the_limit(name: str, factor: float) -> None:
    event = EVENTS[name]
    needed = shot_needed(event, 0.90, FILM_SHARE, factor)
    assert np.all(needed >= 0.0)
    fed = ShotFlows(0.5 * (needed[1:] + needed[:-1])[:, None], np.array([FILM_SHARE]))
    phi = np.array(list(mixture(Levels.of(event, np.array([factor])), fed, np.zeros(1, dtype=np.intp))))[:, 0]
    # Away from where it starts, stops or has a kink, so that means over two steps are the flow itself
    bend = np.abs(needed[4:] - 2.0 * needed[2:-2] + needed[:-4])
    smooth = np.zeros_like(event.judged)
    smooth[2:-2] = event.judged[2:-2] & (needed[:-4] > 0.0) & (needed[4:] > 0.0) & (bend < 0.1 * needed[2:-2])
    assert smooth.sum() > 25
    np.testing.assert_allclose(phi[smooth], 0.90, rtol=0.01)
    # Where the mixture starts to count the flow starts at once, and a step's mean cannot: that costs one step
    hole, _ = spells(event, fed, factor, Allowed(0.89, 1.50, 0.05, 0.15))
    assert hole[0] < 0.004


def test_a_richer_limit_asks_for_more() -> None:
    lean, rich = (shot_needed(ONE_CIRCUIT, phi, FILM_SHARE, 1.0) for phi in (0.8, 1.5))
    volumes = [float(np.trapezoid(needed, ONE_CIRCUIT.time_s)) for needed in (lean, rich)]
    assert 0.0 < volumes[0] < volumes[1]
