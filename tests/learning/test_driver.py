"""How likely a driver is to answer so: against draws of the stated model, scipy, and words by hand."""

from typing import Any

import numpy as np
import pytest
import simulate_searches
from scipy import stats

from configurator.arrays import Array
from configurator.book.records import Felt
from configurator.errors import BadInput
from configurator.judging.feelings import SYMPTOMS
from configurator.learning.driver import (
    ANSWERS,
    CLEAR_UNTIL,
    FAINT_UNTIL,
    JUDGEMENT_SPREAD,
    MISJUDGED_SHARE,
    answer_chances,
    felt_weights,
    normal_share,
)
from configurator.physics.verdict import Complaints

RANDOM = np.random.default_rng(20260502)
EDGES: list[list[float]] = [[-1.1, -1.1, -1.1], [0, 0, 0], [3, -1, -1], [-1, 2, 10], [0.44, -1, 0.46]]
COMPLAINTS: Array = np.vstack([RANDOM.normal(-0.2, 0.7, (12, 3)), np.array(EDGES)])


def felt_of(complaints: Any) -> Complaints:
    """One combination in as many engines; how late a pull is at all plays no part."""
    hesitates, flat, rich = np.asarray(complaints, dtype=np.float32).T[:, None]
    return Complaints(hesitates, flat, rich, np.full_like(rich, 99.0))


def chances_of(complaints: Any, spread: float = JUDGEMENT_SPREAD) -> Any:
    """Chances of ANSWERS, one row a complaint."""
    return answer_chances(felt_of(complaints), spread)[:, 0].T


def test_the_figures_written_out_in_the_simulation_are_those_of_the_program() -> None:
    there = (simulate_searches.SPREAD, simulate_searches.MISJUDGED, simulate_searches.STRONGER)
    assert there == (JUDGEMENT_SPREAD, MISJUDGED_SHARE, (FAINT_UNTIL, CLEAR_UNTIL)) == (0.45, 0.05, (0.45, 1.2))
    assert ANSWERS == (
        "clean", "hesitates, faint", "hesitates, clear", "hesitates, strong", "flat, faint", "flat, clear",
        "flat, strong", "rich, faint", "rich, clear", "rich, strong",
    )  # fmt: skip


@pytest.mark.parametrize("spread", [0.45, 0.8])
def test_chances_are_those_of_drawn_judgements(spread: float) -> None:
    """Each complaint with an error of its own; all below 0 is clean, else the largest names word and strength."""
    draws = 40_000
    chances = chances_of(COMPLAINTS, spread)
    for complaint, row in zip(COMPLAINTS, chances, strict=True):
        perceived = complaint + spread * RANDOM.normal(size=(draws, 3))
        worst, most = perceived.argmax(axis=1), perceived.max(axis=1)
        answer = np.where(most <= 0, 0, 1 + 3 * worst + np.digitize(most, [0.45, 1.2]))
        share = np.bincount(answer, minlength=len(ANSWERS)) / draws
        assert np.abs(share - row).max() < 0.012 + 4 * 0.5 / np.sqrt(draws)


def test_the_simulated_driver_judges_by_the_same_chances() -> None:
    """Misjudged runs included; the simulation draws one run at a time, in code of its own."""
    complaint, draws = np.array([0.1, -0.3, 0.2, 0.0]), 20_000
    luck = np.hstack([RANDOM.normal(size=(draws, 3)), RANDOM.random((draws, 2))])
    said = [ANSWERS.index(simulate_searches.perceived(complaint, one)) for one in luck]
    expected = 0.95 * chances_of(complaint[None, :3])[0] + 0.005
    assert np.bincount(said, minlength=len(ANSWERS)) / draws == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("spread", [0.45, 0.8])
def test_chances_are_probabilities(spread: float) -> None:
    many = RANDOM.uniform(-1.5, 4.0, (4000, 3))
    chances = chances_of(many, spread)
    assert (chances >= 0).all() and np.abs(chances.sum(axis=1) - 1).max() < 0.03


