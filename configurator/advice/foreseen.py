"""What a run may show, and what would be next: each feeling with its chance, and the step it would lead to.

The step is looked up in the tables that parts are chosen from, under what would then be believed: of the combinations
nearly as sure as the surest, the one with the fewest other parts, the nearest nozzle of them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from configurator.advice.named_choice import choice_after
from configurator.advice.reach import is_within_reach
from configurator.arrays import Mask
from configurator.book.records import Felt
from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case, FeltSizes, margins
from configurator.judging.table import DEMAND, LEAST_SURE, NEARLY_AS_SURE
from configurator.judging.trade_sizes import OUT_OF_TRADE, odd_sizes
from configurator.learning.as_known import SURE_ENOUGH, Known
from configurator.learning.belief import Belief, felt_with
from configurator.learning.driver import ANSWERS, CLEAN, MISJUDGED_SHARE, answer_chances, felt_weights
from configurator.learning.felt_sizes import SAME_VOLUME
from configurator.physics.verdict import Complaints
from configurator.reports import ProposeReport
from configurator.rules import RULES
from configurator.rules.figures import JudgedFigures
from configurator.slots.options import Choice, Option
from configurator.slots.slot import CIRCUIT_SLOTS, SHARED_SLOTS, Slot

FEELINGS = (
    ("clean", Felt(word="clean"), 0), ("hesitates", Felt(word="stumble", moment="at-once"), 1),
    ("goes flat", Felt(word="flat"), -1), ("too much fuel", Felt(word="smoke"), -1),
)  # fmt: skip
"""What may be felt, as it would be logged, and the way it asks of the nozzle."""
STOP = "stop, it is right"
NOTHING_LIKELY = "look for a fault elsewhere (float level, ignition, air leak)"


@dataclass(frozen=True)
class Foreseen:
    """A feeling, its chance, and what would be next."""

    felt: str
    chance: float
    then: str


def foreseen(known: Known, step: ProposeReport) -> list[Foreseen]:
    """What a run with a step's parts may show."""
    choice = choice_after(known.case, step.changes)
    felt = reduce(Complaints.worst_with, (felt_with(known.case, name, [choice]) for name in known.case.circuit_names))
    rightly = answer_chances(felt)[:, 0]
    chances = (1.0 - MISJUDGED_SHARE) * rightly + MISJUDGED_SHARE / len(ANSWERS)
    believed = known.believed
    found = []
    for says, word, way in FEELINGS:
        weights = felt_weights(word)
        complaint = ANSWERS[int(weights.argmax())].partition(",")[0]
        rows = [row for row, answer in enumerate(ANSWERS) if answer.partition(",")[0] == complaint]
        chance = float(chances[rows].sum(axis=0) @ believed.masses)
        likelihood = (1.0 - MISJUDGED_SHARE) * (weights @ rightly) + MISJUDGED_SHARE / len(ANSWERS)
        after = believed.updated(likelihood)
        then = STOP if complaint == ANSWERS[CLEAN] else _then(known, after, choice, way, complaint)
        found.append(Foreseen(says, chance, then))
    return found


def _then(known: Known, after: Belief, choice: Choice, way: int, felt: str) -> str:
    """The next step after a feeling, in words."""
    told = []
    for name in known.case.circuit_names:
        table = known.tables.tabulated(name)
        assert table.shot.regions is not None
        sure = table.shot.regions.share(after.masses)[..., 0, 0]
        offered = {slot: known.case.on_offer[slot] for slot in (Slot(name, own) for own in CIRCUIT_SLOTS)}
        now = tuple(_place(known.case, slot, choice[slot]) for slot in offered)
        may = _keeps_the_rules(known.case, table, choice) & _a_step(known.case, offered, now, way)
        may &= _of_the_volume(table, now, felt) & ~_failed_before(known, name, offered)
        may[now] = True
        sure = np.where(may, sure, -1.0)
        wanted = min(SURE_ENOUGH, NEARLY_AS_SURE * float(sure.max()))
        if sure[now] >= SURE_ENOUGH or sure[now] >= sure.max():
            continue
        if sure.max() < LEAST_SURE:
            return NOTHING_LIKELY
        sure[now] = -1.0  # what is complained of is not left alone
        best = _fewest_changes(sure >= wanted, now, offered)
        told += [_named(known.case, slot, offered[slot][place])
                 for slot, place, was in zip(offered, best, now, strict=True) if place != was]  # fmt: skip
    return ", ".join(told) or "run it once more as it is"


