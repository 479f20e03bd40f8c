"""What is felt of parts where the stumble acts back on speed: an experiment, for one combination at a time.

The mixture's work lowers the torque that speeds the engine up; air, idle and main circuits, film, gas and shot are
worked out anew with that, until the work stays as it is. The best is as ever: the pull of an engine that never
stumbled.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import count
from math import pi

import numpy as np

from configurator.arrays import Array, Reals
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging import tip_in_of_car
from configurator.judging.case import Case
from configurator.judging.demand import Circuit
from configurator.physics.air import Driveline, Engine
from configurator.physics.pull import LEAN_SIDE_PHI, RISE, SAG_FROM_S, lagged, relative_work
from configurator.physics.relaxation import step_mean
from configurator.slots.columns import Mount
from configurator.slots.options import Choice
from configurator.slots.slot import Slot

MOST_PASSES, SETTLED = 5, 5e-3
LEAST_SPEED = 0.4
"""Share of the speed at the start below which a stumbling engine is not followed."""


@dataclass(frozen=True)
class Stumbling(Driveline):
    """A driveline behind an engine whose mixture gives so much of its work in each step."""

    work: tuple[float, ...] = ()

    def pull(
        self, engine: Engine, temperature_k: float, full_pa: float, start: tuple[float, float]
    ) -> Callable[[float, float], tuple[float, float]]:
        whole = super().pull(engine, temperature_k, full_pa, start)
        per_torque, asked = 30.0 / (pi * self.inertia_kg_m2), count()

        def gained(pressure_pa: float, speed_rpm: float) -> tuple[float, float]:
            lost = 1.0 - self.work[next(asked) // 2]  # asked twice a step: for its middle, and for its end
            gain, less = whole(pressure_pa, speed_rpm)
            gain -= per_torque * lost * engine.torque(pressure_pa, temperature_k)
            return (max(gain, 0.0) if speed_rpm < LEAST_SPEED * start[1] else gain), less

        return gained


@dataclass(frozen=True)
class Felt:
    """Delay [ms], lean and rich sag [%]."""

    delay_ms: float
    lean_sag_percent: float
    rich_sag_percent: float


def felt(case: Case, choice: Choice, *, acts_back: bool) -> Felt:
    """What is felt of a choice of the front circuit's parts in the engine as modelled."""
    best = circuit = case.circuits["front"]
    phi = _phi(case, circuit, choice)
    work = relative_work(phi)
    for _ in range(MOST_PASSES if acts_back else 0):
        circuit = _stumbled(case, work)
        phi = _phi(case, circuit, choice)
        before, work = work, relative_work(phi)
        if np.abs(work - before).max() < SETTLED:
            break
    return _felt(best, circuit, phi)


def _phi(case: Case, circuit: Circuit, choice: Choice) -> Reals:
    nozzle, screw, pump, lobe = (choice[Slot("front", slot)] for slot in ("nozzle", "feed_screw", "pump", "lobe"))
    nozzles = [nozzle.read(FittedNozzle)]
    slack_mm = case.slack_mm("front", [pump.changed], [lobe.changed])[0]
    shot = circuit.deliver(
        nozzles, [screw.read(FeedScrewFigures)], [pump.read(PumpFigures)], [lobe.read(Mount)], slack_mm
    )
    supply = circuit.verdict.supply
    return supply.responses(circuit.flow_kg_s(shot)).phi(supply.base(1.0), 1.0 - circuit.film_share(nozzles))[:, 0]


def _stumbled(case: Case, work: Reals) -> Circuit:
    """The front circuit's tip-in with so much of the work at every time."""
    plain = tip_in_of_car._driveline
    try:
        tip_in_of_car._driveline = lambda vehicle, assumed: Stumbling(
            **vars(plain(vehicle, assumed)), work=tuple(step_mean(np.asarray(work, dtype=float)).tolist())
        )
        return replace(case.car).circuits["front"]
    finally:
        tip_in_of_car._driveline = plain


def _felt(best: Circuit, circuit: Circuit, phi: Reals) -> Felt:
    """As physics/pull, but with an air of its own for the best."""
    event, time_s, lag_s = circuit.event, circuit.event.time_s, circuit.assumed.pull_lag_s

    def behind(pressure_pa: Reals) -> Array:
        return lagged(time_s, np.asarray(pressure_pa, dtype=float)[:, None], lag_s)[:, 0]

    of_best = behind(best.event.pressure_pa - best.event.pressure_pa[0])
    most_pa = float(of_best.max())
    of_best = of_best / most_pa
    missing = 1.0 - relative_work(phi)
    lean = np.clip((LEAN_SIDE_PHI[1] - phi) / (LEAN_SIDE_PHI[1] - LEAN_SIDE_PHI[0]), 0.0, 1.0)
    lean_share = behind(event.pressure_pa * missing * lean * lean * (3.0 - 2.0 * lean)) / (
        behind(event.pressure_pa * missing) + 1e-9
    )
    pull = behind(event.pressure_pa * (1.0 - missing) - event.pressure_pa[0]) / most_pa
    highest, best_highest = np.maximum.accumulate(pull), np.maximum.accumulate(of_best)
    lasts_s = 0.5 * (np.append(np.diff(time_s), 0.0) + np.append(0.0, np.diff(time_s)))
    late = (np.clip(best_highest, *RISE) - np.clip(highest, *RISE)) / (RISE[1] - RISE[0])
    fall = np.clip(highest - pull - (best_highest - of_best), 0.0, None)[time_s >= SAG_FROM_S]
    lean_share = lean_share[time_s >= SAG_FROM_S]
    sags = (100.0 * float((fall * share).max()) for share in (lean_share, 1.0 - lean_share))
    return Felt(1e3 * float(lasts_s @ late), *sags)
