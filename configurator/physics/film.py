"""The wall film: part of the fuel lands on the manifold walls and comes off later.

    dm_w/dt = X m_in + X_shot m_shot - m_w/tau

What does not land, and what comes off, goes into the manifold's gas. Linear in the fuel, so what idle and main circuits
give and what the shot gives superpose.
Sources: Aquino, SAE 810494 (the two-parameter film); coefficients for a wet manifold after Hendricks & Sorenson, SAE
900616 / 910258 (attribution from memory), fitted on a small engine with central injection: orientation, not evidence.
"""

import numpy as np

from configurator.arrays import Array
from configurator.physics.relaxation import relaxed, step_mean

PRESSURE_RANGE_BAR = (0.3, 1.0)
SPEED_RANGE_KRPM = (0.0, 3.0)


def wet_manifold_film(pressure_pa: Array, speed_rpm: Array) -> tuple[Array, Array]:
    """Share X landing on the walls (no unit) and time constant tau [s]; shapes broadcast.

    X = -0.277 p - 0.055 n + 0.68;  tau = 1.35 (-0.672 n + 1.68)(p - 0.825)^2 + (-0.06 n + 0.15) + 0.56, p in bar, n in
    1,000 rev/min. Beyond n 3 the fitted tau falls through zero at low pressure, so p is held inside 0.3 to 1.0 bar and
    n inside 0 to 3: outside, the edge's value is used.

    >>> share, tau = wet_manifold_film(np.array(50_000.0), np.array(2_000.0))
    >>> round(float(share), 4), round(float(tau), 5)
    (0.4315, 0.63791)
    """
    p = np.clip(pressure_pa / 1e5, *PRESSURE_RANGE_BAR)
    n = np.clip(speed_rpm / 1e3, *SPEED_RANGE_KRPM)
    tau = 1.35 * (1.68 - 0.672 * n) * (p - 0.825) ** 2 + 0.15 - 0.06 * n + 0.56
    return -0.277 * p - 0.055 * n + 0.68, tau


def film_outside_range(pressure_pa: Array, speed_rpm: Array) -> bool:
    """Whether any point lies where the film's coefficients are held at their edge."""
    p, n = pressure_pa / 1e5, speed_rpm / 1e3
    low, high = PRESSURE_RANGE_BAR
    return bool(np.any(p < low) or np.any(p > high + 0.02) or np.any(n > SPEED_RANGE_KRPM[1]))


def evaporated(time_s: Array, landing_kg_s: Array, tau_s: Array, start_kg: Array) -> Array:
    """Fuel coming off the walls, m_w/tau [kg/s], mean over each step; shape (steps, k).

    time_s, tau_s : shape (times,); landing_kg_s : shape (steps, k) or (steps, 1), mean over each step; start_kg : film
    mass at the start, shape (k,). What lands less what stays comes off, so no fuel is lost in a step.
    """
    interval, tau = np.diff(time_s)[:, None], step_mean(tau_s)[:, None]
    mass = relaxed(np.exp(-interval / tau), landing_kg_s * tau, start_kg)
    return np.asarray(landing_kg_s - np.diff(mass, axis=0) / interval)
