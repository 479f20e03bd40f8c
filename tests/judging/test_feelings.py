"""What is felt moves the demand factor: where to, how far at most, and which circuit is taken for the cause.

Where a factor is put is checked by judging: the fitted combination and one with the nozzle moved, each at that factor.
"""

import building
import numpy as np
import pytest

from configurator.car.fitted import FittedNozzle
from configurator.errors import BadInput
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS, moved, read_symptom
from configurator.slots.options import Option
from configurator.slots.slot import SLOTS

SMALL = building.case(building.vehicle(front={"nozzle": "straight-0.70"}))
"""0.70 mm is too small to empty the pump in time, so a larger nozzle covers more."""
LARGE = building.case(building.vehicle(front={"nozzle": "straight-1.00"}))
STEP_MM = {"stumble": 0.08, "popback": 0.08, "dull": 0.04, "smoke": -0.08}


def spells(case: Case, factor: float, by_mm: float = 0.0, circuit: str = "front") -> tuple[float, float]:
    """Hole and flood [ms] at a factor, with the fitted nozzle bored by so much."""
    slot = SLOTS[f"{circuit}.nozzle"]
    figures = case.as_fitted[slot].figures
    assert isinstance(figures, FittedNozzle)
    bored = Option("", figures.resized(figures.diameter_mm + by_mm), "none")
    listed = {name: (option,) for name, option in case.as_fitted.items()} | {slot: (bored,)}
    shot = case.at(factor).columns(circuit, listed).shot
    return shot.hole_ms.item(), shot.flood_ms.item()


def test_a_word_is_read_or_refused_with_the_words_there_are() -> None:
    assert read_symptom(None) is None
    assert read_symptom("dull") is SYMPTOMS["dull"]
    with pytest.raises(BadInput) as caught:
        read_symptom("stumbel")
    text = str(caught.value)
    assert "is no symptom" in text and "did you mean stumble?" in text
    assert all(f"{symptom.word} ({symptom.says})" in text for symptom in SYMPTOMS.values())


@pytest.mark.parametrize("word", ["stumble", "popback"])
def test_a_lean_feeling_puts_the_demand_where_a_first_move_up_just_covers_it(word: str) -> None:
    aim = moved(SMALL, SYMPTOMS[word])
    assert aim.factor > SMALL.factor and aim.wish is None
    assert spells(SMALL, aim.factor)[0] > 50.0, "what is fitted does not cover it"
    assert spells(SMALL, aim.factor, 0.08)[0] <= 50.0 < spells(SMALL, aim.factor * 1.03, 0.08)[0]
    assert (
        f"demand factor 1.00 -> {aim.factor:.2f}, for a first move of 0.08 mm up from the front circuit's" in aim.says
    )


def test_a_faint_lean_feeling_asks_for_half_the_move() -> None:
    aim = moved(SMALL, SYMPTOMS["dull"])
    assert spells(SMALL, aim.factor)[0] > 50.0
    assert spells(SMALL, aim.factor, 0.04)[0] <= 50.0 < spells(SMALL, aim.factor * 1.03, 0.04)[0]
    assert "a first move of 0.04 mm up from the front circuit's 0.70 mm" in aim.says and "disagree" not in aim.says


def test_a_rich_feeling_asks_for_a_smaller_nozzle_that_just_covers_the_demand() -> None:
    lean_model = LARGE.at(2.0)
    aim = moved(lean_model, SYMPTOMS["smoke"])
    inside, outside = (spells(LARGE, aim.factor * by, -0.08)[0] for by in (1.0, 1.03))
    assert inside <= 50.0 < outside
    assert "for a first move of 0.08 mm down from the front circuit's 1.00 mm" in aim.says
    assert aim.wish is not None and str(aim.wish.slot) == "front.nozzle" and aim.wish.felt
    sizes = [option.figures.diameter_mm for option in LARGE.options[SLOTS["front.nozzle"]]]  # type: ignore[union-attr]
    assert {sizes[place] for place in aim.wish.allowed} == {size for size in sizes if size < 1.0} != set()


def test_a_rich_feeling_never_raises_the_demand_but_asks_for_a_smaller_nozzle_all_the_same() -> None:
    aim = moved(LARGE.at(0.6), SYMPTOMS["smoke"])
    assert aim.factor == 0.6 and aim.wish is not None
    assert aim.says == "a clean start that sags in black smoke: the demand factor 0.60 covers that already"


def test_a_lean_feeling_never_lowers_the_demand() -> None:
    aim = moved(SMALL.at(3.0), SYMPTOMS["stumble"])
    assert aim.factor == 3.0 and aim.says == "a stumble that recovers: the demand factor 3.00 covers that already"


