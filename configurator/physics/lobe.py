"""A lobe lifts the pump's lever as the throttle opens: lift over the angle from where it begins.

The angle is the throttle's, from the closed stop, less the phase that the lobe is mounted in: a later phase gives the
same lift, and so the same shot, later.
"""

import numpy as np

from configurator.arrays import Array


def front_loaded_lift(angle_deg: Array, total_lift_m: Array, duration_deg: Array, nose: Array) -> Array:
    """Lift [m] of a lobe whose flank is steepest at first: L (1 - (1 - u)^nose), u = angle/duration held in 0 to 1."""
    share = np.clip(angle_deg / duration_deg, 0.0, 1.0)
    return np.asarray(total_lift_m * (1.0 - (1.0 - share) ** nose))


def measured_lift(angle_deg: Array, table_deg: Array, table_m: Array) -> Array:
    """Lift [m] from a table measured with a dial gauge, monotone between its points and level outside them.

    Monotone cubic interpolation with the harmonic-mean slopes of Fritsch & Butland, SIAM J. Sci. Stat. Comput. 5
    (1984): no overshoot between readings.
    """
    width, rise = np.diff(table_deg), np.diff(table_m)
    secant = rise / width
    slope = np.zeros_like(table_m)
    slope[0], slope[-1] = secant[0], secant[-1]
    before, after = secant[:-1], secant[1:]
    inner = (before > 0.0) & (after > 0.0)
    w_before, w_after = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        slope[1:-1] = np.where(inner, (w_before + w_after) / (w_before / before + w_after / after), 0.0)
    angle = np.clip(angle_deg, table_deg[0], table_deg[-1])
    cell = np.clip(np.searchsorted(table_deg, angle, side="right") - 1, 0, len(width) - 1)
    u = (angle - table_deg[cell]) / width[cell]
    return np.asarray(
        table_m[cell] * (1 + 2 * u) * (1 - u) ** 2
        + table_m[cell + 1] * u**2 * (3 - 2 * u)
        + width[cell] * (slope[cell] * u * (1 - u) ** 2 - slope[cell + 1] * u**2 * (1 - u))
    )
