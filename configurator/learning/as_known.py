"""A car as it is known today: the parts that are in it, and the engine that its runs, a symptom, or else its vehicle
file speak for."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from configurator.book.car_now import car_now, is_in, records_in_book
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS, Symptom, ruled_out
from configurator.judging.table import NEARLY_AS_SURE, asking
from configurator.learning.belief import Belief, belief_of, counts, prior_of
from configurator.slots.wishes import Wish

SURE_ENOUGH = 0.9
"""Share of what the runs leave that parts are to be right for, where nobody says another."""


@dataclass(frozen=True)
class Known:
    """A case with its linkage set, in the engine to judge by; what a symptom rules out, and the belief of runs and
    a symptom, if any."""

    case: Case
    wishes: Sequence[Wish]
    says: str
    belief: Belief | None
    pulls_cleanly: bool = False
    """Whether what is in the car was felt to pull cleanly last: then the fuel side is left alone."""

    @property
    def believed(self) -> Belief:
        """What is believed of the engine: before any run, what is of any."""
        return self.belief or prior_of(self.case)

    def choosing(self, wishes: Sequence[Wish] = (), share: float = SURE_ENOUGH, nearly: float = NEARLY_AS_SURE) -> Case:
        """The case that parts are chosen by: right for a share of what the runs leave, or in the engine of the vehicle
        file where there is no run."""
        if self.belief is None:
            return self.case
        if self.pulls_cleanly:
            return self.case.asking(self.belief.masses, 0.0)
        return asking(self.case, self.belief.masses, share, [*self.wishes, *wishes], nearly)


def as_known(case: Case, place: str | None, symptom: Symptom | None = None) -> Known:
    """By the workshop book. case : of the vehicle file.

    place : of the book, as find_book takes it. Raises BadInput for a book that cannot be read.
    """
    records = records_in_book(case.vehicle.name, place)
    return known_by(car_now(case, records).case, records.runs, symptom)


def known_by(case: Case, runs: Sequence[Trial], symptom: Symptom | None = None) -> Known:
    """With runs or a symptom, which is one more run of what is fitted, the middle of the belief they leave; without,
    the engine as the vehicle file has it. case : of the car as it is now."""
    belief = belief_by(case, runs, symptom)
    if belief is None:
        return Known(case.with_linkage_set(), (), "by the vehicle file: no run has been logged", None)
    if symptom and not belief.runs:
        says = f"by what was felt: {symptom.says}"
    else:
        says = f"by {belief.runs} runs" + (" and what is felt now" if symptom else "")
    wishes = ruled_out(case, symptom) if symptom else ()
    last = None if symptom else last_run(runs)
    clean = symptom.side == 0 if symptom else pulled_cleanly(case, runs)
    if clean:
        says = f"run {last.number} pulled cleanly" if last else "it pulls cleanly as it is"
        says = f"{says}: the fuel side is left alone"
    says = says.replace("1 runs", "1 run")
    return Known(case.at(belief.middle).with_linkage_set(), wishes, says, belief, clean)


def belief_by(case: Case, runs: Sequence[Trial], felt: Symptom | None = None) -> Belief | None:
    """What runs of a vehicle say of it; None where there is none that counts and nothing is felt.

    felt : a symptom that counts as one more run, of what is fitted.
    """
    if felt is None and not any(map(counts, runs)):
        return None
    if felt is not None:
        runs = [*runs, trial_of(case, datetime.now(UTC), Felt(word=felt.word), Conditions())]
        believed = belief_of(case, runs)
        return replace(believed, runs=believed.runs - 1, felt_now=True)
    return belief_of(case, runs)


def last_run(runs: Sequence[Trial]) -> Trial | None:
    """The last of the runs that count."""
    return max(filter(counts, runs), key=lambda run: (run.at, run.number or 0), default=None)


def pulled_cleanly(case: Case, runs: Sequence[Trial]) -> bool:
    """Whether the last run that counts was clean, with the very parts that are in the car now."""
    last = last_run(runs)
    if last is None or last.felt is None or last.felt.word not in SYMPTOMS:
        return False
    return not SYMPTOMS[last.felt.word].side and is_in(case, last)