def test_where_a_larger_nozzle_covers_no_more_the_demand_lies_just_beyond_what_is_fitted() -> None:
    """1.00 mm empties the pump as fast as it is of use: more orifice only shortens the shot."""
    aim = moved(LARGE, SYMPTOMS["stumble"])
    assert (
        "just beyond what is fitted: a nozzle larger than the front circuit's 1.00 mm alone covers no more" in aim.says
    )
    assert spells(LARGE, aim.factor)[0] > 50.0 >= spells(LARGE, aim.factor / 1.03)[0]


@pytest.mark.parametrize("factor", [0.5, 0.7])
def test_a_faint_feeling_moves_the_demand_by_no_more_than_three_tenths(factor: float) -> None:
    """The fitted 0.80 mm covers up to 1.28: farther than a faint feeling is believed from 0.5 or 0.7."""
    case = building.case().at(factor)
    aim = moved(case, SYMPTOMS["dull"])
    assert aim.factor == pytest.approx(1.3 * factor)
    assert "disagree" not in aim.says
    plain = moved(case, SYMPTOMS["stumble"])
    assert plain.factor > 1.28 and "Driver and model disagree widely" in plain.says


def test_a_demand_factor_stays_in_the_range_that_is_looked_at() -> None:
    """0.25 to 4. No hole whatever the demand: covered up to the end, and a lean feeling says no more than that; rich at
    any demand: the low end."""
    never_lean = building.with_limits(building.case(), hole_most_ms=1e6)
    assert moved(never_lean, SYMPTOMS["stumble"]).factor == 4.0
    assert moved(never_lean.at(3.9), SYMPTOMS["dull"]).factor == 4.0
    always_rich = building.with_limits(building.case(), rich_phi=0.02, lean_phi=0.01, flood_most_ms=0.0)
    assert moved(always_rich, SYMPTOMS["smoke"]).factor == 0.25


def test_a_clean_pull_keeps_the_demand_where_what_is_fitted_covers_it() -> None:
    aim = moved(SMALL, SYMPTOMS["clean"])
    assert aim.factor == 1.0 and aim.wish is None
    assert aim.says == "a clean pull: as the model says at a demand factor of 1.00"


@pytest.mark.parametrize("factor", [0.3, 3.0])
def test_a_clean_pull_puts_a_demand_outside_just_inside(factor: float) -> None:
    aim = moved(LARGE.at(factor), SYMPTOMS["clean"])
    hole, flood = spells(LARGE, aim.factor)
    assert hole <= 50.0 and flood <= 150.0
    beyond = aim.factor * (1.02 if factor > 1 else 1 / 1.02)
    hole, flood = spells(LARGE, beyond)
    assert hole > 50.0 if factor > 1 else flood > 150.0
    assert aim.says == f"a clean pull: demand factor {factor:.2f} -> {aim.factor:.2f}, what is fitted covers that"


def test_a_clean_pull_that_nothing_fitted_explains_changes_nothing() -> None:
    """0.80 mm floods wherever the mixture is never too lean."""
    case = building.with_limits(building.case(), rich_phi=0.02, lean_phi=0.01, flood_most_ms=0.0)
    aim = moved(case, SYMPTOMS["clean"])
    assert aim.factor == 1.0
    assert aim.says == "a clean pull: the model finds no demand factor that what is fitted would meet"


def test_of_two_circuits_the_one_nearer_its_edge_is_taken_for_the_cause() -> None:
    case = building.case(building.two_circuits())
    windows = {}
    for name in case.circuit_names:
        listed = {slot: (option,) for slot, option in case.as_fitted.items()}
        shot = case.columns(name, listed, with_windows=True).shot
        windows[name] = (shot.window_low.item(), shot.window_high.item())
    leaner = min(windows, key=lambda name: windows[name][1])
    richer = max(windows, key=lambda name: windows[name][0])
    assert leaner != richer, "else this says nothing"
    assert f"the {leaner} circuit's" in moved(case, SYMPTOMS["stumble"]).says
    wish = moved(case, SYMPTOMS["smoke"]).wish
    assert wish is not None and str(wish.slot) == f"{richer}.nozzle"
    clean = moved(case.at(4.0), SYMPTOMS["clean"]).factor
    low, high = max(w[0] for w in windows.values()), min(w[1] for w in windows.values())
    assert low <= clean <= high and clean == pytest.approx(high, rel=0.02)
    assert np.isclose(moved(case.at(0.3), SYMPTOMS["clean"]).factor, low, rtol=0.02)
