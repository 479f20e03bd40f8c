"""The pull that a choice of parts gives after tip-in, against the best of the same air, and what is felt of it."""

from dataclasses import dataclass

from configurator.arrays import Array
from configurator.judging.case import Case
from configurator.judging.mixture import Mixture, mixture_of
from configurator.physics.pull import PULL_LAG_S, felt, pulls
from configurator.slots.options import Choice


@dataclass(frozen=True)
class PullGiven:
    """Pull of one circuit at the times of its mixture, in per cent of the most that the best comes to.

    What is felt stands as in physics.pull.FeltPulls, of this one choice.
    """

    mixture: Mixture
    best_percent: Array
    given_percent: Array
    delay_ms: float
    lean_delay_ms: float
    lean_sag_percent: float
    lean_sag_at_ms: float
    rich_sag_percent: float
    rich_sag_at_ms: float
    smoke_ms: float
    pop_back_cycles: float


def pull_of(case: Case, name: str, choice: Choice) -> PullGiven:
    """The pull of one circuit with a choice of parts, at the case's demand factor; other barrels as at their best."""
    mixture, event, air = mixture_of(case, name, choice), case.circuits[name].event, case.car.tip_in.air
    phi = mixture.phi[:, None]
    found = pulls(event.time_s, air.pressure_pa, event.air_share, phi, PULL_LAG_S)
    told = felt(found, air.speed_rpm, phi, event.air_share)
    figures = {key: value.item() for key, value in vars(told).items()}
    return PullGiven(mixture, 100.0 * found.best, 100.0 * found.given[:, 0], **figures)
