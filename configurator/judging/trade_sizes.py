"""Nozzles out of the trade's sizes: wherever one is offered, it is told as that."""

import numpy as np

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.limits import Limits
from configurator.rules import RULES
from configurator.slots.columns import nozzle_column
from configurator.slots.options import Choice

TRADE_SIZES = (RULES["nozzle-is-not-unusually-small"], RULES["nozzle-is-not-unusually-large"])
OUT_OF_TRADE = TRADE_SIZES[0].wrong


def odd_size(nozzle: FittedNozzle, limits: Limits) -> str:
    """What is wrong with a nozzle out of the trade's sizes; empty for one in use."""
    for rule in TRADE_SIZES:
        value, limit = (np.asarray(one).item() for one in rule.reads(nozzle=nozzle_column([nozzle]), limits=limits))
        if rule.between(value, limit) < 0:
            return rule.told(value, limit)
    return ""


def odd_sizes(choice: Choice, limits: Limits) -> list[str]:
    """The same of every nozzle that a choice puts in, with its circuit."""
    told = {
        slot.circuit: odd_size(option.figures, limits) for slot, option in choice.items()
        if option.changed and isinstance(option.figures, FittedNozzle)
    }  # fmt: skip
    return [f"{circuit}: {says}" for circuit, says in told.items() if says]
