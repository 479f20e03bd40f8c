"""What is kept: the keys asked for last, each worked out once, whoever asks."""

from threading import Barrier, Thread

import pytest

from configurator.web.kept import KeptValues


def test_the_key_asked_for_longest_ago_makes_room() -> None:
    kept, made = KeptValues[str](2), []

    def ask(key: str) -> str:
        return kept.get(key, lambda: made.append(key) or key.upper())  # type: ignore[func-returns-value]

    assert [ask(key) for key in "abab"] == ["A", "B", "A", "B"]
    assert made == ["a", "b"], "two have room"
    assert ask("a") == "A" and ask("c") == "C"
    assert made == ["a", "b", "c"]
    assert (kept.find("a"), kept.find("b"), kept.find("c")) == ("A", None, "C"), "b was asked for longest ago"
    assert ask("a") == "A" and ask("b") == "B" and made == ["a", "b", "c", "b"]
    assert kept.find("c") is None


def test_looking_keeps_nothing_longer() -> None:
    kept = KeptValues[int](2)
    kept.get("a", lambda: 1)
    kept.get("b", lambda: 2)
    assert kept.find("a") == 1 and kept.find("x") is None
    kept.get("c", lambda: 3)
    assert kept.find("a") is None and kept.find("b") == 2


def test_what_fails_is_tried_again() -> None:
    kept = KeptValues[int](2)
    with pytest.raises(ZeroDivisionError):
        kept.get("a", lambda: 1 // 0)
    assert kept.find("a") is None
    assert kept.get("a", lambda: 5) == 5 == kept.find("a")


def test_many_who_ask_at_once_share_one() -> None:
    kept, made, start = KeptValues[int](1), [], Barrier(8)
    got: list[int] = []

    def make() -> int:
        made.append(1)
        return len(made)

    def ask() -> None:
        start.wait()
        got.append(kept.get("a", make))

    threads = [Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert got == [1] * 8 and made == [1]
