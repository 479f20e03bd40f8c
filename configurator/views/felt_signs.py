"""The feelings that a run is logged with, each as a button, a sign and a word for the notebook."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

SideFelt = Literal["lean", "right", "rich", "neither"]


@dataclass(frozen=True)
class FeltSign:
    """sign : tells it without colour. side : of the mixture. says, more : the button's words. was : of a run."""

    sign: str
    side: SideFelt
    says: str
    more: str
    was: str


FELT_SIGNS: Mapping[str, FeltSign] = MappingProxyType({
    "clean": FeltSign("●", "right", "Clean", "pulls at once", "pulled cleanly"),
    "stumble": FeltSign("▲", "lean", "Hesitates", "then pulls", "hesitated"),
    "popback": FeltSign("▲▲", "lean", "Pops back", "through the carburettor", "popped back"),
    "flat": FeltSign("◣", "lean", "Goes flat", "after a moment, no smoke", "went flat"),
    "smoke": FeltSign("▼", "rich", "Sags in smoke", "after a clean start", "sagged in smoke"),
    "dull": FeltSign("–", "neither", "Dull", "nothing wrong, nothing there", "was dull"),  # noqa: RUF001
})  # fmt: skip
"""By the words of judging.feelings.SYMPTOMS, in the order in which they are offered."""
MEASURED_ONLY = FeltSign("◇", "neither", "Measured", "", "was measured")
"""Of a run of which nobody said what was felt."""


def felt_sign(word: str | None) -> FeltSign:
    """The sign of what was felt in a run."""
    return FELT_SIGNS[word] if word else MEASURED_ONLY
