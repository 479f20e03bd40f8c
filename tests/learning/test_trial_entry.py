"""A run as it is entered: what is read of the words, what is refused in the words typed, and what is to be minded."""

from datetime import UTC, datetime
from typing import Any

import building
import pytest
from runs import run

from configurator.book.records import Trial
from configurator.errors import BadInput
from configurator.learning.trial_entry import COLD, enter_trial, notes_on, read_columns, read_when
from configurator.slots.slot import SLOTS

NOW = datetime(2026, 5, 3, 9, 30, 15, 123456, tzinfo=UTC)
CASE = building.case()


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("2026-05-02 10:15Z", "2026-05-02T10:15:00+00:00"),
        ("2026-05-02T10:15Z", "2026-05-02T10:15:00+00:00"),
        (" 2026-05-02 10:15:30Z ", "2026-05-02T10:15:30+00:00"),
        ("2026-05-02 10:15+02:00", "2026-05-02T08:15:00+00:00"),
        ("2026-05-02 10:15-05:30", "2026-05-02T15:45:00+00:00"),
        ("2026-05-03 09:30:15Z", "2026-05-03T09:30:15+00:00"),
    ],
)
def test_a_time_is_read(typed: str, read: str) -> None:
    assert read_when(typed, NOW).isoformat() == read


def test_without_a_time_it_is_now_to_the_second() -> None:
    assert read_when(None, NOW) == NOW.replace(microsecond=0)


@pytest.mark.parametrize(
    "typed",
    [
        "yesterday", "2026-05-02", "10:15", "2026-13-02 10:15Z", "2026-05-02 25:15Z", "20260502T1015Z", "",
        "0001-01-01 00:00+14:00",
    ],
)  # fmt: skip
def test_what_is_no_time_is_refused(typed: str) -> None:
    with pytest.raises(BadInput, match=r"is no time; expected a time such as 2026-05-02 10:15"):
        read_when(typed, NOW)


def test_a_time_to_come_is_refused_and_this_very_moment_is_not() -> None:
    with pytest.raises(BadInput, match="is still to come; expected when the run was driven"):
        read_when("2026-05-03 09:31Z", NOW)
    exact = NOW.replace(microsecond=0)
    assert read_when("2026-05-03 09:30:15Z", exact) == exact


def entered(felt: dict[str, str | None], **conditions: Any) -> Trial:
    return enter_trial(CASE, CASE.as_fitted, NOW, {"word": None, "strength": None} | felt, conditions)


def test_a_run_holds_what_was_said_and_what_was_fitted() -> None:
    trial = entered({"word": "dull", "strength": "strong"}, air_temperature_c=12.0, altitude_m=None)
    assert trial.felt is not None and (trial.felt.word, trial.felt.strength) == ("dull", "strong")
    assert trial.conditions.air_temperature_c == 12.0 and trial.at == NOW and trial.vehicle == "test truck"
    assert trial.codes["front.nozzle"] == CASE.as_fitted[SLOTS["front.nozzle"]].label


def test_every_word_at_fault_is_refused_at_once() -> None:
    with pytest.raises(BadInput) as caught:
        entered({"word": "dull", "strength": "wobbly"}, air_temperature_c=900.0, altitude_m=1e6)
    said = [str(fault) for fault in caught.value.faults]
    assert len(said) == 3


def test_a_strength_alone_says_nothing() -> None:
    with pytest.raises(BadInput, match="says how strongly, but not what was felt"):
        entered({"strength": "strong"})


@pytest.mark.parametrize("word", ["phi", "=x", "phi=", " = "])
def test_a_column_is_named_as_what_and_name(word: str) -> None:
    with pytest.raises(BadInput, match="is not of the form WHAT=NAME"):
        read_columns([word])


def test_a_column_is_named_once() -> None:
    assert read_columns(["phi=a = b", " time= t "]) == {"phi": "a = b", "time": "t"} and read_columns([]) == {}
    with pytest.raises(BadInput, match="phi is named twice; expected each column once"):
        read_columns(["phi=a", "time=b", "phi = c"])


def test_what_makes_a_run_say_little_is_noted() -> None:
    assert notes_on(CASE, CASE.as_fitted, run("flat")) == []
    assert notes_on(CASE, CASE.as_fitted, run("flat", day={"warm": False})) == [COLD]
    unsaid = "Whether at once or after a moment was not said: both are weighed."
    assert notes_on(CASE, CASE.as_fitted, run("stumble")) == [unsaid]
    assert notes_on(CASE, CASE.as_fitted, run("stumble", moment="later")) == []
    slack = building.case(building.vehicle(front={"slack_mm": 0.5, "nozzle": "straight-1.20"}))
    (note,) = notes_on(slack, slack.as_fitted, run("flat"))
    assert note.startswith("front: slack in the pump linkage: 0.50 mm")
    assert ". Trust the run less until that is put right: take the slack up" in note
    jets = building.case(building.vehicle(carburettor={"jets_redrilled": True}))
    (note,) = notes_on(jets, jets.as_fitted, run("flat"))
    assert note.startswith("metering jets were redrilled")


def test_parts_put_in_that_do_not_fit_are_noted_and_those_that_were_there_before_are_not() -> None:
    """The larger pump reaches the manifold's pad; what will not cure is what a run is for, and no note."""
    case = building.easy_case(building.vehicle(manifold={"pad_clearance_mm": 16}), spacers=[], operations=[])
    pump, nozzle = SLOTS["front.pump"], SLOTS["front.nozzle"]
    larger = next(option for option in case.options[pump] if option.code == "pump-large")
    tiny = next(option for option in case.options[nozzle] if option.code == "straight-0.70")
    notes = notes_on(case, {**case.as_fitted, pump: larger}, run("flat", case))
    assert any("pad" in note for note in notes)
    for note in notes:
        assert note.startswith("front: does not fit: ") and note.endswith("Look again whether that is what was in.")
    assert notes_on(case, {**case.as_fitted, nozzle: tiny}, run("flat", case)) == []
