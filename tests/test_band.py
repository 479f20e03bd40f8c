"""The demand band against what it is drawn from."""

import building
import numpy as np
import pytest

from configurator.band import band_of
from configurator.physics.tip_in import UNTIL_S


def test_the_drawn_shot_holds_the_volume_that_is_reported() -> None:
    case = building.case(building.vehicle())
    band = band_of(case, "front", case.as_fitted)
    shot = case.columns("front", {slot: (option,) for slot, option in case.as_fitted.items()})["shot"]
    assert band.time_ms[0] == 0.0 and band.time_ms[-1] == pytest.approx(1000 * UNTIL_S)
    volume = float(np.sum(band.delivered_cc_s[:-1] * np.diff(band.time_ms) / 1000))
    assert volume == pytest.approx(shot.volume_cc.item(), rel=1e-9)
    assert (band.hole_ms, band.flood_ms) == (shot.hole_ms.item(), shot.flood_ms.item())
