"""How long the mixture lies beyond a limit, for many combinations at once and at several demand factors.

The wall film is linear in the fuel: what an event gives without a shot is worked out once a factor (`Levels`), and each
shot adds its own film and what misses the walls. Time runs in rows; a row holds all combinations.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Indices, Mask, Reals
from configurator.physics.tip_in import CircuitEvent

Level = Indices | int
"""Which of the levels to look at: one for all combinations, or each combination's own, shape (n,)."""
MixtureLimit = tuple[float, float]
"""Equivalence ratio, and the side that counts: +1 above it, -1 below."""


@dataclass(frozen=True)
class ShotFlows:
    """Shots of n combinations: mean flow per step [kg/s], shape (steps, n), and share landing on the walls, (n,).

    column : where combinations share flows, which of the columns of flow_kg_s is each one's, (n,).
    """

    flow_kg_s: Reals
    film_share: Reals
    column: Indices | None = None

    @property
    def count(self) -> int:
        return len(self.film_share)

    def take(self, which: slice | Indices) -> "ShotFlows":
        """Some of the combinations; flows are shared, not copied."""
        column = np.arange(self.count) if self.column is None else self.column
        return ShotFlows(self.flow_kg_s, self.film_share[which], column[which])

    def single(self) -> "ShotFlows":
        """The same in single precision."""
        return ShotFlows(self.flow_kg_s.astype(np.float32), self.film_share.astype(np.float32), self.column)

    def in_step(self, step: int) -> Reals:
        """Flow of each combination in one step [kg/s], shape (n,)."""
        flow: Reals = self.flow_kg_s[step]
        return flow if self.column is None else flow.take(self.column)


@dataclass(frozen=True)
class Levels:
    """An event at several demand factors, worked out once for all combinations; row t, one column a factor.

    base_phi : mixture without a shot, (times, k). What the film adds to the mixture is, after a step, keep times what
    it added before and gain times the flow that landed, (steps, k). per_flow : mixture per prompt flow, (times,).
    """

    factors: Array
    base_phi: Reals
    keep: Reals
    gain: Reals
    per_flow: Array

    @classmethod
    def of(cls, event: CircuitEvent, factors: Array) -> "Levels":
        per_flow = event.fuel.stoichiometric_ratio / np.maximum(event.air_kg_s, 1e-9)
        tau = event.film_tau_s[:, None] * factors
        release = per_flow[:, None] / tau
        mean = 0.5 * (tau[1:] + tau[:-1])
        stays = np.exp(-np.diff(event.time_s)[:, None] / mean)
        base = event.base_fuel(factors) * per_flow[:, None]
        return cls(factors, base, stays * release[1:] / release[:-1], (1.0 - stays) * mean * release[1:], per_flow)

    def single(self) -> "Levels":
        """The same in single precision."""
        base, keep, gain = (table.astype(np.float32) for table in (self.base_phi, self.keep, self.gain))
        return Levels(self.factors, base, keep, gain, self.per_flow)


def mixtures(levels: Levels, shots: ShotFlows, at: Sequence[Level]) -> Iterator[Reals]:
    """Equivalence ratio of n combinations at k levels, one array of shape (k, n) a time."""
    direct, last = 1.0 - shots.film_share, len(shots.flow_kg_s)
    picked = [[_picked(table, level) for table in (levels.keep, levels.gain, levels.base_phi)] for level in at]
    films = np.zeros((len(at), shots.count), dtype=direct.dtype)
    fresh = np.empty_like(direct)
    after = shots.in_step(0)
    for time in range(last + 1):
        before, after = after, shots.in_step(time) if time < last else after
        landed = before * shots.film_share
        prompt = before + after
        prompt *= direct
        prompt *= 0.5 * levels.per_flow[time]
        phi = np.empty_like(films)
        for film, row, (keep, gain, base) in zip(films, phi, picked, strict=True):
            if time:
                film *= keep(time - 1)
                np.multiply(landed, gain(time - 1), out=fresh)
                film += fresh
            np.add(film, prompt, out=row)
            row += base(time)
        yield phi


