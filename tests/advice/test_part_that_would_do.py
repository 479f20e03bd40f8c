"""What a part would have to be like: a catalogue that has such a part is asked again, on random cars."""

import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from random_cars import FRONT, case_with, changed, few_parts, random_car

from configurator.advice.named_choice import choice_after
from configurator.advice.part_that_would_do import SOUGHT, with_parts_that_would_do
from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import proposal_of
from configurator.book.records import Conditions, Felt, trial_of
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.catalogue.parts import Lobe, NozzlePart, Pump
from configurator.judging.findings import broken
from configurator.judging.table import most_together
from configurator.learning.as_known import SURE_ENOUGH, Known, known_by
from configurator.reports import ProposeReport
from configurator.slots.wishes import read_wishes
from configurator.views.proposal import propose_text

SHIPPED, FEW = load_catalog(shipped_catalog_dir()), few_parts()
CARS = range(10)
FIGURES: dict[str, list[float]] = {kind.slot: list(kind.values) for kind in SOUGHT}


def known_of(seed: int, catalog: Catalog, felt: str = "") -> Known:
    """A random car, after a run of what is fitted if something was felt in it."""
    case = case_with(changed(random_car(seed), "manifold", pad_clearance_mm=20.0), catalog, FRONT)
    if not felt:
        return known_by(case, [])
    run = trial_of(case, datetime(2026, 5, 2, 10, tzinfo=UTC), Felt(word=felt), Conditions())
    return known_by(case, [run.model_copy(update={"number": 1})])


def proposed(known: Known) -> ProposeReport:
    return with_parts_that_would_do(proposal_of(known, ProposalRequest()), known, SURE_ENOUGH)


def read(says: str) -> tuple[str, list[float]]:
    """The kind of part and the ends of the figures told."""
    said = re.fullmatch(r"front: a (?:straight )?(nozzle|lobe|pump|feed screw) (.*)", says)
    assert said is not None
    figures = re.findall(r"([\d.]+) (?:mm2|mm|cc)\b", said[2].partition(" (out of")[0])
    return said[1], [float(figure) for figure in figures]


def with_such(kind: str, figure: float) -> Catalog:
    """The few parts and one more."""
    if kind == "nozzle":
        row = SHIPPED.nozzles["straight-0.80"].model_dump() | {"code": "new", "diameter_mm": figure}
        return replace(FEW, nozzles={**FEW.nozzles, "new": NozzlePart.model_validate(row)})
    if kind == "lobe":
        row = SHIPPED.lobes["lobe-fell"].model_dump() | {"code": "new", "total_lift_mm": figure}
        return replace(FEW, lobes={**FEW.lobes, "new": Lobe.model_validate(row)})
    assert kind == "pump"
    scale = figure / 30.0
    row = SHIPPED.pumps["pump-3cc"].model_dump() | {
        "code": "new", "capacity_cc": figure / 10, "capacity_ten_strokes_cc": figure, "diaphragm_area_mm2": 700 * scale,
        "spring_preload_n": 9 * scale, "spring_rate_n_per_mm": 1.5 * scale,
    }  # fmt: skip
    return replace(FEW, pumps={**FEW.pumps, "new": Pump.model_validate(row)})


def asked_again(seed: int, kind: str, figure: float, felt: str = "") -> tuple[Known, ProposeReport]:
    known = known_of(seed, with_such(kind, figure), felt)
    return known, proposal_of(known, ProposalRequest())


@pytest.mark.parametrize("seed", CARS)
def test_with_such_a_part_there_is_an_answer_and_with_the_next_beyond_there_is_none(seed: int) -> None:
    conflict = proposed(known_of(seed, FEW)).conflict
    for says in conflict.would_do if conflict else ():
        kind, ends = read(says)
        for figure in (ends[0], ends[-1]):
            known, report = asked_again(seed, kind, figure)
            assert report.status != "impossible", (says, figure)
            assert "new" in [one.code for one in report.changes if one.slot == f"front.{kind}"]
            left = broken(known.case, choice_after(known.case, report.changes))
            assert not [one for one in left if one.severity == "conflict"]
        values = FIGURES[kind]
        for place in (values.index(ends[0]) - 1, values.index(ends[-1]) + 1):
            if 0 <= place < len(values) and "or more" not in says:
                assert asked_again(seed, kind, values[place])[1].status == "impossible", (says, values[place])


def test_many_cars_are_told_of_one() -> None:
    """Else the test above would look at nothing."""
    found = [proposed(known_of(seed, FEW)).conflict for seed in CARS]
    told = [one.would_do for one in found if one]
    assert len(told) >= 6 and sum(map(bool, told)) >= 6
    assert {read(says)[0] for one in told for says in one} == {"nozzle", "lobe", "pump"}


@pytest.mark.parametrize("felt", ["smoke"])
def test_after_a_run_such_a_part_is_as_sure_as_wanted(felt: str) -> None:
    looked_at = 0
    for seed in CARS:
        conflict = proposed(known_of(seed, FEW, felt)).conflict
        for says in conflict.would_do if conflict else ():
            kind, ends = read(says)
            known = known_of(seed, with_such(kind, ends[0]), felt)
            assert most_together(known.tables, []).share > SURE_ENOUGH - 0.005, says
            looked_at += 1
    assert looked_at


def test_an_odd_size_is_told_as_one_and_wishes_have_their_own_ways_out() -> None:
    known = known_of(12, FEW)
    report = proposed(known)
    assert report.conflict is not None
    (says,) = report.conflict.would_do
    assert says.startswith("front: a straight nozzle of 0.46 mm") and "out of the trade's sizes" in says
    assert "A part that the catalogue lacks would do (ask a supplier), any one of:" in propose_text(report)
    wishes = read_wishes(known.case.options, [], ["front.lobe=lobe-moor"], [])
    asked = with_parts_that_would_do(proposal_of(known, ProposalRequest(wishes)), known, SURE_ENOUGH)
    assert asked.conflict is not None
    if asked.conflict.wishes:
        assert asked.conflict.would_do == []
