"""What somebody told the book is fitted on a car now, as the book keeps it."""

from datetime import datetime
from typing import Any

from pydantic import field_validator

from configurator.book.records import CAR_FORMAT, in_utc, measured_car
from configurator.book.stock import MOST_OF_ONE
from configurator.files.declared import Flag, Record, Time, Whole, figure
from configurator.judging.case import Case
from configurator.slots.options import Choice

MOST_NOTE_SIGNS = 2000


class Fitting(Record):
    """'This is fitted now', of every slot, without a run. number is None until the book has it; one that was undone
    stays, marked. Without codes it says that the vehicle file has it right."""

    number: Whole | None = figure("number in the book", default=None)
    at: Time = figure("when, UTC")
    vehicle: str = figure("name of the vehicle", min_length=1, max_length=200)
    car: dict[str, Any] = figure("the vehicle file as read, with measured figures in place of codes")
    car_format: Whole = figure("format of the car, raised when a key of it changes its meaning", default=1, ge=1)
    codes: dict[str, str] = figure("slot and what is fitted; empty: as the vehicle file has it", default={})
    shelf: dict[str, Whole] = figure("parts that went onto the shelf with it, below zero off it, by code", default={})
    after_run: Whole | None = figure("number of the last run that the book had then", default=None)
    note: str = figure("anything else", default="", max_length=MOST_NOTE_SIGNS)
    undone: Flag = figure("taken back", default=False)

    @field_validator("at")
    @classmethod
    def _in_utc(cls, at: datetime) -> datetime:
        return in_utc(at)

    @field_validator("shelf")
    @classmethod
    def _few(cls, shelf: dict[str, int]) -> dict[str, int]:
        if any(abs(change) > MOST_OF_ONE for change in shelf.values()):
            raise ValueError(f"so many of one part; expected at most {MOST_OF_ONE}")
        return shelf


def fitting_of(case: Case, at: datetime, choice: Choice | None, shelf: dict[str, int], note: str) -> Fitting:
    """A choice of parts as fitted now; choice : None for what the vehicle file says."""
    codes = {} if choice is None else {str(slot): option.label for slot, option in choice.items()}
    car = measured_car(case, choice or case.as_fitted)
    return Fitting(
        at=at, vehicle=case.vehicle.name, car=car, car_format=CAR_FORMAT, codes=codes, shelf=shelf, note=note
    )  # fmt: skip
