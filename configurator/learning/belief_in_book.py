"""What the runs of one vehicle, and what is felt now, say of it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.judging.case import Case
from configurator.judging.feelings import Symptom
from configurator.learning.belief import Belief, belief_of, counts


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
