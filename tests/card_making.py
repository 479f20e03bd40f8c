"""Job cards of the examples, for tests."""

import datetime
from functools import cache
from unittest.mock import patch

from run_folder import once

from configurator.advice.named_choice import choice_after
from configurator.advice.propose import ProposalRequest, propose
from configurator.advice.work import combination_of
from configurator.car.vehicle import load_vehicle
from configurator.card import Card, card_of, filling
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.learning.as_known import Known, known_by
from configurator.reports import ProposeReport
from configurator.slots.wishes import choose, read_wishes
from configurator.views.card import card_html, card_pictures

EXAMPLES = shipped_catalog_dir() / "examples"
NAMES = ("roadster", "tow-truck", "van", "hill-climber")
DAY = datetime.date(2026, 5, 4)
CATALOG = load_catalog(shipped_catalog_dir())


@cache
def case_of(name: str) -> Case:
    return Case.of(load_vehicle(EXAMPLES / f"{name}.toml"), CATALOG).with_linkage_set()


def fitted_with(case: Case, *words: str) -> Card:
    """The card of parts named."""
    known = known_by(case, [])
    choice = choose(known.case.options, read_wishes(known.case.options, [], words, []))
    return card_of(known, choice, combination_of(known.case, choice, "Parts as named", (), known.believed), DAY)


def jobs_with(case: Case, *words: str) -> Card:
    """The same without what to try next, which takes longer than all the rest, for tests that read nothing of it."""
    with patch.object(filling, "after_feelings", return_value=[]):
        return fitted_with(case, *words)


@cache
def proposal_of(name: str) -> ProposeReport:
    """What is proposed for an example, worked out once for all tests of a run."""
    known = known_by(case_of(name), [])
    return once(f"proposal for {name}", lambda: propose(known.choosing(), ProposalRequest(), known))


@cache
def proposed(name: str) -> tuple[Card, str]:
    """The card of an example's proposal, and its page, made once for all tests of a run."""
    return once(f"card for {name}", lambda: made_anew(known_by(case_of(name), []), proposal_of(name)))


def made_anew(known: Known, proposal: ProposeReport) -> tuple[Card, str]:
    choice = choice_after(known.case, proposal.changes)
    card = card_of(known, choice, combination_of(known.case, choice, "Proposal 1", (), known.believed), DAY)
    return card, card_html(card, card_pictures(known.case, choice))
