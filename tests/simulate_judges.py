"""Whether the belief ought to learn how well a driver judges, too: `python tests/simulate_judges.py [ENGINES]`.

Engines of random cars, with drivers who judge better, as and worse than assumed, and 3, 6 or 12 runs. The spread of
judgement is either taken as assumed or learned along with the engine, as one of three values. Prints the table of
docs/belief.md: share of 90 % regions that hold the engine, the share of the grid that they take, and the mean logarithm
of the belief at the engine.
"""

import sys

import numpy as np
from simulate_searches import KNOWN, MISJUDGED, Car, any_engine, in_words, near, perceived, random_car

from configurator.arrays import Array
from configurator.learning.belief import Belief
from configurator.learning.driver import ANSWERS, answer_chances, felt_weights
from configurator.physics.lateness import Lateness

SPREADS = (0.35, 0.45, 0.8)
ASSUMED = 1
EACH = 20
"""Engines of one car."""


def recovered(random: np.random.Generator, car: Car, chances: Array, driver: int, runs: int) -> Array:
    """Held, size and score of both beliefs about one engine, shape (2, 3), after runs on parts near those fitted."""
    engine = any_engine(random, car)
    learned = np.tile(KNOWN.masses / len(SPREADS), (len(SPREADS), 1))
    for _ in range(runs):
        parts = near(engine.fitted, random)
        luck = np.append(random.normal(size=3), random.random(3))
        said = in_words(perceived(engine.complaints[:, parts], luck, SPREADS[driver]), luck[5])
        rightly = np.tensordot(felt_weights(said), chances[:, :, parts], axes=(0, 1))
        learned = learned * ((1 - MISJUDGED) * rightly + MISJUDGED / len(ANSWERS))
    return np.array([_figures(learned[ASSUMED], engine.true), _figures(learned.sum(axis=0), engine.true)])


def _figures(weights: Array, true: Lateness) -> tuple[float, float, float]:
    masses = Belief(weights / weights.sum()).masses
    likeliest_first = np.argsort(-masses)
    within = np.cumsum(masses[likeliest_first]) - masses[likeliest_first] < 0.9
    held = true.point in likeliest_first[within]
    return float(held), float(within.mean()), float(np.log(masses[true.point]))


def table(engines: int, seed: int = 3) -> str:
    """The rows of the table."""
    random = np.random.default_rng(seed)
    found: dict[tuple[int, int], list[Array]] = {}
    for _ in range(-(-engines // EACH)):
        car = Car.of(random_car(random), random)
        chances = np.array([answer_chances(car.felt, spread) for spread in SPREADS])
        for runs in (3, 6, 12):
            for driver in range(len(SPREADS)):
                own = [recovered(random, car, chances, driver, runs) for _ in range(EACH)]
                found.setdefault((runs, driver), []).extend(own)
    lines = [
        "| runs | driver's error | held, as assumed | held, learned | share of the grid, as assumed | learned "
        "| score, as assumed | score, learned |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for (runs, driver), own in sorted(found.items()):
        (held, size, score), (held_2, size_2, score_2) = np.mean(own, axis=0)
        lines.append(
            f"| {runs} | {SPREADS[driver]:g} | {100 * held:.0f} % | {100 * held_2:.0f} % | {100 * size:.0f} % | "
            f"{100 * size_2:.0f} % | {score:.2f} | {score_2:.2f} |"
        )
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(int(sys.argv[1]) if len(sys.argv) > 1 else 500))
