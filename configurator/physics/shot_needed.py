"""The shot that keeps the mixture on a limit: what an engine asks of the pump, against time."""

import numpy as np

from configurator.arrays import Array
from configurator.physics.lateness import Lateness
from configurator.physics.mixture import Supply
from configurator.physics.tip_in import CircuitEvent


def shot_needed(event: CircuitEvent, phi_limit: float, film_share: float, engine: Lateness) -> Array:
    """Pump flow [kg/s] that keeps the mixture exactly on a limit, mean over each step, shape (steps,), never negative.

    Film and gas solved for the shot, step by step: what the film gives back, and what the gas holds beyond the limit,
    is used up before more is asked for. Gas that is leaner than the limit before anything opens is taken to be on it.
    """
    supply = Supply(event)
    missed = (1.0 - film_share) / engine.first_fuel
    missing, needed = phi_limit - supply.base(engine.main_circuit), np.zeros(len(event.time_s) - 1)
    shot_phi, film = max(0.0, float(missing[0])), 0.0
    for step, (gas, taken, left, landed, off, through) in enumerate(supply.steps):
        comes = gas * shot_phi + taken * off * film
        added = taken * (missed + (1.0 - missed) * through)
        if event.throttle_deg[step + 1] > 0.0:
            needed[step] = max(0.0, (missing[step + 1] - comes) / added)
        shot_phi = comes + added * needed[step]
        film = left * film + (1.0 - missed) * landed * needed[step]
    return needed
