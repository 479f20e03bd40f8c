"""Random engines with their unknowns, drivers who try parts on them, and the searches that come of it.

Cars are drawn anew (size, weight, gearing, carburettor), and of each some engines whose first fuel and main circuit are
as late as the prior says. What is felt in an engine is worked out for that one, at every time of the event: nothing of
the program's grid, cubics or chances is in it. Then the driver judges, with errors of his own, and says a word. Every
way to search faces the same engine and the same luck.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from configurator.arrays import Array, Mask
from configurator.book.records import Felt as FeltWord
from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.judging.demand import Circuit
from configurator.learning.belief import CUT_AT, felt_with, prior
from configurator.learning.driver import ANSWERS, answer_chances
from configurator.physics.lateness import AS_MODELLED, Lateness
from configurator.physics.mixture import Responses
from configurator.physics.pump import PumpedFuel
from configurator.physics.verdict import Complaints
from configurator.slots.columns import Mount
from configurator.slots.offered import as_fitted
from configurator.slots.options import Choice, Option
from configurator.slots.slot import SLOTS

MOST_RUNS = 20
TRIES = 20
SPREAD = 0.45
"""Of a driver's judgement of a complaint, as docs/belief.md has it; MISJUDGED of the runs say anything."""
MISJUDGED = 0.05
SCATTER_MM = 0.01
"""Of orifices about their stamp, a standard deviation: a hundredth or two, as the catalogue's limits have it."""
STRONGER = (0.45, 1.2)
"""From where on a complaint is clear, and strong."""
ADDED = {"delay": 25.0, "sag": 3.0, "smoke": 60.0}
CATALOG = load_catalog(shipped_catalog_dir())
LADDER = sorted((n for n in CATALOG.nozzles.values() if n.style == "straight"), key=lambda n: n.diameter_mm)[::3]
PUMPS = [CATALOG.pumps[code] for code in ("pump-3cc", "pump-5cc")]
SETUPS = [
    (pump, lobe) for pump in PUMPS
    for lobe in sorted(CATALOG.lobes.values(), key=lambda lobe: lobe.total_lift_mm) if lobe.lever == pump.lever
]  # fmt: skip
"""Pumps with lobes made for their lever, less lift first."""
PARTS = [(nozzle, setup) for setup in range(len(SETUPS)) for nozzle in range(len(LADDER))]
"""What may be tried: places in LADDER and SETUPS."""


def random_car(random: np.random.Generator) -> Vehicle:
    """A car out of the air; what is fitted is none of what is tried."""
    litres = random.uniform(1.6, 6.5)
    fitted = {"nozzle": "straight-0.78", "feed_screw": "screw-freeflow", "pump": "pump-3cc", "lobe": "lobe-fell",
              "phase_deg": 0.0}  # fmt: skip
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


