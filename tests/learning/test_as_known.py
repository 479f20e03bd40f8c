"""What a case is judged at: by its runs, else by what was felt, else by its file."""

from datetime import timedelta

import building
import pytest
from runs import AT, run

from configurator.judging.feelings import SYMPTOMS, moved
from configurator.learning.as_known import known_by
from configurator.learning.belief import belief_of
from configurator.learning.belief_in_book import belief_by, runs_in_book

CASE = building.case(building.vehicle(front={"nozzle": "straight-0.70", "slack_mm": 0.3}, demand_factor=0.9))


def test_without_runs_and_feeling_the_file_says_it() -> None:
    known = known_by(CASE, [])
    assert (known.case.factor, known.case.linkage_set, known.belief) == (0.9, True, None)
    assert tuple(known.wishes) == () and known.says == "demand factor 0.90, from the vehicle file"


@pytest.mark.parametrize("word", list(SYMPTOMS))
def test_without_runs_a_feeling_moves_it(word: str) -> None:
    known, aim = known_by(CASE, [], SYMPTOMS[word]), moved(CASE, SYMPTOMS[word])
    assert (known.case.factor, known.case.linkage_set, known.belief) == (aim.factor, True, None)
    assert known.says == aim.says and tuple(known.wishes) == ((aim.wish,) if aim.wish else ())
    assert bool(known.wishes) == (word == "smoke")


def test_runs_take_its_place_and_a_feeling_is_one_more_run() -> None:
    first = run("stumble", CASE)
    known = known_by(CASE, [first])
    expected = belief_of(CASE, [first])
    assert known.belief is not None and known.case.factor == known.belief.median == pytest.approx(expected.median)
    assert known.says == f"demand factor {expected.median:.2f}: the middle of what 1 run leaves"
    assert known.case.linkage_set and tuple(known.wishes) == ()
    two = [first, run("clean", CASE, at=AT + timedelta(hours=1))]
    assert known_by(CASE, two).says.endswith("the middle of what 2 runs leave")
    more = known_by(CASE, [first], SYMPTOMS["smoke"])
    assert more.belief is not None and more.belief.runs == 2 and more.case.factor < known.case.factor
    assert tuple(more.wishes) == ()


def test_runs_that_count_for_nothing_are_none() -> None:
    cold = run("stumble", CASE, day={"warm": False})
    assert belief_by(CASE, [cold]) is None and belief_by(CASE, []) is None
    assert known_by(CASE, [cold]).belief is None
    both = belief_by(CASE, [cold, run("stumble", CASE)])
    assert both is not None and (both.runs, both.left_out) == (1, 1)


def test_without_a_book_there_are_no_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TIPIN_BOOK", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", "/nowhere")
    assert runs_in_book("test truck", None) == []
