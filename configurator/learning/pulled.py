"""What a measured pull says: how late it comes and how far it falls, against the model's pull in every engine.

The model is wrong in what its figures were assumed to be: how long the seat lags, how fast the throttle opens, how long
a film stays. So all pulls of one car share errors, and each set of parts has one of its own besides:

    ln rise           = ln rise of the model + shared + own + doubt of the recording
    ln (sag + 10 %)   = ln (sag of the model + 10 %) + shared + own + doubt of the recording
    ln of either unknown of the engine = what the pulls seem to say + shared

The first shared errors are gone through at the points of a grid (SHARED), so that runs tell by what differs between
them as well as by what they are. The last smears what all pulls say together, so that no number of runs makes it surer
than the model is. Own errors have the long tails of Student's t. The figures come of simulation: cars whose assumed
figures, opening, manifold and mass differ from the model's (tests/benchmarks/measured_pulls.py).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.book.records import PullMeasured
from configurator.judging.demand import Circuit
from configurator.learning.driver import MISJUDGED_SHARE
from configurator.physics.lateness import AXIS, FIRST_FUEL, POINTS
from configurator.physics.pull import Pulling
from configurator.physics.pull_seen import SMOOTHINGS_S, seen_in, smoothed_at

SHARED_SPREAD = 0.20
"""Standard deviation of the shared errors of rise and sag."""
SMEARED = 0.22
"""Of those of both unknowns."""
OWN_RISE, OWN_SAG = 0.06, 0.15
"""Of the errors of one set of parts, but for their tails."""
FREEDOM = 3.0
"""Degrees of freedom of those tails."""
SAG_ADDED_PERCENT = 10.0
SPOILT_DENSITY = 0.15
"""A spoilt recording shows any rise and sag: one over what the logarithms of both may be, about."""


def _shared(rises: int, sags: int) -> tuple[Array, Array]:
    """Shared errors of rise and sag, (nodes, 2), and how likely each pair is, (nodes,)."""
    z = [np.linspace(-2.4, 2.4, count) for count in (rises, sags)]
    weights = np.outer(*(np.exp(-0.5 * one**2) for one in z)).ravel()
    pairs = np.column_stack([one.ravel() for one in np.meshgrid(*z, indexing="ij")])
    return SHARED_SPREAD * pairs, weights / weights.sum()


SHARED, SHARED_WEIGHTS = _shared(13, 9)
"""A step of the grid is about one and a half of an own error."""


@dataclass(frozen=True)
class PullInEngines:
    """What would be seen of a pull in every engine, (kinds, points): by SMOOTHINGS_S, first where it first moves, then
    from the throttle on."""

    pull_rise_ms: Array
    pull_sag_percent: Array
    pull_best_rise_ms: Array
    """Of the best pull of the same air, (kinds, 1)."""

    @classmethod
    def of(cls, pulls: Array) -> "PullInEngines":
        """pulls : (times, points + 1), the best behind the others."""
        seen = [
            seen_in(smoothed_at(smoothing_s) @ pulls, begins_s)
            for begins_s in (None, 0.0)
            for smoothing_s in SMOOTHINGS_S
        ]
        rise_ms = np.array([one.rise_ms for one in seen])
        return cls(rise_ms[:, :-1], np.array([one.sag_percent for one in seen])[:, :-1], rise_ms[:, -1:])


KINDS = 2 * len(SMOOTHINGS_S)
FROM_THROTTLE = len(SMOOTHINGS_S)
"""The place of the kind that shows most: smoothed least, from the throttle on."""


def kind_of(pull: PullMeasured) -> int:
    """The place of the kind that a recording was seen by."""
    nearest = int(np.abs(1e3 * np.array(SMOOTHINGS_S) - pull.smoothed_ms).argmin())
    return nearest + (FROM_THROTTLE if pull.from_throttle else 0)


def pulls_in(circuits: Mapping[str, Circuit], flows_kg_s: Mapping[str, Array], missed: Mapping[str, float]) -> Array:
    """The pull of a whole car in every engine over the most of the best, (times, points), the best behind them. flows,
    missed : of what each circuit delivers, (steps, 1), and the share of it that misses the walls."""
    lost, best = np.zeros(1), np.zeros(1)
    for name, circuit in circuits.items():
        supply = circuit.verdict.supply
        pulling = Pulling(circuit.event, lag_s=circuit.assumed.pull_lag_s)
        best = pulling.best[:, None]
        bases = np.tile(supply.bases, POINTS)
        phi = supply.responses(flows_kg_s[name]).phi(bases, missed[name] / FIRST_FUEL)
        lost = lost + (best - pulling.given(phi))
    return np.hstack([best - lost, best])


@dataclass(frozen=True)
class PullTold:
    """All tip-ins of a recording together: rise and sag on the mean, and the standard errors of these."""

    rise_ms: float
    rise_doubt_ms: float
    sag_percent: float
    sag_doubt_percent: float


def told_of(pull: PullMeasured) -> PullTold:
    """Several tip-ins weigh as several as far as their scatter shows that they are: an error is never less than that
    scatter allows, where there are three or more."""
    rise, sag = (np.array([getattr(one, name) for one in pull.tip_ins]) for name in ("rise_ms", "sag_percent"))
    told = []
    for values, name in ((rise, "rise_doubt_ms"), (sag, "sag_doubt_percent")):
        doubts = np.array([getattr(one, name) for one in pull.tip_ins])
        doubt = float(np.sqrt(np.mean(doubts**2) / len(values)))
        if len(values) >= 3:
            doubt = max(doubt, float(np.std(values, ddof=1) / np.sqrt(len(values))))
        told += [float(np.mean(values)), doubt]
    return PullTold(*told)


def pulls_together(densities: Sequence[Array], beside: Array) -> Array:
    """How likely all that is known of a car with pulls is in every engine, (points,), but for a factor. densities : of
    each pull. beside : how likely what was felt is; it tells of the same engine as the model has it, and shares what is
    wrong with that."""
    # Sorted at every place, so that not even the last digit depends on the order of the runs.
    likely = np.log((1.0 - MISJUDGED_SHARE) * np.array(densities) + MISJUDGED_SHARE * SPOILT_DENSITY)
    total = np.sort(likely, axis=0).sum(axis=0)
    seeming = (beside * (SHARED_WEIGHTS @ np.exp(total - total.max()))).reshape(POINTS, POINTS)
    return np.asarray(_SMEARING @ seeming @ _SMEARING.T).ravel()


def _smearing() -> Array:
    """What is believed of one unknown where something is seen of another near by, (points, points)."""
    apart = np.log(AXIS[:, None] / AXIS) / SMEARED
    bell = np.exp(-0.5 * apart**2)
    return np.asarray(bell / bell.sum(axis=1, keepdims=True))


_SMEARING = _smearing()


def pull_density(pull: PullMeasured, seen: PullInEngines) -> Array:
    """Density of what was measured over both logarithms, for every shared error and engine: (nodes, points)."""
    told, kind = told_of(pull), kind_of(pull)
    rise, sag = seen.pull_rise_ms[kind], seen.pull_sag_percent[kind]
    sound = np.isfinite(rise) & (rise > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        off_rise = np.log(max(told.rise_ms, 1.0) / np.where(sound, rise, 1.0))
        off_sag = np.log((told.sag_percent + SAG_ADDED_PERCENT) / (np.where(sound, sag, 0.0) + SAG_ADDED_PERCENT))
    spreads = (
        float(np.hypot(OWN_RISE, told.rise_doubt_ms / max(told.rise_ms, 1.0))),
        float(np.hypot(OWN_SAG, told.sag_doubt_percent / (told.sag_percent + SAG_ADDED_PERCENT))),
    )
    density = np.ones(1)
    for off, shared, spread in zip((off_rise, off_sag), SHARED.T, spreads, strict=True):
        density = density * _students_t((off - shared[:, None]) / spread) / spread
    return np.where(sound, density, 0.0)


def _students_t(z: Array) -> Array:
    """Density of Student's t of FREEDOM = 3: 2 / (pi sqrt 3 (1 + z^2/3)^2)."""
    return np.asarray(2.0 / (np.pi * np.sqrt(FREEDOM)) / (1.0 + z * z / FREEDOM) ** 2)
