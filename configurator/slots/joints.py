"""What opens which joint: an old gasket is not fitted again."""

from collections.abc import Iterable

from configurator.catalogue.parts import Joint
from configurator.slots.options import Choice
from configurator.slots.slot import Slot, SlotName

JOINTS: dict[SlotName, tuple[Joint, ...]] = {
    "nozzle": ("nozzle_seat",),
    "feed_screw": ("nozzle_seat",),
    "pump": ("pump_cover",),
    "lobe": (),
    "spacer": ("carburettor_flange",),
    "pad_relief": ("carburettor_flange", "intake_manifold"),
}
"""The joints that a change in a slot opens; the manifold comes off for work on its pad."""
CarJoint = tuple[str, Joint]
"""A joint behind its circuit, which is empty for the carburettor's own."""


def openers(slots: Iterable[Slot]) -> dict[CarJoint, list[Slot]]:
    """The joints that changes in these slots may open, each with the slots whose change opens it."""
    found: dict[CarJoint, list[Slot]] = {}
    for slot in slots:
        for joint in JOINTS[slot.name]:
            found.setdefault((slot.circuit or "", joint), []).append(slot)
    return found


def joints_opened(choice: Choice) -> set[CarJoint]:
    """The joints that the changes of a choice open."""
    return set(openers(slot for slot, option in choice.items() if option.changed))
