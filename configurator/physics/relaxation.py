"""What follows an aim at a rate, in steps: a flow behind its lag, fuel on the walls, fuel and air in the manifold."""

import numpy as np

from configurator.arrays import Array


def relaxed(stays: Array, aim: Array, start: Array) -> Array:
    """Values that close on their aim, at each time; shape (steps + 1, k).

    stays : what is left of the distance to the aim after each step, shape (steps, k) or (steps, 1); aim : mean over
    each step, alike; start : values at the first time, shape (k,). Exact, however fast, where rate and aim hold over a
    step.

    >>> relaxed(np.full((3, 1), 0.5), np.full((3, 1), 8.0), np.zeros(1))[:, 0].tolist()
    [0.0, 4.0, 6.0, 7.0]
    """
    out = np.empty((len(aim) + 1, max(stays.shape[1], aim.shape[1], len(start))))
    out[0] = start
    for step, (left, towards) in enumerate(zip(stays, aim, strict=True)):
        out[step + 1] = towards + (out[step] - towards) * left
    return out


def step_mean(values: Array) -> Array:
    """Mean of each step from values at the times; along the first axis."""
    return 0.5 * (values[1:] + values[:-1])
