"""The wall film: part of the fuel lands on the manifold walls and comes off later.

    dm_w/dt = X m_in + X_shot m_shot - m_w/tau        m_fuel = (1 - X) m_in + (1 - X_shot) m_shot + m_w/tau

Linear in the fuel, so what idle and main circuits give and what the shot gives superpose.
Sources: Aquino, SAE 810494 (the two-parameter film); coefficients for a wet manifold after Hendricks & Sorenson, SAE
900616 / 910258 (attribution from memory), fitted on a small engine with central injection: orientation, not evidence.
"""

import numpy as np

from configurator.arrays import Array

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


def evaporate(time_s: Array, landing_kg_s: Array, tau_s: Array, factor: Array, start_kg: Array) -> Array:
    """Fuel coming off the walls, m_w/tau [kg/s], at each time; shape (times, k).

    time_s, tau_s : shape (times,); landing_kg_s : shape (times - 1, k) or (times - 1, 1), mean over each step; factor :
    shape (k,), multiplies tau; start_kg : film mass at the start, shape (k,). Exact for coefficients and landing flow
    held over a step.
    """
    count = max(len(factor), landing_kg_s.shape[1])
    mass = np.broadcast_to(start_kg, (count,)).astype(float)
    off = np.empty((len(time_s), count))
    off[0] = mass / (tau_s[0] * factor)
    for step in range(len(time_s) - 1):
        tau = 0.5 * (tau_s[step] + tau_s[step + 1]) * factor
        keep = np.exp(-(time_s[step + 1] - time_s[step]) / tau)
        settled = landing_kg_s[step] * tau
        mass = settled + (mass - settled) * keep
        off[step + 1] = mass / (tau_s[step + 1] * factor)
    return off
