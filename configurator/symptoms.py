"""What the driver feels, as a move of the demand factor.

A symptom says on which side of its window the fitted combination lies. The first move is about 0.08 mm of orifice
(three thousandths; common practice), half as much where the symptom is faint; f is moved as far as that changes it, and
never against what the model says by itself.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from configurator.case import Case
from configurator.errors import BadInput, Fault
from configurator.fitted import FittedNozzle
from configurator.options import Option
from configurator.physics.verdict import FACTOR_RANGE
from configurator.read_files import did_you_mean
from configurator.slots import Shots


@dataclass(frozen=True)
class Symptom:
    """A feeling in words of our own; side is lean (+1), rich (-1) or neither; faint ones get the finer move."""

    word: str
    says: str
    side: Literal[-1, 0, 1]
    faint: bool
    hint: str


NEARLY_ALWAYS_LEAN = (
    "A stumble just off idle is nearly always too little fuel, though it feels like too much: a rich engine is dull "
    "and smokes, it does not hesitate."
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
        Symptom("dull", "dull off idle, without a clear hesitation", 1, True, NEARLY_ALWAYS_LEAN),
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
        raise BadInput([Fault(f"--symptom {word}", "", "is no symptom", listed, did_you_mean(word, list(SYMPTOMS)))])
    return SYMPTOMS[word]


@dataclass(frozen=True)
class Move:
    """The demand factor to solve for, and why, in a sentence."""

    factor: float
    says: str


def moved(case: Case, symptom: Symptom) -> Move:
    """The demand factor that a symptom points to, front circuit; the case's own where it says nothing new.

    Lean: f lies beyond what the fitted nozzle covers; it is put where a nozzle larger by the move just covers it. Rich:
    f lies below what the fitted one covers; it is put where a nozzle smaller by the move just covers it.
    """
    limits = case.catalog.limits
    step = limits.fine_move_mm if symptom.faint else limits.first_move_mm
    fitted = case.as_fitted["front.nozzle"].figures
    assert isinstance(fitted, FittedNozzle)
    if symptom.side == 0:
        return Move(case.factor, "the engine pulls clean: the demand stays where it is")
    target = max(fitted.diameter_mm + symptom.side * step, 0.3)
    ends = _windows_of(case, [fitted.diameter_mm, target])
    now_low, now_high = float(ends.window_low.ravel()[0]), float(ends.window_high.ravel()[0])
    then_high = float(ends.window_high.ravel()[1])
    aim = f"{step:.2f} mm {'up' if symptom.side > 0 else 'down'} from {fitted.diameter_mm:.2f} mm"
    if symptom.side > 0:
        factor = max(case.factor, then_high * 0.995)
        if then_high <= now_high:
            factor = max(case.factor, now_high * 1.02)
            aim += ", where a larger nozzle alone covers no more"
    else:
        factor = min(case.factor, then_high * 0.995, now_low * 0.995)
    factor = float(np.clip(factor, *FACTOR_RANGE))
    return Move(factor, f"{symptom.says}: demand factor {case.factor:.2f} -> {factor:.2f} ({aim})")


def _windows_of(case: Case, diameters_mm: list[float]) -> Shots:
    """Windows of the fitted combination with its nozzle in several sizes."""
    now = case.as_fitted["front.nozzle"].figures
    assert isinstance(now, FittedNozzle)
    nozzles = tuple(
        Option("", now.model_copy(update={"diameter_mm": size, "length_mm": max(now.length_mm, 1.5 * size)}), "none")
        for size in diameters_mm
    )
    listed = {slot: (option,) for slot, option in case.as_fitted.items()} | {"front.nozzle": nozzles}
    shots: Shots = case.columns("front", listed, with_windows=True)["shot"]
    return shots
