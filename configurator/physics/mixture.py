"""The mixture after tip-in: what comes without a shot, and what shots add, for many combinations at once.

Wall film and gas are linear in the fuel, so the mixture is a sum of three: the base, which hangs on how late the main
circuit is; the shot as if all of it landed on the walls; and what it gives sooner for the share that misses them:

    phi(t) = base(t, l) + filmed(t) + missed share/e * sooner(t)

So two responses of a shot serve every engine. Time runs in rows; a row holds all combinations.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from configurator.arrays import Array, Indices, Reals
from configurator.physics.lateness import AXIS
from configurator.physics.relaxation import step_mean
from configurator.physics.tip_in import CircuitEvent


@dataclass(frozen=True)
class Responses:
    """What shots add to the equivalence ratio, (times, n): filmed, if all landed on the walls, and how much more
    sooner, if none did."""

    filmed: Reals
    sooner: Reals

    def phi(self, base: Reals, missed: Reals) -> Reals:
        """Equivalence ratio, shape (times, n); base : without a shot, (times,) or (times, n); missed : share of each
        shot that misses the walls, (n,)."""
        return np.asarray((base if base.ndim > 1 else base[:, None]) + self.filmed + missed * self.sooner)

    def every(self, step: int) -> "Responses":
        """The same at every so many times."""
        return Responses(self.filmed[::step], self.sooner[::step])


@dataclass(frozen=True)
class Supply:
    """What an event makes of fuel: worked out once for all combinations."""

    event: CircuitEvent

    @cached_property
    def bases(self) -> Array:
        """Mixture without a shot for main circuits as late as each of lateness.AXIS, (times, k)."""
        return self.event.base_phi(AXIS)

    def base(self, late: float) -> Array:
        """The same for one main circuit, (times,)."""
        return self.event.base_phi(np.array([late]))[:, 0]

    def responses(self, flow_kg_s: Reals) -> Responses:
        """What shots add, from their flows [kg/s], (steps, n).

        In a step the gas keeps what it held but for what the cylinders drew, and takes up the flow; the film alike.
        """
        filmed, direct = np.zeros((2, len(self.event.time_s), flow_kg_s.shape[1]), dtype=flow_kg_s.dtype)
        film = np.zeros_like(filmed[0])
        for step, (gas, taken, left, landed, off, through) in enumerate(self.steps):
            flow = flow_kg_s[step]
            direct[step + 1] = gas * direct[step] + taken * flow
            filmed[step + 1] = gas * filmed[step] + taken * (off * film + through * flow)
            film = left * film + landed * flow
        return Responses(filmed, direct - filmed)

    @cached_property
    def steps(self) -> list[list[float]]:
        """What becomes of fuel in each step: what the gas keeps of the mixture that a shot has added, the mixture made
        of flow into it [1/(kg/s)]; what the film keeps, gains of the flow that lands [s], gives off of what it held
        [1/s] and of that flow."""
        event = self.event
        interval, drawn, per_kg = np.diff(event.time_s), step_mean(event.drawn_per_s), event.phi_per_kg
        keep = np.exp(-drawn * interval)
        prompt = per_kg[1:] * (1.0 - keep) / drawn
        keep *= per_kg[1:] / per_kg[:-1]
        tau = step_mean(event.film_tau_s)
        stays = np.exp(-interval / tau)
        held = (1.0 - stays) * tau
        figures = np.array([keep, prompt, stays, held, (1.0 - stays) / interval, 1.0 - held / interval])
        steps: list[list[float]] = figures.T.tolist()
        return steps


def taken(responses: Responses, column: Indices) -> Responses:
    """The responses of combinations that share shots, each by its column."""
    return Responses(responses.filmed[:, column], responses.sooner[:, column])
