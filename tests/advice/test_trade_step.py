"""What the trade does where the model is at a loss: the way that was felt, one part, told for what it is."""

import os
from functools import cache

import pytest
from random_cars import FRONT, case_with, random_car
from runs import run

from configurator.advice.named_choice import choice_after
from configurator.advice.next_step import NextReport, what_next, with_first_step
from configurator.advice.propose import ProposalRequest
from configurator.advice.reach import ACROSS_MM, ALONG_MM
from configurator.advice.sure_proposal import ELSEWHERE, UNLIKELY, SureProposeReport, proposal_of
from configurator.advice.trade_step import A_LITTLE_MORE, LEAST_MM
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.feelings import Moment
from configurator.learning.as_known import Known, known_by
from configurator.slots.options import Option
from configurator.slots.slot import SLOTS
from configurator.views.belief import next_text, proposal_text

CATALOG = load_catalog(shipped_catalog_dir())
CARS = range(int(os.environ.get("TIPIN_RANDOM_CARS", "10")))
NOZZLE = SLOTS["front.nozzle"]
FELT: tuple[tuple[str, Moment | None], ...] = (("popback", None), ("smoke", None), ("flat", None))
SIZES = ("0.65", "1.24")
"""Far from what most of these cars want, so that feelings come that the model has no parts for."""


@cache
def asked(seed: int, word: str, moment: Moment | None, size: str) -> tuple[Known, NextReport]:
    case = case_with(random_car(seed), CATALOG, FRONT | {"nozzle": f"straight-{size}"})
    runs = [run(word, case, moment=moment).model_copy(update={"number": number}) for number in (1, 2)]
    known = known_by(case, runs)
    return known, what_next(known)


def every_step() -> list[tuple[str, str, Known, NextReport]]:
    found = []
    for seed in CARS:
        for word, moment in FELT:
            for size in SIZES:
                known, step = asked(seed, word, moment, size)
                if step.by_practice:
                    found.append((word, size, known, step))
    return found


def diameter_mm(option: Option) -> float:
    return option.read(FittedNozzle).diameter_mm


def test_it_goes_the_way_that_was_felt_by_one_part() -> None:
    seen = set()
    for word, size, known, step in every_step():
        (change,) = step.changes
        chosen, listed = choice_after(known.case, step.changes), {"front.nozzle": "nozzle", "front.lobe": "lobe"}
        assert step.do == "try" and step.sureness is None and change.slot in listed
        seen.add((word, listed[change.slot]))
        if word == "flat":
            now, then = (
                known.case.columns("front", {slot: (one,) for slot, one in choice.items()}).shot.volume_cc.item()
                for choice in (known.case.as_fitted, chosen)
            )
            assert A_LITTLE_MORE[0] <= then / now <= A_LITTLE_MORE[1] and change.slot == "front.lobe"
            continue
        step_mm = float(size) * (side := 1 if word == "popback" else -1)
        step_mm = side * diameter_mm(chosen[NOZZLE]) - step_mm
        assert LEAST_MM <= step_mm <= ALONG_MM + 1e-6
        others = [side * (diameter_mm(one) - float(size)) for one in known.case.options[NOZZLE] if one.work == "fit"]
        assert abs(step_mm - ACROSS_MM) <= min(abs(one - ACROSS_MM) for one in others) + 1e-6
    assert {("popback", "nozzle"), ("smoke", "nozzle"), ("flat", "lobe")} <= seen


def test_it_is_told_for_what_it_is_and_the_proposal_names_it() -> None:
    for _, _, known, step in every_step()[:6]:
        told = " ".join(next_text(step).split())
        assert "if all else is in order" in told and "the trade's step" in told and ELSEWHERE in told
        assert "sure to be right" not in told.partition("behind this")[0].partition("in the end")[0]
        report = with_first_step(known, proposal_of(known, ProposalRequest()))
        assert isinstance(report, SureProposeReport)
        if report.status == "impossible":
            assert [one.to for one in report.first_step] == [one.to for one in step.changes]
            assert f"the trade would try {step.changes[0].slot}" in " ".join(proposal_text(report).split())
        else:
            assert report.is_hopeless or (report.sureness or 0.0) < UNLIKELY


def test_what_was_felt_for_the_first_time_is_driven_once_more() -> None:
    """It may have been misjudged, and a run costs less than a part; what is next then is named."""
    for word, size, known, step in every_step():
        first = known_by(known.case, [run(word, known.case).model_copy(update={"number": 1})])
        once = what_next(first)
        if once.changes:
            assert not once.by_practice, "the model has parts to name"
            continue
        assert once.do == "try" and step.changes[0].to in once.why, (word, size)
        assert isinstance(report := with_first_step(first, proposal_of(first, ProposalRequest())), SureProposeReport)
        assert not report.first_step and (report.once_more == ("run it once more" in report.hint))
        assert report.once_more or report.status != "impossible"


def test_a_model_that_has_parts_to_name_is_not_overruled() -> None:
    steps = [asked(seed, word, moment, size)[1] for seed in CARS for word, moment in FELT for size in SIZES]
    by_model = [one for one in steps if one.changes and not one.by_practice]
    assert by_model and all(one.sureness is not None for one in by_model)
    assert len(steps) - len(by_model) > 0


@pytest.mark.parametrize("word", ["popback", "stumble"])
def test_it_is_past_every_size_that_was_felt_so(word: str) -> None:
    """A larger one stumbled before: the step from the one that is in goes beyond that."""
    case = case_with(random_car(9), CATALOG, FRONT | {"nozzle": "straight-1.12"})
    first = run(word, case, moment="at-once").model_copy(update={"number": 1})
    now = case_with(random_car(9), CATALOG, FRONT | {"nozzle": "straight-1.03"})
    twice = [run(word, now, moment="at-once").model_copy(update={"number": number}) for number in (2, 3)]
    known = known_by(now, [first, *twice])
    step = what_next(known)
    assert step.by_practice
    assert choice_after(known.case, step.changes)[NOZZLE].read(FittedNozzle).diameter_mm >= 1.14


def test_nothing_out_of_the_trades_sizes_and_nothing_after_a_clean_run() -> None:
    for word, _, known, step in every_step():
        nozzle = choice_after(known.case, step.changes)[NOZZLE].read(FittedNozzle)
        assert 0.64 <= nozzle.diameter_mm <= 1.32 or nozzle == known.case.as_fitted[NOZZLE].read(FittedNozzle), word
    case = case_with(random_car(1), CATALOG)
    runs = [run("clean", case).model_copy(update={"number": 1})]
    assert not what_next(known_by(case, runs)).by_practice


@pytest.mark.parametrize("seed", range(8))
def test_smoke_is_not_answered_by_an_aimed_nozzle(seed: int) -> None:
    """Less of its fuel lands on the walls: of the same size it is richer at once."""
    case = case_with(random_car(seed), CATALOG, FRONT | {"nozzle": "straight-0.88"})
    known = known_by(case, [run("smoke", case).model_copy(update={"number": 1})])
    for report in (what_next(known), proposal_of(known, ProposalRequest())):
        chosen = choice_after(known.case, report.changes)
        assert chosen[NOZZLE].read(FittedNozzle).style == "straight"
