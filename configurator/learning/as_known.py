"""A case as it is known today: the demand factor that its runs, a symptom, or else its vehicle file speak for."""

from collections.abc import Sequence
from dataclasses import dataclass

from configurator.book.records import Trial
from configurator.judging.case import Case
from configurator.judging.feelings import Symptom, moved
from configurator.learning.belief import Belief
from configurator.learning.belief_in_book import belief_by, runs_in_book
from configurator.slots.wishes import Wish


@dataclass(frozen=True)
class Known:
    """A case with its linkage set, at the factor to judge by; what a symptom rules out; the belief of runs, if any."""

    case: Case
    wishes: Sequence[Wish]
    says: str
    belief: Belief | None


def as_known(case: Case, place: str | None, symptom: Symptom | None = None) -> Known:
    """By the runs of the vehicle in the workshop book.

    place : of the book, as find_book takes it. Raises BadInput for a book that cannot be read.
    """
    return known_by(case, runs_in_book(case.vehicle.name, place), symptom)


def known_by(case: Case, runs: Sequence[Trial], symptom: Symptom | None = None) -> Known:
    """With runs, the median of the belief they leave, a symptom being one more run of what is fitted; without, the
    factor that the symptom points to; without that, the vehicle file's own."""
    belief = belief_by(case, runs, symptom)
    if belief is not None:
        leave = "1 run leaves" if belief.runs == 1 else f"{belief.runs} runs leave"
        says = f"demand factor {belief.median:.2f}: the middle of what {leave}"
        return Known(case.at(belief.median).with_linkage_set(), (), says, belief)
    if symptom is None:
        return Known(case.with_linkage_set(), (), f"demand factor {case.factor:.2f}, from the vehicle file", None)
    move = moved(case, symptom)
    wishes = () if move.wish is None else (move.wish,)
    return Known(case.at(move.factor).with_linkage_set(), wishes, move.says, None)
