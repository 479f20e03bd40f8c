"""What trial runs say of an engine: a belief over its demand factor f.

Before any run f is log-normal about the vehicle's own figure. Every run multiplies in how likely it was to be felt so
under each f: hole and flood of what was fitted, put against what a driver tells apart, through an ordered probit with
five steps from much too lean to much too rich; a few runs are misjudged and say nothing. A measured trace is compared
with hole and flood themselves.

Source: J. Aitchison and S. D. Silvey, "The generalization of probit analysis to the case of multiple responses",
Biometrika 44 (1957), for the ordered probit. Figures below are assumed unless they say otherwise.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from itertools import combinations
from math import erf

import numpy as np

from configurator.arrays import Array
from configurator.book.records import Felt, TraceMeasured, Trial, car_of
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.limits import Limits
from configurator.catalogue.load import Catalog
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.errors import BadInput, Fault
from configurator.judging.case import Case
from configurator.judging.demand import Circuit
from configurator.judging.feelings import SYMPTOMS
from configurator.physics import verdict
from configurator.physics.verdict import FACTOR_RANGE, LEVELS
from configurator.slots.columns import Mount
from configurator.slots.options import Choice
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

FACTORS = np.geomspace(*FACTOR_RANGE, LEVELS)
"""Demand factors that a belief is kept at, a constant ratio (1.1 %) apart."""
SCALE = ("much too lean", "lean", "right", "rich", "much too rich")
JUDGEMENT_SPREAD = 0.5
"""Standard deviation of a driver's judgement, in units of severity (natural logarithm of a spell)."""
MUCH = 1.5
"""Severity from which a fault is much: a spell about 4.5 times as long as the one that is just felt."""
UNFELT_MS = 25.0
"""Added to spells before they are compared: below it a driver tells no spell from none."""
MISJUDGED_SHARE = 0.05
"""Share of runs that were misjudged, or spoilt by something else: each answer is then as likely as another."""
TRACE_MODEL_MS = 20.0
"""Standard error of the model's own spells, which a trace however good cannot be nearer to."""
TRACE_SPAN_MS = 1000.0
"""A spoilt trace shows any spells up to this."""
DOUBTED_BELOW = 0.2
"""Probability that two runs were both judged rightly, below which they are reported as impossible together."""
FAINT_IS_RIGHT = 0.5
"""Share of faint complaints that others would call right."""


@dataclass(frozen=True)
class Spells:
    """Hole and flood [ms] of n combinations at every one of FACTORS, each of shape (n, 257)."""

    hole_ms: Array
    flood_ms: Array

    def worst_with(self, other: "Spells") -> "Spells":
        """What is felt with both circuits: the longer of each."""
        return Spells(np.maximum(self.hole_ms, other.hole_ms), np.maximum(self.flood_ms, other.flood_ms))


def spells_of(case: Case, circuit: str, choices: Sequence[Choice]) -> Spells:
    """Hole and flood of choices of one circuit's parts at every factor; endless holes where lobe and lever do not go
    together. choices : slots of other circuits do not matter."""
    nozzle, screw, pump, lobe = (Slot(circuit, slot) for slot in CIRCUIT_SLOTS)
    return _spells(
        case.circuits[circuit],
        [choice[nozzle].read(FittedNozzle) for choice in choices],
        [choice[screw].read(FeedScrewFigures) for choice in choices],
        [choice[pump].read(PumpFigures) for choice in choices],
        [choice[lobe].read(Mount) for choice in choices],
        [case.slack_mm(circuit, [choice[pump].changed], [choice[lobe].changed]).item() for choice in choices],
    )


def _spells(
    judged: Circuit,
    nozzles: Sequence[FittedNozzle],
    screws: Sequence[FeedScrewFigures],
    pumps: Sequence[PumpFigures],
    mounts: Sequence[Mount],
    slack_mm: Sequence[float],
) -> Spells:
    shot = judged.deliver(nozzles, screws, pumps, mounts, np.array(slack_mm, dtype=float))
    shots = verdict.ShotFlows(judged.flow_kg_s(shot), judged.film_share(nozzles))
    hole, flood = verdict.spells_at(judged.event, shots, FACTORS, judged.allowed)
    meets = np.array([mount.lobe.lever == one.lever for mount, one in zip(mounts, pumps, strict=True)])
    return Spells(np.where(meets[:, None], hole * 1e3, np.inf), np.where(meets[:, None], flood * 1e3, np.inf))


def severities(spells: Spells, hole_most_ms: float, flood_most_ms: float) -> tuple[Array, Array]:
    """How much too lean and how much too rich, above zero where felt: ln((spell + 25 ms) / (allowed + 25 ms))."""
    return tuple(
        np.clip(np.log((spell + UNFELT_MS) / (most + UNFELT_MS)), -10.0, 10.0)
        for spell, most in ((spells.hole_ms, hole_most_ms), (spells.flood_ms, flood_most_ms))
    )  # type: ignore[return-value]


