"""Words that were probably meant: those that difflib finds, however many are known."""

from difflib import get_close_matches

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from configurator.files.reading import did_you_mean

WORDS = st.text(st.sampled_from("abcs-."), min_size=1, max_size=12)


@settings(max_examples=400, deadline=None)
@given(name=WORDS, known=st.lists(WORDS, max_size=30))
@example(name="ab", known=["ba", "bb", "aa"])
@example(name="straight-long", known=["straight-lang", "straight-ling", "strait-long"])
def test_the_word_meant_is_the_one_that_difflib_finds(name: str, known: list[str]) -> None:
    close = get_close_matches(name, known, n=1, cutoff=0.6)
    within = sorted((word for word in known if len(name) > 2 and name in word), key=len)
    meant = [*close, *within[:1]]
    assert did_you_mean(name, known) == (f"did you mean {meant[0]}?" if meant else "")


@pytest.mark.parametrize("size", [199, 200, 201, 233, 234, 1000])
def test_words_as_long_as_difflib_has_a_rule_for(size: int) -> None:
    name, known = "ab" * 50, ["ab" * (size // 2) + "c", "a" * size, "x" * size]
    close = get_close_matches(name, known, n=1, cutoff=0.6)
    within = [word for word in known if name in word]
    expected = [*close, *within][:1]
    assert did_you_mean(name, known) == (f"did you mean {expected[0]}?" if expected else "")


@pytest.mark.parametrize(("name", "known"), [("", []), ("", [""]), ("", ["a"]), ("a", [""]), ("xyz", ["abc"])])
def test_nothing_meant(name: str, known: list[str]) -> None:
    assert did_you_mean(name, known) == ""


SIZES = ("0.60", "0.72", "0.80", "0.82", "0.85", "0.98", "1.03", "1.30")


@pytest.mark.parametrize("kind", ["straight-", "straigth-"])
@pytest.mark.parametrize("hundredths", [*range(50, 140, 7), 83, 89, 82])
def test_sizes_are_near_by_what_they_measure(kind: str, hundredths: int) -> None:
    """Those next to it, however alike other numbers look; the kind of part may be misspelt as well."""
    known = [f"{style}-{size}" for size in SIZES for style in ("straight", "aimed")] + ["lobe-tarn"]
    apart = {size: 100 * float(size) - hundredths for size in SIZES}
    smaller = [size for size in SIZES if apart[size] < 0.5][-1:]
    larger = [size for size in SIZES if apart[size] > -0.5][:1]
    meant = " or ".join(f"straight-{size}" for size in dict.fromkeys(smaller + larger))
    assert did_you_mean(f"{kind}{hundredths / 100:.2f}", known) == f"did you mean {meant}?"


def test_a_number_that_words_do_not_share_changes_nothing() -> None:
    assert did_you_mean("rated_flow_m3_mn", ["rated_flow_m3_min", "rated_flow_ft3_min"]) == (
        "did you mean rated_flow_m3_min?"
    )
    assert did_you_mean("straight-0.7.8", ["straight-0.78", "straight-0.98"]) == "did you mean straight-0.78?"
    assert did_you_mean("lobe-tarn2", ["lobe-tarn", "straight-2"]) == "did you mean lobe-tarn?"
    assert did_you_mean("7", ["8", "9"]) == ""
