"""What a rule is: margins to either side, what does not apply, what nobody measured, and what it is asked of."""

from typing import Any

import numpy as np
import pytest
from test_rules import columns

from configurator.rules import RULES

AT_MOST, AT_LEAST = RULES["pull-comes-at-once"], RULES["linkage-has-overtravel-clearance"]
"""At most 50 ms; at least 0.38 mm."""


def margin(rule: str, **figures: Any) -> float:
    return float(RULES[rule].margin(columns(**figures)))


def test_a_margin_is_how_far_inside_the_limit() -> None:
    assert margin(AT_MOST.id, shot={"delay_ms": 20.0}) == pytest.approx(30.0)
    assert margin(AT_MOST.id, shot={"delay_ms": 60.0, "lean_delay_ms": 60.0}) == pytest.approx(-10.0)
    assert margin(AT_LEAST.id, facts={"overtravel_mm": 0.5}) == pytest.approx(0.12)
    assert margin(AT_LEAST.id, facts={"overtravel_mm": 0.3}) == pytest.approx(-0.08)
    assert (AT_MOST.between(20.0, 50.0), AT_MOST.between(60.0, 50.0)) == (30.0, -10.0)
    assert AT_LEAST.between(3.0, 1.0) == 2.0


@pytest.mark.parametrize("over", [1e-12, -1e-12, 5e-10, -5e-10, 0.0])
def test_a_margin_of_next_to_nothing_is_none(over: float) -> None:
    """0.38 + 0.05 and 0.43 are not the same float; both are just enough."""
    assert (
        margin(AT_MOST.id, shot={"delay_ms": 50.0 + over, "lean_delay_ms": 50.0})
        == 0.0
        == AT_MOST.between(50.0 + over, 50.0)
    )


@pytest.mark.parametrize("over", [2e-9, -2e-9])
def test_a_margin_of_a_little_more_is_one(over: float) -> None:
    """Seven digits behind the point, of any unit, are beyond what anybody measures; two more are floats."""
    assert margin(AT_MOST.id, shot={"delay_ms": 50.0 + over, "lean_delay_ms": 50.0}) == pytest.approx(-over, rel=1e-3)
    assert AT_MOST.between(50.0 + over, 50.0) == pytest.approx(-over, rel=1e-3)


@pytest.mark.parametrize(
    ("delay_ms", "said"),
    [(93.4, "93 ms, 50 allowed"), (50.3, "50.3 ms, 50.0 allowed"), (50.02, "50.02 ms, 50.00 allowed")],
)
def test_what_is_wrong_is_never_the_figure_that_is_allowed(delay_ms: float, said: str) -> None:
    assert AT_MOST.told(delay_ms, 50.0) == f"too small: hesitates {said}"
    assert RULES["nozzle-style-suits-the-body"].told(1.0, 0.0) == RULES["nozzle-style-suits-the-body"].says


def test_an_endless_limit_does_not_apply_even_where_nothing_was_measured() -> None:
    facts = {"overtravel_mm": np.nan, "linkage_disturbed": True}
    assert margin(AT_LEAST.id, facts=facts) == np.inf
    assert np.isnan(margin(AT_LEAST.id, facts=facts | {"linkage_disturbed": False}))


SCOPES = {
    "circuit": "feed-screw-is-not-the-restriction lobe-is-made-for-the-lever phase-exists-on-the-lobe "
    "pump-clears-the-manifold-pad linkage-has-no-slack mixture-does-not-smoke nozzle-style-suits-the-body",
    "car": "spacer-fits-under-the-bonnet jets-are-never-redrilled first-checks-are-done "
    "rated-flow-is-not-implausibly-small",
    "job": "every-joint-opened-gets-its-gaskets",
}


def test_a_rule_is_asked_of_each_circuit_of_the_car_or_of_the_job() -> None:
    for scope, rules in SCOPES.items():
        assert {rule: RULES[rule].scope for rule in rules.split()} == dict.fromkeys(rules.split(), scope)


def test_choosing_parts_mends_what_reads_a_slot() -> None:
    by_hand = {rule.id for rule in RULES.values() if rule.is_choosable is False}
    assert by_hand == {
        "linkage-has-no-slack", "linkage-has-no-preload", "linkage-has-overtravel-clearance",
        "jets-are-never-redrilled", "first-checks-are-done", "every-joint-opened-gets-its-gaskets",
        "rated-flow-is-not-implausibly-small", "rated-flow-is-not-implausibly-large",
        "every-carburettor-gets-the-same", "main-jets-suit-the-altitude", "overall-ratio-has-the-gear-in-it",
        "mass-is-not-implausibly-small",
    }  # fmt: skip
    assert all(rule.is_choosable is True for rule in RULES.values() if rule.id not in by_hand)


def test_a_shot_stands_for_all_that_pumps_it() -> None:
    assert AT_MOST.circuit_slots() == ("nozzle", "feed_screw", "pump", "lobe")
    assert RULES["lobe-is-made-for-the-lever"].circuit_slots() == ("pump", "lobe")
    assert AT_LEAST.circuit_slots() == ()


@pytest.mark.parametrize(
    ("redrilled", "aimed", "holds"), [(0.0, 0.0, True), (0.0, 1.0, True), (1.0, 0.0, True), (1.0, 1.0, False)]
)
def test_an_aimed_nozzle_is_as_good_as_any_until_it_is_drilled(redrilled: float, aimed: float, holds: bool) -> None:
    found = margin("only-straight-nozzles-are-redrilled", nozzle={"redrilled": redrilled, "aimed": aimed})
    assert (found >= 0) is holds


@pytest.mark.parametrize(
    ("redrilled", "measured", "holds"), [(0.0, 0.0, True), (0.0, 1.0, True), (1.0, 1.0, True), (1.0, 0.0, False)]
)
def test_only_a_drilled_orifice_has_to_be_measured(redrilled: float, measured: float, holds: bool) -> None:
    found = margin("redrilled-orifice-is-measured", nozzle={"redrilled": redrilled, "measured": measured})
    assert (found >= 0) is holds


def test_a_clearance_that_is_hardly_possible_first_asks_how_it_was_measured() -> None:
    pad, asks = RULES["pump-clears-the-manifold-pad"], "; first make sure that the gauge stood between the pad and"
    assert asks in pad.told(-12.0, 1.5) and "docs/vehicle.md" in pad.told(-12.0, 1.5)
    assert asks in pad.told(-5.0, 1.5)
    assert asks not in pad.told(-3.0, 1.5) and asks not in pad.told(0.4, 1.5)