def test_a_clean_pull_is_the_product_of_scipys_normals() -> None:
    expected = stats.norm.cdf(-COMPLAINTS / 0.45).prod(axis=1)
    assert chances_of(COMPLAINTS)[:, 0] == pytest.approx(expected, abs=2e-5)
    z = np.linspace(-8, 8, 4001)
    assert normal_share(z) == pytest.approx(stats.norm.cdf(z), abs=2e-6)


def test_what_is_just_allowed_is_felt_by_every_second_driver_and_the_side_that_is_worse_is_named() -> None:
    just, lean, flat, rich = chances_of([[0, -9, -9], [2, 0, 0], [0, 2, 0], [0, 0, 2]])
    assert just[0] == pytest.approx(0.5, abs=1e-4) and just[1:4].sum() == pytest.approx(0.5, abs=1e-3)
    assert min(lean[1:4].sum(), flat[4:7].sum(), rich[7:].sum()) > 0.99


@pytest.mark.parametrize("kind", range(3))
def test_more_of_a_complaint_is_felt_more_and_more_strongly(kind: int) -> None:
    complaints = np.full((60, 3), -0.5)
    complaints[:, kind] = np.linspace(-1.1, 5.0, 60)
    chances = chances_of(complaints)
    own = chances[:, 1 + 3 * kind : 4 + 3 * kind]
    assert (np.diff(own.sum(axis=1)) > -2e-3).all() and (np.diff(own[:, 2]) > -2e-3).all()
    assert (np.diff(chances[:, 0]) <= 1e-12).all() and own[-1, 2] > 0.99 and own[0].sum() < 0.15


@pytest.mark.parametrize(
    ("word", "strength", "weights"),
    [
        ("stumble", "strong", {"hesitates, strong": 1.0, "flat, strong": 0.5}),
        ("stumble", "faint", {"clean": 0.5, "hesitates, faint": 0.5, "flat, faint": 0.25}),
        ("popback", "clear", {"hesitates, clear": 1.0}),
        ("flat", "clear", {"flat, clear": 1.0}), ("flat", "faint", {"clean": 0.5, "flat, faint": 0.5}),
        ("dull", "faint", {"clean": 0.5, "hesitates, faint": 0.2, "flat, faint": 0.2, "rich, faint": 0.125}),
        ("dull", "clear", {"clean": 0.5, "hesitates, faint": 0.2, "flat, faint": 0.2, "rich, faint": 0.125}),
        ("dull", "strong", {"hesitates, clear": 0.4, "flat, clear": 0.4, "rich, clear": 0.25}),
        ("clean", "strong", {"clean": 1.0}), ("clean", "faint", {"clean": 1.0}),
        ("smoke", "faint", {"clean": 0.5, "rich, faint": 0.5}), ("smoke", "strong", {"rich, strong": 1.0}),
    ],
)  # fmt: skip
def test_words_and_strengths_as_answers(word: str, strength: str, weights: dict[str, float]) -> None:
    found = felt_weights(Felt.model_validate({"word": word, "strength": strength}))
    assert dict(zip(ANSWERS, found.tolist(), strict=True)) == pytest.approx(dict.fromkeys(ANSWERS, 0.0) | weights)


@pytest.mark.parametrize(
    ("moment", "complaints"), [("at-once", ["hesitates"]), ("later", ["flat"]), ("both", ["hesitates", "flat"])]
)
def test_a_moment_tells_which_complaint_a_stumble_is(moment: str, complaints: list[str]) -> None:
    found = felt_weights(Felt.model_validate({"word": "stumble", "strength": "clear", "moment": moment}))
    assert {answer for answer, weight in zip(ANSWERS, found, strict=True) if weight} == {
        f"{complaint}, clear" for complaint in complaints
    }


def test_every_symptom_but_a_clean_pull_complains_of_something() -> None:
    for word, symptom in SYMPTOMS.items():
        assert bool(felt_weights(Felt(word=word, strength="strong"))[1:].any()) is (word != "clean")
        assert (word == "clean") is (symptom.side == 0) is (not symptom.tells)


def test_an_unknown_word_is_bad_input() -> None:
    with pytest.raises(BadInput, match=r"hiccup: is no symptom; expected one of stumble, popback, flat"):
        felt_weights(Felt(word="hiccup"))
