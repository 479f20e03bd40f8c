"""A case as it is known today: the demand factor that its runs, a symptom, or else its vehicle file speak for."""

from collections.abc import Sequence
from dataclasses import dataclass

from configurator.case import Case
from configurator.symptoms import Symptom, moved
from configurator.wishes import Wish
from configurator.workshop.belief import Belief
from configurator.workshop.belief_in_book import belief_in_book


@dataclass(frozen=True)
class Known:
    """A case with its linkage set, at the factor to judge by; what a symptom rules out; the belief of runs, if any."""

    case: Case
    wishes: Sequence[Wish]
    says: str
    belief: Belief | None


def as_known(case: Case, place: str | None, symptom: Symptom | None = None) -> Known:
    """With runs in the book, the median of the belief they leave, a symptom being one more run of what is fitted;
    without, the factor that the symptom points to; without that, the vehicle file's own.

    place : of the workshop book, as find_book takes it. Raises BadInput for a book that cannot be read.
    """
    belief = belief_in_book(case, place, symptom)
    if belief is not None:
        says = f"demand factor {belief.median:.2f}: the middle of what {belief.runs} runs leave"
        return Known(case.at(belief.median).with_linkage_set(), (), says, belief)
    if symptom is None:
        return Known(case.with_linkage_set(), (), f"demand factor {case.factor:.2f}, from the vehicle file", None)
    move = moved(case, symptom)
    wishes = () if move.wish is None else (move.wish,)
    return Known(case.at(move.factor).with_linkage_set(), wishes, move.says, None)
