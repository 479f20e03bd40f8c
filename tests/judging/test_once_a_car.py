"""What does not hang on how late its fuel comes is worked out once a car, in however many engines it is judged."""

from collections import Counter
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from configurator.advice.next_step import what_next
from configurator.advice.propose import ProposalRequest
from configurator.advice.sensitivity import VEHICLE_RANGES, sensitivity
from configurator.advice.sure_proposal import proposal_of
from configurator.book.records import Conditions, Felt, trial_of
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.judging import car_in_catalogue, tip_in_of_car
from configurator.judging.case import Case
from configurator.judging.feelings import read_symptom
from configurator.learning.as_known import known_by
from configurator.physics.assumptions import UNREAD_BY_TIP_IN, Assumptions
from configurator.slots import offered
from configurator.slots.slot import SLOTS

ROOT = Path(__file__).resolve().parents[2]
CATALOG = load_catalog(ROOT / "catalog")
DAY = datetime(2026, 5, 2, 10, 15, tzinfo=UTC)


class WorkedOut(Counter[str]):
    """How often options were made; simulated counts the tip-ins."""

    @property
    def simulated(self) -> int:
        return tip_in_of_car.simulated.cache_info().misses


@pytest.fixture
def done(monkeypatch: pytest.MonkeyPatch) -> WorkedOut:
    counted, make = WorkedOut(), offered.options_of

    def options_of(*given: Any) -> Any:
        counted["options"] += 1
        return make(*given)

    monkeypatch.setattr(car_in_catalogue, "options_of", options_of)
    tip_in_of_car.simulated.cache_clear()
    return counted


def case_of(name: str = "roadster") -> Case:
    return Case.of(load_vehicle(ROOT / f"catalog/examples/{name}.toml"), CATALOG)


def runs(case: Case) -> list[Any]:
    """Two runs of what is fitted and one with another nozzle, all on a day like the file's."""
    other = {**case.as_fitted, SLOTS["front.nozzle"]: case.options[SLOTS["front.nozzle"]][3]}
    choices = (case.as_fitted, case.as_fitted, other)
    return [trial_of(case, DAY, Felt(word="stumble"), Conditions(), choice=choice) for choice in choices]


def test_assumptions_take_a_tip_in_for_each_end_of_a_figure_that_it_hangs_on(done: WorkedOut) -> None:
    """From idle: idle pressure and mixture count, a cruise's do not. The limits and the shot's figures take none."""
    case = case_of()
    assert case.vehicle.tip_in.start == "idle"
    sensitivity(case, "front", case.as_fitted, None)
    by_another_way = {"idle_phi", "work_per_air_mj_kg", "most_rpm"}
    reach = {item.name for item in fields(Assumptions)}.difference(UNREAD_BY_TIP_IN) | by_another_way
    assert done.simulated == 1 + 2 * (len(reach) + len(VEHICLE_RANGES))
    assert done["options"] == 1


def test_next_takes_one_with_runs_of_the_same_car(done: WorkedOut) -> None:
    case = case_of()
    what_next(known_by(case, runs(case)))
    assert (done.simulated, done["options"]) == (1, 1)


def test_a_run_on_another_day_takes_one_more(done: WorkedOut) -> None:
    case = case_of()
    cold = trial_of(case, DAY, Felt(word="dull"), Conditions(air_temperature_c=2.0))
    what_next(known_by(case, [*runs(case), cold]))
    assert (done.simulated, done["options"]) == (2, 1)


@pytest.mark.parametrize("name", ["roadster", "van"])
def test_a_symptom_takes_one(name: str, done: WorkedOut) -> None:
    request = ProposalRequest(symptom=read_symptom("stumble"))
    proposal_of(known_by(case_of(name), [], request.symptom), request)
    assert (done.simulated, done["options"]) == (1, 1)


@pytest.mark.parametrize("name", ["roadster", "hill-climber"])
def test_a_proposal_under_a_belief_takes_one_for_all_the_engines_it_looks_at(name: str, done: WorkedOut) -> None:
    case = case_of(name)
    proposal_of(known_by(case, runs(case), read_symptom("dull")), ProposalRequest())
    assert (done.simulated, done["options"]) == (1, 1)
