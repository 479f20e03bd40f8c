"""What a search for the best choice gives, whichever way it was found."""

from dataclasses import dataclass

from configurator.errors import TipinError
from configurator.slots.slot import Slot

EFFORT = 60.0
"""Deterministic time for one solve (about seconds of work on one core): the same limit on every machine."""

Assignment = dict[Slot, int]
"""Place of the chosen option in each slot's list."""


class Unsettled(TipinError):
    """Neither a choice nor the proof that there is none was found within the effort [s of work on one core], or before
    the user stopped the search."""

    def __init__(
        self,
        effort: float,
        remedy: str = "allow more effort, or keep or fix some slots",
        *,
        stopped: bool = False,
    ) -> None:
        super().__init__(effort, remedy)
        self.effort, self.remedy, self.stopped = effort, remedy, stopped

    def __str__(self) -> str:
        return f"no answer within an effort of {self.effort:g} s; {self.remedy}"


@dataclass(frozen=True)
class Solution:
    """An assignment, whether it is proven the best, and what is proven of the first goal where it is not."""

    chosen: Assignment
    proven: bool
    bound: str | None
