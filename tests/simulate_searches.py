"""Searches for the right nozzle on random engines, by `tipin next` and by the trade's practice:
`python tests/simulate_searches.py [ENGINES]`; prints the table of docs/belief.md.

Every engine is drawn anew (size, weight, gearing, carburettor, and a demand factor from the prior), with a nozzle that
is not right for it. What is felt is drawn from the likelihood, a few runs misjudged. Both ways face the same engine and
the same drawn judgements. A search ends with the first run that is felt clean on a nozzle that is right; one that is
felt clean on a wrong nozzle comes back: another run with what is fitted.
"""

import sys
from collections.abc import Callable, Generator
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.learning.belief import FACTORS, Belief, prior, spells_of
from configurator.learning.next_run import RIGHT, RUN_MIN, RunField, next_step
from configurator.slots.offered import as_fitted
from configurator.slots.options import Option
from configurator.slots.slot import SLOTS

MOST_RUNS = 40
TRIES = 20
NOZZLE_MIN = 15.0
Draw = Callable[[int, int], int]
"""What is felt on a nozzle at the n-th run, as a step of SCALE."""


@dataclass(frozen=True)
class Engine:
    """An engine with its true demand factor (a place in FACTORS), the nozzles that may be tried, smallest first, and
    the one that is fitted."""

    field: RunField
    factor: int
    fitted: int
    known: Belief


def random_car(random: np.random.Generator) -> Vehicle:
    """A car out of the air, its parts those of the catalogue that suit its size."""
    litres = random.uniform(1.6, 6.5)
    large = litres > 4.5
    pump, lobe, screw = ("pump-5cc", LONG_LOBE, "screw-wide") if large else ("pump-3cc", "lobe-fell", "screw-wide")
    fitted = {"nozzle": "straight-0.78", "feed_screw": screw, "pump": pump, "lobe": lobe, "phase_deg": PHASES[lobe]}
    data = {
        "name": "random car",
        "engine": {"displacement_cc": 1000 * litres, "idle_rpm": random.uniform(650, 1050),
                   "altitude_m": random.uniform(0, 700)},
        "driveline": {"transmission": "manual", "mass_kg": random.uniform(800, 2400),
                      "overall_ratio": random.uniform(6, 12), "wheel_radius_m": random.uniform(0.28, 0.36)},
        "manifold": {"volume_cc": 1000 * litres * random.uniform(0.7, 1.0), "pad_clearance_mm": 25,
                     "bonnet_clearance_mm": 30, "distance_to_valves_mm": random.uniform(220, 380)},
        "carburettor": {"barrels": 4, "rated_flow_m3_min": litres * random.uniform(3.5, 6),
                        "rear_opens_at_deg": random.uniform(30, 45)},
        "fitted": {"front": fitted}, "tip_in": {"opening_time_s": random.uniform(0.12, 0.25)},
    }  # fmt: skip
    return Vehicle.model_validate(data)


CATALOG = load_catalog(shipped_catalog_dir())
LONG_LOBE = next(code for code, lobe in CATALOG.lobes.items() if lobe.lever == CATALOG.pumps["pump-5cc"].lever)
PHASES = {code: lobe.phases_deg[0] for code, lobe in CATALOG.lobes.items()}
LADDER = sorted((n for n in CATALOG.nozzles.values() if n.style == "straight"), key=lambda n: n.diameter_mm)


