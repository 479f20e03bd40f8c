"""Right at this demand: the engines in which a combination keeps every hard rule.

What is felt moves with the engine, and so does when the rear main circuit delivers; every other rule holds in all
engines or in none.
"""

from dataclasses import replace
from math import inf

import numpy as np

from configurator.arrays import Array
from configurator.physics.lateness import POINTS, Regions
from configurator.rules import RULES
from configurator.rules.figures import JudgedFigures

HARD = [rule for rule in RULES.values() if rule.is_choosable and rule.severity == "conflict"]
OF_FELT_SIZES = (
    "nozzle-is-no-smaller-than-was-too-small", "nozzle-is-no-larger-than-was-large-enough",
    "shot-is-no-less-than-was-too-little", "shot-is-no-slower-than-was-too-little", "shot-is-no-more-than-smoked",
)  # fmt: skip
"""The rules on what was felt before."""
IN_EVERY_ENGINE = [rule for rule in HARD if "shot" not in rule.slots or rule.id in OF_FELT_SIZES]
"""Rules that hold in every engine or in none; whether the others hold hangs on the engine."""
DEMAND = tuple(rule.id for rule in HARD if "shot" in rule.slots or rule.id in OF_FELT_SIZES)
"""The rules on what is felt."""
LASTS = RULES["rear-shot-lasts-until-the-main-delivers"]


def right_at_demand(table: JudgedFigures, rear_main_delivers_ms: Array) -> Regions:
    """The engines of the grid in which combinations keep every rule on the shot.

    table : with regions of those in which each pulls cleanly. rear_main_delivers_ms : with main circuits as late as
    each of lateness.AXIS; infinite for a front circuit.
    """
    assert table.shot.regions is not None
    bits = table.shot.regions.bits
    if np.isinf(rear_main_delivers_ms).all():
        return Regions(bits)
    lasts = np.zeros(bits.shape[:-1], dtype=np.int64)
    for place, delivers_ms in enumerate(rear_main_delivers_ms.tolist()):
        facts = replace(table.facts, rear_main_delivers_ms=delivers_ms, sure_wanted_percent=inf)
        lasts |= (~(LASTS.margin(replace(table, facts=facts)) < 0)).astype(np.int64) << place
    patterns, which = np.unique(lasts, return_inverse=True)
    mains = (patterns[:, None] >> np.arange(POINTS)) & 1
    return Regions(bits & Regions.of(np.tile(mains.astype(bool), POINTS)).bits[which.reshape(lasts.shape)])


def right(table: JudgedFigures) -> Regions:
    """The engines in which combinations keep all hard rules, with the first spacer and pad, shape (nozzle, feed screw,
    pump, lobe, bytes)."""
    assert table.shot.regions is not None
    bits = table.shot.regions.bits[..., 0, 0, :]
    broken = np.zeros(bits.shape[:-1], dtype=bool)
    for rule in IN_EVERY_ENGINE:
        margin = rule.margin(table)
        broken |= margin[..., 0, 0] < 0 if margin.ndim else margin < 0
    return Regions(np.where(broken[..., None], np.uint8(0), bits))
