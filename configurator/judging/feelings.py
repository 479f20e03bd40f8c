"""What the driver feels, as a move of the demand factor.

A symptom says on which side of its window the fitted combination lies. The first move is about 0.08 mm of orifice
(three thousandths; common practice), half as much where the symptom is faint; f is moved as far as that changes it, and
never against what the model says by itself.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from configurator.car.fitted import FittedNozzle
from configurator.errors import BadInput
from configurator.files.reading import did_you_mean
from configurator.judging.case import Case
from configurator.physics.verdict import FACTOR_RANGE
from configurator.slots.options import Option
from configurator.slots.slot import Slot
from configurator.slots.wishes import Wish
from configurator.units.units import SAME_SIZE_MM

DISAGREEMENT = 1.3
"""Ratio of demand factors beyond which a symptom and the model are said to disagree (assumed)."""


@dataclass(frozen=True)
class Symptom:
    """A feeling in words of our own; side is lean (+1), rich (-1) or neither; faint ones get the finer move."""

    word: str
    says: str
    side: Literal[-1, 0, 1]
    faint: bool
    hint: str


NEARLY_ALWAYS_LEAN = (
    "A stumble just off idle is nearly always too little fuel, though it feels like too much: a rich engine smokes and "
    "sags, it does not hesitate."
)

SYMPTOMS = {
    symptom.word: symptom
    for symptom in (
        Symptom("stumble", "a stumble that recovers", 1, False, NEARLY_ALWAYS_LEAN),
        Symptom(
            "popback", "a pop back through the carburettor", 1, False,
            "A pop back through the carburettor is a lean mixture still burning when the intake opens. Keep the air "
            "cleaner on and your face away: it can set fire to fuel in the open. " + NEARLY_ALWAYS_LEAN,
        ),
        Symptom(
            "dull", "dull off idle, without a clear hesitation", 1, True,
            "Dull without smoke is a little lean more often than rich: go half a step, and back if it gets worse.",
        ),
        Symptom(
            "smoke", "a clean start that sags in black smoke", -1, False,
            "Black smoke is too much fuel. Look at float level and choke first: they smoke, too.",
        ),
        Symptom("clean", "a clean pull", 0, True, ""),
    )
}  # fmt: skip


def read_symptom(word: str | None) -> Symptom | None:
    """The symptom of a word; raises BadInput naming the words there are."""
    if word is None:
        return None
    if word not in SYMPTOMS:
        listed = "; ".join(f"{symptom.word} ({symptom.says})" for symptom in SYMPTOMS.values())
        raise BadInput.in_field("symptom", word, "is no symptom", listed, did_you_mean(word, list(SYMPTOMS)))
    return SYMPTOMS[word]


@dataclass(frozen=True)
class FeltDemand:
    """The demand factor to solve for, why in a sentence, and what the symptom rules out (None: nothing)."""

    factor: float
    says: str
    wish: Wish | None = None


def moved(case: Case, symptom: Symptom) -> FeltDemand:
    """The demand factor that a symptom points to, for the car as found; the case's own where it says nothing new.

    Of two circuits the one nearer its edge is taken for the cause. Lean: f lies beyond what it covers; it is put where
    a nozzle larger by the move just covers it. Rich: it drowns the engine, whatever the model says of it, so a smaller
    nozzle is asked for, and f is put where one smaller by the move just covers it. Clean: f lies inside what every
    circuit covers.
    """
    limits = case.catalog.limits
    step = limits.fine_move_mm if symptom.faint else limits.first_move_mm
    windows = {name: _windows_of(case, name, symptom.side * step) for name in case.circuit_names}
    if symptom.side == 0:
        return _inside(case, symptom, max(w.low for w in windows.values()), min(w.high for w in windows.values()))
    name = min(windows, key=lambda n: windows[n].high if symptom.side > 0 else -windows[n].low)
    window = windows[name]
    where = f"the {name} circuit's {window.diameter_mm:.2f} mm"
    aim = f"a first move of {step:.2f} mm {'up' if symptom.side > 0 else 'down'} from {where}"
    wanted, wish = window.moved_high * 0.995, None
    if symptom.side > 0 and window.moved_high <= window.high:
        wanted, aim = (
            window.high * 1.02,
            f"just beyond what is fitted: a nozzle larger than {where} alone covers no more",
        )
    if symptom.side < 0:
        wish = _smaller_nozzle(case, name, window.diameter_mm, symptom)
    factor = max(case.factor, wanted) if symptom.side > 0 else min(case.factor, wanted)
    if symptom.faint:
        factor = min(max(factor, case.factor / DISAGREEMENT), case.factor * DISAGREEMENT)
    factor = min(max(factor, FACTOR_RANGE[0]), FACTOR_RANGE[1])
    if factor == case.factor:
        return FeltDemand(factor, f"{symptom.says}: the demand factor {factor:.2f} covers that already", wish)
    says = f"{symptom.says}: demand factor {case.factor:.2f} -> {factor:.2f}, for {aim}"
    if max(factor, case.factor) > DISAGREEMENT * min(factor, case.factor):
        says += (
            ". Driver and model disagree widely: look for another cause before you buy (float level, choke, air leak)"
        )
    return FeltDemand(factor, says, wish)


def _inside(case: Case, symptom: Symptom, low: float, high: float) -> FeltDemand:
    """The factor nearest to the case's own that a window covers; its own where there is no window."""
    if not low <= high:
        return FeltDemand(
            case.factor, f"{symptom.says}: the model finds no demand factor that what is fitted would meet"
        )
    factor = min(max(case.factor, min(low * 1.005, high)), max(high * 0.995, low))
    if factor == case.factor:
        return FeltDemand(factor, f"{symptom.says}: as the model says at a demand factor of {factor:.2f}")
    return FeltDemand(
        factor, f"{symptom.says}: demand factor {case.factor:.2f} -> {factor:.2f}, what is fitted covers that"
    )


def _smaller_nozzle(case: Case, circuit: str, diameter_mm: float, symptom: Symptom) -> Wish:
    slot = Slot(circuit, "nozzle")

    def is_smaller(option: Option) -> bool:
        figures = option.figures
        return isinstance(figures, FittedNozzle) and figures.diameter_mm < diameter_mm - SAME_SIZE_MM

    smaller = frozenset(case.options[slot].where(is_smaller))
    return Wish(f"{symptom.says} asks for a smaller {circuit} nozzle", slot, smaller, felt=True)


@dataclass(frozen=True)
class _Window:
    """Demand factors a fitted circuit covers (low above high where none); the upper end with its nozzle moved."""

    diameter_mm: float
    low: float
    high: float
    moved_high: float


def _windows_of(case: Case, circuit: str, step_mm: float) -> _Window:
    """Windows of a fitted circuit with its nozzle as it is and moved by a step."""
    slot = Slot(circuit, "nozzle")
    now = case.as_fitted[slot].read(FittedNozzle)
    sizes = (now.diameter_mm, max(now.diameter_mm + step_mm, 0.3))
    nozzles = tuple(Option("", now.resized(size), "none") for size in sizes)
    listed = {name: (option,) for name, option in case.as_fitted.items()} | {slot: nozzles}
    shots = case.columns(circuit, listed, with_windows=True).shot
    low = np.nan_to_num(shots.window_low.ravel(), nan=np.inf)
    high = np.nan_to_num(shots.window_high.ravel(), nan=0.0)
    return _Window(now.diameter_mm, float(low[0]), float(high[0]), float(high[1]))
