"""The pull that a recording would have shown by the model, with what is fitted and with what is next: to set beside
what was measured."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.book.records import PullMeasured
from configurator.judging.case import Case
from configurator.judging.pull import pull_of
from configurator.physics.pull_seen import SEEN_TIMES_S, seen_in, smoothed_at
from configurator.slots.options import Choice


@dataclass(frozen=True)
class ModelPull:
    """Pulls over their level, arrays over time from where they begin [ms]: of what is fitted, the best, and of what is
    to go in next, where that is known."""

    title: str
    time_ms: Array
    given: Array
    best: Array
    following: Array | None


def model_pull(case: Case, pull: PullMeasured, following: Choice | None = None) -> ModelPull:
    """Of a whole car in the case's engine, seen as a recording was."""
    best, given = _pulls(case, case.as_fitted)
    drawn = [given, best] if following is None else [given, best, _pulls(case, following)[1]]
    smooth = smoothed_at(pull.smoothed_ms / 1e3) @ np.column_stack(drawn)
    seen = seen_in(smooth, 0.0 if pull.from_throttle else None)
    courses: list[Array] = [
        np.asarray(np.interp(SEEN_TIMES_S + begins, SEEN_TIMES_S, course) / level, dtype=np.float64)
        for course, begins, level in zip(smooth.T, seen.begins_s, seen.level, strict=True)
    ]
    following_one = courses[2] if len(courses) > 2 else None
    return ModelPull(case.vehicle.name, 1e3 * SEEN_TIMES_S, courses[0], courses[1], following_one)


def _pulls(case: Case, choice: Choice) -> tuple[Array, Array]:
    """The best pull of a car's air, and what its circuits together leave of it."""
    pulls = [pull_of(case, name, choice) for name in case.circuits]
    best = 0.01 * pulls[0].best_percent
    return best, best - sum(best - 0.01 * one.given_percent for one in pulls)
