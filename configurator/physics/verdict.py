"""The verdict on combinations: what is felt of each in one engine, and the engines that each is right for.

What is felt is smooth in both unknowns of an engine, so it is worked out at a few of their values and run through by
cubics between: for every engine of the grid. An aimed nozzle is a straight one whose shot misses the walls a little
more, which is another value of the first unknown; so both share the work.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from configurator.arrays import Array, Indices, Mask, Reals
from configurator.physics.lateness import AXIS, LATENESS_RANGE, POINTS, Lateness
from configurator.physics.mixture import Responses, Supply
from configurator.physics.pull import PULL_LAG_S, FeltPulls, Pulling
from configurator.physics.tip_in import CircuitEvent

BLOCK = 2048
"""Shots worked out at once."""
CELLS = 8192
"""Mixtures followed over time at once: as many as a core's own cache holds rows of."""
NODES = 6
"""Values of each unknown at which what is felt is worked out."""
EVERY = 2
"""Of the event's times, so many are taken for one where engines are looked through."""
ADDED = {"delay_ms": 25.0, "lean_delay_ms": 25.0, "rich_delay_ms": 25.0, "lean_sag_percent": 3.0,
         "rich_sag_percent": 3.0, "smoke_ms": 60.0}  # fmt: skip
"""What is felt, and what is added before its logarithm is taken: less than that a driver tells from nothing."""


@dataclass(frozen=True)
class Allowed:
    """The most that goes unfelt of each: delay, fall of the pull, black smoke."""

    delay_ms: float
    sag_percent: float
    smoke_ms: float


@dataclass(frozen=True)
class Complaints:
    """How far what is felt of n combinations lies beyond what is allowed, ln((felt + a)/(allowed + a)), over the grid
    of engines, shape (n, points): at once for want of fuel, later for want of it, and for too much; and delay at all.
    Above 0 it is felt."""

    hesitates: Reals
    flat: Reals
    rich: Reals
    late: Reals

    @property
    def covers(self) -> Mask:
        """Whether a combination is right for an engine, shape (n, points)."""
        return np.asarray((self.late <= 0.0) & (self.flat <= 0.0) & (self.rich <= 0.0))

    def worst_with(self, other: "Complaints") -> "Complaints":
        """What is felt with both circuits: the greater of each."""
        return Complaints(
            *(np.maximum(mine, its) for mine, its in zip(vars(self).values(), vars(other).values(), strict=True))
        )

    def take(self, which: Indices) -> "Complaints":
        """Some of the combinations."""
        return Complaints(*(one[which] for one in vars(self).values()))


@dataclass(frozen=True)
class Verdict:
    """One event with what is allowed: judges shots in it.

    missed : least and greatest share that misses the walls as modelled, of any shot that may come: what is told of one
    must not hang on which others it is worked out with.
    """

    event: CircuitEvent
    allowed: Allowed
    missed: tuple[float, float]
    lag_s: float = PULL_LAG_S

    @cached_property
    def supply(self) -> Supply:
        return Supply(self.event)

    def felt_in(self, shots: Responses, missed: Reals, engine: Lateness) -> FeltPulls:
        """What is felt of n shots in one engine. missed : share of each that misses the walls as modelled, (n,)."""
        base = self.supply.base(engine.main_circuit).astype(np.float32)
        return self._pulling.felt(shots.filmed, shots.sooner, missed / engine.first_fuel, base)

    def delay_ms(self, shots: Responses, missed: Reals, engine: Lateness) -> Array:
        """The delay alone of the same, in less time."""
        phi = shots.phi(self.supply.base(engine.main_circuit), missed / engine.first_fuel)
        return self._pulling.delay_ms(phi)

    def felt_by(self, shots: Responses, column: Indices, missed: Reals) -> Complaints:
        """What is felt of n combinations in every engine of the grid. column : which of the shots is each one's, (n,);
        missed : share that misses the walls as modelled, (n,)."""
        kinds, kind = np.unique(missed, return_inverse=True)
        first, last = np.log(self.missed[0] / LATENESS_RANGE[1]), np.log(self.missed[1] / LATENESS_RANGE[0])
        shares = np.exp(np.linspace(first, last, NODES))
        mains = np.geomspace(*LATENESS_RANGE, NODES)
        logs = self._at_nodes(shots.every(EVERY), shares, mains)
        along = [_cubics(np.log(shares), np.log(share / AXIS)) for share in kinds]
        across = _cubics(np.log(mains), np.log(AXIS))
        whole = [np.kron(one, across).astype(np.float32).T for one in along]
        limits = {"sag": self.allowed.sag_percent, "delay": self.allowed.delay_ms, "smoke": self.allowed.smoke_ms}
        out: dict[str, Reals] = {}
        for name, figures in logs.items():
            most = next(limit for word, limit in limits.items() if word in name)
            beyond = np.empty((len(column), POINTS * POINTS), dtype=np.float32)
            for which, spread in enumerate(whole):
                rows = np.flatnonzero(kind == which)
                beyond[rows] = figures[column[rows]] @ spread
            out[name] = beyond - np.float32(np.log(most + ADDED[name]))
        rich = np.maximum(out["rich_delay_ms"], np.maximum(out["rich_sag_percent"], out["smoke_ms"]))
        return Complaints(out["lean_delay_ms"], out["lean_sag_percent"], rich, out["delay_ms"])

    @cached_property
    def _pulling(self) -> Pulling:
        return Pulling(self.event, lag_s=self.lag_s)

    @cached_property
    def _coarse(self) -> Pulling:
        return Pulling(self.event, EVERY, self.lag_s)

    def _at_nodes(self, shots: Responses, shares: Array, mains: Array) -> Mapping[str, Reals]:
        """Logarithms of what is felt of m shots for so large shares that miss the walls and main circuits so late,
        (m, shares x mains)."""
        bases = self.event.base_phi(mains)[::EVERY].astype(np.float32)
        count, nodes = shots.filmed.shape[1], len(shares) * len(mains)
        found = {name: np.empty((count, nodes), dtype=np.float32) for name in ADDED}
        missed, base = np.repeat(shares, len(mains)), np.tile(bases, len(shares))
        together = max(1, CELLS // nodes)
        for start in range(0, count, together):
            own = (slice(None), slice(start, start + together), None)
            felt = self._coarse.felt(shots.filmed[own], shots.sooner[own], missed, base, pops=False)
            for name in found:
                found[name][own[1]] = np.log(getattr(felt, name) + ADDED[name])
        return found


def _cubics(nodes: Array, wanted: Array) -> Array:
    """Weights of values at evenly spaced nodes for values wanted between them, (wanted, nodes): the cubic through the
    four nearest."""
    step = nodes[1] - nodes[0]
    first = np.clip(((wanted - nodes[0]) // step).astype(int) - 1, 0, len(nodes) - 4)
    weights = np.zeros((len(wanted), len(nodes)))
    for own in range(4):
        others = [other for other in range(4) if other != own]
        at = nodes[first + own]
        weights[np.arange(len(wanted)), first + own] = np.prod(
            [(wanted - nodes[first + other]) / (at - nodes[first + other]) for other in others], axis=0
        )
    return weights
