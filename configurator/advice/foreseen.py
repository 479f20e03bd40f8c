"""What a run may show, and what would be next: each feeling with its chance, and the step it would lead to.

The step is looked up among the combinations that are a step away, under what would then be believed: of those nearly
as sure as the surest, the one with the fewest other parts, the nearest nozzle of them.
"""

from dataclasses import dataclass
from functools import cached_property, reduce

import numpy as np

from configurator.advice.named_choice import choice_after
from configurator.advice.reach import between_best, is_within_reach, lies_between
from configurator.advice.sure_proposal import LIKELY
from configurator.advice.trade_step import nozzles_by_practice
from configurator.arrays import Array, Mask
from configurator.book.records import Felt
from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case, FeltSizes
from configurator.judging.feelings import Symptom, symptom_felt
from configurator.judging.right import DEMAND
from configurator.judging.table import LEAST_SURE, NEARLY_AS_SURE, CombinationTable, tabulate_listed, worth_of
from configurator.judging.trade_sizes import OUT_OF_TRADE, odd_sizes
from configurator.learning.as_known import A_PART_IS_WORTH, SURE_ENOUGH, Known
from configurator.learning.belief import Belief, Run, felt_with
from configurator.learning.driver import ANSWERS, answer_chances, felt_weights
from configurator.learning.felt_sizes import COMPANIONS, LEAST_LEFT, SAME_SHOT, felt_next, side_of_nozzle
from configurator.physics.verdict import Complaints
from configurator.reports import ProposeReport
from configurator.slots.columns import JudgedShots
from configurator.slots.options import Choice, Option
from configurator.slots.slot import AXES, CIRCUIT_SLOTS, Slot, SlotName

FEELINGS = (
    ("clean", symptom_felt("clean", None)), ("hesitates", symptom_felt("stumble", "at-once")),
    ("goes flat", symptom_felt("flat", None)), ("too much fuel", symptom_felt("smoke", None)),
)  # fmt: skip
"""What may be felt, as it would be logged."""
STOP = "stop, it is right"
NOTHING_LIKELY = "look for a fault elsewhere (float level, ignition, air leak)"
ONCE_MORE = "run it once more as it is"


@dataclass(frozen=True)
class Foreseen:
    """A feeling, its chance, and what would be next."""

    felt: str
    chance: float
    then: str


def foreseen(known: Known, step: ProposeReport) -> list[Foreseen]:
    """What a run with a step's parts may show."""
    ahead = RunAhead(known, choice_after(known.case, step.changes))
    return [
        Foreseen(says, ahead.chance(symptom), _told(known.case, ahead.step_after(symptom)) if symptom.side else STOP)
        for says, symptom in FEELINGS
    ]


def _told(case: Case, step: Choice | None) -> str:
    """The next step after a feeling, in words."""
    if step is None:
        return NOTHING_LIKELY
    odd = {slot: f" ({OUT_OF_TRADE})" if odd_sizes({slot: step[slot]}, case.catalog.limits) else "" for slot in step}
    return ", ".join(f"{slot}: {option.label}{odd[slot]}" for slot, option in step.items()) or ONCE_MORE


