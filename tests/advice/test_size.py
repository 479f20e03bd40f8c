"""Sizes: every candidate is judged again by check, and the smallest is found again among them by its breaks."""

from functools import cache
from typing import Any

import building
import numpy as np
import pytest

from configurator.advice.size import breaks_no_more_than, rounded, size
from configurator.advice.sure_sizes import sure_sizes
from configurator.catalogue.parts import Lobe
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.judging.right import DEMAND
from configurator.learning.as_known import Known
from configurator.learning.belief import prior
from configurator.physics.lateness import Lateness
from configurator.reports import Candidate, CircuitSizes, EngineTold
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS

LOBES = (building.lobe("lobe-mid", 3.6), building.lobe("lobe-low", 2.6),
         building.lobe("lobe-long", 4.6, lever="long", phases_deg=(4.0,)))  # fmt: skip
PAD = "pump-clears-the-manifold-pad"
"""The rule that is the pump's business, not the nozzle's."""
NOZZLES = tuple(building.nozzle(mm) for mm in (0.55, 0.65, 0.70, 0.80, 1.00))


BELIEF = prior(Lateness(1.1, 0.9), 0.3)


@cache
def case() -> Case:
    return building.easy_case(nozzles=NOZZLES, lobes=LOBES)


@cache
def sizes() -> CircuitSizes:
    (found,) = size(case(), ["front"], BELIEF).circuits
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
        for rule, most, figure in (
            ("pull-comes-at-once", 60.0, row.delay_ms), ("pull-does-not-go-flat", 10.0, row.lean_sag_percent),
            ("pull-does-not-nose-over", 10.0, row.rich_sag_percent), ("mixture-does-not-smoke", 600.0, row.smoke_ms),
        ):  # fmt: skip
            margin = found[rule].margin
            assert margin is not None and figure == pytest.approx(most - margin, abs=0.06)


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


def test_how_sure_a_candidate_is_is_the_belief_in_engines_it_is_right_for() -> None:
    """Each judged by itself; in whatever engine the table is made. One that another rule forbids is right for none."""
    elsewhere = size(case().at(Lateness(1.4, 0.7)), ["front"], BELIEF).circuits[0]
    assert next(row.sureness for row in elsewhere.candidates if row.diameter_mm == 0.8) == sizes().fitted.sureness
    for row in sizes().candidates:
        listed = {slot: (option,) for slot, option in choice_of(row).items()}
        regions = case().columns("front", listed, with_regions=True).shot.regions
        assert regions is not None
        right = float(BELIEF.masses[regions.covers.ravel()].sum()) if breaks_no_more_than(row, DEMAND) else 0.0
        assert row.sureness == pytest.approx(right, abs=2e-3)
    assert any(not breaks_no_more_than(row, DEMAND) for row in sizes().candidates)
    assert len({row.sureness for row in sizes().candidates}) > 4


def test_what_is_fitted_stands_apart() -> None:
    fitted = sizes().fitted
    assert (fitted.code, fitted.diameter_mm, fitted.diameter_in) == ("straight-0.80", 0.8, 0.0315)
    assert (fitted.style, fitted.pump, fitted.lobe, fitted.phase_deg) == ("straight", "pump-small", "lobe-mid", 0.0)


def test_where_nothing_meets_the_demand_there_is_no_smallest() -> None:
    report = size(building.with_limits(case(), delay_most_ms=1.0).at(Lateness(2.0, 1.5)), ["front"], BELIEF)
    assert not report.ok and report.circuits[0].smallest is None
    assert report.engine == EngineTold(late_first_fuel=2.0, late_main_circuit=1.5)
    assert not any(row.meets for row in report.circuits[0].candidates)
    assert any("pin gauge" in note for note in report.notes)


@pytest.mark.parametrize("held", [False, True])
def test_a_film_beyond_what_was_measured_is_told(held: bool) -> None:
    """Out of gear the engine revs far beyond 3,000 rev/min."""
    line = {"transmission": "free"} if held else building.TRUCK["driveline"]
    some = building.easy_case(building.vehicle({**building.TRUCK, "driveline": line}), nozzles=NOZZLES[2:4])
    assert some.car.tip_in.film_held_at_edge is held
    film = "outside what the fuel on the manifold walls was measured for"
    assert any(film in note for note in size(some, ["front"], BELIEF).notes) is held


def test_a_figure_that_is_none_is_left_out() -> None:
    assert (rounded(np.inf), rounded(np.nan), rounded(1.26), rounded(1.2345, 3)) == (None, None, 1.3, 1.234)


@pytest.mark.parametrize("wanted", [0.05, 0.4, 0.999])
def test_the_smallest_that_is_sure_enough_or_nearly_the_surest(wanted: float) -> None:
    report = sure_sizes(Known(case().at(BELIEF.middle), "as this test says", BELIEF), ["front"], wanted)
    assert report.engine.late_first_fuel == round(BELIEF.middle.first_fuel, 3)
    assert report.sureness_wanted == wanted and report.belief.engine == report.engine
    (circuit,) = report.circuits
    fits = [r for r in circuit.candidates if r.pump == circuit.fitted.pump and set(r.breaks) <= {*DEMAND, PAD}]
    most = max(row.sureness for row in fits)
    expected = min((r for r in fits if r.sureness >= min(wanted, 0.9 * most)), key=lambda r: r.diameter_mm)
    enough = expected.sureness >= wanted
    assert enough is (wanted < 0.999)
    assert circuit.smallest is not None and circuit.smallest.code == expected.code
    assert circuit.smallest.diameter_in == round(expected.diameter_mm / 25.4, 4)
    assert circuit.sureness == expected.sureness and circuit.enough is enough is report.ok
    by_parts = {_parts(row): row.sureness for row in sizes().candidates}
    shared = [row for row in circuit.candidates if _parts(row) in by_parts]
    assert len(shared) > 4 and all(row.sureness == by_parts[_parts(row)] for row in shared)


def _parts(row: Candidate) -> tuple[str | float | None, ...]:
    return row.code, row.pump, row.feed_screw, row.lobe, row.phase_deg


def test_of_lobes_that_are_all_felt_the_one_that_is_felt_least_is_taken() -> None:
    """Nothing is right within 5 ms: that which breaks least, and then is least beyond what goes unfelt, whatever the
    catalogue's order."""
    high, low = (building.lobe(code, mm, lever="long", phases_deg=(4.0,)) for code, mm in (("z", 4.6), ("a", 1.5)))

    def rows(*lobes: Lobe) -> list[Candidate]:
        strict: dict[str, Any] = {"delay_most_ms": 5.0, "sag_most_percent": 1.0, "smoke_most_ms": 600.0}
        some = building.easy_case(nozzles=NOZZLES[2:], lobes=(building.lobe("lobe-mid", 3.6), *lobes), **strict)
        (found,) = size(some, ["front"], BELIEF).circuits
        return [row for row in found.candidates if row.pump == "pump-large"]

    def beyond(row: Candidate) -> tuple[int, float]:
        sag = max(row.lean_sag_percent or 0.0, row.rich_sag_percent or 0.0)
        parts = ((row.delay_ms or 0.0) / 5.0, sag / 1.0, (row.smoke_ms or 0.0) / 600.0)
        return len(row.breaks), sum(max(part - 1.0, 0.0) for part in parts)

    alone = {"z": rows(high), "a": rows(low)}
    expected = ["z" if beyond(one) < beyond(other) else "a" for one, other in zip(*alone.values(), strict=True)]
    for lobes in ((high, low), (low, high)):
        both = rows(*lobes)
        assert [row.lobe for row in both] == expected and not any(row.meets for row in both)
