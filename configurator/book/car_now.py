"""The car as it is now: its vehicle file, with the parts that the book knows to be in it.

What was told last counts: the parts of a run, a cold one too, or 'this is fitted now'. A part that the file calls the
same is as the file describes it, so what was measured on it there holds on; a linkage with another pump or lobe is set
again, its measures gone.
"""

from dataclasses import dataclass, field, replace
from typing import Any

from configurator.book.car_records import CarRecords, RunOrFitting
from configurator.book.records import moved_clearances
from configurator.book.usual_place import may_be_there
from configurator.car.in_place import CircuitInPlace, PartsInPlace
from configurator.car.vehicle import Vehicle
from configurator.judging.car_in_catalogue import CarInCatalogue
from configurator.judging.case import Case
from configurator.slots.columns import Mount
from configurator.slots.options import Stack
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

_SPACER, _PAD_RELIEF = Slot(None, "spacer"), Slot(None, "pad_relief")


def records_in_book(vehicle: str, place: str | None) -> CarRecords:
    """What the workshop book holds of a vehicle; nothing where there is no book. place : as find_book takes it."""
    if not may_be_there(place):
        return CarRecords()
    from configurator.book.book import find_book

    book = find_book(place)
    if book is None:
        return CarRecords()
    with book:
        return book.records(vehicle)


@dataclass(frozen=True)
class CarNow:
    """A car as it is now. case : with what is in it. filed : by its file alone. by : who told so last; None: the file.
    gone : parts told that the catalogue has no more, by slot; the file's stand in their place."""

    case: Case
    filed: Case
    by: RunOrFitting | None = None
    gone: dict[Slot, str] = field(default_factory=dict)


def car_now(filed: Case, records: CarRecords) -> CarNow:
    """The car of a vehicle file as it is by what the book holds of it."""
    if not records.standing:
        return CarNow(filed, filed)
    last = records.standing[-1]
    vehicle, gone = _with_parts_of(last, filed)
    if vehicle is filed.vehicle:
        return CarNow(filed, filed, last, gone)
    return CarNow(replace(filed, car=CarInCatalogue.of(vehicle, filed.catalog)), filed, last, gone)


def is_in(case: Case, entry: RunOrFitting) -> bool:
    """Whether the parts of an entry are just those in the car."""
    vehicle, gone = _with_parts_of(entry, case)
    return vehicle.fitted == case.vehicle.fitted and not gone


def _with_parts_of(entry: RunOrFitting, case: Case) -> tuple[Vehicle, dict[Slot, str]]:
    """The vehicle with the parts of an entry, itself where it has them all; and those the catalogue has no more."""
    was, now = PartsInPlace.model_validate(entry.car["fitted"]), case.vehicle.fitted
    changed: dict[str, Any] = {}
    gone: dict[Slot, str] = {}
    for name in case.circuit_names:
        own: dict[str, Any] = {}
        for slot in (Slot(name, one) for one in CIRCUIT_SLOTS):
            label = entry.codes.get(str(slot))
            if label is None or label == case.as_fitted[slot].label:
                continue
            described = _described(slot, label, case, getattr(was, name))
            if described is None:
                gone[slot] = label
            else:
                own |= described
        if "pump" in own or "lobe" in own:
            own |= dict.fromkeys(("slack_mm", "preload_mm", "overtravel_mm"))
        if own:
            changed[name] = getattr(now, name).model_copy(update=own)
    stack = Stack(0.0, 0.0)
    spacer = entry.codes.get(str(_SPACER))
    if spacer is not None and spacer != case.as_fitted[_SPACER].label:
        option = case.options[_SPACER].labelled(spacer)
        if option is None:
            gone[_SPACER] = spacer
        else:
            stack, changed["spacer"] = option.read(Stack), option.code
    relief = case.options[_PAD_RELIEF].labelled(entry.codes.get(str(_PAD_RELIEF), ""))
    if relief is not None and relief.changed:  # what the file says to be off the pad stays off
        changed["pad_relieved_mm"] = relief.read(float)
    if not changed:
        return case.vehicle, gone
    manifold = case.vehicle.manifold
    cleared = manifold.model_copy(update=moved_clearances(manifold.model_dump(), stack, 0.0))
    fitted = now.model_copy(update=changed)
    return case.vehicle.model_copy(update={"fitted": fitted, "manifold": cleared}), gone


def _described(slot: Slot, label: str, case: Case, was: CircuitInPlace | None) -> dict[str, Any] | None:
    """A part of an entry as a vehicle file describes it: by its code, or by its figures where it has none; None for one
    that the catalogue has no more."""
    options = case.options[slot]
    code = options.code_in(label)
    if was is None or (code and not options.of_code(code)):
        return None
    given = code or getattr(was, slot.name)
    if slot.name == "lobe":
        option = options.labelled(label)
        return {"lobe": given, "phase_deg": option.read(Mount).phase_deg if option else was.phase_deg}
    if slot.name == "nozzle":
        measured = code and options.labelled(label) is None and not isinstance(was.nozzle, str)
        return {"nozzle": given, "nozzle_measured": was.nozzle.diameter if measured else None}  # type: ignore[union-attr]
    return {slot.name: given}