@dataclass(frozen=True)
class RunAhead:
    """A run with a choice of parts: how likely each feeling is, and the step it would lead to."""

    known: Known
    choice: Choice

    def chance(self, symptom: Symptom) -> float:
        """Of what a symptom complains of most, however strongly it is felt."""
        complaint = _complaint(int(felt_weights(_felt(symptom)).argmax()))
        rows = [row for row in range(len(ANSWERS)) if _complaint(row) == complaint]
        likely = sum(Run(None, self._rightly[row], 1.0 / len(ANSWERS)).likelihood() for row in rows)
        return float(likely @ self.known.believed.masses)

    def step_after(self, symptom: Symptom) -> Choice | None:
        """What would change in each slot; nothing where it is run once more as it is, None where nothing is likely to
        be right."""
        rightly = np.tensordot(felt_weights(_felt(symptom)), self._rightly, axes=1)
        after = self.known.believed.updated(Run(None, rightly, 1.0 / len(ANSWERS)).likelihood())
        step: dict[Slot, Option] = {}
        for name, table in self._around.items():
            scatter_mm = self.known.case.catalog.limits.stamped_tolerance_mm
            alone, side = len(self._around) == 1, side_of_nozzle(symptom)
            may = _may_be_tried(table, side, scatter_mm, alone=alone) & _no_less_nor_more(table, symptom, name)
            may &= ~_failed_before(self.known, name, table)
            may[NOW] = not self._again(symptom)
            bracket = self._bounds_after(name, symptom).bracket_mm
            found = _between(table, after, bracket, scatter_mm, may) if bracket and alone else None
            found = _step(table, after, may) if found is None else found
            if found is None:
                return self._by_practice(symptom)
            step |= {Slot(name, own): option for own, option in found.items()}
        return step

    def _by_practice(self, symptom: Symptom) -> Choice | None:
        """The trade's step, where the model has none and it was felt twice: another nozzle, everything else as
        chosen."""
        name, *others = self._around
        side, table = side_of_nozzle(symptom), self._around[name]
        if not self._again(symptom) or set(symptom.tells) == {"flat"} or (others and side < 0):
            return None
        newly = _newly_broken(table)
        felt, limits = self._bounds_after(name, symptom), self.known.case.catalog.limits
        for places in nozzles_by_practice(table.options["nozzle"], side, limits, felt):
            if fitting := [place for place in places if not newly[place, 0, 0, 0]]:
                return {Slot(name, "nozzle"): table.options["nozzle"][fitting[0]]}
        return None

    def shot(self, circuit: str, step: Choice) -> JudgedShots:
        """What a circuit delivers once parts of a step after it are in as well."""
        table = self._around[circuit]
        slots = [(own, Slot(circuit, own)) for own in CIRCUIT_SLOTS]
        places = [table.options[own].index(step[slot]) if slot in step else 0 for own, slot in slots]
        return table.columns.shot.at((*places, 0, 0))

    def _again(self, symptom: Symptom) -> bool:
        """Whether it would be the second complaint of what is in the car, the same way: then that is not left as it
        is."""
        last = self.known.last_felt
        as_now = not any(option.changed for option in self.choice.values())
        return bool(as_now and last and side_of_nozzle(last) and side_of_nozzle(last) == side_of_nozzle(symptom))

    def _bounds_after(self, circuit: str, symptom: Symptom) -> FeltSizes:
        """What is known of the sizes beside the pump and lobe that are chosen, once they are felt so."""
        as_now = all(not self.choice[Slot(circuit, own)].changed for own in COMPANIONS)
        before = self.known.sizes.get(circuit, FeltSizes()) if as_now else FeltSizes()
        return felt_next(before, self.choice[Slot(circuit, "nozzle")].read(FittedNozzle).diameter_mm, symptom)

    @cached_property
    def _rightly(self) -> Array:
        """Probability of each answer in every engine, that of the worse circuit, shape (answers, points)."""
        case = self.known.case
        felt = reduce(Complaints.worst_with, (felt_with(case, name, [self.choice]) for name in case.circuit_names))
        return np.asarray(answer_chances(felt)[:, 0])

    @cached_property
    def _around(self) -> dict[str, CombinationTable]:
        """Of each circuit the combinations that a swap leads to, with nozzles in reach of some feeling; what is chosen
        stands first in every slot."""
        return {
            name: tabulate_listed(self.known.tables, name, self._listed(name)) for name in self.known.case.circuit_names
        }

    def _listed(self, name: str) -> dict[Slot, tuple[Option, ...]]:
        case, scatter_mm = self.known.case, self.known.case.catalog.limits.stamped_tolerance_mm
        now = self.choice[Slot(name, "nozzle")].read(FittedNozzle)
        listed: dict[Slot, tuple[Option, ...]] = {}
        for slot in (Slot.of(name, own) for own in AXES):
            kind, kinds = case.options[slot].kind_of(self.choice[slot]), case.on_offer[slot]
            others = [option for place, option in enumerate(kinds) if place != kind and not option.permanent]
            if slot.name == "nozzle":
                others = [
                    one for one in others if one.read(FittedNozzle).style in case.vehicle.carburettor.nozzle_styles
                    and is_within_reach(now, one.read(FittedNozzle), None, scatter_mm)
                ]  # fmt: skip
            listed[slot] = (self.choice[slot], *(others if slot.circuit else ()))
        return listed


def _felt(symptom: Symptom) -> Felt:
    """A symptom as a run is logged with it."""
    return Felt(word=symptom.word, moment=symptom.moment)


def _complaint(answer: int) -> str:
    return ANSWERS[answer].partition(",")[0]


def _step(table: CombinationTable, after: Belief, may: Mask) -> dict[SlotName, Option] | None:
    """What would change in one circuit; None where nothing is likely to be right."""
    assert table.columns.shot.regions is not None
    sure = np.where(may, after.sureness(table.columns.shot.regions)[..., 0, 0], -1.0)
    now, worth = float(sure[NOW]), _most_worth(sure)
    most = worth if worth > now else float(sure.max())
    wanted = min(SURE_ENOUGH, NEARLY_AS_SURE * most)
    if now >= max(wanted, LIKELY):
        return {}
    if most < LEAST_SURE or now >= most:
        return None
    # What is complained of, and is not likely to be right, is not left alone for a few per cent.
    best = _fewest_changes(table, sure, most if now >= wanted else wanted)
    return {own: table.options[own][place] for own, place in zip(CIRCUIT_SLOTS, best, strict=True) if place}


def _most_worth(sure: Array) -> float:
    """The surest of what is worth its parts, as most_together has it. sure : by the places of the four slots."""
    changes = (np.indices(sure.shape) > 0).sum(axis=0)
    mosts = [(float(sure[changes <= parts].max()), parts) for parts in range(sure.ndim + 1)]
    return max(mosts, key=lambda one: (worth_of(one[0], one[1], A_PART_IS_WORTH, SURE_ENOUGH), -one[1]))[0]


