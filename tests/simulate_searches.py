"""Random engines with their unknowns, drivers who try parts on them, and the searches that come of it.

Cars are drawn anew (size, weight, gearing, carburettor), and of each some engines whose first fuel and main circuit are
as late as the prior says. What is felt in an engine is worked out for that one, at every time of the event: nothing of
the program's grid, cubics or chances is in it. Then the driver judges, with errors of his own, and says a word. Every
way to search faces the same engine and the same luck.
"""

from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise

import numpy as np

from configurator.advice.next_step import RUN_MIN
from configurator.advice.reach import is_within_reach
from configurator.advice.sure_proposal import LIKELY
from configurator.arrays import Array, Mask
from configurator.book.records import Felt as FeltWord
from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.judging.demand import Circuit
from configurator.judging.feelings import symptom_felt
from configurator.judging.table import NEARLY_AS_SURE
from configurator.learning.as_known import A_PART_IS_WORTH, SURE_ENOUGH
from configurator.learning.belief import CUT_AT, Belief, Run, felt_with, prior
from configurator.learning.driver import ANSWERS, answer_chances, felt_weights, normal_share
from configurator.learning.felt_sizes import side_of_nozzle
from configurator.physics.lateness import AS_MODELLED, Lateness
from configurator.physics.mixture import Responses
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
        shot = self._circuit.deliver(
            self._nozzles,
            [choice[SLOTS["front.feed_screw"]].read(FeedScrewFigures) for choice in self.choices],
            [choice[SLOTS["front.pump"]].read(PumpFigures) for choice in self.choices],
            [choice[SLOTS["front.lobe"]].read(Mount) for choice in self.choices],
            np.zeros(len(self.choices)),
        )
        return self._circuit.verdict.supply.responses(self._circuit.flow_kg_s(shot))


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


def learned(belief: Belief, car: Car, parts: int, said: FeltWord) -> Belief:
    """The belief after a run, as the program learns."""
    rightly = np.tensordot(felt_weights(said), car.rightly[:, parts], axes=1)
    return belief.updated(Run(None, rightly, 1.0 / len(ANSWERS)).likelihood())


Searching = Generator[int, FeltWord, None]
"""Gives the parts to run next; is sent what was felt; ends where the last parts are left in."""
Search = Callable[[Engine], Searching]


def by_trade(engine: Engine) -> Searching:
    """A larger nozzle for a stumble, a smaller for smoke, one size (about 0.08 mm) at a time; a lobe with more lift for
    a pull that goes flat, and at the last size in the box the next lobe; until a run is felt clean."""
    size, setup = PARTS[engine.fitted]
    while (said := (yield PARTS.index((size, setup)))).word != "clean":
        way = -1 if said.word == "smoke" else 1
        if said.word == "flat" or not 0 <= size + way < len(LADDER):
            setup = int(np.clip(setup + way, 0, len(SETUPS) - 1))
        else:
            size += way


def by_program(engine: Engine, *, reach: bool, learn: Callable[..., Belief] = learned) -> Searching:
    """What `tipin next` says, to a clean run: within reach the fewest changes nearly as sure as the surest worth its
    parts; without regard to reach, as `tipin propose` lists it."""
    parts, belief = engine.fitted, KNOWN
    lean: dict[int, int] = {}
    rich: dict[int, int] = {}
    smoked: dict[int, bool] = {}
    last = (-1, 0)
    while (said := (yield parts)).word != "clean":
        belief = learn(belief, engine.car, parts, said)
        size, setup = PARTS[parts]
        side = side_of_nozzle(symptom_felt(said.word, said.moment))
        if side > 0:
            lean[setup] = max(size, lean.get(setup, size))
            rich = {one: most for one, most in rich.items() if one != setup or most > size}
        elif side < 0:
            smoked[setup] = said.word == "smoke" if size <= rich.get(setup, size) else smoked[setup]
            rich[setup] = min(size, rich.get(setup, size))
            lean = {one: least for one, least in lean.items() if one != setup or least < size}
        sizes, same = np.array(PARTS)[:, 0], np.array(PARTS)[:, 1] == setup
        may = ~same | ((sizes >= lean.get(setup, -1)) & (sizes <= rich.get(setup, len(LADDER))))
        if reach:
            nozzles = [as_fitted(LADDER[one]) for one, _ in PARTS]
            near = np.array([is_within_reach(as_fitted(LADDER[size]), one, side, 0.0) for one in nozzles])
            may &= near | (sizes == size)
        sure = np.where(may, engine.car.covers @ belief.masses, -1.0)
        between = same & (sizes > lean.get(setup, len(LADDER))) & (sizes < rich.get(setup, -1))
        if between.any() and smoked.get(setup):
            sure = np.where(between, sure, -1.0)  # what two runs say comes before any model
        twice, last = last == (parts, side) and side != 0, (parts, side)
        if twice or (sure[parts] < LIKELY and sure[parts] < sure.max()):
            sure[parts] = -1.0  # what is complained of, and not likely to be right, is not left alone
        mosts = [sure[CHANGES[parts] <= count].max(initial=-1.0) for count in range(4)]
        worth = np.minimum(mosts, SURE_ENOUGH) - A_PART_IS_WORTH * np.arange(4)
        wanted = min(SURE_ENOUGH, NEARLY_AS_SURE * mosts[int(worth.argmax())])
        steps = np.abs(np.array([LADDER[one].diameter_mm for one in sizes]) - LADDER[size].diameter_mm)
        found = int(np.lexsort((steps, MINUTES[parts], CHANGES[parts], sure < wanted))[0])
        alike = np.array([one == PARTS[found][1] for _, one in PARTS]) & (sizes != size)
        resized = PARTS[found][0] != size and sure[found] < SURE_ENOUGH
        parts = int(np.where(alike, sure, -1.0).argmax()) if resized else found


