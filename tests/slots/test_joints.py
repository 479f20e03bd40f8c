"""Which joints a choice opens, each in its circuit."""

import building

from configurator.slots.joints import CarJoint, joints_opened
from configurator.slots.slot import SLOTS


def test_joints_are_opened_by_what_changes_in_each_circuit() -> None:
    case = building.case(building.two_circuits())
    assert joints_opened(case.as_fitted) == set()

    def opened(*words: str) -> set[CarJoint]:
        choice = dict(case.as_fitted)
        for word in words:
            slot, _, code = word.partition("=")
            choice[SLOTS[slot]] = next(o for o in case.options[SLOTS[slot]] if (o.code or "") == code and o.changed)
        return joints_opened(choice)

    assert opened("rear.nozzle=straight-0.80") == {("rear", "nozzle_seat")}
    assert opened("front.pump=pump-large") == {("front", "pump_cover")}
    assert opened("front.lobe=lobe-low") == set()
    assert opened("spacer=spacer-6") == {("", "carburettor_flange")}
    assert opened("pad_relief=relieve") == {("", "carburettor_flange"), ("", "intake_manifold")}
    assert opened("front.nozzle=straight-0.90", "rear.nozzle=straight-0.80") == {
        ("front", "nozzle_seat"), ("rear", "nozzle_seat")
    }  # fmt: skip
