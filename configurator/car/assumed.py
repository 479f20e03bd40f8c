"""Assumed figures of the model that a vehicle file overrules, by name: which there are, and how far each is taken."""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from configurator.errors import Fault
from configurator.files.reading import did_you_mean
from configurator.physics.assumptions import Assumptions

BEYOND_ASSUMED_RANGE = 0.25
"""How far beyond its range an assumed figure may be overruled, in widths of the range; farther the equations fail."""

_METADATA = {one.name: one.metadata for one in fields(Assumptions)}
_GONE = {
    "idle_pressure_kpa": "idle_pressure_kpa under [engine] took its place; move the line there",
    "power_air_fuel_ratio": "power_phi took its place: the fuel's stoichiometric_ratio over the old figure",
}
"""Names of earlier versions, each with what took its place."""


def unit_of_assumed(name: str) -> str:
    """Unit of an assumed figure; empty where there is none of this name.

    >>> unit_of_assumed("lip_mm")
    'mm'
    """
    return str(_METADATA[name]["unit"]) if name in _METADATA else ""


def taken_of(name: str) -> tuple[float, float]:
    """Least and most that is taken of an assumed figure."""
    low, high = (_METADATA[name][end] for end in ("low", "high"))
    room = BEYOND_ASSUMED_RANGE * (high - low)
    return low - room, high + room


def assumed_at_fault(given: Mapping[str, Any], file: str) -> list[Fault]:
    """What is wrong with the names under [assumed] and with the numbers there; a value that is no number is told by
    the model of the file."""
    faults = []
    for name, value in given.items():
        place = f"[assumed] {name}"
        if name in _GONE:
            faults.append(Fault(file, place, "is a figure no more", remedy=_GONE[name]))
        elif name not in _METADATA:
            meant = did_you_mean(name, list(_METADATA)) or f"the figures are {', '.join(_METADATA)}"
            faults.append(Fault(file, place, "the model has no such figure", remedy=meant))
        elif isinstance(value, int | float):
            low, high = taken_of(name)
            if not low <= value <= high:
                expected = f"{low:.3g} to {high:.3g} {unit_of_assumed(name)}".rstrip()
                faults.append(Fault(file, place, f"found {value:g}", expected))
    return faults
