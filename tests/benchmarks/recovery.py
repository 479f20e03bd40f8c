"""Engines whose unknowns nobody is told: how often the belief holds them, and how soon a search ends:
`python tests/benchmarks/recovery.py [ENGINES] [--held]`; prints the tables of docs/belief.md. With --held the first
alone, which takes a tenth of a second of one core an engine; a search takes many times as long.

Wanted: 90 % regions that hold 87 to 93 %; a clean run after no more than 2 (median) and 4 (90th percentile) more runs.
"""

import argparse
import sys
from dataclasses import astuple, dataclass
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
from searching import WAYS, Searched, learned, searched
from simulate_searches import (
    KNOWN,
    SPREAD,
    Car,
    Engine,
    amiss,
    any_engine,
    drawn,
    in_words,
    near,
    perceived,
    random_car,
)

from configurator.arrays import Array
from configurator.learning.belief import Belief
from configurator.physics.lateness import Lateness

SPREADS = (0.45, 0.8)
"""A driver as assumed, and one who judges worse."""
MOST_TRIED = 5


@dataclass(frozen=True)
class Recovery:
    """Whether region, interval of the first fuel and that of the main circuit held, for each spread of a driver, shape
    (spreads, engines, 3); searches of every way, one an engine."""

    held: Array
    found: dict[str, list[Searched]]


def recover(engines: int, seed: int = 1, each: int = 5, *, searches: bool = True) -> Recovery:
    """So many engines, some of each car, tried one to MOST_TRIED times; and as many searches for parts that are right,
    if wanted."""
    random = np.random.default_rng(seed)
    found: dict[str, list[Searched]] = {way: [] for way in WAYS}
    holds: list[list[tuple[bool, bool, bool]]] = []
    while len(holds) < engines or (searches and len(found["step"]) < engines):
        car = Car.of(random_car(random), random)
        for _ in range(each):
            engine = any_engine(random, car)
            holds.append([held(tried(engine, random, 1 + len(holds) % MOST_TRIED, spread), engine.true)
                          for spread in SPREADS])  # fmt: skip
        for engine in filter(None, (amiss(random, car) for _ in range(each if searches else 0))):
            felt = drawn(engine, int(random.integers(2**32)))
            for way, (_, search) in WAYS.items():
                found[way].append(searched(engine, search, felt))
    return Recovery(np.array(holds, dtype=float).swapaxes(0, 1), found)


def tried(engine: Engine, random: np.random.Generator, runs: int, spread: float = SPREAD) -> Belief:
    """What is believed after so many runs of one engine, on parts near those fitted, by a driver of this spread."""
    belief = KNOWN
    for _ in range(runs):
        parts = near(engine.fitted, random)
        luck = np.append(random.normal(size=3), random.random(3))
        said = in_words(perceived(engine.complaints[:, parts], luck, spread), luck[5])
        belief = learned(belief, engine.car, parts, said)
    return belief


def held(belief: Belief, true: Lateness, share: float = 0.9) -> tuple[bool, bool, bool]:
    """Whether the least region with a share of the belief holds an engine, and the interval of either unknown does."""
    likeliest_first = np.argsort(-belief.masses)
    place = int(np.flatnonzero(likeliest_first == true.point)[0])
    region = belief.masses[likeliest_first[:place]].sum() < share
    first, main = belief.interval(share)
    return bool(region), first[0] <= true.first_fuel <= first[1], main[0] <= true.main_circuit <= main[1]


def held_table(recovery: Recovery) -> str:
    """What was held, for each driver."""
    lines = [
        "| driver's error | 90 % region held | interval of the first fuel | of the main circuit |",
        "|---|---|---|---|",
    ]
    for spread, shares in zip(SPREADS, 100.0 * recovery.held.mean(axis=1), strict=True):
        lines.append(f"| {spread:g} | " + " | ".join(f"{share:.0f} %" for share in shares) + " |")
    return "\n".join(lines)


def searches_table(recovery: Recovery) -> str:
    """How searches went."""
    lines = [
        "| | runs, median | 90th percentile | mean | minutes, median | 90th percentile | parts bought "
        "| right at the end | nozzle the wrong way | against the word, too | right parts changed |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for way, (words, _) in WAYS.items():
        found = np.array([astuple(one) for one in recovery.found[way]])
        runs, minutes, right, bought, steps, wrong, against, needless = found.T
        lines.append(
            f"| {words} | {np.median(runs):.0f} | {np.percentile(runs, 90):.0f} | {runs.mean():.2f} | "
            f"{np.median(minutes):.0f} | {np.percentile(minutes, 90):.0f} | {bought.mean():.1f} | "
            f"{100 * right.mean():.0f} % | {100 * wrong.sum() / max(steps.sum(), 1):.1f} % | "
            f"{100 * against.sum() / max(steps.sum(), 1):.1f} % | {needless.mean():.2f} |"
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("engines", type=int, nargs="?", default=500)
    parser.add_argument("--held", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    recovery = recover(asked.engines, asked.seed, searches=not asked.held)
    print(held_table(recovery))
    if not asked.held:
        print(f"\n{searches_table(recovery)}")


if __name__ == "__main__":
    main()
