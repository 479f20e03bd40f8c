"""Sizes: every candidate is judged again by check, and the smallest is found again among them by its breaks."""

from functools import cache

import building
import numpy as np
import pytest

from configurator.advice.size import rounded, size
from configurator.advice.sure_sizes import sure_sizes
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.judging.table import DEMAND
from configurator.learning.belief import prior
from configurator.reports import Candidate, CircuitSizes
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS

LOBES = (building.lobe("lobe-mid", 3.6), building.lobe("lobe-low", 2.6),
         building.lobe("lobe-long", 4.6, lever="long", phases_deg=(4.0,)))  # fmt: skip
PAD = "pump-clears-the-manifold-pad"
"""The rule that is the pump's business, not the nozzle's."""
NOZZLES = tuple(building.nozzle(mm) for mm in (0.55, 0.65, 0.70, 0.80, 1.00))


@cache
def case() -> Case:
    return building.case(stock=building.catalog(NOZZLES, lobes=LOBES))


@cache
def sizes() -> CircuitSizes:
    (found,) = size(case(), ["front"]).circuits
    return found


def choice_of(row: Candidate) -> Choice:
    options, chosen = case().options, dict(case().as_fitted)
    chosen[SLOTS["front.nozzle"]] = next(o for o in options[SLOTS["front.nozzle"]] if o.code == row.code)
    chosen[SLOTS["front.feed_screw"]] = next(o for o in options[SLOTS["front.feed_screw"]] if o.label == row.feed_screw)
    chosen[SLOTS["front.pump"]] = next(o for o in options[SLOTS["front.pump"]] if o.label == row.pump)
    chosen[SLOTS["front.lobe"]] = next(
        o for o in options[SLOTS["front.lobe"]]
        if o.label.split(" at ")[0] == row.lobe and o.figures.phase_deg == row.phase_deg  # type: ignore[union-attr]
    )  # fmt: skip
    return chosen


def test_every_candidate_is_judged_as_check_judges_it() -> None:
    assert len(sizes().candidates) == len(NOZZLES) * 2
    for row in sizes().candidates:
        found = {f.rule: f for f in findings(case(), choice_of(row)) if f.circuit == "front"}
        conflicts = {f.rule for f in found.values() if f.holds is False and f.severity == "conflict"}
        assert set(row.breaks) == conflicts
        assert row.meets == all(found[rule].holds for rule in DEMAND if rule in found)
        if row.hole_ms is not None:
            margin = found["shot-covers-the-hole"].margin
            assert margin is not None and row.hole_ms == pytest.approx(50.0 - margin, abs=0.06)


def test_the_smallest_is_the_first_that_breaks_nothing_but_the_pads_rule() -> None:
    for pump, smallest in sizes().smallest_by_pump.items():
        fits = [row for row in sizes().candidates if row.pump == pump and set(row.breaks) <= {PAD}]
        assert (smallest.code if smallest else None) == (min(fits, key=lambda r: r.diameter_mm).code if fits else None)
    assert sizes().smallest == sizes().smallest_by_pump[sizes().fitted.pump] is not None


def test_the_fitted_pump_keeps_its_lobe_and_another_may_bring_its_own() -> None:
    own = [row for row in sizes().candidates if row.pump == sizes().fitted.pump]
    other = [row for row in sizes().candidates if row.pump != sizes().fitted.pump]
    assert {(row.lobe, row.phase_deg) for row in own} == {("lobe-mid", 0.0)}
    assert {row.lobe for row in other} == {"lobe-long"}
    assert [row.diameter_mm for row in own] == sorted(row.diameter_mm for row in own)


def test_the_feed_screw_stays_as_long_as_it_leaves_the_nozzle_in_charge() -> None:
    screws = {row.diameter_mm: row.feed_screw for row in sizes().candidates if row.pump == sizes().fitted.pump}
    assert "screw-narrow" in screws[0.65] and "screw-narrow" in screws[0.80] and "screw-free" in screws[1.00]


