"""The gas that fills the manifold: it carries the fuel that is not on the walls, and the cylinders draw both off.

    dm_g/dt = (1 - X) m_in + (1 - X_shot) m_shot + m_w/tau - (m_cyl/m_air) m_g        m_air = p V/(R T)
    ds/dt = (m_throttle/m_air) (part - s)        phi = AFR_stoich m_g/(s m_air)

One volume, well mixed. s is the share of its air that came through one pair of barrels, part the share that passes it
now: of two circuits each answers for its own pair's air. Linear in the fuel, so idle and main circuits and the shot
superpose. Derived by us from the conservation of fuel and air.
"""

import numpy as np

from configurator.arrays import Array
from configurator.physics.relaxation import relaxed, step_mean


def held_fuel(time_s: Array, drawn_per_s: Array, inflow_kg_s: Array, start_kg: Array) -> Array:
    """Fuel in the gas [kg] at each time, shape (times, k).

    drawn_per_s : share of the gas that the cylinders draw a second, shape (times,); inflow_kg_s : fuel that comes into
    the gas, mean over each step, (steps, k); start_kg : (k,).
    """
    rate = step_mean(drawn_per_s)[:, None]
    return relaxed(np.exp(-rate * np.diff(time_s)[:, None]), inflow_kg_s / rate, start_kg)


def share_of_air(time_s: Array, filled_per_s: Array, part: Array) -> Array:
    """Share of the manifold's air that came through one pair of barrels, shape (times,).

    filled_per_s : air through all throttles over air in the manifold [1/s]; part : share of it that passes the pair.
    Before the event it has long been the same.
    """
    stays = np.exp(-step_mean(filled_per_s) * np.diff(time_s))
    return relaxed(stays[:, None], step_mean(part)[:, None], part[:1])[:, 0]
