"""A proposal under a belief: sure enough, or as sure as anything is, with the fewest changes; all looked at by hand."""

from functools import cache

import building
import numpy as np
import pytest

from configurator.advice.propose import ProposalRequest, propose
from configurator.advice.sure_proposal import SureProposeReport, proposal_of
from configurator.advice.work import sureness_of
from configurator.arrays import Mask
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.judging.right import DEMAND
from configurator.learning.as_known import Known, known_by
from configurator.learning.belief import Belief, prior
from configurator.physics.lateness import Lateness, Regions
from configurator.reports import ProposeReport
from configurator.rules import RULES
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS, Slot
from configurator.slots.wishes import Wish, read_wishes

LOW_LOBES = [building.lobe(code, mm, phases_deg=(0.0,)) for code, mm in (("lobe-mid", 1.8), ("lobe-low", 1.2))]
"""Each of two circuits has its own pump, and half the air."""
BELIEF = prior(Lateness(0.95, 1.05), 0.2)


@cache
def case(circuits: int = 1) -> Case:
    make = building.vehicle if circuits == 1 else building.two_circuits
    sizes = (0.70, 0.80, 0.90, 1.00) if circuits == 1 else (0.70, 0.80, 0.90)
    return building.easy_case(
        make(front={"nozzle": "straight-0.70"}), nozzles=[building.nozzle(size) for size in sizes],
        lobes=building.LOBES[1:3] if circuits == 1 else LOW_LOBES, screws=building.SCREWS[: 3 - circuits],
        pumps=building.PUMPS[:1], operations=[], spacers=[], rear_main_delivers_share=0.05,
    ).with_linkage_set()  # fmt: skip


def known(belief: Belief | None, of: Case) -> Known:
    return Known(of if belief is None else of.at(belief.middle), "as this test says", belief)


@cache
def sureness_of_each(circuits: int) -> list[tuple[Choice, float]]:
    """Every choice that keeps all rules but those of the pull, with the belief that all its circuits cover."""
    of = case(circuits)
    found: list[tuple[Choice, Mask]] = [(dict(of.as_fitted), np.ones(len(BELIEF.masses), dtype=bool))]
    for name in of.circuit_names:
        slots = [Slot.of(name, own) for own in ("nozzle", "feed_screw", "lobe")]
        own = []
        for places in np.ndindex(*(len(of.options[slot]) for slot in slots)):
            part = {slot: of.options[slot][at] for slot, at in zip(slots, places, strict=True)}
            choice = dict(of.as_fitted) | part
            wrong = any(
                f.holds is False and f.severity == "conflict" and f.rule not in DEMAND and f.circuit == name
                and RULES[f.rule].is_choosable for f in findings(of, choice)
            )  # fmt: skip
            if not wrong:
                listed = {slot: (option,) for slot, option in choice.items()}
                regions = of.columns(name, listed, with_regions=True).shot.regions
                assert regions is not None
                own.append((part, regions.covers.ravel()))
        found = [({**choice, **part}, covers & more) for choice, covers in found for part, more in own]
    return [(choice, float(BELIEF.masses[covers].sum())) for choice, covers in found]


def changes(choice: Choice) -> int:
    return sum(option.changed for option in choice.values())


def choice_of(report: ProposeReport, of: Case) -> Choice:
    named = {
        SLOTS[change.slot]: next(o for o in of.options[SLOTS[change.slot]] if o.changed and o.label == change.to)
        for change in report.changes
    }
    return dict(of.as_fitted) | named


def asked(wanted: float, circuits: int = 1, wishes: tuple[Wish, ...] = ()) -> SureProposeReport:
    report = proposal_of(known(BELIEF, case(circuits)), ProposalRequest(wishes), wanted)
    assert isinstance(report, SureProposeReport)
    return report


def test_without_a_belief_it_is_the_plain_proposal() -> None:
    plain = known_by(case(), [])
    assert plain.belief is None
    assert proposal_of(plain, ProposalRequest()) == propose(plain.case, ProposalRequest(), plain)


@pytest.mark.parametrize("wanted", [0.2, 0.6, 0.99])
def test_it_is_sure_enough_or_as_sure_as_anything_with_the_fewest_changes(wanted: float) -> None:
    report, ranked = asked(wanted), sureness_of_each(1)
    most = max(sure for _, sure in ranked)
    assert 0.6 < most < 0.99, "else this says little"
    enough = [choice for choice, sure in ranked if sure >= min(wanted, 0.9 * most) - 2e-3]
    assert report.status == "optimal" and report.sureness is not None and report.sureness_wanted == wanted
    assert report.sureness >= min(wanted, 0.9 * most) - 2e-3
    assert len(report.changes) == min(map(changes, enough))
    assert report.sureness == pytest.approx(sureness_of(case(), choice_of(report, case()), BELIEF), abs=1e-4)
    assert report.engine == report.belief.engine and report.engine_note == "as this test says"


def test_a_surer_proposal_is_no_smaller_a_job() -> None:
    reports = [asked(wanted) for wanted in (0.1, 0.4, 0.7, 0.95)]
    assert [len(r.changes) for r in reports] == sorted(len(r.changes) for r in reports)
    assert [r.sureness for r in reports] == sorted(r.sureness or 0.0 for r in reports)
    assert len({r.sureness for r in reports}) > 1


def test_a_wish_is_kept_at_the_cost_of_sureness() -> None:
    (wish,) = read_wishes(case().options, [], ["front.nozzle=straight-0.70"], [])
    report = asked(0.9, wishes=(wish,))
    left = [sure for choice, sure in sureness_of_each(1) if choice[wish.slot].label.startswith("straight-0.70")]
    assert max(left) < (asked(0.9).sureness or 0.0), "else this says nothing"
    assert report.sureness is not None and 0.9 * max(left) - 2e-3 <= report.sureness <= max(left) + 2e-3


def test_of_two_circuits_both_are_right_for_as_much_together() -> None:
    """What both cover together is less than what either does; then each is asked for more."""
    ranked = sureness_of_each(2)
    wanted = 0.8 * max(sure for _, sure in ranked)
    assert wanted > 0.1, "else this says nothing"
    report = asked(wanted, 2)
    choice = choice_of(report, case(2))
    together = next(sure for some, sure in ranked if some == choice)
    assert report.sureness == pytest.approx(together, abs=2e-3)
    assert min(pull.sureness or 0.0 for pull in report.pulls) >= (report.sureness or 0.0) - 1e-4
    assert len(report.pulls) == 2


def test_where_nothing_fits_it_is_not_sure_at_all() -> None:
    strict = building.with_limits(case(), screw_cut_most_percent=0.01)
    report = proposal_of(known(BELIEF, strict), ProposalRequest(), 0.9)
    assert report.status == "impossible" and report.sureness is None and report.conflict is not None
    assert report.pulls == []


def test_a_region_of_nothing_is_never_sure() -> None:
    never = building.with_limits(case(), delay_most_ms=1.0)
    assert sureness_of(never, never.as_fitted, BELIEF) == 0.0
    assert float(BELIEF.sureness(Regions.of(np.ones(len(BELIEF.masses), dtype=bool)))) == pytest.approx(1.0)
