"""Rules on what is felt, at figures that no driver would give."""

import numpy as np
import pytest
from test_rules import columns

from configurator.judging.right import DEMAND, OF_FELT_SIZES
from configurator.rules import RULES


@pytest.mark.parametrize(("rule", "column"), [("pull-does-not-go-flat", "lean_sag_percent"),
                                              ("pull-does-not-nose-over", "rich_sag_percent")])  # fmt: skip
@pytest.mark.parametrize(("found", "told"), [(161.0, 100.0), (40.0, 40.0), (np.inf, np.inf)])
def test_a_pull_falls_by_all_of_it_at_most(rule: str, column: str, found: float, told: float) -> None:
    """To fall by 161 % says nothing to a driver; a lobe that meets no lever has no figure at all."""
    assert RULES[rule].readings(columns(shot={column: found}))[0] == told


def test_of_what_is_felt_only_a_pop_back_is_advice() -> None:
    about_shots = {rule.id: rule.severity for rule in RULES.values() if "shot" in rule.slots}
    assert about_shots.pop("mixture-does-not-pop-back") == "warning"
    of_nozzles = {rule for rule in OF_FELT_SIZES if rule.startswith("nozzle-")}
    assert set(about_shots) == {*DEMAND} - of_nozzles
    assert set(about_shots.values()) == {"conflict"}


def test_a_late_pull_is_told_as_too_small_or_as_too_large_and_never_as_both() -> None:
    for lean_ms, rule in ((90.0, "pull-comes-at-once"), (20.0, "pull-is-not-drowned")):
        late = columns(shot={"delay_ms": 90.0, "lean_delay_ms": lean_ms})
        assert [one for one in DEMAND if RULES[one].margin(late) < 0] == [rule]


def test_what_is_felt_is_of_the_fuel_and_what_must_go_together_is_of_the_fit() -> None:
    """Only what does not fit is impossible, so nothing that a driver feels may be told as that."""
    assert {RULES[rule].kind for rule in DEMAND} == {"cure"}
    hard = {rule.id for rule in RULES.values() if rule.severity == "conflict" and rule.kind == "fit"}
    assert hard == {
        "lobe-is-made-for-the-lever", "lobe-travel-stays-inside-the-safe-stroke", "phase-exists-on-the-lobe",
        "pump-clears-the-manifold-pad", "spacer-fits-under-the-bonnet", "nozzle-style-suits-the-body",
        "linkage-has-no-slack", "linkage-has-no-preload", "linkage-has-overtravel-clearance",
    }  # fmt: skip
