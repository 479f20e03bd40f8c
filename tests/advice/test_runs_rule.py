"""What a car has just done rules what is proposed for it: random cars, none of them a shipped example."""

from datetime import UTC, datetime, timedelta
from functools import cache

import pytest
from random_cars import case_with, random_car

from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import proposal_of
from configurator.book.car_now import car_now
from configurator.book.car_records import CarRecords
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.feelings import symptom_felt
from configurator.learning.as_known import known_by
from configurator.reports import ProposeReport
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS

AT = datetime(2026, 5, 2, 10, tzinfo=UTC)
CARS = (3, 5, 14)
NOZZLE, FUEL_SIDE = SLOTS["front.nozzle"], ("front.nozzle", "front.feed_screw", "front.pump", "front.lobe")


@cache
def car(seed: int) -> Case:
    return case_with(random_car(seed), load_catalog(shipped_catalog_dir()))


def proposed(case: Case, runs: list[Trial], word: str = "", moment: str | None = None) -> ProposeReport:
    symptom = symptom_felt(word, moment) if word else None
    now = car_now(case, CarRecords(runs)).case
    return proposal_of(known_by(now, runs, symptom), ProposalRequest(symptom=symptom))


def run(case: Case, word: str, choice: Choice, hours: int) -> Trial:
    made = trial_of(case, AT + timedelta(hours=hours), Felt(word=word), Conditions(), choice=choice)
    return made.model_copy(update={"number": hours + 1})


def diameter_mm(case: Case, report: ProposeReport) -> float:
    change = next((change for change in report.changes if change.slot == "front.nozzle"), None)
    option = case.options[NOZZLE].labelled(change.to) if change else case.as_fitted[NOZZLE]
    assert option is not None
    return option.read(FittedNozzle).diameter_mm


@pytest.mark.parametrize("seed", CARS)
def test_a_car_that_pulls_cleanly_keeps_its_fuel_side(seed: int) -> None:
    report = proposed(car(seed), [], "clean")
    assert not [change for change in report.changes if change.slot in FUEL_SIDE]
    assert not any(finding.rule.startswith(("pull-", "mixture-")) for finding in report.remaining)


@pytest.mark.parametrize("seed", CARS)
def test_what_was_clean_last_is_left_in(seed: int) -> None:
    """Not the vehicle file's parts, and no change to them: what the clean run had is in the car."""
    case = car(seed)
    other = next(option for option in case.on_offer[NOZZLE] if option.label.startswith("straight-0.92"))
    runs = [run(case, "stumble", case.as_fitted, 0), run(case, "clean", {**case.as_fitted, NOZZLE: other}, 1)]
    report = proposed(case, runs)
    assert not [change for change in report.changes if change.slot in FUEL_SIDE]
    assert report.engine_note == "run 2 pulled cleanly: the fuel side is left alone"


@pytest.mark.parametrize("seed", CARS)
@pytest.mark.parametrize(
    ("word", "moment", "side"),
    [("stumble", None, 1), ("stumble", "at-once", 1), ("popback", None, 1), ("stumble", "later", -1),
     ("flat", None, -1), ("smoke", None, -1)],
)  # fmt: skip
def test_no_nozzle_goes_against_what_is_felt(seed: int, word: str, moment: str | None, side: int) -> None:
    """Never a smaller one for want of fuel at once; never a larger one when the shot is spent, nor for too much fuel;
    no complaint is left alone."""
    case = car(seed)
    report = proposed(case, [], word, moment)
    if report.status == "impossible":
        return
    assert side * (diameter_mm(case, report) - case.as_fitted[NOZZLE].read(FittedNozzle).diameter_mm) >= 0.0
    assert report.changes or (report.sureness or 0.0) >= 0.9
