"""What the driver feels, in words: of a run, and of what the model works out."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal, get_args

from configurator.catalogue.limits import Limits
from configurator.errors import BadInput
from configurator.files.reading import did_you_mean
from configurator.slots.columns import JudgedShots

Complaint = Literal["hesitates", "flat", "rich"]
"""At once for want of fuel, a moment later for want of it, or for too much."""
Moment = Literal["at-once", "later", "both"]
MOMENTS: tuple[Moment, ...] = get_args(Moment)
MOMENT_SAYS: Mapping[Moment, str] = {
    "at-once": "at once", "later": "after a moment", "both": "at once and after a moment"
}  # fmt: skip
"""When it is felt: with the throttle, when the shot is spent, or both."""
WHEN_NOT_SAID = "whether at once or after a moment was not said: both are weighed"
_FOR_WANT: Mapping[Moment, tuple[Complaint, ...]] = {
    "at-once": ("hesitates",), "later": ("flat",), "both": ("hesitates", "flat")
}  # fmt: skip


@dataclass(frozen=True)
class Symptom:
    """A feeling in words of our own; side is lean (+1), rich (-1) or neither; faint : felt less strongly. tells :
    what it complains of, each in the share of those who would call it so, of a faint one; none for a clean pull.
    moments : when it may be felt; moment : when it was, if that was said."""

    word: str
    says: str
    side: Literal[-1, 0, 1]
    faint: bool
    hint: str
    tells: Mapping[Complaint, float]
    moments: tuple[Moment, ...] = MOMENTS
    moment: Moment | None = None

    @property
    def leaves_open_when(self) -> bool:
        """Whether it is want of fuel, and only the moment would say which."""
        return set(self.tells) == {"hesitates", "flat"} and self.moment is None

    def at(self, moment: Moment) -> "Symptom":
        """The same felt at this moment: want of fuel at once is another complaint than a moment later."""
        share = max(self.tells.get("hesitates", 0.0), self.tells.get("flat", 0.0))
        tells = {complaint: share for complaint in _FOR_WANT[moment] if share}
        tells |= {"rich": self.tells["rich"]} if "rich" in self.tells else {}
        says = self.says if self.moments == (moment,) else f"{self.says}, {MOMENT_SAYS[moment]}"
        hint = self.hint.replace(NEARLY_ALWAYS_LEAN, RUN_OUT) if moment == "later" else self.hint
        return replace(self, tells=tells, moment=moment, says=says, hint=hint)


NEARLY_ALWAYS_LEAN = (
    "A stumble just off idle is nearly always too little fuel, though it feels like too much: a rich engine smokes and "
    "sags, it does not hesitate."
)
SMOKES_FIRST = (
    "Black smoke is too much fuel. Check float level, choke and main jets before the pump circuit: they smoke, too."
)
RUN_OUT = (
    "A pull that starts well and falls off without smoke has run out of shot: that takes more volume (a lobe with more "
    "lift, a larger pump), not a larger nozzle."
)

SYMPTOMS = {
    symptom.word: symptom
    for symptom in (
        Symptom(
            "stumble", "a stumble that recovers", 1, False, NEARLY_ALWAYS_LEAN,
            {"hesitates": 1.0, "flat": 0.5},
        ),
        Symptom(
            "popback", "a pop back through the carburettor", 1, False,
            "A pop back through the carburettor is a lean mixture still burning when the intake opens. Keep the air "
            "cleaner on and your face away: it can set fire to fuel in the open. " + NEARLY_ALWAYS_LEAN,
            {"hesitates": 1.0},
        ),
        Symptom(
            "flat", "a clean start that goes flat a moment later", 1, False, RUN_OUT, {"flat": 1.0}, ("later",),
        ),
        Symptom(
            "dull", "dull off idle, without a clear hesitation", 1, True,
            "Dull without smoke is a little lean more often than rich: go half a step, and back if it gets worse.",
            {"hesitates": 0.4, "flat": 0.4, "rich": 0.25},
        ),
        Symptom(
            "smoke", "a clean start that sags in black smoke", -1, False,
            SMOKES_FIRST, {"rich": 1.0}, ("later",),
        ),
        Symptom("clean", "a clean pull", 0, True, "", {}, ()),
    )
}  # fmt: skip
ALSO_SAID: Mapping[str, tuple[str, ...]] = {
    "stumble": ("stumbles", "hesitates", "hesitation", "hesitates-then-pulls"),
    "popback": ("pops-back", "pop-back", "pops", "spits-back"),
    "flat": ("goes-flat", "falls-flat", "runs-out"),
    "smoke": ("smokes", "black-smoke", "sags-in-smoke"),
    "clean": ("pulls-cleanly", "good", "right"),
}
"""What drivers call each of them besides (common practice, no source). A bog is in none: it is felt of too little fuel
and of too much."""
BOGS = "a bog with black smoke is smoke, one without is stumble (at once) or flat (after a moment)"
_WORD_OF = {said: word for word, others in ALSO_SAID.items() for said in others}


def symptom_word(said: str) -> str:
    """The word that stands in the book for what a driver says; what is none of them comes back as it is.

    >>> symptom_word("Hesitates"), symptom_word("goes flat"), symptom_word("smoke"), symptom_word("itches")
    ('stumble', 'flat', 'smoke', 'itches')
    """
    plain = "-".join(said.lower().replace("_", " ").replace("-", " ").split())
    return _WORD_OF.get(plain, plain if plain in SYMPTOMS else said)


def read_symptom(word: str | None, moment: str | None = None) -> Symptom | None:
    """The symptom of a word, felt at a moment if that is said; raises BadInput naming the words there are."""
    if word is None and moment is not None:
        raise BadInput.in_field("moment", moment, "says when, but not what was felt", "what was felt as well")
    listed = "; ".join(f"{symptom.word} ({symptom.says})" for symptom in SYMPTOMS.values())
    return None if word is None else symptom_felt(word, moment, "symptom", listed)


def symptom_felt(word: str, moment: str | None, field: str = "word", expected: str = "") -> Symptom:
    """The same of what was felt in a run. field, expected : of the word, where it is none."""
    word = symptom_word(word)
    if word not in SYMPTOMS:
        listed = expected or f"one of {', '.join(SYMPTOMS)}"
        hint = BOGS if word.lower() in ("bog", "bogs") else did_you_mean(word, list(SYMPTOMS))
        raise BadInput.in_field(field, word, "is no symptom", listed, hint)
    symptom = SYMPTOMS[word]
    if moment is None:
        return symptom
    if moment not in MOMENTS:
        known = f"one of {', '.join(MOMENTS)}"
        raise BadInput.in_field("moment", moment, "is no moment", known, did_you_mean(moment, MOMENTS))
    if moment not in symptom.moments:
        problem = f"does not go with {word} ({symptom.says})"
        raise BadInput.in_field("moment", moment, problem, " or ".join(symptom.moments) or "nothing")
    return symptom.at(next(one for one in MOMENTS if one == moment))


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
