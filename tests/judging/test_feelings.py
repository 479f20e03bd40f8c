"""What is felt, in words: of a symptom, what it forbids, and of what the model works out."""

from typing import Any

import building
import numpy as np
import pytest

from configurator.car.fitted import FittedNozzle
from configurator.errors import BadInput
from configurator.judging.case import Case
from configurator.judging.delivery import delivery_of
from configurator.judging.feelings import SYMPTOMS, felt_words, read_symptom, ruled_out
from configurator.judging.findings import findings
from configurator.slots.columns import JudgedShots
from configurator.slots.slot import SLOTS, Slot

CASE = building.easy_case()


def test_a_word_is_read_or_refused_with_the_words_there_are() -> None:
    assert read_symptom(None) is None
    assert read_symptom("dull") is SYMPTOMS["dull"]
    with pytest.raises(BadInput) as caught:
        read_symptom("stumbel")
    text = str(caught.value)
    assert "is no symptom" in text and "did you mean stumble?" in text
    assert all(f"{symptom.word} ({symptom.says})" in text for symptom in SYMPTOMS.values())


def test_what_a_symptom_complains_of_goes_with_its_side() -> None:
    """Want of fuel is lean, at once or later; a clean pull complains of nothing; the shares of one are none over 1."""
    for word, symptom in SYMPTOMS.items():
        assert symptom.word == word and symptom.says
        if symptom.side > 0:
            assert set(symptom.tells) & {"hesitates", "flat"}
        elif symptom.side < 0:
            assert set(symptom.tells) == {"rich"}
        else:
            assert word == "clean" and not symptom.tells
        assert all(0.0 < share <= 1.0 for share in symptom.tells.values())
        assert (len(symptom.tells) > 1) is (word == "dull"), "only what is dull may be anything"
        assert bool(symptom.hint) is (word != "clean")


# --- what a feeling forbids -------------------------------------------------------------------------------------------


def sizes_left(case: Case, word: str) -> dict[Slot, set[float]]:
    left = {}
    for wish in ruled_out(case, SYMPTOMS[word]):
        assert wish.felt
        options = [case.options[wish.slot][place] for place in wish.allowed]
        left[wish.slot] = {option.read(FittedNozzle).diameter_mm for option in options}
    return left


def test_dull_is_a_little_lean_more_often_than_rich() -> None:
    """Assumed, as docs/belief.md has it."""
    assert SYMPTOMS["dull"].tells == {"hesitates": 0.4, "flat": 0.4, "rich": 0.25}


def all_sizes(case: Case, slot: Slot) -> set[float]:
    return {option.read(FittedNozzle).diameter_mm for option in case.options[slot]}


@pytest.mark.parametrize("fitted_mm", [0.7, 0.9, 1.2])
@pytest.mark.parametrize("circuits", [1, 2])
def test_want_of_fuel_asks_for_no_smaller_nozzle_and_too_much_for_no_larger(fitted_mm: float, circuits: int) -> None:
    make = building.vehicle if circuits == 1 else building.two_circuits
    case = building.case(make(front={"nozzle": f"straight-{fitted_mm:.2f}"}))
    slots = [SLOTS["front.nozzle"], SLOTS["rear.nozzle"]][:circuits]
    now_mm = {slot: case.as_fitted[slot].read(FittedNozzle).diameter_mm for slot in slots}
    assert now_mm[slots[0]] == fitted_mm
    for word in ("stumble", "popback"):
        expected = {slot: {mm for mm in all_sizes(case, slot) if mm >= now_mm[slot]} for slot in slots}
        assert sizes_left(case, word) == expected
    expected = {slot: {mm for mm in all_sizes(case, slot) if mm <= now_mm[slot]} for slot in slots}
    assert sizes_left(case, "smoke") == expected


@pytest.mark.parametrize("word", ["flat", "dull", "clean"])
def test_a_shot_that_may_run_out_and_a_clean_pull_forbid_no_nozzle(word: str) -> None:
    """A smaller nozzle makes a shot last, so going flat speaks against none; what is dull may be that."""
    assert ruled_out(CASE, SYMPTOMS[word]) == []


