"""The car as it is now: random cars, none of them a shipped example, after runs and after what somebody told."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from types import MappingProxyType
from typing import Any

import pytest
from random_cars import FRONT, case_with, changed, random_car

from configurator.advice.next_step import what_next
from configurator.advice.propose import ProposalRequest
from configurator.advice.size import size
from configurator.advice.sure_proposal import proposal_of
from configurator.book.car_now import CarNow, car_now, is_in
from configurator.book.car_records import CarRecords
from configurator.book.fitted_told import fitted_parts, history, told_otherwise
from configurator.book.fitting import Fitting, fitting_of
from configurator.book.records import Conditions, Felt, Trial, car_of, trial_of
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.learning.as_known import known_by
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import chosen_parts

AT = datetime(2026, 5, 2, 10, tzinfo=UTC)
CARS = (3, 5, 14)
OTHER, PAD, NOZZLE = "straight-0.90", SLOTS["pad_relief"], SLOTS["front.nozzle"]


@cache
def stock() -> Catalog:
    """The shipped catalogue with few nozzles, lobes and screws, so that what is next is quickly found."""
    whole = load_catalog(shipped_catalog_dir())
    sizes, lobes = ("0.70", "0.80", "0.90", "0.95", "1.00"), ("fell", "cairn", "moor")
    return replace(
        whole,
        nozzles=MappingProxyType({code: whole.nozzles[code] for code in (f"straight-{size}" for size in sizes)}),
        lobes=MappingProxyType({code: whole.lobes[code] for code in (f"lobe-{name}" for name in lobes)}),
    )


def car(seed: int, **fitted: Any) -> Case:
    figures = changed(random_car(seed), "manifold", pad_clearance_mm=20.0, bonnet_clearance_mm=60.0)
    return case_with(figures, stock(), FRONT | {"slack_mm": 0.02, "preload_mm": 0.0, "overtravel_mm": 1.0} | fitted)


def drove(case: Case, number: int, *words: str, felt: str = "stumble", **day: Any) -> Trial:
    choice = chosen_parts(case.options, words)
    made = trial_of(case, AT + timedelta(hours=number), Felt(word=felt), Conditions(**day), choice=choice)
    return made.model_copy(update={"number": number})


def told(case: Case, number: int, *words: str, hours: float = 0.0) -> Fitting:
    made = fitting_of(case, AT + timedelta(hours=hours), chosen_parts(case.options, words), {}, "")
    return made.model_copy(update={"number": number, "after_run": 0})


def labels(choice: Choice) -> dict[str, str]:
    return {str(slot): option.label for slot, option in choice.items()}


def in_the_car(now: CarNow) -> dict[str, str]:
    return labels(now.case.as_fitted)


Telling = Callable[[Case, int], CarRecords]
TELLINGS: dict[str, Telling] = {
    "a run": lambda case, n: CarRecords([drove(case, n, f"front.nozzle={OTHER}")]),
    "a cold run": lambda case, n: CarRecords([drove(case, n, f"front.nozzle={OTHER}", warm=False)]),
    "an entry": lambda case, n: CarRecords([], [told(case, n, f"front.nozzle={OTHER}")]),
}


@pytest.mark.parametrize(("telling", "seed"), list(zip(TELLINGS.values(), CARS, strict=True)), ids=TELLINGS)
def test_every_answer_begins_with_what_is_in_the_car(telling: Telling, seed: int) -> None:
    filed = car(seed)
    records = telling(filed, 1)
    now = car_now(filed, records)
    label = now.case.as_fitted[NOZZLE].label
    assert label.startswith(f"{OTHER}, ")
    sizes = size(now.case, ("front",), known_by(now.case, records.runs).believed)
    assert sizes.circuits[0].fitted.code == OTHER
    for changes in (
        proposal_of(known_by(now.case, records.runs), ProposalRequest()).changes,
        what_next(known_by(now.case, records.runs)).changes,
    ):
        own = [change for change in changes if change.slot == "front.nozzle"]
        assert all(change.from_ == label and change.to != label for change in own)
    assert told_otherwise(now, records)[0].endswith(f"front.nozzle {OTHER}; the vehicle file says straight-0.80"), (
        "and the rest is as the file has it"
    )


@pytest.mark.parametrize("seed", CARS)
def test_the_newest_that_stands_says_it(seed: int) -> None:
    filed = car(seed)
    run, told_later = (
        drove(filed, 1, "front.nozzle=straight-0.90"),
        told(filed, 1, "front.nozzle=straight-0.70", hours=2),
    )
    assert in_the_car(car_now(filed, CarRecords()))["front.nozzle"].startswith("straight-0.80")
    for runs, fittings, expected in (
        ([run], [told_later], "straight-0.70"),
        ([run], [told_later.model_copy(update={"undone": True})], "straight-0.90"),
        ([run], [told_later.model_copy(update={"at": AT})], "straight-0.90"),
        ([run.model_copy(update={"undone": True})], [], "straight-0.80"),
        ([run], [fitting_of(filed, AT + timedelta(hours=3), None, {}, "")], "straight-0.80"),
    ):
        assert in_the_car(car_now(filed, CarRecords(runs, fittings)))["front.nozzle"].startswith(expected)


def test_of_one_second_the_order_of_the_book_counts() -> None:
    filed = car(3)
    runs = [drove(filed, 1, "front.nozzle=straight-0.90"), drove(filed, 2, "front.nozzle=straight-0.95")]
    runs = [run.model_copy(update={"at": AT}) for run in runs]
    for after, expected in ((0, "straight-0.95"), (1, "straight-0.95"), (2, "straight-0.70")):
        entry = told(filed, 1, "front.nozzle=straight-0.70").model_copy(update={"after_run": after})
        assert in_the_car(car_now(filed, CarRecords(runs, [entry])))["front.nozzle"].startswith(expected)


CHANGES = (
    ("front.lobe=lobe-cairn@0",), ("front.lobe=fitted@6",), ("front.pump=pump-5cc",), ("front.feed_screw=screw-plain",),
    ("spacer=spacer-6",), ("pad_relief=1mm",), ("front.nozzle=redrill:0.9mm",),
    ("front.nozzle=straight-0.90", "spacer=spacer-6", "pad_relief=2mm", "front.lobe=lobe-moor"),
)  # fmt: skip


@pytest.mark.parametrize("words", CHANGES, ids=lambda words: words[0])
@pytest.mark.parametrize("seed", CARS)
def test_the_car_is_that_of_the_run_whatever_changed(seed: int, words: tuple[str, ...]) -> None:
    """Figure by figure the car that the run itself kept, and none of it is a change any more."""
    filed = car(seed, phase_deg=0)
    run = drove(filed, 1, *words)
    now = car_now(filed, CarRecords([run]))
    assert not any(option.changed for option in now.case.as_fitted.values()) and is_in(now.case, run)
    again = trial_of(now.case, AT, Felt(word="dull"), Conditions())
    assert again.car == run.car and car_of(again) == car_of(run)
    assert in_the_car(car_now(filed, CarRecords([run, again.model_copy(update={"number": 2})]))) == in_the_car(now)
    repeated = trial_of(now.case, AT, Felt(word="dull"), Conditions(), choice=chosen_parts(now.case.options, words))
    assert repeated.car == run.car, "the same words once more are the same parts"


def test_a_nozzle_drilled_after_another_was_fitted_stays_known_by_its_figures() -> None:
    filed = car(3, nozzle="straight-0.70")
    first = drove(filed, 1, "front.nozzle=straight-0.90")
    there = car_now(filed, CarRecords([first])).case
    second = drove(there, 2, "front.nozzle=redrill:0.95mm")
    now = car_now(filed, CarRecords([first, second]))
    nozzle = now.case.car.fitted.front.nozzle
    assert (nozzle.diameter_mm, nozzle.redrilled, nozzle.measured, nozzle.code) == (0.95, True, True, None)
    third = trial_of(now.case, AT + timedelta(hours=3), Felt(word="clean"), Conditions())
    records = CarRecords([first, second, third.model_copy(update={"number": 3})])
    part = next(part for part in fitted_parts(car_now(filed, records), records) if part.slot == "front.nozzle")
    assert (part.by, part.since) == ("run 2", second.at), "since it was drilled, not since it was driven once more"


def test_the_pad_stays_relieved_and_the_next_step_goes_on_from_there() -> None:
    filed = car(5)
    run = drove(filed, 1, "pad_relief=1mm")
    now = car_now(filed, CarRecords([run])).case
    assert now.as_fitted[PAD].label == "manifold pad relieved by 1.0 mm" and now.as_fitted[PAD].figures == 1.0
    (two,) = [option for option in now.options[PAD] if option.figures == 2.0]
    (one,) = [option for option in filed.options[PAD] if option.figures == 1.0]
    assert (two.label, two.labour_min) == ("manifold pad relieved by 2.0 mm", one.labour_min)
    assert max(option.read(float) for option in now.options[PAD]) == max(
        option.read(float) for option in filed.options[PAD]
    )


@pytest.mark.parametrize(
    ("words", "kept"), [(("front.nozzle=straight-0.90",), True), (("front.lobe=lobe-moor",), False)]
)
def test_what_was_measured_on_the_linkage_holds_as_long_as_nobody_touched_it(words: tuple[str], kept: bool) -> None:
    filed = car(3)
    front = car_now(filed, CarRecords([drove(filed, 1, *words)])).case.car.fitted.front
    assert (front.slack_mm, front.preload_mm, front.overtravel_mm) == ((0.02, 0.0, 1.0) if kept else (None,) * 3)


def without(code: str) -> Catalog:
    nozzles = {key: part for key, part in stock().nozzles.items() if key != code}
    return replace(stock(), nozzles=MappingProxyType(nozzles))


def test_a_part_that_the_catalogue_has_no_more_is_said_and_the_file_s_taken() -> None:
    run = drove(car(3), 1, f"front.nozzle={OTHER}", "front.lobe=lobe-moor")
    filed = Case.of(car(3).vehicle, without(OTHER))
    now, records = car_now(filed, CarRecords([run])), CarRecords([run])
    assert in_the_car(now)["front.nozzle"].startswith("straight-0.80") and not is_in(now.case, run)
    assert in_the_car(now)["front.lobe"].startswith("lobe-moor")
    assert told_otherwise(now, records)[-1] == (
        f"front.nozzle: the catalogue has no {run.codes['front.nozzle']} any more, which run 1 speaks of; taken as in "
        "the vehicle file"
    )


@pytest.mark.parametrize("seed", CARS)
def test_a_clean_run_counts_as_long_as_its_parts_are_in(seed: int) -> None:
    filed = car(seed)
    run = drove(filed, 1, f"front.nozzle={OTHER}", felt="clean")
    now = car_now(filed, CarRecords([run])).case
    assert known_by(now, [run]).pulls_cleanly and what_next(known_by(now, [run])).do == "stop"
    assert proposal_of(known_by(now, [run]), ProposalRequest()).status != "impossible"
    moved_on = car_now(filed, CarRecords([run], [told(now, 1, "front.nozzle=straight-0.70", hours=2)])).case
    assert not known_by(moved_on, [run]).pulls_cleanly


def test_since_when_and_how_it_came_to_it() -> None:
    filed = car(3)
    runs = [drove(filed, 1), drove(filed, 2, f"front.nozzle={OTHER}"), drove(filed, 4, f"front.nozzle={OTHER}")]
    lobe = fitting_of(
        filed, AT + timedelta(hours=3), chosen_parts(filed.options, [f"front.nozzle={OTHER}", "front.lobe=lobe-moor"]),
        {}, "for the rain",
    ).model_copy(update={"number": 1, "undone": True})  # fmt: skip
    records = CarRecords(runs, [lobe])
    now = car_now(filed, records)
    parts = {part.slot: part for part in fitted_parts(now, records)}
    assert (parts["front.nozzle"].by, parts["front.nozzle"].since) == ("run 2", runs[1].at)
    assert (parts["front.lobe"].by, parts["front.lobe"].since) == ("the vehicle file", None)
    steps = history(records, now)
    assert [(step.by, list(step.put_in), step.undone, step.note) for step in steps] == [
        ("run 2", ["front.nozzle"], False, ""), ("entry 1", ["front.lobe"], True, "for the rain"),
    ]  # fmt: skip


def test_book_and_file_that_agree_have_nothing_said_of_them() -> None:
    filed = car(3)
    assert told_otherwise(car_now(filed, CarRecords()), CarRecords()) == []
    records = CarRecords([drove(filed, 1)])
    now = car_now(filed, records)
    assert told_otherwise(now, records) == [] and now.case is filed
