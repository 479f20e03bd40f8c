"""What opens which joint: an old gasket is not fitted again."""

from collections.abc import Iterable, Mapping

from configurator.slots.options import Option

JOINTS: dict[str, tuple[str, ...]] = {
    "nozzle": ("nozzle_seat",),
    "feed_screw": ("nozzle_seat",),
    "pump": ("pump_cover",),
    "spacer": ("carburettor_flange",),
    "pad_relief": ("carburettor_flange", "intake_manifold"),
}
"""The joints that a change in a slot opens; the manifold comes off for work on its pad."""
CarJoint = tuple[str, str]
"""A joint behind its circuit, which is empty for the carburettor's own."""


def openers(slots: Iterable[str]) -> dict[CarJoint, list[str]]:
    """The joints that changes in these slots may open, each with the slots whose change opens it."""
    found: dict[CarJoint, list[str]] = {}
    for slot in slots:
        circuit, _, bare = slot.rpartition(".")
        for joint in JOINTS.get(bare, ()):
            found.setdefault((circuit, joint), []).append(slot)
    return found


def joints_opened(choice: Mapping[str, Option]) -> set[CarJoint]:
    """The joints that the changes of a choice open."""
    return set(openers(slot for slot, option in choice.items() if option.changed))