def _between(
    table: CombinationTable, after: Belief, bracket_mm: tuple[float, float], scatter_mm: float, may: Mask
) -> dict[SlotName, Option] | None:
    """The nozzle between one that stumbled and one that smoked, all else as chosen; None where there is none."""
    assert table.columns.shot.regions is not None
    now, *_ = nozzles = [option.read(FittedNozzle) for option in table.options["nozzle"]]
    sure = after.sureness(table.columns.shot.regions)[:, 0, 0, 0, 0, 0]
    there = [
        place for place, one in enumerate(nozzles)
        if place and may[place, 0, 0, 0] and table.options["nozzle"][place].work == "fit"
        and lies_between(now, one, bracket_mm, scatter_mm)
    ]  # fmt: skip
    if not there:
        return None
    best = max(there, key=lambda place: between_best(float(sure[place]), nozzles[place].diameter_mm, bracket_mm))
    return {"nozzle": table.options["nozzle"][best]}


NOW = (0, 0, 0, 0)
"""The place of what is chosen among the combinations around it."""


def _newly_broken(table: CombinationTable) -> Mask:
    """Which combinations break a rule that is kept now, but for those on what is felt."""
    newly = (mask & ~mask[NOW] for rule, mask in table.broken.items() if rule not in DEMAND)
    return np.asarray(reduce(np.logical_or, newly))


def _may_be_tried(table: CombinationTable, side: int, scatter_mm: float, *, alone: bool) -> Mask:
    """Whether combinations break no rule that is kept now but those on what is felt, their nozzle in reach of what was,
    and never against it: whatever else changes where the circuit is alone, else beside the same pump and lobe."""
    now, *others = (option.read(FittedNozzle) for option in table.options["nozzle"])
    reached = np.array([True, *(is_within_reach(now, one, side, scatter_mm) for one in others)])
    against = np.array([False, *(side * (one.diameter_mm - now.diameter_mm) < 0.0 for one in others)])
    may = reached[:, None, None, None] & ~_newly_broken(table)
    if alone:
        may[against] = False
    else:
        may[against, :, 0, 0] = False
    return np.asarray(may)


def _no_less_nor_more(table: CombinationTable, symptom: Symptom, name: str) -> Mask:
    """Which combinations give no less than what was too little, and no more than what was too much."""
    volume_cc, peak_cc_s = (one[..., 0, 0] for one in (table.columns.shot.volume_cc, table.columns.shot.peak_cc_s))
    most_cc, least_cc = (1.0 + SAME_SHOT) * volume_cc[NOW], (1.0 - SAME_SHOT) * volume_cc[NOW]
    may = np.ones(volume_cc.shape, dtype=bool)
    if set(symptom.tells) == {"flat"}:
        may = volume_cc >= least_cc
    elif side_of_nozzle(symptom) > 0 and name == "front":
        may = (volume_cc >= LEAST_LEFT * volume_cc[NOW]) & (peak_cc_s >= (1.0 - SAME_SHOT) * peak_cc_s[NOW])
    elif set(symptom.tells) == {"rich"}:
        may = (volume_cc <= most_cc) & (peak_cc_s <= (1.0 + SAME_SHOT) * peak_cc_s[NOW])
    return np.asarray(may)


def _failed_before(known: Known, name: str, table: CombinationTable) -> Mask:
    """Which combinations have a nozzle that was felt too small or too large beside the pump and lobe fitted now."""
    bounds = known.sizes.get(name, FeltSizes())
    sizes_mm = np.array([option.read(FittedNozzle).diameter_mm for option in table.options["nozzle"]])
    pumps, lobes = (np.array([not option.changed for option in table.options[own]]) for own in ("pump", "lobe"))
    failed = (sizes_mm <= bounds.lean_mm) | (sizes_mm >= bounds.rich_mm)
    return np.asarray(failed[:, None, None, None] & pumps[:, None] & lobes)


def _fewest_changes(table: CombinationTable, sure: Array, wanted: float) -> tuple[int, ...]:
    """Of combinations as sure as wanted the one with the fewest other parts, then the cheapest, then the nearest
    nozzle; of that, where it changes and is not sure enough, the size that is the surest and no dearer."""
    places = np.argwhere(sure >= wanted)
    prices = np.sum([
        np.array([0, *(one.price for one in table.options[own][1:])])[places[:, axis]]
        for axis, own in enumerate(CIRCUIT_SLOTS)
    ], axis=0)  # fmt: skip
    sizes_mm = np.array([one.read(FittedNozzle).diameter_mm for one in table.options["nozzle"]])
    step_mm = np.abs(sizes_mm[places[:, 0]] - sizes_mm[0]).round(6)
    nozzle, *beside = places[np.lexsort((step_mm, prices, (places != 0).sum(axis=1)))[0]].tolist()
    chosen = table.options["nozzle"][nozzle]
    alike = np.array([
        bool(nozzle) and bool(place) and one.work == chosen.work and one.price <= chosen.price
        for place, one in enumerate(table.options["nozzle"])
    ])  # fmt: skip
    if nozzle and sure[(nozzle, *beside)] < SURE_ENOUGH:
        nozzle = int(np.where(alike, sure[(slice(None), *beside)], -1.0).argmax())
    return (nozzle, *beside)