def _picked(table: Reals, level: Level) -> Callable[[int], Reals | float]:
    """A row of a table by its number: one figure for all combinations, or each one's own."""
    if isinstance(level, int):
        figures: list[float] = table[:, level].tolist()
        return figures.__getitem__
    return lambda row: table[row].take(level)


def mixture(levels: Levels, shots: ShotFlows, level: Level) -> Iterator[Reals]:
    """Equivalence ratio of n combinations, one row of shape (n,) a time."""
    return (rows[0] for rows in mixtures(levels, shots, [level]))


class SpellMeter:
    """Longest time that values spend beyond a limit [s], fed one array of a shape at a time; linear between times.

    Only where values cross the limit is there something to note: there a spell begins or ends. One that touches the end
    of the event counts as long as it was seen.
    """

    def __init__(self, shape: int | tuple[int, ...], limit: MixtureLimit = (0.0, 1.0)) -> None:
        self._limit, self._side = limit
        self._beyond: Mask = np.zeros(shape, dtype=bool)
        self._before: Reals | None = None
        self._now_s = 0.0
        self._crossed: list[tuple[Indices, Array]] = []

    def pause(self, interval_s: float = 0.0) -> None:
        """The values now do not count: a spell starts anew."""
        if self._before is not None:
            self._note(self._beyond)
            self._beyond, self._before = np.zeros_like(self._beyond), None
        self._now_s += interval_s

    def feed(self, values: Reals, interval_s: float) -> None:
        self._now_s += interval_s
        beyond = values > self._limit if self._side > 0.0 else values < self._limit
        self._note(beyond != self._beyond, values, interval_s)
        self._beyond, self._before = beyond, values

    def _note(self, crossed: Mask, values: Reals | None = None, interval_s: float = 0.0) -> None:
        """Where a spell begins or ends, and when: between the time before and now, or now if nothing counted before."""
        which = crossed.ravel().nonzero()[0]
        if not len(which):
            return
        passed_s = np.zeros(len(which))
        if values is not None and self._before is not None:
            depth, before = values.take(which) - self._limit, self._before.take(which) - self._limit
            passed_s = depth / (depth - before) * interval_s
        self._crossed.append((which, self._now_s - passed_s))

    @property
    def spells(self) -> tuple[Indices, Array, Array]:
        """Every spell so far, those of each in their order: whose it is, when it began and when it ended [s]."""
        still = self._beyond.ravel().nonzero()[0]
        crossed = [*self._crossed, (still, np.full(len(still), self._now_s))]
        which, when = (np.concatenate(parts) for parts in zip(*crossed, strict=True))
        order = np.argsort(which, kind="stable")
        which, when = which[order], when[order]
        return which[::2], when[::2], when[1::2]

    @property
    def longest_s(self) -> Array:
        """The longest spell of each so far."""
        which, began_s, ended_s = self.spells
        longest = np.zeros(self._beyond.shape)
        np.maximum.at(longest.ravel(), which, ended_s - began_s)
        return longest


def metered(
    time_s: Array, rows: Iterable[Reals], shape: int | tuple[int, ...], limits: Sequence[MixtureLimit], counts: Mask
) -> list[SpellMeter]:
    """Mixtures over time, one array of a shape a time, metered against each limit at the times that count, (times,)."""
    meters = [SpellMeter(shape, limit) for limit in limits]
    for time, phi in enumerate(rows):
        interval_s = float(time_s[time] - time_s[time - 1]) if time else 0.0
        for meter in meters:
            if counts[time]:
                meter.feed(phi, interval_s)
            else:
                meter.pause(interval_s)
    return meters


def longest_spells(
    event: CircuitEvent, levels: Levels, shots: ShotFlows, at: Sequence[Level], limits: Sequence[MixtureLimit]
) -> list[Array]:
    """Longest spell [s] beyond each limit, each of shape (k, n)."""
    rows = mixtures(levels, shots, at)
    return [meter.longest_s for meter in metered(event.time_s, rows, (len(at), shots.count), limits, event.judged)]
