"""The next combination to try: the one that is expected to shorten the search most, in minutes of work and driving.

One step ahead: every candidate run is weighed with all it might show. What remains after it is the chance that the car
comes back, left as it is or with the best combination then known put in, which is work and another run. A search ends
when no run is expected to save more than it costs.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from configurator.arrays import Array
from configurator.learning.belief import Belief
from configurator.learning.driver import ANSWERS, CLEAN, MISJUDGED_SHARE, answer_chances
from configurator.physics.verdict import Complaints
from configurator.stopping import heed

NO_BELIEF = 1e-4
"""Share of the greatest belief below which an engine is not looked at."""
RUN_MIN = 10.0
"""Minutes of one run: out on the road, a few tip-ins, and back (assumed)."""
COMEBACK_MIN = 180.0
"""Minutes that a car costs which comes back: its owner's way, a run to find out, and the search taken up again
(assumed)."""


@dataclass(frozen=True)
class RunField:
    """Combinations that may be tried.

    felt : what is felt of each in every engine. minutes : spanner work from each to each, shape (n, n). open : which
    may be tried; what is fitted may be none of them.
    """

    felt: Complaints
    minutes: Array
    open: NDArray[np.bool_]

    @cached_property
    def covers(self) -> Array:
        """1 where a combination is right for an engine, else 0, shape (n, points)."""
        return np.asarray(self.felt.covers.astype(float))

    @cached_property
    def chances(self) -> Array:
        """Probability of each of ANSWERS, misjudged runs included, shape (answers, n, points)."""
        rightly = answer_chances(self.felt)
        return np.asarray((1.0 - MISJUDGED_SHARE) * rightly + MISJUDGED_SHARE / len(ANSWERS))

    def sureness(self, belief: Belief) -> Array:
        """How sure each combination is to be right, shape (n,)."""
        return np.asarray(self.covers @ belief.masses)


@dataclass(frozen=True)
class Advice:
    """What to do next: try a combination, or stop with what is fitted.

    run : the best run there is, the one to make or the one that was not worth it. costs_min, saves_min : what it costs,
    and by how much it is expected to shorten what comes after, minutes. clean_chance : probability that it is felt
    right. sureness : how sure the combination is to be right that is tried, or that is left in.
    """

    do: Literal["try", "stop"]
    choice: int
    sureness: float
    run: int
    costs_min: float
    saves_min: float
    clean_chance: float


def next_step(field: RunField, belief: Belief, now: int) -> Advice:
    """The run worth most, or to stop with what is fitted where none is worth its time. now : what is fitted.

    Raises Stopped where the work is stopped from outside."""
    heed()
    worth = expected_minutes(field, belief, now)
    run, sure = int(np.argmin(worth)), field.sureness(belief)
    stopping = (1.0 - sure[now]) * COMEBACK_MIN
    costs = float(field.minutes[now, run]) + RUN_MIN
    do: Literal["try", "stop"] = "try" if worth[run] < stopping else "stop"
    chosen = run if do == "try" else now
    clean = float(field.chances[CLEAN, run] @ belief.masses)
    return Advice(do, chosen, float(sure[chosen]), run, costs, float(stopping - worth[run]) + costs, clean)


def expected_minutes(field: RunField, belief: Belief, now: int) -> Array:
    """Minutes from here to the end if each combination is tried next, shape (n,); infinite for one that may not be.

    After the run the car is left as it is, or the combination then surest to be right for its work is put in.
    """
    held = np.flatnonzero(belief.masses > NO_BELIEF * belief.masses.max())
    seen = field.chances[:, :, held] * belief.masses[held]
    likely = seen.sum(axis=2)
    comeback = (1.0 - (seen / likely[:, :, None]) @ field.covers[:, held].T) * COMEBACK_MIN
    leaving = np.diagonal(comeback, axis1=1, axis2=2)
    changing = (np.where(field.open, comeback, np.inf) + field.minutes + RUN_MIN).min(axis=2)
    total = field.minutes[now] + RUN_MIN + (likely * np.minimum(leaving, changing)).sum(axis=0)
    return np.where(field.open, total, np.inf)
