"""Sizes that were felt too small or large enough, and the rules that hold a choice between them."""

from datetime import timedelta

import building
import numpy as np
import pytest
from building import NOZZLES, nozzle, two_circuits, vehicle
from runs import AT, run

from configurator.book.records import Felt, Trial
from configurator.judging.case import Case, margins
from configurator.judging.feelings import Moment, symptom_felt
from configurator.learning.as_known import known_by
from configurator.learning.felt_sizes import felt_sizes, goes_with, side_of_nozzle
from configurator.rules import RULES
from configurator.slots.slot import SLOTS

STOCK = building.catalog((*NOZZLES, nozzle(0.60), nozzle(0.75), nozzle(0.85)))
CASE = building.case(vehicle(front={"nozzle": "straight-0.70"}), STOCK)
NOZZLE, PUMP = SLOTS["front.nozzle"], SLOTS["front.pump"]


def felt(*said: tuple[float, str], moment: Moment | None = None, other_pump: bool = False) -> list[Trial]:
    """Runs of sizes, an hour apart."""
    runs = []
    for hour, (mm, word) in enumerate(said):
        sized = next(o for o in CASE.options[NOZZLE] if o.code == f"straight-{mm:.2f}" and o.work in ("fit", "none"))
        choice = {**CASE.as_fitted, NOZZLE: sized}
        if other_pump:
            choice[PUMP] = CASE.options[PUMP][1]
        made = run(word, CASE, at=AT + timedelta(hours=hour), choice=choice)
        runs.append(made.model_copy(update={"number": hour + 1, "felt": Felt(word=word, moment=moment)}))
    return runs


@pytest.mark.parametrize(
    ("word", "moment", "side"),
    [
        ("stumble", None, 1), ("stumble", "at-once", 1), ("stumble", "later", -1), ("stumble", "both", 1),
        ("popback", None, 1), ("flat", None, -1), ("smoke", None, -1), ("dull", None, 0), ("dull", "later", 0),
        ("clean", None, 0),
    ],
)  # fmt: skip
def test_what_a_feeling_asks_of_the_nozzle(word: str, moment: str | None, side: int) -> None:
    if (word, moment) == ("dull", "later"):
        side = -1  # a shot that is spent, or too much fuel: no larger nozzle either way
    assert side_of_nozzle(symptom_felt(word, moment)) == side


def test_the_largest_that_stumbled_and_the_smallest_that_smoked() -> None:
    bounds = felt_sizes(CASE, felt((0.60, "stumble"), (0.70, "stumble"), (0.85, "smoke"), (0.80, "smoke")))["front"]
    assert (bounds.lean_mm, bounds.rich_mm) == (0.70, 0.80)


def test_of_two_that_contradict_the_newer_holds() -> None:
    bounds = felt_sizes(CASE, felt((0.80, "stumble"), (0.70, "smoke")))["front"]
    assert (bounds.lean_mm, bounds.rich_mm) == (-np.inf, 0.70)
    bounds = felt_sizes(CASE, felt((0.70, "smoke"), (0.80, "stumble")))["front"]
    assert (bounds.lean_mm, bounds.rich_mm) == (0.80, np.inf)


def test_runs_beside_another_pump_do_not_count_nor_do_cold_ones() -> None:
    assert not np.isfinite(felt_sizes(CASE, felt((0.70, "stumble"), other_pump=True))["front"].lean_mm)
    (cold,) = felt((0.70, "stumble"))
    cold = cold.model_copy(update={"conditions": cold.conditions.model_copy(update={"warm": False})})
    assert not np.isfinite(felt_sizes(CASE, [cold])["front"].lean_mm)


def test_what_is_felt_now_is_the_newest() -> None:
    bounds = felt_sizes(CASE, felt((0.80, "stumble")), symptom_felt("smoke", None))["front"]
    assert (bounds.lean_mm, bounds.rich_mm) == (-np.inf, 0.70)


def test_of_two_circuits_a_stumble_at_once_is_the_front_one_s() -> None:
    case = building.case(two_circuits(), STOCK)
    sizes = felt_sizes(case, [run("stumble", case)])
    assert np.isfinite(sizes["front"].lean_mm) and not np.isfinite(sizes["rear"].lean_mm)
    assert not any(np.isfinite(one.rich_mm) for one in felt_sizes(case, [run("smoke", case)]).values())


def broken(case: Case, rule: str) -> set[tuple[str, bool]]:
    """Nozzles that a rule forbids, and whether another pump is beside it."""
    forbidden = np.argwhere(margins(RULES[rule], case.tabulated("front")) < 0)
    offered = (case.on_offer[NOZZLE], case.on_offer[PUMP])
    return {(offered[0][row[0]].label.split(",")[0], offered[1][row[2]].changed) for row in forbidden}


