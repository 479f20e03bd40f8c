"""Whether the belief ought to learn how well a driver judges, too: `python tests/simulate_judges.py`.

500 engines each with drivers who judge better, as and worse than assumed, and 3, 6 or 12 runs. The spread of judgement
is either taken as assumed or learned along with f, as one of three values. Prints the table of docs/belief.md: share of
90 % intervals that hold the true factor, their width as a ratio, and mean ln of the share of belief at the true factor.
"""

import numpy as np
from simulate_searches import LADDER, Engine, random_engine

from configurator.arrays import Array
from configurator.learning.belief import FACTORS, MISJUDGED_SHARE, SCALE, step_chances

SPREADS = (0.25, 0.5, 1.0)
ASSUMED = 1
CARS, ENGINES = 25, 500


def some_cars(random: np.random.Generator) -> list[Engine]:
    """Cars to draw from; their own factors and nozzles are not used."""
    cars: list[Engine] = []
    while len(cars) < CARS:
        car = random_engine(random)
        if car is not None:
            cars.append(car)
    return cars


def recovered(random: np.random.Generator, cars: list[Engine], chances: list[Array], driver: int, runs: int) -> Array:
    """Held, width and score of both beliefs about one engine, shape (2, 3), after runs on nozzles out of the air."""
    at = int(random.integers(len(cars)))
    masses = cars[at].known.masses
    true = int(random.choice(len(FACTORS), p=masses))
    learned = np.tile(masses / len(SPREADS), (len(SPREADS), 1))
    taken = masses
    for _ in range(runs):
        nozzle = int(random.integers(len(LADDER)))
        felt = int(random.choice(len(SCALE), p=chances[at][driver, :, nozzle, true]))
        learned = learned * chances[at][:, felt, nozzle]
        taken = taken * chances[at][ASSUMED, felt, nozzle]
    return np.array([_figures(taken, true), _figures(learned.sum(axis=0), true)])


def _figures(weights: Array, true: int) -> tuple[float, float, float]:
    share = weights / weights.sum()
    low, high = (int(np.searchsorted(np.cumsum(share), end)) for end in (0.05, 0.95))
    return float(low <= true <= high), float(np.log(FACTORS[high] / FACTORS[low])), float(np.log(share[true]))


def table(seed: int = 3) -> str:
    """The rows of the table."""
    random = np.random.default_rng(seed)
    cars = some_cars(random)
    chances = [
        np.array([
            (1 - MISJUDGED_SHARE) * step_chances(car.field.lean, car.field.rich, spread) + MISJUDGED_SHARE / len(SCALE)
            for spread in SPREADS
        ])
        for car in cars
    ]  # fmt: skip
    lines = [
        "| runs | driver's spread | held, as assumed | held, learned | width, as assumed | width, learned "
        "| score, as assumed | score, learned |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for runs in (3, 6, 12):
        for driver, spread in enumerate(SPREADS):
            found = [recovered(random, cars, chances, driver, runs) for _ in range(ENGINES)]
            (held, width, score), (held_2, width_2, score_2) = np.mean(found, axis=0)
            lines.append(
                f"| {runs} | {spread:g} | {100 * held:.0f} % | {100 * held_2:.0f} % | {np.exp(width):.2f} | "
                f"{np.exp(width_2):.2f} | {score:.2f} | {score_2:.2f} |"
            )
    return "\n".join(lines)


if __name__ == "__main__":
    print(table())
