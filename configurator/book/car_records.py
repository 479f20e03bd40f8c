"""What the book holds of one car, in the order in which it happened."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Literal

from pydantic import Field

from configurator.book.fitting import Fitting
from configurator.book.records import Trial
from configurator.reports import Report

RunOrFitting = Trial | Fitting
Version = tuple[int, int, int, int]
"""How many runs that are not undone the book has of a car and the last one's number, and the same of what was told to
be fitted, those too that cannot be read: another one after every change."""
NOTHING_BOOKED: Version = (0, 0, 0, 0)


class SetAside(Report):
    """A run, or an entry of what is fitted, that cannot be read: it counts for nothing, and the others do."""

    kind: Literal["run", "entry"] = Field(description="a run, or an entry of what is fitted")
    number: int = Field(description="its number in the book")
    vehicle: str = Field(description="name of the vehicle")
    undone: bool = Field(description="taken back, so that nobody is told of it any more")
    why: str = Field(description="why it cannot be read")

    @property
    def left_out(self) -> str:
        """That it is left out, and why."""
        return f"{self.kind} {self.number} is left out: {self.why}"

    @property
    def says(self) -> str:
        """The same, and how it is taken back."""
        undo = f"tipin trial undo {self.number}" if self.kind == "run" else "tipin fit"
        return f"{self.left_out}; `{undo}` takes it back for good"


@dataclass(frozen=True)
class CarRecords:
    """What the book holds of one car: its runs, what was told to be fitted, and what of both cannot be read.

    version : of the whole, as it was when that was read.
    """

    runs: Sequence[Trial] = ()
    fittings: Sequence[Fitting] = ()
    set_aside: Sequence[SetAside] = ()
    version: Version = NOTHING_BOOKED

    def until(self, at: datetime) -> "CarRecords":
        """What happened up to then."""
        runs = [run for run in self.runs if run.at <= at]
        return replace(self, runs=runs, fittings=[one for one in self.fittings if one.at <= at])

    @cached_property
    def in_order(self) -> list[RunOrFitting]:
        """By the time they speak of, those undone too."""
        return sorted([*self.runs, *self.fittings], key=_order)

    @cached_property
    def standing(self) -> list[RunOrFitting]:
        """The same without those undone."""
        return [entry for entry in self.in_order if not entry.undone]


def _order(entry: RunOrFitting) -> tuple[datetime, int, int]:
    """Of one second, what was told comes behind the runs that the book had before it."""
    if isinstance(entry, Fitting):
        return entry.at, entry.after_run or 0, entry.number or 1
    return entry.at, entry.number or 0, 0
