"""Words that were probably meant: those that difflib finds, however many are known."""

from difflib import get_close_matches

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from configurator.files.reading import did_you_mean

WORDS = st.text(st.sampled_from("abcs-01."), min_size=1, max_size=12)


@settings(max_examples=400, deadline=None)
@given(name=WORDS, known=st.lists(WORDS, max_size=30))
@example(name="ab", known=["ba", "bb", "aa"])
@example(name="straight-0.80-s1", known=["straight-0.80-s3", "straight-0.80-s2", "straight-0.08-s1"])
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
