"""Sizes that runs tell of: felt too small, or large enough, with the pump and lobe that are fitted.

What was felt later counts before what was felt earlier: where a size was large enough that an earlier run had too
small, one of the two was misjudged, or the engine's main circuit explains it; the newer one holds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from configurator.book.records import Trial
from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case, FeltSizes
from configurator.judging.feelings import Symptom
from configurator.learning.belief import newest_first, symptom_of
from configurator.slots.columns import JudgedShots
from configurator.slots.slot import Slot, SlotName
from configurator.units.units import SAME_SIZE_MM

COMPANIONS: tuple[SlotName, ...] = ("pump", "lobe")


def felt_sizes(case: Case, runs: Sequence[Trial], symptom: Symptom | None = None) -> Mapping[str, FeltSizes]:
    """What was felt of each circuit's sizes. case : of the car as it is now. symptom : what is felt now."""
    found = {}
    for name in case.circuit_names:
        now_mm = case.as_fitted[Slot(name, "nozzle")].read(FittedNozzle).diameter_mm
        felt = [(now_mm, symptom)] if symptom else []
        for run in newest_first(runs):
            size_mm, said = _size_mm(case, name, run), symptom_of(run)
            if size_mm is not None and said is not None:
                felt.append((size_mm, said))
        if len(case.circuit_names) > 1:  # off idle the front circuit is felt; of anything else it may be either
            felt = [(mm, symptom) for mm, symptom in felt if name == "front" and side_of_nozzle(symptom) > 0]
        scatter_mm = case.catalog.limits.stamped_tolerance_mm
        found[name] = replace(_bounds(felt), now_mm=now_mm, scatter_mm=scatter_mm, again=_again(felt, now_mm))
    return found


def _again(felt: Sequence[tuple[float, Symptom]], now_mm: float) -> bool:
    """Whether the fitted size was complained of twice the same way, nothing else felt of it since. felt : the newest
    first."""
    sides = [side_of_nozzle(symptom) for mm, symptom in felt if abs(mm - now_mm) < SAME_SIZE_MM]
    return len(sides) > 1 and sides[0] != 0 and sides[0] == sides[1]


def with_last_feeling(case: Case, sizes: Mapping[str, FeltSizes], felt: Symptom | None) -> Mapping[str, FeltSizes]:
    """The bounds with those of what was felt last of what is fitted. They hold whatever else changes: no smaller nozzle
    for want of fuel at once, nor a shot of much less volume or slower; no larger one for too much or where the shot ran
    out, no less volume than ran out, no more than smoked. Off idle the front circuit is felt; whatever else is felt,
    neither circuit goes against it."""
    if felt is None or not side_of_nozzle(felt):
        return sizes
    if side_of_nozzle(felt) > 0:
        return {**sizes, "front": _too_little(case, "front", sizes["front"])}
    return {name: _enough(case, name, own, felt) for name, own in sizes.items()}


def _too_little(case: Case, name: str, sizes: FeltSizes) -> FeltSizes:
    """The bounds of one circuit where fuel was wanting at once."""
    shot, bounds = _fitted_shot(case, name), replace(sizes, least_mm=sizes.now_mm)
    if not np.isfinite(shot.volume_cc.item()):
        return bounds
    least_cc, least_cc_s = LEAST_LEFT * shot.volume_cc.item(), (1.0 - SAME_SHOT) * shot.peak_cc_s.item()
    return replace(bounds, least_cc=float(least_cc), least_cc_s=float(least_cc_s))


def _fitted_shot(case: Case, name: str) -> JudgedShots:
    return case.columns(name, {slot: (option,) for slot, option in case.as_fitted.items()}).shot


def _enough(case: Case, name: str, sizes: FeltSizes, felt: Symptom) -> FeltSizes:
    """The bounds of one circuit where fuel was too much, or ran out."""
    bounds = replace(sizes, most_mm=sizes.now_mm)
    volume_cc = float(_fitted_shot(case, name).volume_cc.item())
    if not np.isfinite(volume_cc) or {"flat", "rich"} <= set(felt.tells):
        return bounds
    if "flat" in felt.tells:
        return replace(bounds, least_cc=(1.0 - SAME_SHOT) * volume_cc)
    return replace(bounds, most_cc=(1.0 + SAME_SHOT) * volume_cc)


SAME_SHOT = 0.02
"""Shots that differ by no more than this share are of one volume, or flow as fast: a nozzle's size moves what has come
by the end."""

LEAST_LEFT = 0.85
"""Of the volume, where fuel was wanting at once: as much may be lost by a lobe that is set to come sooner (assumed)."""


def goes_with(case: Case, sizes: Mapping[str, FeltSizes], run: Trial) -> bool:
    """Whether the nozzles of a run lie between what was felt too small and large enough beside the same parts."""
    between = []
    for name, felt in sizes.items():
        size_mm = _size_mm(case, name, run)
        between.append(size_mm is None or felt.lean_mm < size_mm < felt.rich_mm)
    return all(between)


def side_of_nozzle(symptom: Symptom) -> int:
    """What a feeling asks of the nozzle: a larger one (1) for want of fuel at once; none larger (-1) for too much, or
    where the shot runs out, which takes volume; nothing (0) where it does not say which."""
    at_once, rich = "hesitates" in symptom.tells, "rich" in symptom.tells
    if not symptom.tells or (at_once and rich):
        return 0
    return 1 if at_once else -1


def _size_mm(case: Case, name: str, run: Trial) -> float | None:
    """Diameter of the nozzle of a run [mm], if pump and lobe were those fitted now."""
    if any(run.codes.get(str(slot)) != case.as_fitted[slot].label for slot in (Slot(name, own) for own in COMPANIONS)):
        return None
    slot = Slot(name, "nozzle")
    option = case.options[slot].labelled(run.codes.get(str(slot), ""))
    return option.read(FittedNozzle).diameter_mm if option else None


def felt_next(bounds: FeltSizes, size_mm: float, felt: Symptom) -> FeltSizes:
    """The bounds that are left if a size is felt so next, beside the same pump and lobe."""
    if side_of_nozzle(felt) > 0:
        lean_mm = max(bounds.lean_mm, size_mm)
        return FeltSizes(lean_mm, bounds.rich_mm, bounds.smoked) if bounds.rich_mm > lean_mm else FeltSizes(lean_mm)
    smoked = "rich" in felt.tells if size_mm <= bounds.rich_mm else bounds.smoked
    rich_mm = min(bounds.rich_mm, size_mm)
    return FeltSizes(bounds.lean_mm if bounds.lean_mm < rich_mm else -np.inf, rich_mm, smoked)


def _bounds(felt: Sequence[tuple[float, Symptom]]) -> FeltSizes:
    """The bounds that feelings leave, the newest first."""
    lean_mm, rich_mm, smoked = -np.inf, np.inf, False
    for size_mm, symptom in felt:
        side = side_of_nozzle(symptom)
        if side > 0 and size_mm < rich_mm:
            lean_mm = max(lean_mm, size_mm)
        elif side < 0 and size_mm > lean_mm and size_mm < rich_mm + SAME_SIZE_MM:
            smoked = "rich" in symptom.tells or (smoked and size_mm > rich_mm - SAME_SIZE_MM)
            rich_mm = min(rich_mm, size_mm)
    return FeltSizes(lean_mm, rich_mm, smoked)
