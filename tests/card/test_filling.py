"""A card's head, parts and sums: what each line says, by cars made in the test."""

import building
import pytest
from card_making import DAY, jobs_with

from configurator.advice.work import combination_of
from configurator.card import card_of
from configurator.judging.feelings import SYMPTOMS

CASE = building.case()


def test_what_comes_in_the_pump_s_box_is_free_and_said_to_be() -> None:
    """The larger pump of 80 comes with the free-flow screw; a nozzle of 10 and the gaskets are paid for."""
    card = jobs_with(CASE, "front.pump=pump-large", "front.feed_screw=screw-free", "front.nozzle=straight-1.00")
    rows = {row.slot: row for row in card.parts}
    assert (rows["pump"].price, rows["pump"].in_box) == (80.0, False)
    assert (rows["feed screw"].price, rows["feed screw"].in_box) == (0.0, True)
    assert (rows["nozzle"].price, rows["nozzle"].in_box, rows["nozzle"].reversible) == (10.0, False, True)
    assert rows["pump"].in_place_of.startswith("pump-small") and rows["pump"].labour_min == 55
    gaskets = sum(line.price for line in card.gaskets)
    assert card.totals.price == pytest.approx(90.0 + gaskets) and gaskets > 0
    assert card.totals.changes == 3 == len(card.parts)
    alone = jobs_with(CASE, "front.feed_screw=screw-free").parts[0]
    assert (alone.price, alone.in_box) == (9.0, False)


def test_what_is_drilled_has_no_way_back() -> None:
    row = jobs_with(CASE, "front.nozzle=redrill:0.90mm").parts[0]
    assert not row.reversible and not row.in_box and row.price == 0.0 and row.size == ""


@pytest.mark.parametrize(
    ("words", "fastenings"),
    [((), []), (("front.nozzle=straight-0.90",), ["feed screw"]), (("front.lobe=lobe-low@0",), ["lobe screw"]),
     (("front.nozzle=straight-0.90", "front.feed_screw=screw-free"), ["feed screw"]),
     (("front.pump=pump-large",), ["pump cover"]), (("spacer=spacer-6",), ["carburettor nuts"]),
     (("spacer=spacer-6", "pad_relief=1mm"), ["carburettor nuts", "manifold bolts"])],
    ids=lambda words: "+".join(words) or "none",
)  # fmt: skip
def test_each_fastening_is_to_be_tightened_once(words: tuple[str, ...], fastenings: list[str]) -> None:
    assert jobs_with(CASE, *words).torques == fastenings


def test_how_demanding_an_engine_may_be() -> None:
    """An end of the range that is looked at, 0.25 or 4, is no end."""
    (plain,) = jobs_with(CASE).covers
    low, high = (
        plain.removeprefix("Right for engines that ask from ")
        .removesuffix(" times what the model says")
        .split(" up to ")
    )
    assert 0.25 < float(low) < 1.0 < float(high) < 4.0
    never_lean = building.with_limits(CASE, hole_most_ms=1e6)
    assert jobs_with(never_lean).covers == [f"Right for engines that ask from {low} times what the model says"]
    never_rich = building.with_limits(CASE, flood_most_ms=1e6)
    assert jobs_with(never_rich).covers == [f"Right for engines that ask up to {high} times what the model says"]
    neither = building.with_limits(CASE, flood_most_ms=1e6, hole_most_ms=1e6)
    assert jobs_with(neither).covers == ["Right for engines that ask any number of times what the model says"]
    none = building.with_limits(CASE, rich_phi=0.02, lean_phi=0.01, flood_most_ms=0.0)
    assert jobs_with(none).covers == ["Right for no engine"]
    two = jobs_with(building.case(building.two_circuits())).covers
    assert [line.partition(":")[0] for line in two] == ["Front", "Rear"]


def test_what_speaks_against_the_parts_stands_apart_from_what_is_put_right_by_hand() -> None:
    car = building.vehicle(front={"slack_mm": 0.5})
    card = jobs_with(building.case(car), "front.nozzle=straight-1.20")
    assert not card.ok and any("feed screw cuts" in line for line in card.against)
    assert not any("slack" in line for line in card.against)
    fine = jobs_with(building.case(car), "front.nozzle=straight-0.90")
    assert fine.ok and fine.against == []


def test_the_head_says_what_it_is_for() -> None:
    choice = CASE.as_fitted
    judged = combination_of(CASE, choice, "What is fitted")
    card = card_of(CASE, choice, judged, DAY, SYMPTOMS["dull"], record="keep it")
    assert (card.vehicle, card.title, card.on, card.record) == ("test truck", "What is fitted", DAY, "keep it")
    assert card.felt == "dull off idle, without a clear hesitation" and card.demand_factor == 1.0
    assert card_of(CASE, choice, judged, DAY).felt == ""
    assert len(card.mind) == len(set(card.mind))
