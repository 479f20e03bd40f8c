"""A slot: where one part sits, in a circuit of its own or between both."""

from typing import Literal, NamedTuple

SlotName = Literal["nozzle", "feed_screw", "pump", "lobe", "spacer", "pad_relief"]
CIRCUIT_SLOTS: tuple[SlotName, ...] = ("nozzle", "feed_screw", "pump", "lobe")
SHARED_SLOTS: tuple[SlotName, ...] = ("spacer", "pad_relief")
AXES: tuple[SlotName, ...] = (*CIRCUIT_SLOTS, *SHARED_SLOTS)
"""Axes of a table over one circuit's options."""
SLOT_WORDS: dict[SlotName, str] = {
    "nozzle": "nozzle", "feed_screw": "feed screw", "pump": "pump", "lobe": "lobe", "spacer": "spacer",
    "pad_relief": "manifold pad",
}  # fmt: skip
"""What a slot is called by people, without its circuit."""


class Slot(NamedTuple):
    """A slot of a carburettor; circuit is None for those that the circuits share.

    >>> str(Slot.of("front", "nozzle")), str(Slot.of("front", "spacer"))
    ('front.nozzle', 'spacer')
    """

    circuit: str | None
    name: SlotName

    @classmethod
    def of(cls, circuit: str, name: SlotName) -> "Slot":
        """The slot of that name that a circuit's parts meet: its own, or the shared one."""
        return cls(None if name in SHARED_SLOTS else circuit, name)

    def __str__(self) -> str:
        """As commands, forms and answers have it."""
        return self.name if self.circuit is None else f"{self.circuit}.{self.name}"


SLOTS = {str(slot): slot for slot in (*(Slot(circuit, name) for circuit in ("front", "rear") for name in CIRCUIT_SLOTS),
                                      *(Slot(None, name) for name in SHARED_SLOTS))}  # fmt: skip
"""Every slot there may be, by what it is written as."""