def _named(case: Case, slot: Slot, option: Option) -> str:
    odd = odd_sizes({slot: option}, case.catalog.limits)
    return f"{slot}: {option.label}{f' ({OUT_OF_TRADE})' if odd else ''}"


def _place(case: Case, slot: Slot, option: Option) -> int:
    place = case.options[slot].kind_of(option)
    assert place is not None
    return place


def _keeps_the_rules(case: Case, table: JudgedFigures, choice: Choice) -> Mask:
    """Which combinations keep all rules of a circuit but those on what is felt, spacer and pad as they are chosen."""
    keeps = np.ones(table.shot.sure_percent.shape[:4], dtype=bool)
    shared = [_place(case, slot, choice[slot]) for slot in (Slot(None, own) for own in SHARED_SLOTS)]
    for rule in RULES.values():
        if rule.scope == "circuit" and rule.is_choosable and rule.severity == "conflict" and rule.id not in DEMAND:
            holds = ~(margins(rule, table) < 0)
            spacer, relief = (place if holds.shape[4 + axis] > 1 else 0 for axis, place in enumerate(shared))
            keeps = keeps & holds[..., spacer, relief]
    return keeps


def _a_step(case: Case, offered: Mapping[Slot, Sequence[Option]], now: tuple[int, ...], way: int) -> Mask:
    """Which combinations are a step away: swaps, the nozzle within reach, never against what was felt beside the same
    pump and lobe."""
    nozzles, *others = offered.values()
    fitted, scatter_mm = nozzles[now[0]].read(FittedNozzle), case.catalog.limits.stamped_tolerance_mm
    figures = [option.read(FittedNozzle) for option in nozzles]
    reached = np.array([is_within_reach(fitted, one, way, scatter_mm) for one in figures])
    reached &= np.array([not option.permanent for option in nozzles])
    reached[now[0]] = True
    against = np.array([way * (one.diameter_mm - fitted.diameter_mm) < -1e-9 for one in figures])
    screws, pumps, lobes = (np.array([not option.permanent for option in options]) for options in others)
    step = reached[:, None, None, None] & screws[:, None, None] & pumps[:, None] & lobes
    step[against, :, now[2], now[3]] = False
    return np.asarray(step)


def _of_the_volume(table: JudgedFigures, now: tuple[int, ...], felt: str) -> Mask:
    """Which combinations give no less than what ran out, and no more than what was too much."""
    volume_cc = table.shot.volume_cc[..., 0, 0]
    if felt == "flat":
        return np.asarray(volume_cc >= (1.0 - SAME_VOLUME) * volume_cc[now])
    if felt == "rich":
        return np.asarray(volume_cc <= (1.0 + SAME_VOLUME) * volume_cc[now])
    return np.ones(volume_cc.shape, dtype=bool)


def _failed_before(known: Known, name: str, offered: Mapping[Slot, Sequence[Option]]) -> Mask:
    """Which combinations were felt too small or too large before, beside what is fitted now."""
    bounds = known.sizes.get(name, FeltSizes())
    nozzles, *others = offered.values()
    failed = np.zeros([len(options) for options in offered.values()], dtype=bool)
    sizes = np.array([option.read(FittedNozzle).diameter_mm for option in nozzles])
    _, pump, lobe = (next(place for place, one in enumerate(options) if not one.changed) for options in others)
    failed[:, :, pump, lobe] = ((sizes <= bounds.lean_mm) | (sizes >= bounds.rich_mm))[:, None]
    return failed


def _fewest_changes(good: Mask, now: tuple[int, ...], offered: Mapping[Slot, Sequence[Option]]) -> tuple[int, ...]:
    """Of good combinations the one with the fewest other parts, then the cheapest, then the nearest nozzle."""
    places = np.argwhere(good)
    changes = (places != np.array(now)).sum(axis=1)
    prices = np.sum([
        np.where(places[:, axis] != now[axis], np.array([one.price for one in options])[places[:, axis]], 0)
        for axis, options in enumerate(offered.values())
    ], axis=0)  # fmt: skip
    sizes = np.array([one.read(FittedNozzle).diameter_mm for one in next(iter(offered.values()))])
    step = np.abs(sizes[places[:, 0]] - sizes[now[0]]).round(6)
    return tuple(places[np.lexsort((step, prices, changes))[0]].tolist())
