"""What a choice comes to: changes with prices and reasons, gaskets, sums, worked by hand from the catalogue."""

import building
import pytest

from configurator.advice.work import combination_of, consumables_of, shots_of, sureness_of, totals_of
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.learning.belief import prior_of
from configurator.reports import Combination
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import choose, read_wishes

CASE, TWO = building.easy_case(), building.easy_case(building.two_circuits())


def chosen(case: Case, *words: str) -> Choice:
    return choose(case.options, read_wishes(case.options, [], list(words), []))


def combined(case: Case, *words: str) -> Combination:
    wishes = read_wishes(case.options, [], list(words), [])
    return combination_of(case, choose(case.options, wishes), "as wished", wishes)


def test_prices_labour_and_gaskets_are_those_of_the_catalogue() -> None:
    """Nozzle 10.00 and 15 min with 2 seat gaskets at 0.60; spacer 20.00 and 50 min with a flange gasket of 3.20."""
    found = combined(CASE, "front.nozzle=straight-0.90", "spacer=spacer-6")
    assert [(c.slot, c.code, c.price, c.labour_min, c.work, c.reversible) for c in found.changes] == [
        ("front.nozzle", "straight-0.90", 10.0, 15, "fit", True), ("spacer", "spacer-6", 20.0, 50, "fit", True),
    ]  # fmt: skip
    assert [(line.joint, line.quantity, line.price) for line in found.consumables] == [
        ("carburettor_flange", 1, 3.2), ("nozzle_seat", 2, 1.2),
    ]  # fmt: skip
    assert (found.totals.changes, found.totals.price, found.totals.labour_min) == (2, 34.4, 65)
    assert found.changes[0].from_ == CASE.as_fitted[SLOTS["front.nozzle"]].label and found.title == "as wished"


def test_what_cannot_be_undone_is_said() -> None:
    found = combined(CASE, "front.nozzle=redrill:0.90mm", "pad_relief=1mm", "front.lobe=lobe-mid@8")
    assert {c.slot: (c.reversible, c.work) for c in found.changes} == {
        "front.nozzle": (False, "redrill"), "pad_relief": (False, "relieve"), "front.lobe": (True, "rephase"),
    }  # fmt: skip


def test_what_comes_in_the_pump_s_box_costs_nothing_in_its_own_circuit() -> None:
    found = combined(TWO, "front.pump=pump-large", "front.feed_screw=screw-free", "rear.feed_screw=screw-free")
    prices = {c.slot: c.price for c in found.changes}
    assert prices == {"front.pump": 80.0, "front.feed_screw": 0.0, "rear.feed_screw": 9.0}
    screw = next(c for c in found.changes if c.slot == "front.feed_screw")
    assert "in the pump's box: costs nothing more" in screw.because
    alone = combined(CASE, "front.feed_screw=screw-free").changes[0]
    assert alone.price == 9.0 and not any("box" in why for why in alone.because)


def test_gaskets_of_one_code_stand_in_one_line() -> None:
    both = chosen(TWO, "front.nozzle=straight-0.90", "rear.nozzle=straight-0.80")
    (line,) = consumables_of(TWO, both)
    assert (line.code, line.quantity, line.price) == ("gasket-nozzle-seat", 4, 2.4)
    assert consumables_of(TWO, TWO.as_fitted) == [] and totals_of([], [], "").price == 0.0


def test_a_change_stands_with_what_comes_back_without_it() -> None:
    """A nozzle of 1.00 mm wants the free-flow screw; nobody needs the other lobe."""
    found = combined(CASE, "front.nozzle=straight-1.00", "front.feed_screw=screw-free", "front.lobe=lobe-high@0")
    because = {c.slot: c.because for c in found.changes}
    asked, forced = because["front.feed_screw"]
    assert asked == "you asked for it (front.feed_screw=screw-free)" or asked.startswith("you asked for it (")
    assert forced.endswith("[feed-screw-is-not-the-restriction]") and forced.startswith("with screw-narrow")
    assert all(why.startswith("you asked for it (") for why in because["front.lobe"])


def test_a_reason_that_is_a_conflict_leaves_warnings_out() -> None:
    """Without the smaller nozzle of 0.62 mm what is fitted, 1.40 mm, would break rules and be unusually large."""
    stock = building.catalog((building.nozzle(1.40), building.nozzle(0.80)))
    case = building.case(building.vehicle(front={"nozzle": "straight-1.40"}), stock)
    choice = chosen(case, "front.nozzle=straight-0.80")
    (change,) = combination_of(case, choice, "x").changes
    assert any("[large-nozzle-has-the-larger-pump]" in why for why in change.because)
    assert not any("unusually-large" in why for why in change.because)
    assert all(why.startswith("with straight-1.40") for why in change.because)