@dataclass(frozen=True)
class Car:
    """A car with all that may be tried in it: as the program sees it, and as one engine or another would feel it."""

    case: Case
    choices: tuple[Choice, ...]
    off_mm: Array
    """By how much the orifice of each of LADDER that is at hand differs from its stamp."""

    @classmethod
    def of(cls, vehicle: Vehicle, random: np.random.Generator) -> "Car":
        case = Case.of(vehicle, CATALOG)
        lobes = {(o.code, getattr(o.figures, "phase_deg", None)): o for o in case.options[SLOTS["front.lobe"]]}
        pumps = {option.code: option for option in case.options[SLOTS["front.pump"]]}
        sizes = [Option(part.code, as_fitted(part), "fit", part.code, 0, part.labour_min) for part in LADDER]
        setups = [{SLOTS["front.pump"]: pumps[pump.code], SLOTS["front.lobe"]: lobes[lobe.code, lobe.phases_deg[0]]}
                  for pump, lobe in SETUPS]  # fmt: skip
        choices = tuple(case.as_fitted | setups[setup] | {SLOTS["front.nozzle"]: sizes[size]} for size, setup in PARTS)
        return cls(case, choices, random.normal(0.0, SCATTER_MM, len(LADDER)))

    @cached_property
    def felt(self) -> Complaints:
        """What the program thinks is felt of each part in every engine."""
        return felt_with(self.case, "front", self.choices)

    @cached_property
    def covers(self) -> Array:
        """1 where parts are right for an engine, else 0, shape (parts, points)."""
        return np.asarray(self.felt.covers.astype(float))

    @cached_property
    def rightly(self) -> Array:
        """Chances of ANSWERS as the program has them, misjudged runs left out, shape (answers, parts, points)."""
        return answer_chances(self.felt)

    def complaints(self, engine: Lateness) -> Array:
        """What is felt of each part in one engine, beyond what goes unfelt: at once and later for want of fuel, for too
        much, and late for either, shape (4, parts)."""
        limits, felt = CATALOG.limits, self._circuit.verdict.felt_in(self._shots, self._missed, engine)

        def beyond(kind: str, felt: Array, allowed: float) -> Array:
            return np.asarray(np.log((felt + ADDED[kind]) / (allowed + ADDED[kind])))

        drowned = [
            beyond("delay", felt.rich_delay_ms, limits.delay_most_ms),
            beyond("sag", felt.rich_sag_percent, limits.sag_most_percent),
            beyond("smoke", felt.smoke_ms, limits.smoke_most_ms),
        ]
        return np.array([
            beyond("delay", felt.lean_delay_ms, limits.delay_most_ms),
            beyond("sag", felt.lean_sag_percent, limits.sag_most_percent),
            np.max(drowned, axis=0), beyond("delay", felt.delay_ms, limits.delay_most_ms),
        ])  # fmt: skip

    @property
    def _circuit(self) -> Circuit:
        return self.case.circuits["front"]

    @property
    def _nozzles(self) -> list[FittedNozzle]:
        """As they are, not as they are stamped."""
        stamped = [choice[SLOTS["front.nozzle"]].read(FittedNozzle) for choice in self.choices]
        return [
            one.model_copy(update={"diameter_mm": one.diameter_mm + float(self.off_mm[size])})
            for one, (size, _) in zip(stamped, PARTS, strict=True)
        ]

    @cached_property
    def _missed(self) -> Array:
        return np.asarray(1.0 - self._circuit.film_share(self._nozzles))

    @cached_property
    def _shots(self) -> Responses:
        return self._circuit.verdict.supply.responses(self._circuit.flow_kg_s(self._pumped(self._nozzles)))

    @cached_property
    def volume_and_peak(self) -> tuple[Array, Array]:
        """How much each part gives, and how fast at most, as it is stamped: (parts,) each."""
        flow = self._circuit.flow_kg_s(
            self._pumped([choice[SLOTS["front.nozzle"]].read(FittedNozzle) for choice in self.choices])
        )
        return np.asarray(np.diff(self._circuit.event.time_s) @ flow), np.asarray(flow.max(axis=0))

    def _pumped(self, nozzles: Sequence[FittedNozzle]) -> PumpedFuel:
        return self._circuit.deliver(
            nozzles,
            [choice[SLOTS["front.feed_screw"]].read(FeedScrewFigures) for choice in self.choices],
            [choice[SLOTS["front.pump"]].read(PumpFigures) for choice in self.choices],
            [choice[SLOTS["front.lobe"]].read(Mount) for choice in self.choices],
            np.zeros(len(self.choices)),
        )


def _between() -> tuple[Array, Array]:
    """Labour from each of PARTS to each, and how many parts change."""
    sizes, setups = np.array(PARTS).T
    pumps, lobes = (np.array([SETUPS[setup][kind].labour_min for setup in setups]) for kind in (0, 1))
    which = np.array([PUMPS.index(SETUPS[setup][0]) for setup in setups])
    other_size, other_setup, other_pump = (one[:, None] != one for one in (sizes, setups, which))
    minutes = 15.0 * other_size + lobes * other_setup + pumps * other_pump
    return np.asarray(minutes), np.asarray(other_size.astype(float) + other_setup + other_pump)


