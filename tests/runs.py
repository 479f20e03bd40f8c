"""Trial runs for tests: of the small car of `building`, or of a shipped example."""

from datetime import UTC, datetime
from typing import Any

import building

from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.judging.case import Case
from configurator.judging.feelings import Moment

AT = datetime(2026, 5, 2, 10, 15, tzinfo=UTC)


def run(
    word: str = "stumble", case: Case | None = None, *, at: datetime = AT, moment: Moment | None = None, **said: Any
) -> Trial:
    """A run of the case with what is fitted; said are keywords of trial_of, with day for the conditions."""
    day = Conditions(**said.pop("day", {}))
    return trial_of(case or building.case(), at, Felt(word=word, moment=moment), day, **said)
