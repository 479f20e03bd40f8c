"""The mixture after tip-in with and without the shot of a choice of parts: where it is too lean or too rich."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Mask
from configurator.judging.case import Case
from configurator.judging.delivery import Delivery, delivery_of
from configurator.physics.verdict import Levels, SpellMeter, metered, mixture
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
    lean, rich = metered(event.time_s, phi[:, None], 1, allowed.limits, event.judged)
    return Mixture(
        **vars(delivery), time_ms=time_ms, phi=phi, phi_without=levels.base_phi[:, 0].astype(np.float64),
        counts=event.judged, lean_phi=allowed.lean_phi, rich_phi=allowed.rich_phi,
        hole_span_ms=_longest(lean), flood_span_ms=_longest(rich),
    )  # fmt: skip


def _longest(meter: SpellMeter) -> Span | None:
    """Begin and end [ms] of the longest spell that was metered; the first of equals, None where there is none."""
    _, began_s, ended_s = meter.spells
    if not np.any(ended_s > began_s):
        return None
    longest = int(np.argmax(ended_s - began_s))
    return float(began_s[longest]) * 1e3, float(ended_s[longest]) * 1e3
