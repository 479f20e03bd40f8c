"""A mixture sensor's lag taken out again, and how sure what is left can be.

The sensor follows the mixture x as lag dy/dt = x - y and is read with noise, y(t_i) + e_i. Asking for x back would make
noise large, so x is the one that minimises

    sum (y(t_i) - z_i)^2 + smoothing integral calm(t) x''^2 dt

a smoothing spline seen through the lag; calm says where less is going on. The smoothing is the most likely one
(restricted maximum likelihood), so that nobody has to choose it. Readings may come at any time: a gap is crossed by the
smoothest line, and the doubt is larger there. Source: Wahba, Spline Models for Observational Data, SIAM 1990, ch. 4
(the choice) and 5 (the doubt: spline and noise are one Gaussian posterior, from which curves are drawn).
"""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array

SMOOTHINGS = 4.0 ** np.arange(-22.0, -4.0)
"""Smoothings tried [s3]."""


@dataclass(frozen=True)
class Unlagged:
    """Mixture on the grid, shape (n,), curves that might have been as well, shape (n, draws), and at each grid point
    the time [s] that shares one independent figure, shape (n,): nothing shorter shows."""

    phi: Array
    draws: Array
    resolution_s: Array


def sensor_response(grid_s: Array, lag_s: float) -> Array:
    """Matrix (n, n) that turns a mixture, linear between grid points and steady before the first, into readings.

    Exact for that mixture: over a step h with c = h/lag, y' = y e^-c + x (g - e^-c) + x' (1 - g), g = (1 - e^-c)/c.

    >>> sensor_response(np.array([0.0, 0.1, 0.2]), 0.1).round(4).tolist()
    [[1.0, 0.0, 0.0], [0.6321, 0.3679, 0.0], [0.2325, 0.3996, 0.3679]]
    """
    response = np.zeros((len(grid_s), len(grid_s)))
    response[0, 0] = 1.0
    for step, interval in enumerate(np.diff(grid_s)):
        c = interval / max(lag_s, 1e-9)
        keep = np.exp(-c)
        mean = (1.0 - keep) / c
        response[step + 1] = keep * response[step]
        response[step + 1, step] += mean - keep
        response[step + 1, step + 1] += 1.0 - mean
    return response


def take_out_lag(
    time_s: Array, reading: Array, grid_s: Array, calm: Array, lag_s: float, draws: int, seed: int
) -> Unlagged:
    """The mixture on a grid [s] from readings within it, a sensor's lag [s] taken out; draws come from a fixed seed.

    calm : shape (n,), how much more a bend counts there than elsewhere.
    """
    seen = _between(time_s, grid_s) @ sensor_response(grid_s, lag_s)
    level = float(np.mean(reading))
    z = reading - level
    rough = _roughness(grid_s, calm)
    normal, right = seen.T @ seen, seen.T @ z
    best: tuple[float, Array, Array, Array] | None = None
    for smoothing in SMOOTHINGS:
        precision = normal + smoothing * rough
        scale = np.sqrt(np.diag(precision))
        root = np.linalg.cholesky(precision / scale[:, None] / scale + 1e-12 * np.eye(len(grid_s)))
        x = np.linalg.solve(precision + 1e-12 * np.diag(scale**2), right)
        misfit = float(np.sum((z - seen @ x) ** 2) + smoothing * x @ rough @ x)
        log_det = 2.0 * float(np.sum(np.log(np.diag(root))) + np.sum(np.log(scale)))
        unlikely = (len(z) - 2) * np.log(max(misfit, 1e-12)) + log_det - (len(grid_s) - 2) * np.log(smoothing)
        if best is None or unlikely < best[0]:
            best = (unlikely, x, root * scale[:, None], precision)
            noise = np.sqrt(max(misfit, 1e-12) / (len(z) - 2))
    assert best is not None
    _, x, root, precision = best
    random = np.random.default_rng(seed).standard_normal((len(grid_s), draws))
    shown = np.diag(np.linalg.solve(precision, normal))
    resolution = np.gradient(grid_s) / np.maximum(shown, 1e-6)
    return Unlagged(x + level, (x + level)[:, None] + noise * np.linalg.solve(root.T, random), resolution)


def _between(time_s: Array, grid_s: Array) -> Array:
    """Matrix that reads values on the grid at times in between, linearly."""
    at = np.clip(np.searchsorted(grid_s, time_s, side="right") - 1, 0, len(grid_s) - 2)
    share = (time_s - grid_s[at]) / (grid_s[at + 1] - grid_s[at])
    matrix = np.zeros((len(time_s), len(grid_s)))
    row = np.arange(len(time_s))
    matrix[row, at] = 1.0 - share
    matrix[row, at + 1] = share
    return matrix


def _roughness(grid_s: Array, calm: Array) -> Array:
    """Matrix R with x R x = integral of calm x''^2 over a grid of unequal steps."""
    step = np.diff(grid_s)
    mean = 0.5 * (step[1:] + step[:-1])
    second = np.zeros((len(grid_s) - 2, len(grid_s)))
    row = np.arange(len(grid_s) - 2)
    second[row, row] = 1.0 / step[:-1] / np.sqrt(mean)
    second[row, row + 2] = 1.0 / step[1:] / np.sqrt(mean)
    second[row, row + 1] = -second[row, row] - second[row, row + 2]
    return second.T @ (second * calm[1:-1, None])