def random_engine(random: np.random.Generator) -> Engine | None:
    """An engine, its factor and a fitted nozzle out of the air: some nozzle is right for it, the fitted one is not;
    None where no such pair is soon found."""
    case = Case.of(random_car(random), CATALOG)
    limits = CATALOG.limits
    nozzles = [Option(part.code, as_fitted(part), "fit", part.code, 0, part.labour_min) for part in LADDER]
    minutes = NOZZLE_MIN * (1.0 - np.eye(len(nozzles)))
    spells = spells_of(case, "front", [case.as_fitted | {SLOTS["front.nozzle"]: nozzle} for nozzle in nozzles])
    field = RunField.of(spells, limits.hole_most_ms, limits.flood_most_ms, minutes, [True] * len(nozzles))
    known = prior(1.0, limits.belief_spread)
    right = np.flatnonzero(field.covers[:, len(FACTORS) // 2])
    for _ in range(TRIES if len(right) else 0):
        factor = int(random.choice(len(FACTORS), p=known.masses))
        fitted = int(np.clip(right[len(right) // 2] + round(random.normal(0.0, 4.0)), 0, len(LADDER) - 1))
        if field.covers[:, factor].any() and not field.covers[fitted, factor]:
            return Engine(field, factor, fitted, known)
    return None


def drawn(engine: Engine, seed: int) -> Draw:
    """Judgements of one engine: the n-th run of a nozzle is felt the same whoever searches."""
    luck = np.random.default_rng(seed).random(MOST_RUNS)

    def felt(nozzle: int, run: int) -> int:
        up_to = np.cumsum(engine.field.chances[:-1, nozzle, engine.factor])
        return int(np.searchsorted(up_to, luck[run]))

    return felt


Searching = Generator[int, int, None]
"""Gives the nozzle to run next; is sent what was felt."""
Search = Callable[[Engine], Searching]


def by_trade(engine: Engine) -> Searching:
    """Three sizes at a time, about 0.08 mm, larger for a stumble and smaller for smoke, on as long as it gets no worse;
    then back, one at a time. Worse is a stronger complaint, or the other one; at the last size in the box he turns too.
    Sent what was felt, gives the next nozzle."""
    nozzle, step, way, before = engine.fitted, 3, 0, RIGHT
    while True:
        felt = yield nozzle
        if felt == RIGHT:
            continue
        asks = 1 if felt < RIGHT else -1
        other = before != RIGHT and (felt - RIGHT) * (before - RIGHT) < 0
        if way == 0:
            way = asks
        elif other or abs(felt - RIGHT) > abs(before - RIGHT) > 0:
            way, step = asks if other else -way, 1
        if not 0 <= nozzle + way < len(LADDER):
            way, step = -way, 1
        before = felt
        nozzle = int(np.clip(nozzle + way * step, 0, len(LADDER) - 1))


def by_complaint(engine: Engine) -> Searching:
    """The same, but only the kind of complaint turns him, never its strength: larger for a stumble, smaller for smoke,
    three sizes at a time until it turns and one at a time from then on; at the last size in the box he turns too."""
    nozzle, step, way, stuck = engine.fitted, 3, 0, False
    while True:
        felt = yield nozzle
        if felt == RIGHT:
            continue
        asks = 1 if felt < RIGHT else -1
        if not stuck:
            step = 1 if way == -asks else step
            way = asks
        if not 0 <= nozzle + way < len(LADDER):
            way, step, stuck = -way, 1, True
        nozzle = int(np.clip(nozzle + way * step, 0, len(LADDER) - 1))


def by_belief(engine: Engine) -> Searching:
    """What `tipin next` says."""
    nozzle, belief = engine.fitted, engine.known
    while True:
        felt = yield nozzle
        belief = belief.updated(engine.field.chances[felt, nozzle])
        if felt != RIGHT:
            nozzle = next_step(engine.field, belief, nozzle).run


def searched(engine: Engine, search: Search, felt: Draw) -> tuple[int, float]:
    """Runs and minutes until a nozzle that is right is felt so; the first run is of what is fitted."""
    nozzles = search(engine)
    nozzle, minutes = next(nozzles), RUN_MIN
    for run in range(MOST_RUNS):
        answer = felt(nozzle, run)
        if answer == RIGHT and engine.field.covers[nozzle, engine.factor]:
            return run + 1, minutes
        before, nozzle = nozzle, nozzles.send(answer)
        minutes += RUN_MIN + engine.field.minutes[before, nozzle]
    return MOST_RUNS, minutes


WAYS: dict[str, tuple[str, Search]] = {
    "trade": ("the trade's practice", by_trade),
    "complaint": ("the same, turned by the kind of complaint only", by_complaint),
    "belief": ("`tipin next`", by_belief),
}


def simulate(count: int, seed: int = 1) -> dict[str, Array]:
    """Runs and minutes of every way on so many engines, shape (count, 2) each."""
    random = np.random.default_rng(seed)
    found: dict[str, list[tuple[int, float]]] = {way: [] for way in WAYS}
    done = 0
    while done < count:
        engine = random_engine(random)
        if engine is not None:
            felt, done = drawn(engine, int(random.integers(2**32))), done + 1
            for way, (_, search) in WAYS.items():
                found[way].append(searched(engine, search, felt))
    return {way: np.array(rows, dtype=float) for way, rows in found.items()}


def table(found: dict[str, Array]) -> str:
    """Median and 90th percentile of every way."""
    lines = ["| | runs, median | runs, 90th percentile | minutes, median | minutes, 90th percentile |"]
    lines.append("|---|---|---|---|---|")
    for way, (words, _) in WAYS.items():
        (runs, minutes), (runs_90, minutes_90) = np.median(found[way], axis=0), np.percentile(found[way], 90, axis=0)
        lines.append(f"| {words} | {runs:.0f} | {runs_90:.0f} | {minutes:.0f} | {minutes_90:.0f} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(simulate(int(sys.argv[1]) if len(sys.argv) > 1 else 500)))
