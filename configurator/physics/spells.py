"""How long values lie beyond a limit at a stretch: of a recorded mixture, and of the model's beside it."""

from collections.abc import Iterable, Sequence

import numpy as np

from configurator.arrays import Array, Indices, Mask, Reals

MixtureLimit = tuple[float, float]
"""Equivalence ratio, and the side that counts: +1 above it, -1 below."""
POOR_PHI, RICH_PHI = 0.80, 1.50
"""Mixtures beyond which recordings and pictures count a spell (assumed). Nothing is judged by them."""


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
