"""What comes before any part is changed, on random cars: measures, main jets, figures of the file that are doubted."""

from datetime import date
from functools import cache
from typing import Any

import building
import pytest
from random_cars import FRONT, case_with, changed, random_car
from runs import run

from configurator.advice.availability import Availability
from configurator.advice.next_step import what_next
from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import proposal_of
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.catalogue.parts import PumpFigures
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS
from configurator.judging.findings import check
from configurator.learning.as_known import known_by
from configurator.learning.trial_entry import notes_on
from configurator.ordering.answer import answer
from configurator.ordering.job import job_of
from configurator.ordering.meeting import Meeting
from configurator.ordering.plan import PurchaseWish
from configurator.reports import ProposeReport
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import read_wishes, slot_asked
from configurator.views.order import order_text
from configurator.views.proposal import propose_text
from configurator.views.standing import why_text

CARS = (2, 5, 13)
STOCK = load_catalog(shipped_catalog_dir())
PAD = "pump-clears-the-manifold-pad"
MEASURE = "front: measure the pad: "
PUMP = SLOTS["front.pump"]


@cache
def car(seed: int, **manifold: float) -> Case:
    return case_with(changed(random_car(seed), "manifold", **manifold), STOCK)


def proposed(case: Case, word: str | None = None, *fit: str) -> ProposeReport:
    symptom = SYMPTOMS[word] if word else None
    return proposal_of(
        known_by(case, [], symptom), ProposalRequest(read_wishes(case.options, [], fit, []), symptom=symptom)
    )


def depth_mm(case: Case, label: str) -> float:
    option = case.options[PUMP].labelled(label)
    assert option is not None
    return option.read(PumpFigures).depth_below_bowl_mm


@pytest.mark.parametrize("seed", CARS)
@pytest.mark.parametrize(("word", "fit"), [("flat", ()), (None, ("front.pump=pump-5cc",))])
def test_no_deeper_pump_is_proposed_before_its_pad_is_measured(
    seed: int, word: str | None, fit: tuple[str, ...]
) -> None:
    """Neither first nor as another way; where it was measured, or the pump is no deeper, nothing is asked for."""
    for case in (car(seed), car(seed, pad_clearance_mm=40.0)):
        report = proposed(case, word, *fit)
        asked = any(finding.rule == PAD for finding in report.first)
        deeper = [
            any(change.slot == "front.pump" and depth_mm(case, change.to) > depth_mm(case, "pump-3cc")
                for change in changes)
            for changes in (report.changes, *(way.changes for way in report.alternatives))
        ]  # fmt: skip
        unknown = case.vehicle.manifold.pad_clearance_mm is None
        assert asked is (deeper[0] and unknown) and (deeper[0] or not fit or report.status == "impossible")
        assert [bool(way.first) for way in report.alternatives] == [one and unknown for one in deeper[1:]]
        text = propose_text(report)
        if asked:
            assert text.index("measure the pad: ") < text.index("\n1. ") and "and measure" in text.split("\n")[0]


def test_why_says_what_to_measure_first() -> None:
    for case, first in ((car(13), True), (car(13, pad_clearance_mm=40.0), False)):
        slot, places = slot_asked(case.options, "front.pump=pump-5cc")
        report = Availability.of(case).why(slot, places)
        assert report.slots[0].options[0].state != "impossible"
        assert [one.startswith(MEASURE) for one in report.first] == [True] * first
        assert (f"First: {MEASURE}" in why_text(report)) is first
        shallow = Availability.of(case).why(*slot_asked(case.options, "front.pump=pump-3cc-soft"))
        assert shallow.first == []


def test_next_says_what_to_measure_first() -> None:
    for case, first in ((car(13), True), (car(13, pad_clearance_mm=40.0), False)):
        report = what_next(known_by(case, [run("dull", case)]))
        pumps = [change.code for change in report.changes if change.slot == "front.pump"]
        deeper = any(depth_mm(case, code) > depth_mm(case, "pump-3cc") for code in pumps if code)
        assert any(one.startswith(MEASURE) for one in report.first) is (first and deeper)


