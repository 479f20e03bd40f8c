"""The mixture after tip-in with and without the shot of a choice of parts: where it is too lean or too rich."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Mask
from configurator.judging.case import Case
from configurator.judging.delivery import Delivery, delivery_of
from configurator.physics.spells import POOR_PHI, RICH_PHI, SpellMeter, metered
from configurator.slots.options import Choice

Span = tuple[float, float]


@dataclass(frozen=True)
class Mixture(Delivery):
    """Equivalence ratio of one circuit's barrels at the times from tip-in [ms], with the shot and without it.

    counts : the times at which it is judged. poor_span_ms, rich_span_ms : begin and end of the longest spell below
    POOR_PHI and above RICH_PHI, None where there is none; what is felt does not hang on them.
    """

    time_ms: Array
    phi: Array
    phi_without: Array
    counts: Mask
    poor_span_ms: Span | None
    rich_span_ms: Span | None


def mixture_of(case: Case, name: str, choice: Choice) -> Mixture:
    """Mixture of one circuit with a choice of parts, in the case's engine."""
    circuit, delivery = case.circuits[name], delivery_of(case, name, choice)
    event, supply = circuit.event, circuit.verdict.supply
    missed = (1.0 - np.array([delivery.film_share])) / case.engine.first_fuel
    without = supply.base(case.engine.main_circuit)
    phi = supply.responses(delivery.flow_kg_s[:, None]).phi(without, missed)
    limits = ((POOR_PHI, -1.0), (RICH_PHI, 1.0))
    poor, rich = metered(event.time_s, iter(phi), 1, limits, event.judged)
    return Mixture(
        **vars(delivery), time_ms=event.time_s * 1e3, phi=phi[:, 0].astype(np.float64), phi_without=without,
        counts=event.judged, poor_span_ms=_longest(poor), rich_span_ms=_longest(rich),
    )  # fmt: skip


def _longest(meter: SpellMeter) -> Span | None:
    """Begin and end [ms] of the longest spell that was metered; the first of equals, None where there is none."""
    _, began_s, ended_s = meter.spells
    if not np.any(ended_s > began_s):
        return None
    longest = int(np.argmax(ended_s - began_s))
    return float(began_s[longest]) * 1e3, float(ended_s[longest]) * 1e3
