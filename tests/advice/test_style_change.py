"""A nozzle of another style is explained, and what is said of the other style is so: random cars."""

import re
from functools import cache

import pytest
from random_cars import FRONT, case_with, changed, random_car
from runs import run

from configurator.advice.next_step import what_next
from configurator.advice.propose import ProposalRequest
from configurator.advice.style_change import why_another_style
from configurator.advice.sure_proposal import proposal_of
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.findings import broken
from configurator.learning.as_known import known_by
from configurator.reports import ProposeReport
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS
from configurator.views.proposal import propose_text

STOCK = load_catalog(shipped_catalog_dir())
NOZZLE = SLOTS["front.nozzle"]
CARS = [(seed, style) for seed in (0, 2, 3, 5, 14) for style in ("straight", "aimed")]


@cache
def proposed(seed: int, style: str) -> tuple[Case, ProposeReport]:
    case = case_with(random_car(seed), STOCK, FRONT | {"nozzle": f"{style}-0.80"})
    return case, proposal_of(known_by(case, []), ProposalRequest())


def styles(case: Case, label: str) -> tuple[str, str]:
    new = case.options[NOZZLE].labelled(label)
    assert new is not None
    return case.as_fitted[NOZZLE].read(FittedNozzle).style, new.read(FittedNozzle).style


@pytest.mark.parametrize(("seed", "style"), CARS)
def test_every_change_of_style_is_explained_and_nothing_else(seed: int, style: str) -> None:
    case, report = proposed(seed, style)
    for change in [*report.changes, *(change for way in report.alternatives for change in way.changes)]:
        old, new = styles(case, change.to) if change.slot == "front.nozzle" else ("", "")
        assert change.style.startswith(f"{new} in place of {old}: ") if old != new else not change.style
        assert change.style[:30] in " ".join(propose_text(report).split())


def test_random_cars_change_the_style_both_ways() -> None:
    """Or the test above would say nothing."""
    said = [change.style.split(":")[0] for seed, style in CARS for change in proposed(seed, style)[1].changes]
    assert {"aimed in place of straight", "straight in place of aimed"} <= {
        *said, *(change.style.split(":")[0] for seed, style in CARS
                 for way in proposed(seed, style)[1].alternatives for change in way.changes)
    }  # fmt: skip


def hard(case: Case, choice: Choice) -> set[str]:
    return {finding.rule for finding in broken(case, choice) if finding.severity == "conflict"}


@pytest.mark.parametrize("seed", [0, 2, 3])
@pytest.mark.parametrize("size", ["0.72", "0.80", "0.95"])
def test_what_is_said_of_the_style_that_is_in_is_so(seed: int, size: str) -> None:
    case = case_with(random_car(seed), STOCK, FRONT | {"nozzle": "straight-0.80"}).with_linkage_set()
    aimed = case.options[NOZZLE].labelled(next(o.label for o in case.on_offer[NOZZLE] if o.code == f"aimed-{size}"))
    assert aimed is not None
    choice = {**case.as_fitted, NOZZLE: aimed}
    line = why_another_style(case, choice, "front", case.as_fitted[NOZZLE])
    straight = {
        option.read(FittedNozzle).diameter_mm: hard(case, {**choice, NOZZLE: option}) <= hard(case, choice)
        for option in case.on_offer[NOZZLE] if option.work != "redrill"
        and option.read(FittedNozzle).style == "straight"
    }  # fmt: skip
    does = [mm for mm, one in straight.items() if one]
    told = re.search(r"would have to be ([\d.]+) mm", line)
    if told:
        nearest = min(does, key=lambda mm: abs(mm - float(size)))
        assert float(told[1]) == pytest.approx(nearest) and float(size) not in does
    elif "of this size would do as well" in line:
        assert float(size) in does
    else:
        assert "no straight one would do here" in line and not does


def test_where_the_body_takes_no_other_that_is_why() -> None:
    figures = changed(random_car(5), "carburettor", nozzle_styles=["straight"])
    case = case_with(figures, STOCK, FRONT | {"nozzle": "aimed-0.80"})
    report = proposal_of(known_by(case, []), ProposalRequest())
    (change,) = [change for change in report.changes if change.slot == "front.nozzle"]
    assert change.style == "straight in place of aimed: the body takes no aimed nozzle"


def test_next_explains_it_too() -> None:
    case = case_with(random_car(0), STOCK, FRONT)
    report = what_next(known_by(case, [run("stumble", case, moment="at-once")]))
    (change,) = [change for change in report.changes if change.slot == "front.nozzle"]
    changes = styles(case, change.to)[0] != styles(case, change.to)[1]
    assert any(note.startswith("front: aimed in place of straight: ") for note in report.notes) is changes
