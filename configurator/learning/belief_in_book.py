"""What the runs in the workshop book say of one vehicle."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

from configurator.book.book import find_book
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.judging.case import Case
from configurator.judging.feelings import Symptom
from configurator.learning.belief import Belief, belief_of, counts


def runs_in_book(vehicle: str, place: str | None) -> list[Trial]:
    """Runs of a vehicle in the workshop book; none where there is no book. place : as find_book takes it."""
    book = find_book(place)
    if book is None:
        return []
    with book:
        return book.trials(vehicle)


def belief_by(case: Case, runs: Sequence[Trial], felt: Symptom | None = None) -> Belief | None:
    """What runs of a vehicle say of it; None where there is none that counts and nothing is felt.

    felt : a symptom that counts as one more run, of what is fitted.
    """
    if felt is None and not any(map(counts, runs)):
        return None
    if felt is not None:
        runs = [*runs, trial_of(case, datetime.now(UTC), Felt(word=felt.word, moment=felt.moment), Conditions())]
        believed = belief_of(case, runs)
        return replace(believed, runs=believed.runs - 1, felt_now=True)
    return belief_of(case, runs)


def belief_in_book(case: Case, place: str | None, felt: Symptom | None = None) -> Belief | None:
    """The same by the runs in the workshop book; None too where there is no book."""
    return belief_by(case, runs_in_book(case.vehicle.name, place), felt)
