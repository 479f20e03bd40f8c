"""The mixture after tip-in with and without the shot of a choice of parts: where it is too lean or too rich."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Mask
from configurator.judging.case import Case
from configurator.judging.delivery import Delivery, delivery_of
from configurator.physics.verdict import Levels, mixture
from configurator.slots.options import Choice

Span = tuple[float, float]


@dataclass(frozen=True)
class Mixture(Delivery):
    """Equivalence ratio of one circuit's barrels at the times from tip-in [ms], with the shot and without it.

    counts : the times at which it is judged. hole_span_ms, flood_span_ms : begin and end of the longest spell beyond
    each limit, None where there is none.
    """

    time_ms: Array
    phi: Array
    phi_without: Array
    counts: Mask
    lean_phi: float
    rich_phi: float
    hole_span_ms: Span | None
    flood_span_ms: Span | None


def mixture_of(case: Case, name: str, choice: Choice) -> Mixture:
    """Mixture of one circuit with a choice of parts, at the case's demand factor."""
    circuit, delivery = case.circuits[name], delivery_of(case, name, choice)
    event, allowed = circuit.event, circuit.allowed
    levels, time_ms = Levels.of(event, np.array([case.factor])), event.time_s * 1e3
    phi = np.array([row.item() for row in mixture(levels, delivery.shots, 0)])
    return Mixture(
        **vars(delivery), time_ms=time_ms, phi=phi, phi_without=levels.base_phi[:, 0].astype(np.float64),
        counts=event.judged, lean_phi=allowed.lean_phi, rich_phi=allowed.rich_phi,
        hole_span_ms=longest_span(time_ms, allowed.lean_phi - phi, event.judged),
        flood_span_ms=longest_span(time_ms, phi - allowed.rich_phi, event.judged),
    )  # fmt: skip


def longest_span(time: Array, depth: Array, counts: Mask) -> Span | None:
    """Begin and end of the longest spell with a depth above zero while it counts, linear between times; the first of
    equals, None where there is none.

    >>> longest_span(np.arange(5.0), np.array([-1.0, 1.0, 1.0, -3.0, 1.0]), np.ones(5, dtype=bool))
    (0.5, 2.25)
    """
    longest: Span | None = None
    begin: float | None = None
    for at in range(len(time)):
        before = at > 0 and bool(counts[at - 1])
        if not counts[at]:
            begin = None
            continue
        if depth[at] > 0.0 and begin is None:
            begin = _crossing(time, depth, at) if before else float(time[at])
        if begin is None:
            continue
        end = float(time[at]) if depth[at] > 0.0 else _crossing(time, depth, at)
        if end > begin and (longest is None or end - begin > longest[1] - longest[0]):
            longest = (begin, end)
        if depth[at] <= 0.0:
            begin = None
    return longest


def _crossing(time: Array, depth: Array, at: int) -> float:
    """Time at which the depth passes zero on the way to one of the times."""
    share = depth[at - 1] / (depth[at - 1] - depth[at])
    return float(time[at - 1] + share * (time[at] - time[at - 1]))
