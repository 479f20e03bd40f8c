"""Plain words for slots, parts and sizes."""

import building
import pytest

from configurator.card.words import length, of_circuit, part_words, size_words, slot_words
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import choose, read_wishes

ONE, TWO = building.case(), building.case(building.two_circuits())


def test_a_circuit_is_named_only_where_there_are_two() -> None:
    assert (slot_words(ONE, SLOTS["front.feed_screw"]), slot_words(TWO, SLOTS["front.feed_screw"])) == (
        "feed screw",
        "front feed screw",
    )
    assert (slot_words(ONE, SLOTS["spacer"]), slot_words(TWO, SLOTS["pad_relief"])) == ("spacer", "manifold pad")
    assert (of_circuit(ONE, "front", "pump"), of_circuit(TWO, "rear", "pump"), of_circuit(TWO, None, "bonnet")) == (
        "pump", "rear pump", "bonnet",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("mm", "said"),
    [(25.4, "25.4 mm (1.000 in)"), (0.126, "0.13 mm (0.005 in)"), (16.0, "16 mm (0.630 in)"), (0.0, "0 mm (0.000 in)")],
)
def test_a_length_stands_in_both_units(mm: float, said: str) -> None:
    assert length(mm) == said


@pytest.mark.parametrize(
    ("word", "part", "size"),
    [
        ("front.nozzle=straight-0.90", "straight-0.90", "0.90 mm (35.4 thou)"),
        ("front.feed_screw=screw-free", "screw-free", "passage 6.5 mm2, free flow"),
        ("front.pump=pump-large", "pump-large", "5 cc a stroke"),
        ("front.lobe=lobe-low@0", "lobe-low at 0 deg", "lift 2.6 mm (0.102 in)"),
        ("front.lobe=lobe-mid@8", "lobe-mid at 8 deg", "lift 3.6 mm (0.142 in)"),
        ("spacer=spacer-6", "spacer-6", "6 mm (0.236 in)"),
    ],
)
def test_a_part_goes_by_its_code_and_its_size(word: str, part: str, size: str) -> None:
    slot = SLOTS[word.partition("=")[0]]
    option = choose(ONE.options, read_wishes(ONE.options, [], [word], []))[slot]
    assert (part_words(option), size_words(ONE, option)) == (part, size)


def test_work_says_its_size_itself() -> None:
    redrilled = choose(ONE.options, read_wishes(ONE.options, [], ["front.nozzle=redrill:0.90mm"], []))[
        SLOTS["front.nozzle"]
    ]
    assert part_words(redrilled) == redrilled.label and size_words(ONE, redrilled) == ""
    cut = choose(ONE.options, read_wishes(ONE.options, [], ["pad_relief=1mm"], []))[SLOTS["pad_relief"]]
    assert part_words(cut) == cut.label and size_words(ONE, cut) == "1 mm (0.039 in)"
    assert size_words(ONE, ONE.as_fitted[SLOTS["pad_relief"]]) == "" == size_words(ONE, ONE.as_fitted[SLOTS["spacer"]])
    assert size_words(ONE, ONE.as_fitted[SLOTS["front.feed_screw"]]) == "passage 3 mm2"
