"""A lobe's lift as it is drawn: the chosen lobe by its name, each phase it is drilled for, what idle leaves."""

import building
import numpy as np
import pytest

from configurator.judging.lift import lift_of

CASE = building.case()


def test_the_lobe_stands_in_every_phase_it_is_drilled_for() -> None:
    shown = lift_of(CASE, "front", CASE.as_fitted)
    assert (shown.vehicle, shown.circuit, shown.lobe) == ("test truck", "front", "lobe-mid")
    assert [(phase.phase_deg, phase.chosen) for phase in shown.phases] == [(0.0, True), (8.0, False)]
    assert shown.least_left_percent == 80.0 and shown.idle_deg == CASE.circuits["front"].idle_deg
    assert shown.throttle_deg[0] == 0.0 and shown.throttle_deg[-1] == 90.0 - CASE.car.assumed.closed_angle_deg
    assert np.all(np.diff(shown.throttle_deg) > 0)
    assert shown.idle_deg in shown.throttle_deg and 8.0 in shown.throttle_deg


def test_what_is_left_is_what_is_not_lifted_yet() -> None:
    """3.6 mm in all: none of it left at its nose, all of it before the phase; later phases leave more at idle."""
    shown = lift_of(CASE, "front", CASE.as_fitted)
    early, late = shown.phases
    table = CASE.columns("front", {slot: (option,) for slot, option in CASE.as_fitted.items()})
    assert early.left_at_idle_percent == table.lobe.lift_left_percent.item(), "as the rules read it"
    for phase in shown.phases:
        np.testing.assert_allclose(phase.left_percent, 100 * (3.6 - phase.lift_mm) / 3.6)
        assert np.all(phase.lift_mm[shown.throttle_deg <= phase.phase_deg] == 0.0)
        at_idle = np.interp(shown.idle_deg, shown.throttle_deg, phase.left_percent)
        assert phase.left_at_idle_percent == pytest.approx(at_idle)
    assert early.lift_mm[-1] == pytest.approx(3.6) and early.left_percent[-1] == pytest.approx(0.0)
    assert late.left_at_idle_percent == 100.0 > early.left_at_idle_percent


def test_a_phase_it_is_not_drilled_for_is_shown_if_it_is_what_sits_there() -> None:
    odd = building.case(building.vehicle(front={"phase_deg": 3}))
    shown = lift_of(odd, "front", odd.as_fitted)
    assert [(phase.phase_deg, phase.chosen) for phase in shown.phases] == [(0.0, False), (3.0, True), (8.0, False)]
