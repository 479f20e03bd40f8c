"""Combinations by a word: what is fitted, a proposal by its number, parts by name; anything else is refused."""

from functools import cache

import building
import pytest

from configurator.advice.named_choice import choice_after, named_choice, number_of, proposed
from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import proposal_of
from configurator.errors import BadInput
from configurator.learning.as_known import known_by
from configurator.reports import ProposeReport
from configurator.slots.wishes import read_wishes

CASE = building.with_limits(building.easy_case(), delay_most_ms=5000, sag_most_percent=500, smoke_most_ms=9000)


@cache
def report() -> ProposeReport:
    wishes = read_wishes(CASE.options, [], ["front.pump=pump-large"], [])
    return proposal_of(known_by(CASE, []), ProposalRequest(wishes))


@pytest.mark.parametrize(
    ("word", "number"),
    [
        ("proposal", 1),
        ("proposal:1", 1),
        ("proposal:2", 2),
        ("proposal:0", 0),
        ("fitted", None),
        ("front.pump=x", None),
    ],
)
def test_a_proposal_is_meant_by_its_number(word: str, number: int | None) -> None:
    assert number_of(word) == number


@pytest.mark.parametrize("word", ["proposal:", "proposal:two", "proposal:-1", "proposal:1.5"])
def test_a_number_that_is_none_is_refused(word: str) -> None:
    with pytest.raises(BadInput, match=r"is no number; expected for example proposal:2"):
        number_of(word)


def test_a_proposal_s_parts_are_those_of_its_changes() -> None:
    assert report().changes and report().alternatives
    ways = [report().changes, *(other.changes for other in report().alternatives)]
    for number, changes in enumerate(ways, 1):
        choice = proposed(CASE, report(), number)
        changed = {str(slot): option.label for slot, option in choice.items() if option.changed}
        assert changed == {change.slot: change.to for change in changes}
        assert named_choice(CASE, f"proposal:{number}", report()) == choice
    assert named_choice(CASE, "proposal", report()) == choice_after(CASE, report().changes)
    for number in (0, len(ways) + 1):
        with pytest.raises(BadInput, match=rf"proposal {number}: there is no such proposal; expected 1 to {len(ways)}"):
            proposed(CASE, report(), number)


def test_where_nothing_fits_there_is_no_proposal() -> None:
    nothing = proposal_of(known_by(building.with_limits(CASE, delay_most_ms=1.0), []), ProposalRequest())
    assert nothing.status == "impossible"
    with pytest.raises(BadInput, match="nothing in the catalogue fits, so there is none; expected parts by name"):
        proposed(CASE, nothing, 1)


def test_what_is_fitted_and_parts_by_name() -> None:
    assert named_choice(CASE, "fitted", None) == CASE.as_fitted
    choice = named_choice(CASE, "front.nozzle=straight-0.90,spacer=spacer-6", None)
    changed = {str(slot): option.code for slot, option in choice.items() if option.changed}
    assert changed == {"front.nozzle": "straight-0.90", "spacer": "spacer-6"}


def test_a_word_that_means_nothing_is_refused_with_the_word_meant() -> None:
    with pytest.raises(BadInput, match=r"fited: is no combination; expected fitted, proposal, .*did you mean fitted\?"):
        named_choice(CASE, "fited", None)
