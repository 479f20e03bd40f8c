"""Jobs by hand, by the kind of change: what can kill is said after whatever touches it."""

import building
import pytest

from configurator.advice.aftercare import LEAKS, MEASURE, PAD, SPACER, THROTTLE, aftercare
from configurator.slots.wishes import choose, read_wishes

CASE = building.case(building.two_circuits())


@pytest.mark.parametrize(
    ("word", "jobs"),
    [
        ("front.nozzle=straight-0.90", [LEAKS]),
        ("rear.feed_screw=screw-free", [LEAKS]),
        ("front.lobe=lobe-low@0", [THROTTLE]),
        ("front.lobe=lobe-mid@8", [THROTTLE]),
        ("rear.lobe=lobe-low@0", [THROTTLE]),
        ("front.pump=pump-large", [THROTTLE, LEAKS]),
        ("spacer=spacer-6", [THROTTLE, SPACER, LEAKS]),
        ("pad_relief=1mm", [THROTTLE, PAD, LEAKS]),
        ("front.nozzle=redrill:0.90mm", [MEASURE, LEAKS]),
    ],
)
def test_each_change_brings_its_jobs_the_most_dangerous_first(word: str, jobs: list[str]) -> None:
    """A throttle that sticks open kills: whatever sits on its shaft, or moves the carburettor, brings that check."""
    choice = choose(CASE.options, read_wishes(CASE.options, [], [word], []))
    assert aftercare(choice) == jobs


def test_nothing_changed_is_nothing_to_do() -> None:
    assert aftercare(CASE.as_fitted) == []