def test_the_last_feeling_holds_whatever_else_changes_an_earlier_one_beside_what_is_fitted() -> None:
    smaller, larger = "nozzle-is-no-smaller-than-was-too-small", "nozzle-is-no-larger-than-was-large-enough"
    case = known_by(CASE, felt((0.70, "stumble"))).choosing()
    assert broken(case, smaller) == {("straight-0.60", False), ("straight-0.60", True)}
    assert broken(case, larger) == set()
    case = known_by(CASE, felt((0.80, "smoke"), (0.70, "dull"))).choosing()
    assert broken(case, smaller) == set()
    assert {changed for _, changed in broken(case, larger)} == {False}
    assert {"straight-0.80", "straight-0.85"} <= {code for code, _ in broken(case, larger)}


def test_what_nobody_tells_from_a_size_that_failed_is_left_out_with_it() -> None:
    facts = felt_sizes(CASE, felt((0.60, "stumble"), (0.85, "smoke")))["front"].facts
    assert facts["lean_mm"] == pytest.approx(0.62) and facts["rich_mm"] == pytest.approx(0.83)
    facts = felt_sizes(CASE, felt((0.70, "stumble")))["front"].facts
    assert facts["lean_mm"] == 0.70, "the fitted one may stay"
    facts = felt_sizes(CASE, felt((0.70, "stumble"), (0.70, "stumble")))["front"].facts
    assert facts["lean_mm"] == pytest.approx(0.72), "not if it was felt again"
    facts = felt_sizes(CASE, felt((0.70, "stumble"), (0.70, "clean"), (0.70, "stumble")))["front"].facts
    assert facts["lean_mm"] == 0.70


@pytest.mark.parametrize(("word", "moment"), [("flat", None), ("stumble", "later"), ("smoke", None)])
def test_a_shot_that_ran_out_is_not_cured_by_less_volume_nor_smoke_by_more(word: str, moment: Moment | None) -> None:
    known = known_by(CASE, felt((0.70, word), moment=moment))
    bounds, case = known.sizes["front"], known.choosing()
    listed = {slot: (option,) for slot, option in CASE.as_fitted.items()}
    volume_cc = case.columns("front", listed).shot.volume_cc.item()
    if word == "smoke":
        assert bounds.most_cc == pytest.approx(1.02 * volume_cc) and not np.isfinite(bounds.least_cc)
    else:
        assert bounds.least_cc == pytest.approx(0.98 * volume_cc) and not np.isfinite(bounds.most_cc)
    rule = RULES["shot-is-no-more-than-smoked" if word == "smoke" else "shot-is-no-less-than-was-too-little"]
    table = case.tabulated("front")
    beyond = table.shot.volume_cc > bounds.most_cc if word == "smoke" else table.shot.volume_cc < bounds.least_cc
    assert np.array_equal(margins(rule, table) < 0, beyond) and beyond.any()


def test_a_clean_run_that_lies_outside_the_bounds_does_not_go_with_them() -> None:
    runs = felt((0.80, "clean"), (0.75, "smoke"))
    sizes = felt_sizes(CASE, runs)
    assert not goes_with(CASE, sizes, runs[0])
    assert goes_with(CASE, felt_sizes(CASE, felt((0.60, "stumble"), (0.85, "smoke"))), runs[0])


@pytest.mark.parametrize("word", ["stumble", "popback"])
def test_want_of_fuel_at_once_is_not_cured_by_a_shot_of_less_or_slower_fuel(word: str) -> None:
    """Whatever gives it: a lobe with less lift, a softer pump."""
    known = known_by(CASE, felt((0.70, word), moment="at-once"))
    bounds, case = known.sizes["front"], known.choosing()
    fitted = case.columns("front", {slot: (option,) for slot, option in CASE.as_fitted.items()}).shot
    assert bounds.least_cc == pytest.approx(0.85 * fitted.volume_cc.item())
    assert bounds.least_cc_s == pytest.approx(0.98 * fitted.peak_cc_s.item())
    shot = case.tabulated("front").shot
    for rule, less in (
        ("shot-is-no-less-than-was-too-little", shot.volume_cc < bounds.least_cc),
        ("shot-is-no-slower-than-was-too-little", shot.peak_cc_s < bounds.least_cc_s),
    ):
        assert np.array_equal(margins(RULES[rule], case.tabulated("front")) < 0, less) and less.any()
