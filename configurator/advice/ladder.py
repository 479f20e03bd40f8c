"""The ladder of a circuit: nozzle sizes as rungs, runs where they were made, and where the right size is likely to lie.

Runs with another feed screw, pump or lobe stand in a column of their own: a size says little beside other parts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from configurator.advice.named_choice import choice_after
from configurator.advice.next_step import NextReport
from configurator.book.records import Trial
from configurator.car.fitted import FittedNozzle
from configurator.car.in_place import PartsInPlace
from configurator.learning.as_known import Known
from configurator.learning.nozzle_sizes import NozzleSizes, nozzle_sizes
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

_MOST_COLUMNS, MOST_RUNGS, BEYOND = 3, 14, 2
"""Columns and rungs that a phone has room for; rungs beyond the last that anything stands at."""
LIKELY_SHARE, LEAST_LIKELY = 0.5, 0.1
"""A size is likely that is right for half as many engines as the best size; none is where the best is right for few."""


@dataclass(frozen=True)
class RunMark:
    """One run on the ladder. column : place among the columns. word : what was felt; None for a trace alone."""

    number: int
    at: datetime
    diameter_mm: float
    column: int
    word: str | None
    faint: bool


@dataclass(frozen=True)
class Ladder:
    """Sizes [mm], smallest first, and what stands at them; a size that does not exist is None.

    columns : the other parts of each, oldest first; the last is of what comes next, or of what is in. likely_mm : the
    smallest and the largest likely size with the parts of the last column. end_mm : what is expected in the end.
    earlier : runs with parts that no column is left for.
    """

    circuit: str
    columns: tuple[tuple[str, ...], ...]
    rungs_mm: tuple[float, ...]
    marks: tuple[RunMark, ...]
    fitted_mm: float
    likely_mm: tuple[float, float] | None
    next_mm: float | None
    end_mm: float | None
    earlier: int


def ladder_of(known: Known, circuit: str, runs: Sequence[Trial], step: NextReport) -> Ladder:
    """The ladder of one circuit of a car as it is now. step : what is next on that very car."""
    case = known.case
    after = choice_after(case, step.changes)
    sizes = nozzle_sizes(case, circuit, after, known.belief)
    made = [(run, *_as_made(run, circuit)) for run in runs]
    last = tuple(after[Slot(circuit, other)].label for other in CIRCUIT_SLOTS[1:])
    newest_last = list(dict.fromkeys(parts for _, _, parts in reversed(made) if parts != last))[: _MOST_COLUMNS - 1]
    columns = (*reversed(newest_last), last)
    marks = tuple(
        RunMark(
            run.number or 0, run.at, size_mm, columns.index(parts), run.felt.word if run.felt else None,
            run.felt is not None and run.felt.strength == "faint",
        )
        for run, size_mm, parts in made if parts in columns
    )  # fmt: skip
    nozzle = Slot(circuit, "nozzle")
    fitted_mm = case.as_fitted[nozzle].read(FittedNozzle).diameter_mm
    next_mm = after[nozzle].read(FittedNozzle).diameter_mm if step.changes else None
    in_the_end = any(change.slot == str(nozzle) for change in step.destination)
    end_mm = choice_after(case, step.destination)[nozzle].read(FittedNozzle).diameter_mm if in_the_end else None
    likely = _likely_mm(sizes)
    kept = {fitted_mm, *(mark.diameter_mm for mark in marks), *(likely or ())}
    kept |= {size for size in (next_mm, end_mm) if size is not None}
    rungs = _rungs(kept, [size.diameter_mm for size in sizes.sizes])
    return Ladder(circuit, columns, rungs, marks, fitted_mm, likely, next_mm, end_mm, len(made) - len(marks))


def _as_made(run: Trial, circuit: str) -> tuple[float, tuple[str, ...]]:
    """Nozzle [mm] and other parts of a circuit in a run."""
    in_place = getattr(PartsInPlace.model_validate(run.car["fitted"]), circuit)
    return in_place.nozzle.diameter, tuple(run.codes.get(str(Slot(circuit, one)), "") for one in CIRCUIT_SLOTS[1:])


def _likely_mm(sizes: NozzleSizes) -> tuple[float, float] | None:
    """The likely sizes on either side of the best, without a gap."""
    shares = [size.right if size.keeps_rules else 0.0 for size in sizes.sizes]
    best = max(range(len(shares)), key=shares.__getitem__)
    if shares[best] < LEAST_LIKELY:
        return None
    low = high = best
    while low > 0 and shares[low - 1] >= LIKELY_SHARE * shares[best]:
        low -= 1
    while high < len(shares) - 1 and shares[high + 1] >= LIKELY_SHARE * shares[best]:
        high += 1
    return sizes.sizes[low].diameter_mm, sizes.sizes[high].diameter_mm


def _rungs(kept: set[float], offered: Sequence[float]) -> tuple[float, ...]:
    """Sizes at which something stands, and as many of those between and around as there is room for."""
    around = sorted({*kept, *offered})
    first, last = around.index(min(kept)), around.index(max(kept))
    around = around[max(0, first - BEYOND) : last + BEYOND + 1]
    others = [size for size in around if size not in kept]
    room = max(0, MOST_RUNGS - len(kept))
    if room < len(others):
        others = [others[place * len(others) // room] for place in range(room)]
    return tuple(sorted({*kept, *others}))