def test_what_is_forbidden_says_why() -> None:
    (wish,) = ruled_out(CASE, SYMPTOMS["smoke"])
    assert wish.text == "a clean start that sags in black smoke asks for no larger front nozzle"
    (wish,) = ruled_out(CASE, SYMPTOMS["stumble"])
    assert wish.text == "a stumble that recovers asks for no smaller front nozzle"


# --- what the model works out, in a driver's words --------------------------------------------------------------------

LIMITS = building.limits()
"""50 ms, 6 %, 200 ms, one cycle."""


CLEAN = {"delay_ms": 20.0, "lean_delay_ms": 15.0, "lean_sag_percent": 2.0, "lean_sag_at_ms": 800.0,
         "rich_sag_percent": 1.0, "rich_sag_at_ms": 300.0, "smoke_ms": 60.0, "pop_back_cycles": 0.2, "volume_cc": 2.0,
         "ends_ms": 400.0, "peak_cc_s": 9.0, "sure_percent": 70.0}  # fmt: skip


def shot(**figures: float) -> JudgedShots:
    made: dict[str, Any] = {name: np.array(figure) for name, figure in (CLEAN | figures).items()}
    return JudgedShots(**made)


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ({}, "pulls cleanly"),
        ({"delay_ms": 50.0, "lean_sag_percent": 6.0, "rich_sag_percent": 6.0, "smoke_ms": 200.0,
          "pop_back_cycles": 1.0}, "pulls cleanly"),
        ({"delay_ms": 151.6, "lean_delay_ms": 76.0}, "hesitates 152 ms"),
        ({"delay_ms": 152.0, "lean_delay_ms": 75.0}, "bogs for 152 ms"),
        ({"pop_back_cycles": 1.2}, "may pop back"),
        ({"lean_sag_percent": 9.4, "lean_sag_at_ms": 720.0}, "pulls 9 % less after 0.7 s: the shot has run out"),
        ({"rich_sag_percent": 11.0, "rich_sag_at_ms": 330.0}, "pulls 11 % less after 0.3 s: too much fuel"),
        ({"smoke_ms": 340.0}, "black smoke for 0.3 s"),
        ({"delay_ms": 90.0, "lean_delay_ms": 90.0, "pop_back_cycles": 3.0, "lean_sag_percent": 8.0,
          "lean_sag_at_ms": 1000.0, "rich_sag_percent": 7.0, "rich_sag_at_ms": 250.0, "smoke_ms": 1234.0},
         "hesitates 90 ms; may pop back; pulls 8 % less after 1.0 s: the shot has run out; "
         "pulls 7 % less after 0.2 s: too much fuel; black smoke for 1.2 s"),
        ({"delay_ms": float("inf")}, "nothing is pumped: the lobe does not meet the pump's lever"),
    ],
)  # fmt: skip
def test_a_pull_in_a_drivers_words(figures: dict[str, float], said: str) -> None:
    assert felt_words(shot(**figures), LIMITS) == said


def test_what_goes_unfelt_is_the_workshops_own() -> None:
    felt = shot(delay_ms=70.0, lean_delay_ms=70.0, smoke_ms=300.0)
    assert felt_words(felt, building.limits(delay_most_ms=80.0, smoke_most_ms=400.0)) == "pulls cleanly"


@pytest.mark.parametrize("nozzle", ["straight-0.70", "straight-0.80", "straight-1.20"])
@pytest.mark.parametrize("lobe", ["lobe-low@0", "lobe-mid@0", "lobe-high@8"])
def test_words_say_something_exactly_where_a_rule_of_the_pull_is_broken(nozzle: str, lobe: str) -> None:
    code, phase = lobe.split("@")
    case = building.easy_case(building.vehicle(front={"nozzle": nozzle, "lobe": code, "phase_deg": int(phase)}))
    told = {f.rule for f in findings(case, case.as_fitted) if f.holds is False and f.rule in WORDS}
    said = delivery_of(case, "front", case.as_fitted).felt
    assert {rule for rule, words in WORDS.items() if any(word in said for word in words)} == told
    assert (said == "pulls cleanly") is (not told)


WORDS = {
    "pull-comes-at-once": ("hesitates", "bogs"), "pull-does-not-go-flat": ("the shot has run out",),
    "pull-does-not-nose-over": ("too much fuel",), "mixture-does-not-smoke": ("black smoke",),
    "mixture-does-not-pop-back": ("may pop back",),
}  # fmt: skip
