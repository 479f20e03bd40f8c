"""What the driver feels, in words: of a run, and of what the model works out."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Literal

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.limits import Limits
from configurator.errors import BadInput
from configurator.files.reading import did_you_mean
from configurator.judging.case import Case
from configurator.slots.columns import JudgedShots
from configurator.slots.options import Option
from configurator.slots.slot import Slot
from configurator.slots.wishes import Wish
from configurator.units.units import SAME_SIZE_MM

Complaint = Literal["hesitates", "flat", "rich"]
"""At once for want of fuel, a moment later for want of it, or for too much."""


@dataclass(frozen=True)
class Symptom:
    """A feeling in words of our own; side is lean (+1), rich (-1) or neither; faint ones get the finer move. tells :
    what it complains of, each in the share of those who would call it so, of a faint one; none for a clean pull."""

    word: str
    says: str
    side: Literal[-1, 0, 1]
    faint: bool
    hint: str
    tells: Mapping[Complaint, float]


NEARLY_ALWAYS_LEAN = (
    "A stumble just off idle is nearly always too little fuel, though it feels like too much: a rich engine smokes and "
    "sags, it does not hesitate."
)

SYMPTOMS = {
    symptom.word: symptom
    for symptom in (
        Symptom("stumble", "a stumble that recovers", 1, False, NEARLY_ALWAYS_LEAN, {"hesitates": 1.0}),
        Symptom(
            "popback", "a pop back through the carburettor", 1, False,
            "A pop back through the carburettor is a lean mixture still burning when the intake opens. Keep the air "
            "cleaner on and your face away: it can set fire to fuel in the open. " + NEARLY_ALWAYS_LEAN,
            {"hesitates": 1.0},
        ),
        Symptom(
            "flat", "a clean start that goes flat a moment later", 1, False,
            "A pull that starts well and falls off without smoke has run out of shot: that takes more volume (a lobe "
            "with more lift, a larger pump), not a larger nozzle.",
            {"flat": 1.0},
        ),
        Symptom(
            "dull", "dull off idle, without a clear hesitation", 1, True,
            "Dull without smoke is a little lean more often than rich: go half a step, and back if it gets worse.",
            {"hesitates": 0.4, "flat": 0.4, "rich": 0.25},
        ),
        Symptom(
            "smoke", "a clean start that sags in black smoke", -1, False,
            "Black smoke is too much fuel. Look at float level and choke first: they smoke, too.",
            {"rich": 1.0},
        ),
        Symptom("clean", "a clean pull", 0, True, "", {}),
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


def ruled_out(case: Case, symptom: Symptom) -> list[Wish]:
    """What a feeling with what is fitted forbids: a smaller nozzle for want of fuel at once, a larger for too much."""
    wishes = []
    for name in case.circuit_names if "flat" not in symptom.tells and symptom.side else ():
        slot, now_mm = Slot(name, "nozzle"), case.as_fitted[Slot(name, "nozzle")].read(FittedNozzle).diameter_mm
        allowed = frozenset(case.options[slot].where(partial(_no_other_way, symptom.side, now_mm)))
        other = "smaller" if symptom.side > 0 else "larger"
        wishes.append(Wish(f"{symptom.says} asks for no {other} {name} nozzle", slot, allowed, felt=True))
    return wishes


def _no_other_way(side: int, now_mm: float, option: Option) -> bool:
    figures = option.figures
    return isinstance(figures, FittedNozzle) and side * (figures.diameter_mm - now_mm) > -SAME_SIZE_MM


NO_PULL_PERCENT = 90.0
"""A fall by so much leaves no pull to speak of; beyond all of it the engine holds the car back."""


def felt_words(shot: JudgedShots, limits: Limits) -> str:
    """What a driver would say of one choice of parts in one engine."""
    if not shot.pumps:
        return "nothing is pumped: the lobe does not meet the pump's lever"
    delay_ms, smoke_ms = float(shot.delay_ms), float(shot.smoke_ms)
    said = []
    if delay_ms > limits.delay_most_ms:
        said.append(f"hesitates {delay_ms:.0f} ms" if shot.late_for_want_of_fuel else f"bogs for {delay_ms:.0f} ms")
    if shot.pop_back_cycles > limits.pop_back_most_cycles:
        said.append("may pop back")
    for percent, at_ms, why in (
        (shot.lean_sag_percent, shot.lean_sag_at_ms, "the shot has run out"),
        (shot.rich_sag_percent, shot.rich_sag_at_ms, "too much fuel"),
    ):
        if percent > limits.sag_most_percent:
            falls = f"pulls {float(percent):.0f} % less" if percent < NO_PULL_PERCENT else "stops pulling"
            said.append(f"{falls} after {float(at_ms) / 1e3:.1f} s: {why}")
    if smoke_ms > limits.smoke_most_ms:
        said.append(f"black smoke for {smoke_ms / 1e3:.1f} s")
    return "; ".join(said) or "pulls cleanly"
