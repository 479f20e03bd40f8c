"""What trial runs say of an engine: a belief over its two unknowns.

Before any run both are log-normal about the vehicle's own figures, apart from each other. Every run multiplies in how
likely it was to be felt so in each engine (learning/driver), or how near a measured trace or pull lies; a few runs are
misjudged and say nothing. Pulls of one car share errors of the model, and count together (learning/pulled). Kept at
the points of a grid (physics/lateness). Figures below are assumed.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce

import numpy as np

from configurator.arrays import Array, Indices
from configurator.book.records import Trial, car_of
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import Catalog
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging.case import Case
from configurator.judging.feelings import Symptom, symptom_felt
from configurator.learning.driver import ANSWERS, MISJUDGED_SHARE, answer_chances, felt_weights
from configurator.learning.pulled import (
    PullInEngines,
    pull_density,
    pulls_in,
    pulls_together,
)
from configurator.learning.traced import TRACE_SPAN_MS, Spells, spells_in, trace_density
from configurator.physics.lateness import AXIS, FIRST_FUEL, MAIN_CIRCUIT, POINTS, Lateness, Regions
from configurator.physics.verdict import Complaints
from configurator.slots.columns import Mount
from configurator.slots.options import Choice
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

CUT_AT = 2.2
"""Standard deviations beyond which no engine is looked for."""
LEAST_DOUBT = 0.2
"""Of one run, to be named: any is misjudged at times, so that very many never are all right (assumed)."""
DOUBTED_BELOW = 0.02
"""Probability that all runs were judged rightly, below which those are named that are doubted most."""


@dataclass(frozen=True)
class _Shots:
    """Combinations of one circuit, as its parts are read."""

    nozzles: list[FittedNozzle]
    screws: list[FeedScrewFigures]
    pumps: list[PumpFigures]
    mounts: list[Mount]
    slack_mm: list[float]


def felt_with(case: Case, circuit: str, choices: Sequence[Choice]) -> Complaints:
    """What is felt of choices of one circuit's parts in every engine; nothing can be worse where lobe and lever do not
    go together. choices : slots of other circuits do not matter."""
    nozzle, screw, pump, lobe = (Slot(circuit, slot) for slot in CIRCUIT_SLOTS)
    shots = _Shots(
        [choice[nozzle].read(FittedNozzle) for choice in choices],
        [choice[screw].read(FeedScrewFigures) for choice in choices],
        [choice[pump].read(PumpFigures) for choice in choices],
        [choice[lobe].read(Mount) for choice in choices],
        [case.slack_mm(circuit, [choice[pump].changed], [choice[lobe].changed]).item() for choice in choices],
    )
    return _felt(case, circuit, shots)


def _felt(case: Case, circuit: str, shots: _Shots) -> Complaints:
    judged = case.circuits[circuit]
    shot = judged.deliver(shots.nozzles, shots.screws, shots.pumps, shots.mounts, np.array(shots.slack_mm, dtype=float))
    responses = judged.verdict.supply.responses(judged.flow_kg_s(shot).astype(np.float32))
    felt = judged.verdict.felt_by(responses, np.arange(len(shots.nozzles)), 1.0 - judged.film_share(shots.nozzles))
    meets = np.array([mount.lobe.lever == one.lever for mount, one in zip(shots.mounts, shots.pumps, strict=True)])
    return Complaints(*(np.where(meets[:, None], one, NEVER_PULLS) for one in vars(felt).values()))


NEVER_PULLS = np.float32(10.0)
"""How far beyond what goes unfelt a pull lies that never comes."""


@dataclass(frozen=True)
class AsFitted:
    """What a run is held against: what is felt of what was fitted, in every engine, shape (1, points); for a trace the
    spells of its mixture, for a recording what would be seen of its pull."""

    felt: Complaints
    spells: Spells | None = None
    pull: PullInEngines | None = None


def felt_as_fitted(case: Case, *, traced: bool, pulled: bool = False) -> AsFitted:
    """The same of what is fitted, the worse of the circuits; a pull is of both together."""
    own = {
        name: _Shots([one.nozzle], [one.feed_screw], [one.pump], [Mount(one.lobe, one.phase_deg)],
                     [case.slack_mm(name, [False], [False]).item()])
        for name, one in case.car.fitted_circuits.items()
    }  # fmt: skip
    felt = reduce(Complaints.worst_with, (_felt(case, name, shots) for name, shots in own.items()))
    if not traced and not pulled:
        return AsFitted(felt)
    flows, missed = _delivered(case, own)
    spells = [spells_in(case.circuits[name].verdict.supply, flow, missed[name]) for name, flow in flows.items()]
    pull = PullInEngines.of(pulls_in(case.circuits, flows, missed)) if pulled else None
    return AsFitted(felt, reduce(Spells.worst_with, spells) if traced else None, pull)


def _delivered(case: Case, shots: Mapping[str, _Shots]) -> tuple[dict[str, Array], dict[str, float]]:
    """Flow of one shot of each circuit [kg/s], (steps, 1), and the share of it that misses the walls as modelled."""
    flows, missed = {}, {}
    for name, own in shots.items():
        circuit = case.circuits[name]
        shot = circuit.deliver(own.nozzles, own.screws, own.pumps, own.mounts, np.array(own.slack_mm))
        flows[name], missed[name] = circuit.flow_kg_s(shot), (1.0 - circuit.film_share(own.nozzles)).item()
    return flows, missed


@dataclass(frozen=True, eq=False)
class Run:
    """What one run says: how likely what was felt or traced was in every engine if it was judged rightly, and if it was
    not, both 1 where a pull alone was measured; and the density of that pull, for every error that the pulls of a car
    may share, (nodes, points)."""

    number: int | None
    rightly: Array
    misjudged: float
    pulled: Array | None = None

    @property
    def was_judged(self) -> bool:
        """Whether it says more than a pull."""
        return self.rightly.size > 1

    def likelihood(self) -> Array:
        return np.asarray((1.0 - MISJUDGED_SHARE) * self.rightly + MISJUDGED_SHARE * self.misjudged)


def counts(trial: Trial) -> bool:
    """Whether a run says anything of the pump circuit: the engine was warm, and nobody took the run back."""
    said = (trial.felt, trial.trace, trial.pull)
    return trial.conditions.warm and not trial.undone and any(one is not None for one in said)


def newest_first(trials: Iterable[Trial]) -> list[Trial]:
    """The runs that count, from the last one back."""
    return sorted(filter(counts, trials), key=lambda trial: (trial.at, trial.number or 0), reverse=True)


def symptom_of(trial: Trial) -> Symptom | None:
    """What was felt in a run; None where a measurement alone says it."""
    return symptom_felt(trial.felt.word, trial.felt.moment) if trial.felt else None


def run_of(trial: Trial, catalog: Catalog) -> Run:
    """What a run says, judged again with what was fitted then and the limits of today. A trace takes the place of what
    was felt; a pull, which shows no smoke, stands beside either. Raises BadInput for a car or symptom that cannot be
    read."""
    case = Case.of(car_of(trial), catalog)
    return run_with(trial, felt_as_fitted(case, traced=trial.trace is not None, pulled=trial.pull is not None))


def run_with(trial: Trial, fitted: AsFitted) -> Run:
    """The same by what was fitted then."""
    rightly, misjudged = np.ones(1), 1.0
    if trial.trace is not None:
        assert fitted.spells is not None
        rightly, misjudged = trace_density(trial.trace, fitted.spells), TRACE_SPAN_MS**-2
    elif trial.felt is not None:
        weights = felt_weights(trial.felt)
        rightly, misjudged = np.tensordot(weights, answer_chances(fitted.felt)[:, 0], axes=1), 1.0 / len(ANSWERS)
    pulled = None
    if trial.pull is not None:
        assert fitted.pull is not None
        pulled = pull_density(trial.pull, fitted.pull)
    return Run(trial.number, rightly, misjudged, pulled)


@dataclass(frozen=True)
class DoubtedRun:
    """A run by its number (None for what is felt now), and the probability that it was judged rightly."""

    number: int | None
    chance: float


@dataclass(frozen=True)
class Belief:
    """What is believed of an engine: share of belief at every point of the grid, adding up to 1, and the runs behind
    it."""

    masses: Array
    runs: int = 0
    left_out: int = 0
    """Runs that do not count: a cold engine, or taken back."""
    doubted: tuple[DoubtedRun, ...] = ()
    """Runs that cannot all have been judged rightly, most doubted first."""
    felt_now: bool = False
    """Whether what is felt now is in it, besides the runs."""

    @property
    def engines(self) -> str:
        """What its shares are shares of, in words: before any run, engines of which no more is known."""
        if self.felt_now:
            return "the engines that fit what is felt"
        if not self.runs:
            return "engines like this one"
        return (
            f"the engines that {self.runs} runs leave open" if self.runs > 1 else "the engines that 1 run leaves open"
        )

    @cached_property
    def middle(self) -> Lateness:
        """The engine in the middle of the belief."""
        return Lateness(*(float(np.exp(self.masses @ np.log(axis))) for axis in (FIRST_FUEL, MAIN_CIRCUIT)))

    def interval(self, share: float = 0.9) -> tuple[tuple[float, float], tuple[float, float]]:
        """For each unknown, between what a share of the belief lies, as much of it below as above."""
        table = self.masses.reshape(POINTS, POINTS)
        found = []
        for masses in (table.sum(axis=1), table.sum(axis=0)):
            below = np.concatenate([[0.0], np.cumsum(masses)])
            step = np.log(AXIS[1] / AXIS[0])
            edges = np.concatenate([[np.log(AXIS[0]) - 0.5 * step], np.log(AXIS) + 0.5 * step])
            low, high = np.exp(np.interp([0.5 * (1.0 - share), 0.5 * (1.0 + share)], below, edges))
            found.append((float(max(low, AXIS[0])), float(min(high, AXIS[-1]))))
        return found[0], found[1]

    def cells(self, strips: int, each: int) -> Array:
        """Shares of the belief in cells of equal weight, side by side over both unknowns: so many strips along the
        first, each cut so many times along the second; shape (strips * each, points), each adding up to
        1."""
        by_rows = np.arange(len(self.masses))
        by_columns = by_rows.reshape(POINTS, POINTS).T.ravel()
        found = []
        for strip in _cut(self.masses, by_rows, strips):
            found += list(_cut(strip, by_columns, each))
        return np.array(found)

    def sureness(self, regions: Regions) -> Array:
        """Share of belief inside regions of engines: how sure combinations are to be right."""
        return regions.share(self.masses)

    def updated(self, likelihood: Array) -> "Belief":
        """The belief after something else with this likelihood in every engine was seen."""
        return Belief(_normalised(self.masses * likelihood), self.runs + 1, self.left_out, self.doubted)


def prior(engine: Lateness, spread: float) -> Belief:
    """Before any run: log-normal about an engine in both unknowns, cut off at CUT_AT standard deviations. spread : of
    their logarithms.

    >>> middle = prior(Lateness(), 0.35).middle
    >>> round(middle.first_fuel, 3), round(middle.main_circuit, 3)
    (1.0, 1.0)
    """
    z = np.array([np.log(FIRST_FUEL / engine.first_fuel), np.log(MAIN_CIRCUIT / engine.main_circuit)]) / spread
    masses = np.exp(-0.5 * (z**2).sum(axis=0))
    inside = np.all(np.abs(z) <= CUT_AT + 1e-9, axis=0)
    return Belief(_normalised(np.where(inside, masses, 0.0) if inside.any() else masses))


def prior_of(case: Case) -> Belief:
    """Before any run of a vehicle."""
    return prior(case.vehicle.engine_as_told, case.catalog.limits.belief_spread)


def belief_of(case: Case, trials: Sequence[Trial], run: Callable[[Trial, Catalog], Run] = run_of) -> Belief:
    """The belief about a vehicle after its runs, in whatever order they come. run : what one run says."""
    runs = [run(trial, case.catalog) for trial in trials if counts(trial)]
    judged = [one for one in runs if one.was_judged]
    masses, likely = prior_of(case).masses, np.ones(len(FIRST_FUEL))
    if judged:
        # Sorted at every point, so that not even the last digit depends on the order of the runs.
        total = np.sort(np.log([one.likelihood() for one in judged]), axis=0).sum(axis=0)
        likely = np.exp(total - total.max())
    if pulls := [one.pulled for one in runs if one.pulled is not None]:
        likely = pulls_together(pulls, likely)
    if runs:
        masses = _normalised(masses * likely)
    return Belief(masses, len(runs), len(trials) - len(runs), doubted_runs(judged, masses))


def doubted_runs(runs: Sequence[Run], masses: Array) -> tuple[DoubtedRun, ...]:
    """The runs that are doubted most, and by themselves, where all of them were judged rightly with less than
    DOUBTED_BELOW. masses : the belief after them all."""
    rightly = [(1.0 - MISJUDGED_SHARE) * run.rightly / run.likelihood() for run in runs]
    if not runs or np.prod(rightly, axis=0) @ masses >= DOUBTED_BELOW:
        return ()
    chances = [round(float(one @ masses), 4) for one in rightly]
    least = max(0.5 * (1.0 - min(chances)), LEAST_DOUBT)
    doubted = [DoubtedRun(run.number, one) for run, one in zip(runs, chances, strict=True) if 1.0 - one >= least]
    return tuple(sorted(doubted, key=lambda run: (run.chance, run.number is None, run.number)))


def _cut(masses: Array, order: Indices, count: int) -> Array:
    """Masses cut into so many of equal sum, one behind another in this order, shape (count, points), each adding up to
    1."""
    ends = np.concatenate([[0.0], np.cumsum(masses[order])])
    ends *= count / ends[-1]
    edges = np.arange(count)[:, None]
    cut = np.empty((count, len(masses)))
    cut[:, order] = np.diff(np.clip(ends, edges, edges + 1.0), axis=1)
    return cut


def _normalised(masses: Array) -> Array:
    return np.asarray(masses / masses.sum())
