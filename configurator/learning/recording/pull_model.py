"""The pull that a recording would have shown by the model, with what is fitted: to set beside what was measured."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.book.records import PullMeasured
from configurator.judging.case import Case
from configurator.judging.pull import pull_of
from configurator.physics.pull_seen import SEEN_TIMES_S, seen_in, smoothed_at


@dataclass(frozen=True)
class ModelPull:
    """Pulls over their level, arrays over time from where they begin [ms]: of what is fitted, and the best."""

    title: str
    time_ms: Array
    given: Array
    best: Array


def model_pull(case: Case, pull: PullMeasured) -> ModelPull:
    """Of a whole car in the case's engine, seen as a recording was."""
    pulls = [pull_of(case, name, case.as_fitted) for name in case.circuits]
    best = 0.01 * pulls[0].best_percent
    given = best - sum(best - 0.01 * one.given_percent for one in pulls)
    both = smoothed_at(pull.smoothed_ms / 1e3) @ np.column_stack([given, best])
    seen = seen_in(both, 0.0 if pull.from_throttle else None)
    courses: list[Array] = [
        np.asarray(np.interp(SEEN_TIMES_S + begins, SEEN_TIMES_S, course) / level, dtype=np.float64)
        for course, begins, level in zip(both.T, seen.begins_s, seen.level, strict=True)
    ]
    return ModelPull(case.vehicle.name, 1e3 * SEEN_TIMES_S, *courses)
