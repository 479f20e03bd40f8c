"""Drawings of the page: each thing stands where its figure says, and is told in words beside."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from html import escape
from xml.etree import ElementTree

import pytest

from configurator.advice.ladder import Ladder, RunMark
from configurator.judging.feelings import SYMPTOMS
from configurator.units.showing import SHOWN
from configurator.views.book import day_words
from configurator.views.felt_signs import FELT_SIGNS
from configurator.views.ladder_drawing import ladder_drawing, says_of_ladder

NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)
PARTS = ("screw-plain", "pump-3cc", "lobe-fell at 6 deg")
OTHER = ("screw-plain", "pump-3cc", "lobe-cairn at 0 deg")


def mark(number: int, mm: float, word: str | None = "stumble", column: int = 0, faint: bool = False) -> RunMark:
    return RunMark(number, datetime(2026, 5, number, 10, tzinfo=UTC), mm, column, word, faint)


LADDER = Ladder(
    "front", (PARTS, OTHER), (0.65, 0.70, 0.75, 0.80, 0.85), (mark(1, 0.65), mark(2, 0.85, "smoke", faint=True)),
    0.65, (0.70, 0.75), 0.75, 0.80, 0,
)  # fmt: skip


def drawn(ladder: Ladder) -> ElementTree.Element:
    return ElementTree.fromstring(ladder_drawing(ladder, NOW))


def heights(svg: ElementTree.Element) -> dict[str, float]:
    """Where each size is written."""
    return {
        text.text or "": float(text.get("y", 0)) - 5 for text in svg.iter("text") if (text.text or "").endswith(" mm")
    }


def test_larger_sizes_stand_higher_and_everything_at_its_rung() -> None:
    svg = drawn(LADDER)
    at = heights(svg)
    assert list(at) == ["0.85 mm", "0.80 mm", "0.75 mm", "0.70 mm", "0.65 mm"]
    assert sorted(at.values()) == list(at.values())
    rings = {ring.get("class"): float(ring.get("cy", 0)) for ring in svg.iter("circle")}
    assert rings == {"ring": at["0.75 mm"], "ring end": at["0.80 mm"]}
    (likely,) = svg.iter("rect")
    top, high = float(likely.get("y", 0)), float(likely.get("height", 0))
    inside = [size for size, y in at.items() if top < y < top + high]
    assert inside == ["0.75 mm", "0.70 mm"]


def test_a_faint_run_is_hollow_and_each_feeling_has_a_shape_of_its_own() -> None:
    shapes = {}
    for word in FELT_SIGNS:
        svg = drawn(replace(LADDER, marks=(mark(1, 0.65, word),)))
        (found,) = [one for one in svg.iter() if (one.get("class") or "").startswith("mark")]
        points = re.findall(r"(-?[\d.]+),(-?[\d.]+)", found.get("d", ""))
        shapes[word] = (
            found.tag,
            found.get("class"),
            tuple((float(x) - float(points[0][0]), float(y)) for x, y in points),
        )
    assert len(set(shapes.values())) == len(FELT_SIGNS) - 1, "a pop back is drawn as the hesitation it is"
    kinds = [kind for one in drawn(LADDER).iter() if (kind := one.get("class") or "").startswith("mark")]
    assert sorted(kinds) == ["mark lean", "mark rich faint"]


def test_a_button_for_every_feeling_there_is() -> None:
    assert set(FELT_SIGNS) == set(SYMPTOMS)
    for word, sign in FELT_SIGNS.items():
        side = {1: "lean", 0: "right", -1: "rich"}[SYMPTOMS[word].side]
        assert sign.side == side or word == "dull"


def test_it_says_in_words_what_it_shows() -> None:
    says = says_of_ladder(LADDER)
    assert says.startswith("2 runs on the ladder of the front nozzle. Likely right: 0.70 to 0.75 mm. Next: 0.75 mm.")
    assert "Run 2, 0.85 mm: sagged in smoke." in says and escape(says) in ladder_drawing(LADDER, NOW)


def test_sizes_are_shown_in_the_units_of_the_workshop() -> None:
    chosen = SHOWN.set("inch")
    try:
        assert "29.5 thou (0.75 mm)" in ladder_drawing(LADDER, NOW)
    finally:
        SHOWN.reset(chosen)


def test_only_what_differs_is_written_over_a_column() -> None:
    texts = [text.text for text in drawn(LADDER).iter("text")]
    assert {"fell", "6 deg", "cairn", "0 deg"} <= set(texts) and "pump-3cc" not in texts
    alone = replace(LADDER, columns=(PARTS,))
    assert not [text for text in drawn(alone).iter("text") if "fell" in (text.text or "")]


@pytest.mark.parametrize(
    ("at", "says"),
    [("2026-05-04T09:05", "today 09:05"), ("2026-05-03T09:05", "3 May"), ("2025-12-31T09:05", "31 Dec 2025")],
)
def test_a_day_is_told_as_one_says_it(at: str, says: str) -> None:
    there = datetime.fromisoformat(at).astimezone()
    assert day_words(there, NOW) == says