def step_chances(lean: Array, rich: Array, spread: float = JUDGEMENT_SPREAD) -> Array:
    """Probability of each step of SCALE, shape (5, ...), for severities of any one shape, misjudged runs left out.

    The ordered probit: with a judgement e ~ N(0, spread^2) a run is felt lean where e > -lean and rich where e < rich;
    where both would hold the two meet halfway. Much of either lies MUCH farther out.

    >>> step_chances(np.array(0.0), np.array(-10.0)).round(2)
    array([0. , 0.5, 0.5, 0. , 0. ])
    """
    centre, half = 0.5 * (rich - lean), np.maximum(0.0, -0.5 * (lean + rich))
    cuts = (
        np.minimum(rich - MUCH, centre - half), centre - half, centre + half, np.maximum(MUCH - lean, centre + half),
    )  # fmt: skip
    below = [normal_share(cut / spread) for cut in cuts]
    return np.array([1.0 - below[3], below[3] - below[2], below[2] - below[1], below[1] - below[0], below[0]])


_ERF = np.vectorize(erf, otypes=[float])


def normal_share(z: Array) -> Array:
    """Share of a standard normal distribution below z.

    >>> normal_share(np.array([0.0, 1.6448536269514722])).round(6)
    array([0.5 , 0.95])
    """
    return np.asarray(0.5 * (1.0 + _ERF(np.asarray(z) / np.sqrt(2.0))))


def felt_weights(felt: Felt) -> Array:
    """How a symptom and its strength spread over the steps of SCALE; raises BadInput for a word there is not.

    >>> felt_weights(Felt(word="stumble", strength="strong"))
    array([1., 0., 0., 0., 0.])
    """
    if felt.word not in SYMPTOMS:
        raise BadInput([Fault(f"what was felt: {felt.word}", "", "is no symptom", ", ".join(SYMPTOMS))])
    symptom, weights = SYMPTOMS[felt.word], np.zeros(len(SCALE))
    if symptom.side == 0:
        weights[2] = 1.0
        return weights
    strength = {"strong": "clear", "clear": "faint"}.get(felt.strength, "faint") if symptom.faint else felt.strength
    mild, much = (1, 0) if symptom.side > 0 else (3, 4)
    if strength == "strong":
        weights[much] = 1.0
    elif strength == "clear":
        weights[mild] = 1.0
    else:
        weights[mild], weights[2] = 1.0 - FAINT_IS_RIGHT, FAINT_IS_RIGHT
    return weights


def trace_density(trace: TraceMeasured, spells: Spells) -> Array:
    """Density of the measured hole and flood [1/ms^2] at every factor, shape (n, 257); spells from the model."""
    doubt = float(np.hypot(trace.doubt_ms, TRACE_MODEL_MS))
    off = np.hypot(spells.hole_ms - trace.hole_ms, spells.flood_ms - trace.flood_ms) / doubt
    return np.asarray(np.exp(-0.5 * np.minimum(off, 1e3) ** 2) / (2.0 * np.pi * doubt**2))


@dataclass(frozen=True, eq=False)
class Run:
    """What one run says: how likely it was at every factor if it was judged rightly, and if it was not."""

    number: int | None
    rightly: Array
    misjudged: float

    def likelihood(self) -> Array:
        return np.asarray((1.0 - MISJUDGED_SHARE) * self.rightly + MISJUDGED_SHARE * self.misjudged)


def counts(trial: Trial) -> bool:
    """Whether a run says anything of the pump circuit: the engine was warm, and nobody took the run back."""
    return trial.conditions.warm and not trial.undone and (trial.felt is not None or trial.trace is not None)


def run_of(trial: Trial, catalog: Catalog) -> Run:
    """What a run says, judged again with what was fitted then and the limits of today. A trace takes the place of what
    was felt. Raises BadInput for a car or symptom that cannot be read."""
    return run_with(trial, spells_as_fitted(Case.of(car_of(trial), catalog)), catalog.limits)


def run_with(trial: Trial, spells: Spells, limits: Limits) -> Run:
    """The same by the spells of what was fitted then."""
    if trial.trace is not None:
        return Run(trial.number, trace_density(trial.trace, spells)[0], TRACE_SPAN_MS**-2)
    assert trial.felt is not None
    chances = step_chances(*severities(spells, limits.hole_most_ms, limits.flood_most_ms))
    weights = felt_weights(trial.felt)
    return Run(trial.number, np.tensordot(weights, chances[:, 0], axes=1), 1.0 / len(SCALE))


def spells_as_fitted(case: Case) -> Spells:
    """Hole and flood of what is fitted, the worse of the circuits."""
    spells = [
        _spells(
            case.circuits[name], [own.nozzle], [own.feed_screw], [own.pump], [Mount(own.lobe, own.phase_deg)],
            [case.slack_mm(name, [False], [False]).item()],
        )
        for name, own in case.car.fitted_circuits.items()
    ]  # fmt: skip
    return reduce(Spells.worst_with, spells)