def test_an_order_says_what_to_measure_first() -> None:
    """A truck whose box holds the larger pump."""
    stock = building.catalog(
        [building.nozzle(0.80)], building.SCREWS[1:], (building.pump(capacity_cc=0.5), building.PUMPS[1]),
        [*building.LOBES[:3], building.lobe("lobe-long", 2.2, lever="long", phases_deg=(4.0,))], **building.EASY,
    )  # fmt: skip
    for manifold, first in (({"pad_clearance_mm": None}, True), ({}, False)):
        vehicle = building.vehicle(manifold=manifold, front={"feed_screw": "screw-free"})
        day = date(2026, 5, 9)
        meeting = Meeting.model_validate(
            {"name": "one", "today": date(2026, 5, 4), "sureness": 0.9, "vehicle": [{"file": "x.toml", "day": day}]}
        )
        report = answer(job_of(meeting, [vehicle], stock, None, PurchaseWish(), redrill=False), curve=False)
        (one,) = report.vehicles
        assert any("pump-large" in setup for setup in one.setups["front"])
        assert [told.startswith(MEASURE) for told in one.first] == [True] * first
        assert (f"First: test truck, {MEASURE}" in order_text(report)) is first


JETS = "main-jets-suit-the-altitude"


@pytest.mark.parametrize("seed", CARS)
@pytest.mark.parametrize("away_m", [-1400.0, -601.0, -599.0, 0.0, 599.0, 601.0, 1400.0])
def test_at_another_height_the_main_jets_come_first(seed: int, away_m: float) -> None:
    figures = changed(random_car(seed), "engine", altitude_m=1500.0)
    case = case_with(changed(figures, "carburettor", jetted_altitude_m=1500.0 - away_m), STOCK)
    found = [f for f in check(case, []).findings if f.rule == JETS]
    assert bool(found) is (abs(away_m) > 600.0)
    if abs(away_m) in (599.0, 1400.0):
        report = proposed(case)
        assert [f.mend.startswith("match the main jets") for f in report.first if f.rule == JETS] == [True] * len(found)
        assert [
            "main jets for another height: the car stands 1400 m from" in one
            for one in what_next(known_by(case, [])).first
            if "main jets" in one
        ] == [True] * len(found)


@pytest.mark.parametrize("seed", CARS)
def test_a_car_that_smokes_is_asked_for_its_main_jets_first(seed: int) -> None:
    report, case = proposed(car(seed), "smoke"), car(seed)
    assert "main jets before the pump circuit" in report.hint
    text = propose_text(report)
    assert text.index("main jets") < (text.index("\n1. ") if report.changes else len(text))
    assert any("main jets before" in one for one in what_next(known_by(case, [run("smoke", case)])).first)
    assert not any("main jets" in one for one in what_next(known_by(case, [run("dull", case)])).first)


def test_a_run_at_another_height_asks_for_the_main_jets() -> None:
    """The car was driven there with the jets it has at home."""
    case = car(5)
    home_m = case.vehicle.engine.altitude_m
    near, far = (run("flat", case, day={"altitude_m": home_m + more}) for more in (500.0, 1500.0))
    assert notes_on(case, case.as_fitted, near) == notes_on(case, case.as_fitted, run("flat", case))
    (note,) = set(notes_on(case, case.as_fitted, far)) - set(notes_on(case, case.as_fitted, near))
    assert note.startswith("main jets for another height: the car stands 1500 m from it")


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(
    ("rule", "figures", "doubted"),
    [
        ("overall-ratio-has-the-gear-in-it", {"overall_ratio": 3.9}, True),
        ("overall-ratio-has-the-gear-in-it", {"overall_ratio": 6.2}, False),
        ("mass-is-not-implausibly-small", {"mass_kg": 78.0}, True),
        ("mass-is-not-implausibly-small", {"mass_kg": 780.0}, False),
    ],
)
def test_a_figure_with_a_slip_in_it_is_questioned(seed: int, rule: str, figures: dict[str, Any], doubted: bool) -> None:
    """Where the gearbox drives; behind a converter neither figure counts."""
    tables = changed(random_car(seed), "driveline", **figures)
    found = [f.rule for f in check(case_with(tables, STOCK, FRONT), []).findings]
    assert (rule in found) is (doubted and tables["driveline"]["transmission"] == "manual")
