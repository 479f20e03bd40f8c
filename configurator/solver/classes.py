"""The options of a slot by class: those of one class differ in price, labour and code only, whatever is chosen beside.

They are alike in kind, in the wishes that allow them, and in the boxes that they bring or come in. So in any order of
goals the best choice takes of each class the cheapest or the quickest to fit, whichever counts first; of equals the
first by code. A choice over a hundred thousand parts is one over a few hundred such options.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Indices, Mask
from configurator.judging.case import Case
from configurator.slots.options import Offered
from configurator.slots.slot import Slot
from configurator.slots.wishes import Wish
from configurator.solver.problem import Problem, among, problem_over


@dataclass(frozen=True)
class Classes:
    """One slot's options, and the number of each one's class, (options,)."""

    offered: Offered
    number: Indices

    @property
    def count(self) -> int:
        return int(self.number.max(initial=-1)) + 1

    def cheapest(self, allowed: Mask | None = None) -> Indices:
        """The place of each class's cheapest option, of those allowed; -1 where none is, (classes,)."""
        order = self.offered.by_price
        if allowed is not None:
            order = order[allowed[order]]
        found = np.full(self.count, -1, dtype=np.intp)
        found[self.number[order[::-1]]] = order[::-1]  # of several the last one written stays
        return found

    def worth_choosing(self) -> Indices:
        """Places of all that any order of goals could prefer, in the slot's order."""
        quickest = Offered.least(self.number, self.offered.by_labour)
        return np.unique(np.concatenate([self.cheapest(), quickest]))


def classes_of(case: Case, wishes: Sequence[Wish]) -> dict[Slot, Classes]:
    """The classes of every slot, numbered in the order in which the slot's kinds are found."""
    found = {}
    for slot, offered in case.options.items():
        number = offered.kind
        for wish in wishes:
            if wish.slot == slot:
                number = _parted(number, among(wish.allowed, len(offered)))
        if slot.name == "pump":
            number = _parted(number, offered.box)
        elif slot.circuit:
            number = _parted(number, _in_a_box(offered, case.options[Slot(slot.circuit, "pump")]))
        found[slot] = Classes(offered, number)
    return found


def worth_choosing(case: Case, wishes: Sequence[Wish]) -> Problem:
    """The choice for a case between all options that any order of goals could prefer."""
    places = {slot: classes.worth_choosing() for slot, classes in classes_of(case, wishes).items()}
    return problem_over(case, wishes, places)


def _in_a_box(offered: Offered, pumps: Offered) -> Indices:
    """0 for options that come in no pump's box, and a number of its own for each of the others."""
    number = np.zeros(len(offered), dtype=np.intp)
    boxes = {pumps.boxes[box] for box in np.flatnonzero(np.bincount(pumps.box)).tolist()}
    places = [place for code in sorted(set().union(*boxes)) for place in offered.of_code(code)]
    number[places] = 1 + np.arange(len(places))
    return number


def _parted(number: Indices, feature: Indices | Mask) -> Indices:
    """Classes parted further by a feature, numbered by class and then by feature."""
    several = int(feature.max(initial=0)) + 1
    if several == 1:
        return number
    both = number * several + feature
    there = np.zeros(int(both.max(initial=-1)) + 1, dtype=bool)
    there[both] = True
    return np.asarray((np.cumsum(there) - 1)[both])
