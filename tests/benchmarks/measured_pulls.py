"""How much a measured pull says of an engine, where the model is wrong elsewhere: `python
tests/benchmarks/measured_pulls.py [ENGINES]`; prints the table of docs/measure.md. An engine takes two seconds.

The true car differs from the model's in every assumed figure but those that the two unknowns stand for, in how fast the
throttle opens, in its idle pressure, manifold and mass. Its unknowns are drawn from the belief before any run. Three
runs with other nozzles and lobes each are measured by three tip-ins, and felt. Wanted: regions of 90 % that hold 87 to
93 %.
"""

import sys
from copy import deepcopy
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

sys.path.append(str(Path(__file__).resolve().parents[1]))
from random_cars import Figures, case_with, random_car
from recording_making import truth_of
from simulate_searches import CATALOG, drawn_lateness, in_words, perceived

from configurator.arrays import Array
from configurator.book.records import PullMeasured, TipInMeasured
from configurator.errors import TipinError
from configurator.judging.case import Case
from configurator.learning.belief import Belief, Run, felt_as_fitted, prior
from configurator.learning.driver import ANSWERS, answer_chances, felt_weights
from configurator.learning.pulled import pull_density, pulls_together
from configurator.physics.assumptions import Assumptions
from configurator.physics.lateness import AS_MODELLED, FIRST_FUEL, Lateness
from configurator.physics.pull_seen import seen_in, smoothed_at
from configurator.physics.verdict import ADDED

RUNS, TIP_INS, SMOOTHED_S = 3, 3, 0.03
RISE_DOUBT_MS, SAG_DOUBT_PERCENT = 6.0, 1.5
"""Of one tip-in, as a phone at 100 readings a second has it; and what a run has of its own besides:"""
RUN_MS, RUN_PERCENT = 4.0, 0.7
OF_THE_UNKNOWNS = {"shot_film_share", "main_lag_s", "lip_mm"}
UNREAD = {"most_rpm"}
NINE_OF_TEN = 1.645
WAYS = ("felt", "phone", "phone and felt", "throttle logged", "throttle logged and felt")


def other_figures(figures: Figures, random: np.random.Generator) -> Figures:
    """The car as it truly is: nine of ten assumed figures within their ranges, as assumed ones are meant."""
    true, assumed = deepcopy(figures), {}
    for one in fields(Assumptions):
        if one.name not in OF_THE_UNKNOWNS | UNREAD:
            low, high = one.metadata["low"], one.metadata["high"]
            z, middle = random.normal(), float(one.default)  # type: ignore[arg-type]
            value = middle + z / NINE_OF_TEN * ((high - middle) if z > 0 else (middle - low))
            assumed[one.name] = float(np.clip(value, low, high))
    true["assumed"] = assumed
    true["tip_in"]["opening_time_s"] *= float(np.exp(0.25 * random.normal()))
    true["engine"]["idle_pressure_kpa"] = float(
        np.clip(figures["engine"]["idle_pressure_kpa"] + 4 * random.normal(), 30, 60)
    )
    true["manifold"]["volume_cc"] *= float(np.exp(0.15 * random.normal()))
    if "mass_kg" in true["driveline"]:
        true["driveline"]["mass_kg"] *= float(np.exp(0.07 * random.normal()))
    return true


def some_parts(figures: Figures, random: np.random.Generator) -> dict[str, Any]:
    """A nozzle in proportion to the engine, and a lobe."""
    litres = figures["engine"]["displacement_cc"] / 1e3
    size = float(np.clip(random.choice([0.35, 0.42, 0.5, 0.6, 0.7]) * np.sqrt(litres / 3.0), 0.32, 1.3))
    nozzle = {"diameter": size, "style": "straight", "orifices": 2, "length_mm": 3.0}
    lobe = str(random.choice(["lobe-fell", "lobe-moor"]))
    return {"nozzle": nozzle, "feed_screw": "screw-wide", "pump": "pump-3cc", "lobe": lobe, "phase_deg": 0}


@dataclass(frozen=True)
class Driven:
    """One run of an engine: what was felt, and densities of what a phone measured, and a logger with the throttle."""

    felt: Array
    phone: Array
    logger: Array


