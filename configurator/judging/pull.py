"""The pull that a choice of parts gives after tip-in, against the best of the same air."""

from dataclasses import dataclass

from configurator.arrays import Array
from configurator.judging.case import Case
from configurator.judging.mixture import Mixture, mixture_of
from configurator.physics.pull import Pulling
from configurator.slots.options import Choice


@dataclass(frozen=True)
class PullGiven:
    """Pull of one circuit at the times of its mixture, in per cent of the most that the best comes to."""

    mixture: Mixture
    best_percent: Array
    given_percent: Array


def pull_of(case: Case, name: str, choice: Choice) -> PullGiven:
    """The pull of one circuit with a choice of parts, in the case's engine; other barrels as at their best."""
    mixture, pulling = (
        mixture_of(case, name, choice),
        Pulling(case.circuits[name].event, lag_s=case.car.assumed.pull_lag_s),
    )
    given = pulling.given(mixture.phi[:, None])[:, 0]
    return PullGiven(mixture, 100.0 * pulling.best, 100.0 * given)
