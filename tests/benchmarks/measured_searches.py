"""Searches with a phone, a logger or a mixture sensor beside what is felt: `python
tests/benchmarks/measured_searches.py [ENGINES]`; prints the table of docs/search.md. An engine takes some seconds.

Engines, parts, driver and steps are those of recovery.py: the model is right but for the two unknowns, and for orifices
that differ from their stamp. A phone at 50 readings a second tells a rise to 8 ms and a sag to 2 % (three tip-ins), a
sensor the spells to 20 ms. What is felt stands beside a pull, and gives way to a trace.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
from searching import Searched, by_program, learned, searched
from simulate_searches import CATALOG, KNOWN, PARTS, Car, Engine, amiss, drawn, random_car

from configurator.arrays import Array
from configurator.book.records import (
    Conditions,
    Felt,
    PullMeasured,
    TipInMeasured,
    TraceMeasured,
    car_of,
    trial_of,
)
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.learning.belief import AsFitted, Belief, Run, felt_as_fitted
from configurator.learning.driver import ANSWERS, MISJUDGED_SHARE, felt_weights
from configurator.learning.pulled import pull_density, pulls_together
from configurator.learning.traced import TRACE_SPAN_MS, trace_density
from configurator.physics.lateness import FIRST_FUEL
from configurator.physics.pull import Pulling
from configurator.physics.pull_seen import seen_in, smoothed_at
from configurator.physics.spells import POOR_PHI, RICH_PHI, metered
from configurator.slots.columns import Mount
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

TIP_INS, SMOOTHED_S = 3, 0.03
RISE_DOUBT_MS, SAG_DOUBT_PERCENT, SPELL_DOUBT_MS = 8.0, 2.0, 20.0
WHEN = datetime(2026, 5, 4, tzinfo=UTC)
EACH = 2
"""Engines of one car."""


SEEN: dict[int, AsFitted] = {}
"""What parts of the car that is searched for are held against, worked out once."""


def as_the_program_sees(car: Car, parts: int) -> AsFitted:
    """What a run of these parts is held against."""
    if parts not in SEEN:
        at = trial_of(car.case, WHEN, Felt(word="clean"), Conditions(), choice=car.choices[parts])
        SEEN[parts] = felt_as_fitted(Case.of(car_of(at), CATALOG), traced=True, pulled=True)
    return SEEN[parts]


def mixture(engine: Engine, parts: int) -> Array:
    """Equivalence ratio of the true engine with these parts as they are, (times, 1)."""
    choice, (size, _) = engine.car.choices[parts], PARTS[parts]
    nozzle, screw, pump, lobe = (choice[Slot("front", name)] for name in CIRCUIT_SLOTS)
    stamped = nozzle.read(FittedNozzle)
    own = stamped.model_copy(update={"diameter_mm": stamped.diameter_mm + float(engine.car.off_mm[size])})
    circuit = engine.car.case.circuits["front"]
    shot = circuit.deliver(
        [own], [screw.read(FeedScrewFigures)], [pump.read(PumpFigures)], [lobe.read(Mount)], np.zeros(1)
    )
    supply, missed = circuit.verdict.supply, 1.0 - circuit.film_share([own])
    shots = supply.responses(circuit.flow_kg_s(shot))
    return np.asarray(shots.phi(supply.base(engine.true.main_circuit), missed / engine.true.first_fuel))


@dataclass
class Measuring:
    """What is believed of an engine by what is felt and measured of every run. random : luck of what measures."""

    engine: Engine
    random: np.random.Generator
    throttle: bool | None = None
    """Whether a pull is recorded with the throttle; None where none is."""
    sensor: bool = False
    felt: Array = field(default_factory=lambda: np.ones(len(FIRST_FUEL)))
    pulls: list[Array] = field(default_factory=list)

    def __call__(self, belief: Belief, car: Car, parts: int, said: Felt) -> Belief:
        rightly, misjudged = np.tensordot(felt_weights(said), car.rightly[:, parts], axes=1), 1.0 / len(ANSWERS)
        if self.sensor:
            rightly, misjudged = self._trace(parts), TRACE_SPAN_MS**-2
        self.felt = self.felt * Run(None, rightly, misjudged).likelihood()
        likely = self.felt / self.felt.max()
        if self.throttle is not None:
            self.pulls.append(self._pull(parts, self.throttle))
            likely = pulls_together(self.pulls, likely)
        masses = KNOWN.masses * likely
        return Belief(masses / masses.sum(), belief.runs + 1)

    def _pull(self, parts: int, throttle: bool) -> Array:
        circuit = self.engine.car.case.circuits["front"]
        given = Pulling(circuit.event).given(mixture(self.engine, parts))
        seen = seen_in(smoothed_at(SMOOTHED_S) @ given, 0.0 if throttle else None)
        rise = float(np.nan_to_num(seen.rise_ms[0], nan=1500.0))
        sag = float(np.nan_to_num(seen.sag_percent[0], nan=150.0))
        if self.random.random() < MISJUDGED_SHARE:
            rise, sag = rise * float(np.exp(self.random.uniform(-1, 1))), float(self.random.uniform(0, 80))
        rises = np.clip(rise + RISE_DOUBT_MS * self.random.normal(size=TIP_INS), 0.0, None)
        sags = np.clip(sag + SAG_DOUBT_PERCENT * self.random.normal(size=TIP_INS), 0.0, None)
        tip_ins = [
            TipInMeasured(at_s=1, rise_ms=one, rise_doubt_ms=RISE_DOUBT_MS, sag_percent=other,
                          sag_doubt_percent=SAG_DOUBT_PERCENT, sag_at_ms=500)
            for one, other in zip(rises.tolist(), sags.tolist(), strict=True)
        ]  # fmt: skip
        pull = PullMeasured(tip_ins=tip_ins, from_throttle=throttle, smoothed_ms=1e3 * SMOOTHED_S)
        seen_by = as_the_program_sees(self.engine.car, parts).pull
        assert seen_by is not None
        return pull_density(pull, seen_by)

    def _trace(self, parts: int) -> Array:
        circuit = self.engine.car.case.circuits["front"]
        event, limits = circuit.event, ((POOR_PHI, -1.0), (RICH_PHI, 1.0))
        meters = metered(event.time_s, iter(mixture(self.engine, parts)), 1, limits, event.judged)
        off = SPELL_DOUBT_MS * self.random.normal(size=2)
        hole, flood = (max(1e3 * float(one.longest_s[0]) + by, 0.0) for one, by in zip(meters, off, strict=True))
        trace = TraceMeasured(hole_ms=hole, flood_ms=flood, lag_ms=80, doubt_ms=SPELL_DOUBT_MS)
        spells = as_the_program_sees(self.engine.car, parts).spells
        assert spells is not None
        return trace_density(trace, spells)


Learners = dict[str, Callable[[Engine, np.random.Generator], Callable[..., Belief]]]
LEARNERS: Learners = {
    "feelings alone": lambda engine, random: learned,
    "a phone as well": lambda engine, random: Measuring(engine, random, throttle=False),
    "a logger with the throttle as well": lambda engine, random: Measuring(engine, random, throttle=True),
    "a mixture sensor in place of feelings": lambda engine, random: Measuring(engine, random, sensor=True),
    "a mixture sensor and a phone": lambda engine, random: Measuring(engine, random, throttle=False, sensor=True),
}


def found(engines: int, seed: int = 1) -> dict[str, list[Searched]]:
    """Searches of every way, one an engine, judged by the same driver."""
    random = np.random.default_rng(seed)
    done: dict[str, list[Searched]] = {way: [] for way in LEARNERS}
    while len(done["feelings alone"]) < engines:
        car = Car.of(random_car(random), random)
        SEEN.clear()
        for _ in range(EACH):
            engine, luck = amiss(random, car), int(random.integers(2**31))
            if engine is None:
                break
            for way, learner in LEARNERS.items():
                learn = learner(engine, np.random.default_rng(luck))
                search = partial(by_program, reach=True, learn=learn)
                done[way].append(searched(engine, search, drawn(engine, luck)))
    return done


def main() -> None:
    engines = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    heads = "runs, median", "90th percentile", "mean", "minutes, median", "90th percentile", "parts bought", "right"
    print(f"| | {' | '.join(heads)} |\n{'|---' * (len(heads) + 1)}|")
    for way, all_of_it in found(engines).items():
        runs, minutes = ([getattr(one, name) for one in all_of_it] for name in ("runs", "minutes"))
        bought, right = (np.mean([getattr(one, name) for one in all_of_it]) for name in ("bought", "right"))
        middle, most = np.quantile(runs, [0.5, 0.9], method="inverted_cdf")
        half, long = np.quantile(minutes, [0.5, 0.9], method="inverted_cdf")
        print(f"| {way} | {middle:.0f} | {most:.0f} | {np.mean(runs):.2f} | {half:.0f} | {long:.0f}", end="")
        print(f" | {bought:.1f} | {right:.0%} |", flush=True)


if __name__ == "__main__":
    main()
