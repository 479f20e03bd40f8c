"""What every nozzle size would be like with the other parts of a choice, over all that is believed of the engine."""

from dataclasses import dataclass

import numpy as np

from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case, margins
from configurator.judging.right import IN_EVERY_ENGINE
from configurator.learning.belief import Belief, felt_with, prior_of
from configurator.slots.options import Choice, Option
from configurator.slots.slot import CIRCUIT_SLOTS, Slot


@dataclass(frozen=True)
class SizeShares:
    """One nozzle size: shares of the belief (0 to 1) for which it is right, hesitates, goes flat a moment later, or is
    too much fuel; they add up to 1."""

    diameter_mm: float
    right: float
    hesitates: float
    flat: float
    rich: float
    chosen: bool
    keeps_rules: bool = True
    """Whether no rule on the nozzle speaks against it but those on what is felt."""


FLAT = 1
"""Place of that complaint: a shot is too short, too, that ends before the rear main circuit delivers."""


@dataclass(frozen=True)
class NozzleSizes:
    """Every size of the chosen nozzle's kind, smallest first, with the feed screw, pump and lobe of one circuit.

    kind : style of the nozzles; parts : labels of the others. belief : before any run, the one about the vehicle's own
    engine.
    """

    vehicle: str
    circuit: str
    kind: str
    parts: tuple[str, ...]
    belief: Belief
    sizes: tuple[SizeShares, ...]


def nozzle_sizes(case: Case, name: str, choice: Choice, belief: Belief | None) -> NozzleSizes:
    """Shares of a circuit's nozzle sizes with the other parts of a choice; belief None for the one before any run.

    Redrilled nozzles are left out unless one is chosen: every drill would be a size of its own.
    """
    believed, slot = belief or prior_of(case), Slot(name, "nozzle")
    chosen = choice[slot]
    options = _of_one_kind(case.on_offer[slot], chosen)
    felt = felt_with(case, name, [{**choice, slot: option} for option in options])
    complaints = np.array([felt.hesitates, felt.flat, felt.rich])
    listed = {own: (option,) for own, option in choice.items()} | {slot: tuple(options)}
    table = case.columns(name, listed, with_regions=True)
    assert table.shot.regions is not None
    covers = table.shot.regions.covers[:, 0, 0, 0, 0, 0]
    of_size = [margins(rule, table)[:, 0, 0, 0, 0, 0] >= 0 for rule in IN_EVERY_ENGINE if "nozzle" in rule.slots]
    keeps = np.logical_and.reduce(np.broadcast_arrays(np.ones(len(options), dtype=bool), *of_size))
    worst = np.where(felt.covers, FLAT, complaints.argmax(axis=0))
    shares = [covers @ believed.masses, *((~covers & (worst == one)) @ believed.masses for one in range(3))]
    sizes = tuple(
        SizeShares(option.read(FittedNozzle).diameter_mm, share, hesitates, flat, rich, option is chosen, kept)
        for option, (share, hesitates, flat, rich), kept in zip(
            options, np.array(shares).T.tolist(), keeps.tolist(), strict=True
        )
    )
    parts = tuple(choice[Slot(name, other)].label for other in CIRCUIT_SLOTS[1:])
    return NozzleSizes(case.vehicle.name, name, chosen.read(FittedNozzle).style, parts, believed, sizes)


def _of_one_kind(options: tuple[Option, ...], chosen: Option) -> list[Option]:
    """Options that differ from the chosen one in nothing but their size, one a size, smallest first."""

    def kind(option: Option) -> tuple[str, int]:
        return option.read(FittedNozzle).style, option.read(FittedNozzle).orifices

    by_size = {chosen.read(FittedNozzle).diameter_mm: chosen}
    for option in options:
        if option.work != "redrill" and kind(option) == kind(chosen):
            by_size.setdefault(option.read(FittedNozzle).diameter_mm, option)
    return [by_size[size] for size in sorted(by_size)]
