"""The demand factors that every nozzle size covers with the other parts of a choice, against what is believed of f."""

from dataclasses import dataclass

import numpy as np

from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case
from configurator.learning.belief import Belief, prior
from configurator.slots.options import Choice, Option
from configurator.slots.slot import CIRCUIT_SLOTS, Slot


@dataclass(frozen=True)
class SizeWindow:
    """One nozzle size: the factors it covers, None for none, and the share of the belief inside them (0 to 1)."""

    diameter_mm: float
    window: tuple[float, float] | None
    sureness: float
    chosen: bool


@dataclass(frozen=True)
class NozzleWindows:
    """Every size of the chosen nozzle's kind, smallest first, with the feed screw, pump and lobe of one circuit.

    kind : style of the nozzles; parts : labels of the others. factor : the case's f. belief : before any run, the one
    about the vehicle's own f.
    """

    vehicle: str
    circuit: str
    kind: str
    parts: tuple[str, ...]
    factor: float
    belief: Belief
    sizes: tuple[SizeWindow, ...]


def nozzle_windows(case: Case, name: str, choice: Choice, belief: Belief | None) -> NozzleWindows:
    """Windows of a circuit's nozzle sizes with the other parts of a choice; belief None for the one before any run.

    Redrilled nozzles are left out unless one is chosen: every drill would be a size of its own.
    """
    believed = belief or prior(case.vehicle.demand_factor, case.catalog.limits.belief_spread)
    slot = Slot(name, "nozzle")
    chosen = choice[slot]
    options = _of_one_kind(case.on_offer[slot], chosen)
    listed = {other: (option,) for other, option in choice.items()} | {slot: tuple(options)}
    shot = case.columns(name, listed, with_windows=True).shot
    sizes = []
    for option, low, high in zip(options, shot.window_low.ravel(), shot.window_high.ravel(), strict=True):
        window = (float(low), float(high)) if np.isfinite(low) and low <= high else None
        sizes.append(
            SizeWindow(option.read(FittedNozzle).diameter_mm, window, believed.sureness(window), option is chosen)
        )
    parts = tuple(choice[Slot(name, other)].label for other in CIRCUIT_SLOTS[1:])
    return NozzleWindows(
        case.vehicle.name, name, chosen.read(FittedNozzle).style, parts, case.factor, believed, tuple(sizes)
    )  # fmt: skip


def _of_one_kind(options: tuple[Option, ...], chosen: Option) -> list[Option]:
    """Options that differ from the chosen one in nothing but their size, one a size, smallest first."""

    def kind(option: Option) -> tuple[str, int]:
        return option.read(FittedNozzle).style, option.read(FittedNozzle).orifices

    by_size = {chosen.read(FittedNozzle).diameter_mm: chosen}
    for option in options:
        if option.work != "redrill" and kind(option) == kind(chosen):
            by_size.setdefault(option.read(FittedNozzle).diameter_mm, option)
    return [by_size[size] for size in sorted(by_size)]
