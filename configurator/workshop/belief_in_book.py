"""What the runs in the workshop book say of one vehicle."""

from datetime import UTC, datetime

from configurator.case import Case
from configurator.symptoms import Symptom
from configurator.workshop.belief import Belief, belief_of, counts
from configurator.workshop.book import find_book
from configurator.workshop.records import Conditions, Felt, trial_of


def belief_in_book(case: Case, place: str | None, felt: Symptom | None = None) -> Belief | None:
    """What the runs of a vehicle say of it; None where the book has none that counts, or there is no book.

    felt : a symptom that counts as one more run, of what is fitted.
    """
    book = find_book(place)
    if book is None:
        return None
    with book:
        runs = book.trials(case.vehicle.name)
    if not any(map(counts, runs)):
        return None
    if felt is not None:
        runs.append(trial_of(case, datetime.now(UTC), Felt(word=felt.word), Conditions()))
    return belief_of(case, runs)
