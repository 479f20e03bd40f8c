"""What the book holds of one car, in the order in which it happened."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from configurator.book.fitting import Fitting
from configurator.book.records import Trial

RunOrFitting = Trial | Fitting


@dataclass(frozen=True)
class CarRecords:
    """What the book holds of one car: its runs and what was told to be fitted."""

    runs: Sequence[Trial] = ()
    fittings: Sequence[Fitting] = ()

    def until(self, at: datetime) -> "CarRecords":
        """What happened up to then."""
        return CarRecords([run for run in self.runs if run.at <= at], [one for one in self.fittings if one.at <= at])

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
