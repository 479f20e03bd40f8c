"""What the model sees of a free-flow screw and of the larger pump: beside the rule, and out of the car itself."""

from functools import cache

import building
import pytest
from random_cars import FRONT, case_with, random_car

from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.findings import check, findings
from configurator.judging.trade_rules import PUMP_RULE, SCREW_RULE, Gain, by_free_flow_screw, by_larger_pump
from configurator.slots.columns import JudgedShots
from configurator.slots.options import Choice, Option
from configurator.slots.slot import SLOTS

STOCK = load_catalog(shipped_catalog_dir())
ASKS_FOR_BOTH = FRONT | {"nozzle": "straight-1.03", "feed_screw": "screw-plain"}
SCREW, PUMP, LOBE = (SLOTS[f"front.{slot}"] for slot in ("feed_screw", "pump", "lobe"))
CARS = range(8)


@cache
def asking(seed: int) -> Case:
    """A random car with a nozzle that asks for a free-flow screw and the larger pump, and has neither."""
    return case_with(random_car(seed), STOCK, ASKS_FOR_BOTH)


def alone(case: Case, choice: Choice) -> JudgedShots:
    return case.columns("front", {slot: (option,) for slot, option in choice.items()}).shot.at((0,) * 6)


def coded(case: Case, slot: str, code: str) -> Option:
    return next(option for option in case.options[SLOTS[slot]] if option.code == code)


def felt(shot: JudgedShots) -> tuple[float, float]:
    """What is felt beyond what goes unfelt, in parts of that, and what is felt at all."""
    most, sag = STOCK.limits, max(float(shot.lean_sag_percent), float(shot.rich_sag_percent))
    parts = [float(shot.delay_ms) / most.delay_most_ms, sag / most.sag_most_percent,
             float(shot.smoke_ms) / most.smoke_most_ms]  # fmt: skip
    return sum(max(part - 1.0, 0.0) for part in parts), sum(parts)


@pytest.mark.parametrize("seed", CARS)
def test_a_free_flow_screw_brings_what_the_same_parts_bring_with_it(seed: int) -> None:
    case = asking(seed)
    found = by_free_flow_screw(case, case.as_fitted, "front")
    plain, free = (
        alone(case, choice)
        for choice in (case.as_fitted, {**case.as_fitted, SCREW: coded(case, "front.feed_screw", "screw-freeflow")})
    )
    assert found is not None and plain.peak_cc_s < free.peak_cc_s
    assert found.delay_ms == pytest.approx(float(plain.delay_ms - free.delay_ms), abs=1e-3)
    assert found.sag_percent == pytest.approx(float(plain.lean_sag_percent - free.lean_sag_percent), abs=1e-3)


@pytest.mark.parametrize("seed", [1, 4])
def test_the_larger_pump_is_weighed_with_the_best_lobe_of_either(seed: int) -> None:
    """Every lobe tried alone; of those that pull cleanly the least felt."""
    case = asking(seed)
    found = by_larger_pump(case, case.as_fitted, "front")
    best = []
    for pump in (case.as_fitted[PUMP], coded(case, "front.pump", "pump-4cc")):
        with_lobes = [alone(case, {**case.as_fitted, PUMP: pump, LOBE: lobe}) for lobe in case.on_offer[LOBE]]
        there = [shot for shot in with_lobes if shot.pumps]
        assert 2 < len(there) < len(with_lobes)
        best.append(min(there, key=felt))
    now, larger = best
    assert found is not None
    assert found.delay_ms == pytest.approx(float(now.delay_ms - larger.delay_ms), abs=1e-2)
    assert found.sag_percent == pytest.approx(float(now.lean_sag_percent - larger.lean_sag_percent), abs=1e-2)


def test_not_every_car_gains_alike() -> None:
    """The words come out of the car: they differ, and leave some cars as they are."""
    gains = [by_free_flow_screw(asking(seed), asking(seed).as_fitted, "front") for seed in CARS]
    assert len({gain.words for gain in gains if gain}) > 2
    assert {gain.is_one for gain in gains if gain} == {True, False}


@pytest.mark.parametrize(
    ("gain", "words"),
    [
        (Gain(12.4, 0.2), "12 ms less hesitation"),
        (Gain(12.4, 3.14), "12 ms less hesitation and 3.1 % less sag"),
        (Gain(-6.0, 0.6), "6 ms more hesitation and 0.6 % less sag: the rule is the trade's"),
        (Gain(12.4, -0.5), "12 ms less hesitation"),
        (Gain(-5.0, 0.6), "0.6 % less sag"),
        (Gain(5.0, 0.5), "no difference in this car: the rule is the trade's"),
        (Gain(-12.0, 0.0), "12 ms more hesitation: the rule is the trade's"),
        (Gain(0.0, -2.0), "2.0 % more sag: the rule is the trade's"),
    ],
)
def test_words(gain: Gain, words: str) -> None:
    assert gain.words == words


def test_both_stand_beside_their_rule_and_nowhere_else() -> None:
    case = asking(0)
    seen = {f.rule: f.seen for f in findings(case, case.as_fitted) if f.seen}
    screw, pump = (effect(case, case.as_fitted, "front") for effect in (by_free_flow_screw, by_larger_pump))
    assert screw is not None and pump is not None
    assert seen == {
        SCREW_RULE: f"by a free-flow screw the model sees {screw.words}",
        PUMP_RULE: f"by a larger pump the model sees {pump.words}",
    }
    kept = case_with(random_car(0), STOCK)
    assert not any(f.seen for f in check(kept, (), everything=True).findings)


def test_nothing_is_said_where_nothing_on_offer_would_do_it() -> None:
    car = building.vehicle(front={"nozzle": "straight-1.20"})
    stock = building.catalog(screws=(building.screw("screw-narrow", 3.0),), pumps=(building.pump(),),
                             lobes=(building.lobe("lobe-mid", 3.6),))  # fmt: skip
    case = building.case(car, stock)
    broken = {f.rule: f.seen for f in findings(case, case.as_fitted) if f.holds is False}
    assert broken[SCREW_RULE] == "" == broken[PUMP_RULE]


def test_nothing_is_said_of_a_screw_where_nothing_is_pumped() -> None:
    case = building.case(building.vehicle(front={"nozzle": "straight-1.20"}))
    lobe = coded(case, "front.lobe", "lobe-long")
    assert by_free_flow_screw(case, {**case.as_fitted, LOBE: lobe}, "front") is None
    assert by_larger_pump(case, {**case.as_fitted, LOBE: lobe}, "front") is not None, "each has a lobe of its own"


def test_the_least_of_several_larger_pumps_is_told() -> None:
    pumps = (
        building.pump(),
        building.larger_pump("pump-huge", capacity_cc=9.0, spring_preload_n=60.0),
        building.larger_pump(),
    )
    car = building.vehicle(front={"nozzle": "straight-1.20"})
    both, one = (building.case(car, building.catalog(pumps=some)) for some in (pumps, (pumps[0], pumps[2])))
    huge = building.case(car, building.catalog(pumps=pumps[:2]))
    told = [by_larger_pump(case, case.as_fitted, "front") for case in (both, one, huge)]
    assert told[0] == told[1] != told[2]
