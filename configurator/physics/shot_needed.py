"""The shot that keeps the mixture on a limit: what an engine asks of the pump, against time."""

import numpy as np

from configurator.arrays import Array
from configurator.physics.lateness import Lateness
from configurator.physics.relaxation import step_mean
from configurator.physics.tip_in import CircuitEvent


def shot_needed(event: CircuitEvent, phi_limit: float, film_share: float, engine: Lateness) -> Array:
    """Pump flow [kg/s] that keeps the mixture exactly on a limit, mean over each step, shape (steps,), never negative.

    Film and gas solved for the shot, step by step: what the film gives back, and what the gas holds beyond the limit,
    is used up before more is asked for. Gas that is leaner than the limit before anything opens is taken to be on it.
    """
    base = event.base_phi(np.array([engine.main_circuit]))[:, 0]
    missed = (1.0 - film_share) / engine.first_fuel
    interval, drawn, per_kg = np.diff(event.time_s), step_mean(event.drawn_per_s), event.phi_per_kg
    keep = np.exp(-drawn * interval)
    taken = per_kg[1:] * (1.0 - keep) / drawn
    keep = keep * per_kg[1:] / per_kg[:-1]
    tau = step_mean(event.film_tau_s)
    stays = np.exp(-interval / tau)
    held = (1.0 - stays) * tau
    missing, needed = phi_limit - base, np.zeros(len(interval))
    shot_phi, film = max(0.0, float(missing[0])), 0.0
    for step in range(len(needed)):
        comes = keep[step] * shot_phi + taken[step] * film * (1.0 - stays[step]) / interval[step]
        added = taken[step] * (missed + (1.0 - missed) * (1.0 - held[step] / interval[step]))
        if event.throttle_deg[step + 1] > 0.0:
            needed[step] = max(0.0, (missing[step + 1] - comes) / added)
        shot_phi = comes + added * needed[step]
        film = film * stays[step] + (1.0 - missed) * needed[step] * held[step]
    return needed