def test_margins_are_how_far_the_demand_may_move() -> None:
    """A window of 0.4 to 1.3 at f = 1: 30 % up, 60 % down."""
    for row in sizes().candidates:
        if row.window:
            low, high = row.window
            assert row.lean_margin_percent == pytest.approx(100 * (high - 1), abs=0.1)
            assert row.rich_margin_percent == pytest.approx(100 * (1 - low), abs=0.1)
    moved = size(case().at(0.5), ["front"]).circuits[0].fitted
    assert moved.window == sizes().fitted.window and moved.window
    assert moved.lean_margin_percent == pytest.approx(100 * (moved.window[1] / 0.5 - 1), abs=0.2)
    assert moved.rich_margin_percent == pytest.approx(100 * (1 - moved.window[0] / 0.5), abs=0.2)


def test_what_is_fitted_stands_apart() -> None:
    fitted = sizes().fitted
    assert (fitted.code, fitted.diameter_mm, fitted.diameter_in) == ("straight-0.80", 0.8, 0.0315)
    assert (fitted.style, fitted.pump, fitted.lobe, fitted.phase_deg) == ("straight", "pump-small", "lobe-mid", 0.0)


def test_where_nothing_meets_the_demand_there_is_no_smallest() -> None:
    report = size(case().at(4.0), ["front"])
    assert not report.ok and report.circuits[0].smallest is None and report.demand_factor == 4.0
    assert size(case(), ["front"]).ok
    assert any("pin gauge" in note for note in report.notes)
    film = "outside what the fuel on the manifold walls was measured for"
    assert any(film in note for note in report.notes) is case().car.tip_in.film_held_at_edge
    low_idle = building.case(building.vehicle(assumed={"idle_pressure_kpa": 26.0}, engine={"idle_rpm": 900}))
    assert low_idle.car.tip_in.film_held_at_edge and any(film in note for note in size(low_idle, ["front"]).notes)
    slow = building.case(building.vehicle(tip_in={"opens_to": 0.2}))
    assert any(film in note for note in size(slow, ["front"]).notes) is slow.car.tip_in.film_held_at_edge


def test_a_figure_that_is_none_is_left_out() -> None:
    assert (rounded(np.inf), rounded(np.nan), rounded(1.26), rounded(1.2345, 3)) == (None, None, 1.3, 1.234)


@pytest.mark.parametrize("wanted", [0.05, 0.6, 0.999])
def test_the_smallest_that_is_sure_enough_or_else_the_surest(wanted: float) -> None:
    """The share of the belief inside each window, worked out from its masses."""
    belief = prior(1.1, 0.3)
    report = sure_sizes(case().at(belief.median), ["front"], belief, wanted)
    assert report.demand_factor == pytest.approx(belief.median) and report.sureness_wanted == wanted
    (circuit,) = report.circuits
    fits = [r for r in circuit.candidates if r.pump == circuit.fitted.pump and set(r.breaks) <= {*DEMAND, PAD}]
    enough = [row for row in fits if row.sureness >= wanted]
    expected = min(enough, key=lambda r: r.diameter_mm) if enough else max(fits, key=lambda r: r.sureness)
    assert circuit.smallest is not None and circuit.smallest.code == expected.code
    assert circuit.smallest.diameter_in == round(expected.diameter_mm / 25.4, 4)
    assert circuit.sureness == expected.sureness and circuit.enough is bool(enough) is report.ok
    for row in circuit.candidates:
        assert row.sureness == round(belief.sureness(row.window), 4)


def test_of_lobes_that_all_leave_a_hole_the_one_that_leaves_the_least_is_taken() -> None:
    """At a demand of 4 nothing will do; more lift is nearer to it, whatever the catalogue's order."""
    high, low = (building.lobe(code, mm, lever="long", phases_deg=(4.0,)) for code, mm in (("z", 4.6), ("a", 3.0)))
    for lobes in ((high, low), (low, high)):
        stock = building.catalog(NOZZLES, lobes=(building.lobe("lobe-mid", 3.6), *lobes))
        (found,) = size(building.case(stock=stock).at(4.0), ["front"]).circuits
        with_larger = [row for row in found.candidates if row.pump == "pump-large" and row.diameter_mm >= 0.80]
        assert {row.lobe for row in with_larger} == {"z"} and not any(row.meets for row in with_larger)
