"""A workshop file: which vehicles are to be ready on which day, and how sure the box of parts has to be.

name = "Tarn Lane Garage, spring meeting"
today = 2026-05-04
sureness = 0.9

[[vehicle]]
file = "roadster.toml"
day = 2026-05-09

[[vehicle]]
file = "roadster.toml"
name = "Roadster of the second driver"
day = 2026-05-16
symptom = "stumble"
"""

from collections import Counter
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Self

from pydantic import ValidationError, field_validator, model_validator

from configurator.basis import ASSUMED
from configurator.car.vehicle import Vehicle, load_vehicle
from configurator.errors import BadInput, Fault
from configurator.files.declared import Number, Record, figure
from configurator.files.faults import FaultPlace, faults_of
from configurator.files.reading import read_toml
from configurator.judging.feelings import SYMPTOMS, Moment, symptom_word


class Appointment(Record):
    """One vehicle and its day."""

    file: str = figure("vehicle file, by its path from this file", min_length=1, max_length=1000)
    name: str | None = figure(
        "what this vehicle is called, where several share one file; by default as its file says",
        default=None, min_length=1, max_length=200,
    )  # fmt: skip
    day: date = figure("day it is worked on: what is delivered by that day counts")
    symptom: str | None = figure("what it feels like today, as a proposal takes it", default=None)
    when: Moment | None = figure("when that is felt, as a proposal takes it", default=None)
    sureness: Number | None = figure(
        "share of the belief for which the box holds what meets the demand", basis=ASSUMED, default=None, gt=0, lt=1
    )

    @field_validator("symptom")
    @classmethod
    def _is_felt(cls, word: str | None) -> str | None:
        known = None if word is None else symptom_word(word)
        if known is not None and known not in SYMPTOMS:
            raise ValueError(f"'{word}' is no symptom; expected one of {', '.join(SYMPTOMS)}")
        return known

    @model_validator(mode="after")
    def _when_of_what(self) -> Self:
        moments = SYMPTOMS[self.symptom].moments if self.symptom else ()
        if self.when is not None and self.when not in moments:
            expected = f"one of {', '.join(moments)}" if moments else "a symptom that may be felt at once or later"
            raise ValueError(f"when is '{self.when}'; expected {expected}")
        return self


class Meeting(Record):
    """A workshop file as written."""

    name: str = figure("what the order is for", min_length=1, max_length=200)
    today: date = figure("day of the order")
    sureness: Number = figure("sureness wanted where a vehicle names none", basis=ASSUMED, default=0.9, gt=0, lt=1)
    labour_per_hour: Number = figure(
        "price of an hour's work: an order then counts the fitting of every part in a box, once; 0 for none",
        default=0.0, ge=0, le=10_000,
    )  # fmt: skip
    vehicle: tuple[Appointment, ...] = figure("the vehicles", min_length=1, max_length=20_000)

    @model_validator(mode="after")
    def _days_ahead(self) -> Self:
        for place, appointment in enumerate(self.vehicle, 1):
            if appointment.day < self.today:
                raise ValueError(f"vehicle {place} runs on {appointment.day}; expected a day not before {self.today}")
        return self


def load_meeting(path: Path | str, within: Path | None = None) -> tuple[Meeting, list[Vehicle]]:
    """Read a workshop file and the vehicles it names, in its order; raises BadInput with every fault of every file.

    within : the only folder that its vehicle files may lie in; of others not a word is read.
    """
    path = Path(path)
    try:
        meeting = Meeting.model_validate(read_toml(path))
    except ValidationError as error:
        raise BadInput(faults_of(error, Meeting, str(path), _place)) from None
    files: dict[str, Vehicle] = {}
    faults: list[Fault] = []
    for file in dict.fromkeys(appointment.file for appointment in meeting.vehicle):
        try:
            files[file] = load_vehicle(_inside(path.parent / file, within, str(path)))
        except BadInput as error:
            faults += error.faults
    vehicles = [_called(files[one.file], one.name) for one in meeting.vehicle if one.file in files]
    faults += twin_faults(vehicles, str(path), "vehicle")
    if faults:
        raise BadInput(faults)
    return meeting, vehicles


def _inside(file: Path, within: Path | None, meeting: str) -> Path:
    try:
        if within is None or file.resolve().is_relative_to(within.resolve()):
            return file
    except (OSError, ValueError, RuntimeError):  # a name that no file can have, or links that lead in a circle
        pass
    raise BadInput([Fault(meeting, "file", "names a vehicle file that lies elsewhere", f"one in {within}")])


def _called(vehicle: Vehicle, name: str | None) -> Vehicle:
    """The vehicle under a name of its own, everything else shared."""
    return vehicle if name is None else vehicle.model_copy(update={"name": name})


def twin_names(vehicles: Iterable[Vehicle]) -> list[str]:
    """Names that more than one vehicle goes by: runs are kept by name."""
    return [name for name, count in Counter(vehicle.name for vehicle in vehicles).items() if count > 1]


def twin_faults(vehicles: Iterable[Vehicle], file: str, place: str) -> list[Fault]:
    """A fault for each name that more than one vehicle goes by."""
    expected = "a name of its own for each"
    return [Fault(file, place, f"two vehicles are called '{name}'", expected) for name in twin_names(vehicles)]


def _place(loc: FaultPlace) -> str:
    """vehicle, 2, day -> [[vehicle]] number 2, day"""
    keys = [str(step) for step in loc]
    if len(keys) > 1 and keys[0] == "vehicle" and keys[1].isdigit():
        return ", ".join([f"[[vehicle]] number {int(keys[1]) + 1}", *keys[2:]])
    return ".".join(keys)