def test_a_combination_is_judged_by_every_rule_with_what_does_not_hold_first() -> None:
    found = combined(CASE, "front.nozzle=straight-1.20")
    assert not found.ok
    places = [f.holds is True for f in found.findings]
    assert places == sorted(places) and True in places and False in places
    every = findings(CASE, chosen(CASE, "front.nozzle=straight-1.20"))
    assert sorted(f.rule for f in found.findings) == sorted(f.rule for f in every)
    assert combined(CASE, "front.nozzle=straight-0.90").ok
    assert found.parts["front.nozzle"].startswith("straight-1.20") and set(found.parts) == set(map(str, CASE.options))


def test_each_circuit_says_what_it_delivers_and_how_it_is_felt() -> None:
    (shot,) = shots_of(CASE, CASE.as_fitted)
    table = CASE.columns("front", {slot: (o,) for slot, o in CASE.as_fitted.items()}).shot
    assert shot.volume_cc == round(table.volume_cc.item(), 3) and shot.duration_ms == round(table.ends_ms.item(), 1)
    for name in ("delay_ms", "lean_sag_percent", "rich_sag_percent", "smoke_ms"):
        assert getattr(shot, name) == round(getattr(table, name).item(), 1)
    assert (shot.felt, shot.sureness) == ("pulls cleanly", None), "how sure is said where something is believed"
    (nothing,) = shots_of(CASE, chosen(CASE, "front.pump=pump-large"), prior_of(CASE))
    assert (nothing.delay_ms, nothing.volume_cc, nothing.sureness) == (None, None, 0.0), "a lobe of another lever"
    assert nothing.felt == "nothing is pumped: the lobe does not meet the pump's lever"


def two_circuits_right_for_some() -> Case:
    """A car of which each circuit is right for some engines."""
    front = building.TRUCK["fitted"]["front"]
    fitted = {"front": front, "rear": front | {"nozzle": "straight-0.90", "lobe": "lobe-low"}}
    car = building.vehicle({**building.TRUCK, "fitted": fitted}, manifold={"rear_pad_clearance_mm": 16})
    lobes = [building.lobe("lobe-mid", 1.2), building.lobe("lobe-low", 2.6)]
    return building.easy_case(car, lobes=lobes, rear_main_delivers_share=0.1)


@pytest.mark.parametrize("name", ["one", "two"])
def test_how_sure_a_choice_is_is_the_belief_that_every_circuit_of_it_covers(name: str) -> None:
    """Added up engine by engine; both circuits of a car have to be right in the same one."""
    case = CASE if name == "one" else two_circuits_right_for_some()
    belief = prior_of(case)
    listed = {slot: (option,) for slot, option in case.as_fitted.items()}
    found = [case.columns(circuit, listed, with_regions=True).shot.regions for circuit in case.circuit_names]
    covers = [regions.covers.ravel() for regions in found if regions is not None]
    assert len(covers) == len(case.circuit_names)
    together = sum(
        float(mass) for mass, *inside in zip(belief.masses, *covers, strict=True) if all(inside)
    )  # fmt: skip
    assert sureness_of(case, case.as_fitted, belief) == pytest.approx(together)
    shots = shots_of(case, case.as_fitted, belief)
    for shot, inside in zip(shots, covers, strict=True):
        sure = shot.sureness
        assert sure == pytest.approx(float(belief.masses[inside].sum()), abs=6e-5)
        assert sure is not None and 0.0 < sure < 1.0 and sure >= round(together, 4)
    assert combination_of(case, case.as_fitted, "x", believed=belief).shots == shots
    assert combination_of(case, case.as_fitted, "x").shots[0].sureness is None


@pytest.mark.parametrize("words", [("front.lobe=lobe-low@0",), ("front.nozzle=straight-0.90",), ()])
def test_jobs_by_hand_go_with_it(words: tuple[str, ...]) -> None:
    said = " ".join(combined(CASE, *words).aftercare)
    assert ("snaps shut" in said) is bool(words and "lobe" in words[0])
    assert ("leaks" in said) is bool(words and "nozzle" in words[0])
