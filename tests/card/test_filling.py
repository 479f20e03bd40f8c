"""A card's head, parts and sums: what each line says, by cars made in the test."""

import building
import pytest
from card_making import DAY, jobs_with

from configurator.advice.work import combination_of, shots_of
from configurator.card import card_of
from configurator.judging.feelings import SYMPTOMS
from configurator.learning.as_known import known_by
from configurator.learning.belief import felt_with

CASE = building.case()
KNOWN = known_by(CASE, [])


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


def test_what_to_expect_is_said_with_how_sure_it_is() -> None:
    """Of each circuit, in a driver's words; the share is of what is believed, before and after a run."""
    case = KNOWN.case
    (said,) = jobs_with(CASE).felt_then
    (shot,) = shots_of(case, case.as_fitted)
    covers = felt_with(case, "front", [case.as_fitted]).covers[0]
    share = 100 * covers @ KNOWN.believed.masses
    assert said == f"{shot.felt.capitalize()}; right for {share:.0f} % of engines like this one"
    felt = known_by(CASE, [], SYMPTOMS["smoke"])
    judged = combination_of(felt.case, felt.case.as_fitted, "As fitted", (), felt.believed)
    (then,) = card_of(felt, felt.case.as_fitted, judged, DAY).felt_then
    assert then.endswith(f"right for {100 * covers @ felt.believed.masses:.0f} % of the engines that fit what is felt")
    two = jobs_with(building.case(building.two_circuits())).felt_then
    assert [line.partition(":")[0] for line in two] == ["Front", "Rear"]


def test_what_speaks_against_the_parts_stands_apart_from_what_is_put_right_by_hand() -> None:
    made = building.case(building.vehicle(front={"slack_mm": 0.5}))
    case = building.with_limits(made, delay_most_ms=500.0, sag_most_percent=50.0, smoke_most_ms=2000.0)
    card = jobs_with(case, "front.nozzle=straight-1.20")
    assert not card.ok and any("feed screw is too narrow" in line for line in card.uncured)
    assert not any("slack" in line for line in [*card.against, *card.uncured])
    fine = jobs_with(case, "front.nozzle=straight-0.90")
    assert fine.ok and fine.against == fine.uncured == []


def test_the_head_says_what_it_is_for() -> None:
    choice = KNOWN.case.as_fitted
    judged = combination_of(KNOWN.case, choice, "What is fitted")
    card = card_of(KNOWN, choice, judged, DAY, SYMPTOMS["dull"], record="keep it")
    assert (card.vehicle, card.title, card.on, card.record) == ("test truck", "What is fitted", DAY, "keep it")
    assert card.felt == "dull off idle, without a clear hesitation"
    assert card_of(KNOWN, choice, judged, DAY).felt == ""
    assert len(card.mind) == len(set(card.mind))