MINUTES, CHANGES = _between()


@dataclass(frozen=True)
class Engine:
    """One engine of a car: what is felt of every part in it, which are right, and the place of what is fitted."""

    car: Car
    true: Lateness
    complaints: Array
    fitted: int

    @cached_property
    def right(self) -> Mask:
        """Which parts nobody would complain of."""
        return np.asarray(np.all(self.complaints[1:] <= 0.0, axis=0))


KNOWN = prior(AS_MODELLED, CATALOG.limits.belief_spread)


def drawn_lateness(random: np.random.Generator) -> Lateness:
    """The unknowns of an engine, from the prior: log-normal, cut off."""
    while True:
        z = random.normal(size=2)
        if np.all(np.abs(z) <= CUT_AT):
            return Lateness(*np.exp(CATALOG.limits.belief_spread * z).tolist())


def any_engine(random: np.random.Generator, car: Car) -> Engine:
    """An engine of a car, and any parts fitted."""
    true = drawn_lateness(random)
    return Engine(car, true, car.complaints(true), int(random.integers(len(PARTS))))


def amiss(random: np.random.Generator, car: Car) -> Engine | None:
    """An engine that some parts are right for, and others fitted, a few steps from some that are; None where none is
    soon found."""
    for _ in range(TRIES):
        engine = any_engine(random, car)
        right = np.flatnonzero(engine.right)
        if not len(right):
            continue
        if (fitted := near(int(random.choice(right)), random)) not in right:
            return replace(engine, fitted=fitted)
    return None


def perceived(complaints: Array, luck: Array, spread: float = SPREAD) -> str:
    """The answer of a driver to three complaints. luck : three normal draws, and two out of 0 to 1."""
    if luck[3] < MISJUDGED:
        return ANSWERS[int(luck[4] * len(ANSWERS))]
    felt = complaints[:3] + spread * luck[:3]
    worst = int(np.argmax(felt))
    if felt[worst] <= 0.0:
        return "clean"
    how = ("faint", "clear", "strong")[sum(bool(felt[worst] > cut) for cut in STRONGER)]
    return f"{('hesitates', 'flat', 'rich')[worst]}, {how}"


def in_words(answer: str, luck: float) -> FeltWord:
    """An answer in a driver's words: faint ones are called dull by some."""
    if answer == "clean":
        return FeltWord(word="clean")
    complaint, strength = answer.split(", ")
    if strength == "faint" and luck < {"hesitates": 0.4, "flat": 0.4, "rich": 0.25}[complaint]:
        return FeltWord(word="dull", strength="clear")
    said = {"hesitates": {"word": "stumble", "moment": "at-once"}, "flat": {"word": "flat"}, "rich": {"word": "smoke"}}
    return FeltWord.model_validate({"strength": strength, **said[complaint]})


Draw = Callable[[int, int], FeltWord]
"""What is said of parts at the n-th run."""


def drawn(engine: Engine, seed: int) -> Draw:
    """Judgements of one engine: the n-th run of the same parts is felt the same whoever searches. What is fitted is
    complained of, else nobody would search."""
    random = np.random.default_rng(seed)
    luck = np.hstack([random.normal(size=(MOST_RUNS, 3)), random.random((MOST_RUNS, 3))])

    def felt(parts: int, run: int) -> FeltWord:
        return in_words(perceived(engine.complaints[:, parts], luck[run]), luck[run, 5])

    while felt(engine.fitted, 0).word == "clean":
        luck[0] = np.append(random.normal(size=3), random.random(3))
    return felt


def near(parts: int, random: np.random.Generator) -> int:
    """Parts a step or two from some."""
    size, setup = PARTS[parts]
    other = (size + int(random.integers(-2, 3)), setup + int(random.integers(-1, 2)))
    return PARTS.index((min(max(other[0], 0), len(LADDER) - 1), min(max(other[1], 0), len(SETUPS) - 1)))
