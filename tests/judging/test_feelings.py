"""What is felt, in words: of a symptom, what it forbids, and of what the model works out."""

from typing import Any

import building
import numpy as np
import pytest

from configurator.book.records import Felt
from configurator.errors import BadInput
from configurator.judging.delivery import delivery_of
from configurator.judging.feelings import ALSO_SAID, SYMPTOMS, felt_words, read_symptom, symptom_felt
from configurator.judging.findings import findings
from configurator.slots.columns import JudgedShots

CASE = building.easy_case()


def test_a_word_is_read_or_refused_with_the_words_there_are() -> None:
    assert read_symptom(None) is None
    assert read_symptom("dull") is SYMPTOMS["dull"]
    with pytest.raises(BadInput) as caught:
        read_symptom("stumbel")
    text = str(caught.value)
    assert "is no symptom" in text and "did you mean stumble?" in text
    assert all(f"{symptom.word} ({symptom.says})" in text for symptom in SYMPTOMS.values())


@pytest.mark.parametrize(("word", "said"), [(word, said) for word, others in ALSO_SAID.items() for said in others])
def test_what_drivers_call_it_besides_is_read_and_kept_under_one_word(word: str, said: str) -> None:
    assert read_symptom(said) is SYMPTOMS[word]
    assert read_symptom(said.upper().replace("-", "  ")) is SYMPTOMS[word]
    assert Felt(word=said).word == word
    assert said not in SYMPTOMS and sum(said in others for others in ALSO_SAID.values()) == 1


def test_a_bog_is_asked_back() -> None:
    with pytest.raises(BadInput, match=r"a bog with black smoke is smoke, one without is stumble"):
        read_symptom("bogs")


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
        assert (len(symptom.tells) > 1) is (word in ("dull", "stumble")), "what is dull may be anything"
        assert symptom.leaves_open_when is (word == "stumble") and symptom.moment is None
        assert bool(symptom.hint) is (word != "clean")


def test_dull_is_a_little_lean_more_often_than_rich() -> None:
    """Assumed, as docs/belief.md has it."""
    assert SYMPTOMS["dull"].tells == {"hesitates": 0.4, "flat": 0.4, "rich": 0.25}


@pytest.mark.parametrize(
    ("word", "moment", "tells"),
    [
        ("stumble", "at-once", {"hesitates": 1.0}), ("stumble", "later", {"flat": 1.0}),
        ("stumble", "both", {"hesitates": 1.0, "flat": 1.0}), ("popback", "later", {"flat": 1.0}),
        ("dull", "at-once", {"hesitates": 0.4, "rich": 0.25}), ("dull", "later", {"flat": 0.4, "rich": 0.25}),
        ("flat", "later", {"flat": 1.0}), ("smoke", "later", {"rich": 1.0}),
    ],
)  # fmt: skip
def test_the_moment_tells_want_of_fuel_at_once_from_a_shot_that_is_spent(
    word: str, moment: str, tells: dict[str, float]
) -> None:
    symptom = symptom_felt(word, moment)
    assert (symptom.word, symptom.moment, dict(symptom.tells)) == (word, moment, tells)
    assert not symptom.leaves_open_when and symptom.side == SYMPTOMS[word].side
    assert symptom.says == SYMPTOMS[word].says or symptom.says.startswith(f"{SYMPTOMS[word].says}, ")
    if word in ("stumble", "popback"):
        assert ("has run out of shot" in symptom.hint) is (moment == "later")
    assert (word == "popback") is ("face away" in symptom.hint)


@pytest.mark.parametrize(
    ("word", "moment", "said"),
    [
        ("flat", "at-once", "moment at-once: does not go with flat (a clean start that goes flat a moment later); "
         "expected later"),
        ("clean", "later", "moment later: does not go with clean (a clean pull); expected nothing"),
        ("smoke", "both", "moment both: does not go with smoke (a clean start that sags in black smoke); "
         "expected later"),
        ("dull", "latter", "moment latter: is no moment; expected one of at-once, later, both; did you mean later?"),
        (None, "later", "moment later: says when, but not what was felt; expected what was felt as well"),
    ],
)  # fmt: skip
def test_a_moment_that_does_not_go_with_the_word_is_refused(word: str | None, moment: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_symptom(word, moment)
    assert str(caught.value) == said


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
    "pull-comes-at-once": ("hesitates",), "pull-is-not-drowned": ("bogs",),
    "pull-does-not-go-flat": ("the shot has run out",),
    "pull-does-not-nose-over": ("too much fuel",), "mixture-does-not-smoke": ("black smoke",),
    "mixture-does-not-pop-back": ("may pop back",),
}  # fmt: skip