def driven(model: Case, true: Case, engine: Lateness, random: np.random.Generator) -> Driven:
    fitted, truth = felt_as_fitted(model, traced=False, pulled=True), truth_of(true, engine)
    assert fitted.pull is not None
    densities = []
    for begins_s in (None, 0.0):
        seen = seen_in(smoothed_at(SMOOTHED_S) @ truth.given[:, None], begins_s)
        rise = np.nan_to_num(seen.rise_ms[0], nan=1500.0) + RUN_MS * random.normal()
        sag = np.nan_to_num(seen.sag_percent[0], nan=150.0) + RUN_PERCENT * random.normal()
        tip_ins = [
            TipInMeasured(
                at_s=1.0, rise_ms=max(rise + RISE_DOUBT_MS * random.normal(), 0.0), rise_doubt_ms=RISE_DOUBT_MS,
                sag_percent=max(sag + SAG_DOUBT_PERCENT * random.normal(), 0.0), sag_doubt_percent=SAG_DOUBT_PERCENT,
                sag_at_ms=500.0,
            )
            for _ in range(TIP_INS)
        ]  # fmt: skip
        pull = PullMeasured(tip_ins=tip_ins, from_throttle=begins_s is not None, smoothed_ms=1e3 * SMOOTHED_S)
        densities.append(pull_density(pull, fitted.pull))
    luck = np.append(random.normal(size=3), random.random(3))
    said = in_words(perceived(complaints_of(true, engine), luck), luck[5])
    rightly = np.tensordot(felt_weights(said), answer_chances(fitted.felt)[:, 0], axes=1)
    return Driven(Run(None, rightly, 1.0 / len(ANSWERS)).likelihood(), *densities)


def complaints_of(case: Case, engine: Lateness) -> Array:
    """What a driver complains of, beyond what goes unfelt: at once and later for want of fuel, and of too much."""
    felt, allowed = truth_of(case, engine).felt, case.circuits["front"].allowed

    def beyond(name: str, most: float) -> float:
        return float(np.log((getattr(felt, name)[0] + ADDED[name]) / (most + ADDED[name])))

    rich = (
        beyond("rich_delay_ms", allowed.delay_ms), beyond("rich_sag_percent", allowed.sag_percent),
        beyond("smoke_ms", allowed.smoke_ms),
    )  # fmt: skip
    lean = beyond("lean_delay_ms", allowed.delay_ms), beyond("lean_sag_percent", allowed.sag_percent)
    return np.array([*lean, max(rich)])


def believed(runs: list[Driven], way: str) -> Belief:
    likely = np.prod([run.felt for run in runs], axis=0) if "felt" in way else np.ones(len(FIRST_FUEL))
    if not way.startswith("felt"):
        likely = pulls_together([run.phone if way.startswith("phone") else run.logger for run in runs], likely)
    masses = prior(AS_MODELLED, CATALOG.limits.belief_spread).masses * likely
    return Belief(masses / masses.sum())


def region(belief: Belief, engine: Lateness) -> tuple[bool, int]:
    """Whether the 90 % region holds an engine, and of how many points it is."""
    order = np.argsort(-belief.masses)
    below = np.cumsum(belief.masses[order]) - belief.masses[order]
    return bool(below[order == engine.point][0] < 0.9), int((below < 0.9).sum())


def measured(engines: int, seed: int = 1) -> dict[tuple[str, int], Array]:
    """By way and number of runs: whether each engine was held, and its region over that before; (engines, 2)."""
    random = np.random.default_rng(seed)
    _, whole = region(prior(AS_MODELLED, CATALOG.limits.belief_spread), AS_MODELLED)
    found: dict[tuple[str, int], list[tuple[float, float]]] = {}
    done = 0
    while done < engines:
        figures, engine = random_car(int(random.integers(10_000))), drawn_lateness(random)
        true = other_figures(figures, random)
        parts = [some_parts(figures, random) for _ in range(RUNS)]
        try:
            cases = [(case_with(figures, CATALOG, one), case_with(true, CATALOG, one)) for one in parts]
            runs = [driven(*pair, engine, random) for pair in cases]
        except (TipinError, ValidationError):  # a car that nobody could write down so
            continue
        done += 1
        for way in WAYS:
            for count in range(1, RUNS + 1):
                held, points = region(believed(runs[:count], way), engine)
                found.setdefault((way, count), []).append((held, points / whole))
    return {key: np.array(value, dtype=float) for key, value in found.items()}


def main() -> None:
    engines = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    found = measured(engines)
    print(f"{engines} engines\n| | runs | 90 % region held | its size, before any run 100 % |\n|---|---|---|---|")
    for (way, runs), figures in found.items():
        held, size = figures.mean(axis=0)
        print(f"| {way} | {runs} | {held:.0%} | {size:.0%} |")


if __name__ == "__main__":
    main()
