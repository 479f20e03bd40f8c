"""How long the mixture lies beyond a limit, for many combinations at once and at several demand factors.

Wall film and gas are linear in the fuel: what an event gives without a shot is worked out once a factor (`Levels`), and
each shot adds its own film and its own fuel in the gas. Time runs in rows; a row holds all combinations.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Indices, Mask, Reals
from configurator.physics.relaxation import step_mean
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

    base_phi : mixture without a shot, (times, k). In a step the gas keeps gas_keep of what the shot has added to the
    mixture, (steps,), and takes up prompt times the flow that missed the walls, (steps,), wetted times that which
    landed, (steps, k), and what comes off the film. That is what the film is measured in: it keeps film_keep and gains
    film_gain times the flow that landed, (steps, k).
    """

    factors: Array
    base_phi: Reals
    gas_keep: Array
    prompt: Array
    wetted: Reals
    film_keep: Reals
    film_gain: Reals

    @classmethod
    def of(cls, event: CircuitEvent, factors: Array) -> "Levels":
        interval, drawn, per_kg = np.diff(event.time_s), step_mean(event.drawn_per_s), event.phi_per_kg
        gas_keep = np.exp(-drawn * interval)
        prompt = per_kg[1:] * (1.0 - gas_keep) / drawn
        tau = step_mean(event.film_tau_s)[:, None] * factors
        stays = np.exp(-interval[:, None] / tau)
        held = (1.0 - stays) * tau
        release = prompt[:, None] * (1.0 - stays) / interval[:, None]
        later = np.concatenate([release[1:], release[-1:]])
        return cls(
            factors, event.base_phi(factors), gas_keep * per_kg[1:] / per_kg[:-1], prompt,
            prompt[:, None] * (1.0 - held / interval[:, None]), stays * later / release, held * later,
        )  # fmt: skip

    def single(self) -> "Levels":
        """The same in single precision."""
        base, wetted, keep, gain = (
            table.astype(np.float32) for table in (self.base_phi, self.wetted, self.film_keep, self.film_gain)
        )
        return Levels(self.factors, base, self.gas_keep, self.prompt, wetted, keep, gain)


def mixtures(levels: Levels, shots: ShotFlows, at: Sequence[Level]) -> Iterator[Reals]:
    """Equivalence ratio of n combinations at k levels, one array of shape (k, n) a time."""
    tables = (levels.base_phi, levels.wetted, levels.film_keep, levels.film_gain)
    picked = [[_picked(table, level) for table in tables] for level in at]
    gases, films = np.zeros((2, len(at), shots.count), dtype=shots.film_share.dtype)
    fresh, phi = np.empty_like(shots.film_share), np.empty_like(gases)
    for row, (base, *_) in zip(phi, picked, strict=True):
        row[:] = base(0)
    yield phi
    for step, (keep, prompt) in enumerate(zip(levels.gas_keep.tolist(), levels.prompt.tolist(), strict=True)):
        missed = shots.in_step(step)
        landed = missed * shots.film_share
        missed = (missed - landed) * missed.dtype.type(prompt)
        phi = np.empty_like(gases)
        gases *= keep
        gases += films
        gases += missed
        for gas, film, row, (base, wetted, film_keep, film_gain) in zip(gases, films, phi, picked, strict=True):
            np.multiply(landed, wetted(step), out=fresh)
            gas += fresh
            film *= film_keep(step)
            np.multiply(landed, film_gain(step), out=fresh)
            film += fresh
            np.add(gas, base(step + 1), out=row)
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