@dataclass(frozen=True)
class Belief:
    """What is believed of a demand factor: density over ln f at FACTORS, and the runs behind it.

    Between factors the density runs straight; beyond FACTOR_RANGE there is none, so an end there means at or beyond it.
    """

    weights: Array
    runs: int = 0
    left_out: int = 0
    """Runs that do not count: a cold engine, or taken back."""
    impossible: tuple[tuple[int | None, ...], ...] = ()
    """Numbers of runs that cannot all have been judged rightly: pairs, or one that no factor explains."""

    @cached_property
    def _below(self) -> Array:
        """Share of belief below each factor, by the trapezoidal rule."""
        steps = 0.5 * (self.weights[1:] + self.weights[:-1])
        total = np.concatenate([[0.0], np.cumsum(steps)])
        return np.asarray(total / total[-1])

    @property
    def masses(self) -> Array:
        """Share of belief at each factor, adding up to 1."""
        mass = self.weights.copy()
        mass[[0, -1]] *= 0.5
        return np.asarray(mass / mass.sum())

    def share_below(self, factor: float) -> float:
        """Share of belief in factors below one."""
        return float(self.shares_below(np.array(factor)))

    def shares_below(self, factors: Array) -> Array:
        """The same for factors of any shape."""
        return np.asarray(np.interp(np.log(factors), np.log(FACTORS), self._below))

    def quantile(self, share: float) -> float:
        """The factor below which lies a share of the belief, 0 to 1."""
        return float(np.exp(np.interp(share, self._below, np.log(FACTORS))))

    def scenarios(self, count: int) -> Array:
        """Factors that stand for equal shares of the belief, shape (count,): the quantile in the middle of each."""
        return np.array([self.quantile((place + 0.5) / count) for place in range(count)])

    @property
    def median(self) -> float:
        return self.quantile(0.5)

    def interval(self, share: float = 0.9) -> tuple[float, float]:
        """The factors between which a share of the belief lies, as much of it below as above."""
        return self.quantile(0.5 * (1.0 - share)), self.quantile(0.5 * (1.0 + share))

    def sureness(self, window: Sequence[float] | None) -> float:
        """Share of belief inside a window of factors, 0 for none: how sure a combination is to be right."""
        return max(0.0, self.share_below(window[1]) - self.share_below(window[0])) if window else 0.0

    def updated(self, likelihood: Array) -> "Belief":
        """The belief after something else with this likelihood at every factor was seen."""
        return Belief(_normalised(self.weights * likelihood), self.runs + 1, self.left_out, self.impossible)


def prior(demand_factor: float, spread: float) -> Belief:
    """Before any run: log-normal about a factor, cut off at FACTOR_RANGE. spread : standard deviation of ln f.

    >>> round(prior(1.0, 0.35).median, 3), [round(end, 2) for end in prior(1.0, 0.35).interval(0.9)]
    (1.0, [0.56, 1.78])
    """
    z = np.log(FACTORS / demand_factor) / spread
    return Belief(_normalised(np.exp(-0.5 * (z**2 - np.min(z**2)))))


def belief_of(case: Case, trials: Sequence[Trial], run: Callable[[Trial, Catalog], Run] = run_of) -> Belief:
    """The belief about a vehicle after its runs, in whatever order they come. run : what one run says."""
    runs = [run(trial, case.catalog) for trial in trials if counts(trial)]
    first = prior(case.vehicle.demand_factor, case.catalog.limits.belief_spread)
    log = np.zeros((1, len(FACTORS)))
    if runs:
        # Sorted at every factor, so that not even the last digit depends on the order of the runs.
        log = np.sort(np.log([run.likelihood() for run in runs]), axis=0)
    total = log.sum(axis=0)
    weights = _normalised(first.weights * np.exp(total - total.max()))
    return Belief(weights, len(runs), len(trials) - len(runs), impossible_runs(runs))


def impossible_runs(runs: Sequence[Run]) -> tuple[tuple[int | None, ...], ...]:
    """Runs that no factor explains, and pairs that no one factor does; every factor taken for as likely as another."""
    alone = [run for run in runs if _all_judged_rightly([run]) < DOUBTED_BELOW]
    pairs = [
        tuple(sorted((one.number, other.number), key=lambda number: (number is None, number)))
        for one, other in combinations((run for run in runs if run not in alone), 2)
        if _all_judged_rightly([one, other]) < DOUBTED_BELOW
    ]
    return tuple((run.number,) for run in alone) + tuple(sorted(pairs, key=str))


def _all_judged_rightly(runs: Sequence[Run]) -> float:
    """Probability that none of these runs was misjudged, f being anything in the range."""
    rightly = np.prod([(1.0 - MISJUDGED_SHARE) * run.rightly for run in runs], axis=0)
    return float(np.mean(rightly) / np.mean(np.prod([run.likelihood() for run in runs], axis=0)))


def _normalised(weights: Array) -> Array:
    """Weights whose belief adds up to 1 over ln f."""
    step = np.log(FACTORS[1] / FACTORS[0])
    return np.asarray(weights / (step * (weights.sum() - 0.5 * (weights[0] + weights[-1]))))
