"""A lobe's lift against the throttle, in every phase it may be mounted in, and what idle leaves of the shot."""

from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.judging.case import Case
from configurator.slots.columns import Mount, lobe_column
from configurator.slots.options import Choice
from configurator.slots.slot import Slot


@dataclass(frozen=True)
class PhaseLift:
    """A lobe in one phase: lift [mm] and lift still to come [% of the whole], over the throttle's angles."""

    phase_deg: float
    lift_mm: Array
    left_percent: Array
    left_at_idle_percent: float
    chosen: bool


@dataclass(frozen=True)
class LobeLift:
    """The lobe of one circuit in its phases; angles are the circuit's own throttle's, from its closed stop [deg].

    idle_deg : where the throttle stands before the tip-in. least_left_percent : what a rule wants left there.
    """

    vehicle: str
    circuit: str
    lobe: str
    throttle_deg: Array
    idle_deg: float
    least_left_percent: float
    phases: tuple[PhaseLift, ...]


def lift_of(case: Case, name: str, choice: Choice) -> LobeLift:
    """Lift of the chosen lobe in each phase it is drilled for, and in the phase chosen."""
    option, circuit = choice[Slot(name, "lobe")], case.circuits[name]
    chosen = option.read(Mount)
    phases_deg = sorted({*chosen.lobe.phases_deg, chosen.phase_deg})
    grid = np.linspace(0.0, 90.0 - case.car.assumed.closed_angle_deg, 361)
    angles = np.union1d(grid, [bend for bend in (circuit.idle_deg, *phases_deg) if grid[0] < bend < grid[-1]])
    mounts = [Mount(chosen.lobe, phase) for phase in phases_deg]
    left = lobe_column(mounts, [option.changed] * len(mounts), circuit.idle_deg).lift_left_percent
    total = chosen.lobe.total_lift_mm
    phases = []
    for mount, left_at_idle in zip(mounts, left, strict=True):
        lift = mount.lift_mm(angles)
        phases.append(
            PhaseLift(mount.phase_deg, lift, 100.0 * (total - lift) / total, float(left_at_idle), mount == chosen)
        )
    return LobeLift(
        case.vehicle.name, name, option.label.rpartition(" at ")[0], angles, circuit.idle_deg,
        case.catalog.limits.shot_left_least_percent, tuple(phases),
    )  # fmt: skip
