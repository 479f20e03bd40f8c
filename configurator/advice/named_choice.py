"""A combination called by a word: what is fitted, a proposal by its number, or parts by name.

fitted                      what is in the car
proposal, proposal:2        what `tipin propose` lists, and its other ways in their order
SLOT=WHAT,SLOT=WHAT         these parts in place of what is fitted, as wishes name them
"""

from collections.abc import Iterable
from typing import Protocol

from configurator.errors import BadInput, Fault
from configurator.files.reading import did_you_mean
from configurator.judging.case import Case
from configurator.reports import ProposeReport
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import FITTED, chosen_parts

PROPOSAL = "proposal"


class PartPutIn(Protocol):
    """A change of a proposal, or of a step towards it: a slot, and the label of what takes its place."""

    @property
    def slot(self) -> str: ...

    @property
    def to(self) -> str: ...


def choice_after(case: Case, changes: Iterable[PartPutIn]) -> Choice:
    """The parts in every slot once the changes for this very case are made."""
    choice = dict(case.as_fitted)
    for change in changes:
        slot = SLOTS[change.slot]
        found = case.options[slot].labelled(change.to)
        assert found is not None
        choice[slot] = found
    return choice


def proposed(case: Case, report: ProposeReport, number: int) -> Choice:
    """The choice of proposal 1, or of another way as 2, 3, ...; raises BadInput for a number there is not."""
    ways = [report.changes, *(other.changes for other in report.alternatives)] if report.totals else []
    if not 1 <= number <= len(ways):
        if not ways:
            raise BadInput([Fault(PROPOSAL, "", "nothing in the catalogue fits, so there is none", "parts by name")])
        raise BadInput([Fault(f"{PROPOSAL} {number}", "", "there is no such proposal", f"1 to {len(ways)}")])
    return choice_after(case, ways[number - 1])


def number_of(word: str) -> int | None:
    """The number of the proposal a word means; None where it means none. Raises BadInput for a number that is none.

    >>> number_of("proposal"), number_of("proposal:2"), number_of("fitted")
    (1, 2, None)
    """
    name, colon, number = word.partition(":")
    if name != PROPOSAL:
        return None
    if colon and not number.isdecimal():
        raise BadInput([Fault(word, "", f"'{number}' is no number", "for example proposal:2")])
    return int(number) if colon else 1


def named_choice(case: Case, word: str, report: ProposeReport | None) -> Choice:
    """The choice a word means; report holds the proposals where the word asks for one. Raises BadInput."""
    number = number_of(word)
    if number is not None:
        assert report is not None
        return proposed(case, report, number)
    if word == FITTED:
        return case.as_fitted
    if "=" not in word:
        expected = "fitted, proposal, proposal:2, or SLOT=WHAT,SLOT=WHAT"
        raise BadInput([Fault(word, "", "is no combination", expected, did_you_mean(word, [FITTED, PROPOSAL]))])
    return chosen_parts(case.options, word.split(","))