def by_engine(engine: Engine) -> Searching:
    """Who knows the engine: what it is likeliest to pull cleanly with."""
    likeliest = int(np.prod(normal_share(-engine.complaints[:3] / SPREAD), axis=0).argmax())
    parts = engine.fitted
    while (yield parts).word != "clean":
        parts = likeliest


@dataclass(frozen=True)
class Searched:
    """How a search ended, from the first complaint on; the wrong way is against what was truly amiss, pump and lobe as
    they were, and of these against what was said as well; needless : right parts that were changed."""

    runs: int
    minutes: float
    right: bool
    bought: int
    nozzle_steps: int
    wrong_way: int
    against_the_word: int
    needless: int


def searched(engine: Engine, search: Search, felt: Draw) -> Searched:
    """One search, given up after MOST_RUNS."""
    parts = search(engine)
    been, minutes, runs = [next(parts)], 0.0, MOST_RUNS
    said: list[FeltWord] = []
    for run in range(MOST_RUNS):
        try:
            said.append(felt(been[-1], run))
            been.append(parts.send(said[-1]))
        except StopIteration:
            runs = run
            break
        minutes += RUN_MIN + float(MINUTES[been[-2], been[-1]])
    moves = [(one, other, word) for (one, other), word in zip(pairwise(been), said, strict=False) if one != other]
    nozzle_only = [move for move in moves if PARTS[move[0]][1] == PARTS[move[1]][1] and not engine.right[move[0]]]
    wrong = [move for move in nozzle_only if _is_wrong_way(engine, *move[:2])]
    bought = sum(len({PARTS[one][kind] for one in been}) - 1 for kind in (0, 1))
    return Searched(
        runs, minutes, bool(engine.right[been[-1]]), bought,
        len(nozzle_only), len(wrong), sum(_is_against(*move) for move in wrong),
        sum(bool(engine.right[one]) for one, *_ in moves),
    )  # fmt: skip


def _is_wrong_way(engine: Engine, now: int, then: int) -> bool:
    """Whether the nozzle goes smaller for want of fuel at once, or larger for too much."""
    amiss, way = int(engine.complaints[:3, now].argmax()), PARTS[then][0] - PARTS[now][0]
    return (amiss == 0 and way < 0) or (amiss == 2 and way > 0)


def _is_against(now: int, then: int, said: FeltWord) -> bool:
    """Whether the nozzle goes against what a driver said."""
    return side_of_nozzle(symptom_felt(said.word, said.moment)) * (PARTS[then][0] - PARTS[now][0]) < 0


WAYS: dict[str, tuple[str, Search]] = {
    "trade": ("the trade's practice", by_trade),
    "step": ("`tipin next`, to a clean run", partial(by_program, reach=True)),
    "proposal": ("`tipin propose`, to a clean run", partial(by_program, reach=False)),
    "engine": ("who knows the engine", by_engine),
}


def near(parts: int, random: np.random.Generator) -> int:
    """Parts a step or two from some."""
    size, setup = PARTS[parts]
    other = (size + int(random.integers(-2, 3)), setup + int(random.integers(-1, 2)))
    return PARTS.index((min(max(other[0], 0), len(LADDER) - 1), min(max(other[1], 0), len(SETUPS) - 1)))
