"""A run as it is entered: words and figures of the command line, checked, and what to keep in mind about it."""

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal, TypeVar

from pydantic import Field, ValidationError

from configurator.book.records import Conditions, Felt, TraceMeasured, Trial, trial_of
from configurator.errors import BadInput, Fault
from configurator.files.declared import Record
from configurator.files.faults import FaultPlace, faults_of
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.learning.trace.trace import Measured, measure_for_case
from configurator.reports import Answer
from configurator.rules import RULES
from configurator.slots.options import Choice

OPTIONS = {
    "word": "--felt", "strength": "--strength", "air_temperature_c": "--air-temperature", "altitude_m": "--altitude",
    "air_pressure_kpa": "--pressure", "fuel": "--fuel", "clean_after_ms": "--clean-after", "note": "--note",
}  # fmt: skip
"""Field of a record, and the option that fills it."""
COLD = "The engine was cold: the run is kept, but it counts for nothing, since a cold engine stumbles anyway."
_WHEN = re.compile(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:\d\d)?")
SomeRecord = TypeVar("SomeRecord", bound=Record)


class TrialReport(Answer):
    """Answer of `tipin trial`."""

    book: str = Field(description="the book: a file, or the URL of a database without its password")
    did: Literal["recorded", "listed", "undone", "imported", "exported"] = Field(description="what was done")
    trials: list[Trial] = Field(description="the runs that it was done with")
    known: int = Field(0, description="runs of an imported file that the book held already, and that were left out")
    notes: list[str] = Field([], description="what to keep in mind about a run just recorded")


def enter_trial(
    case: Case,
    choice: Choice,
    at: datetime,
    felt: Mapping[str, str | None],
    conditions: Mapping[str, Any],
    *,
    clean_after_ms: float | None = None,
    trace: TraceMeasured | None = None,
    note: str = "",
) -> Trial:
    """The run that these words and figures describe; raises BadInput naming the option at fault.

    felt : word and strength, None where not said.  conditions : fields of records.Conditions, None where not said.
    """
    if felt["word"] is None and felt["strength"] is not None:
        raise BadInput([Fault("--strength", "", "says how strongly, but not what was felt", "--felt as well")])
    faults: list[Fault] = []
    with_word = _checked(Felt, felt, faults) if felt["word"] is not None else None
    day = _checked(Conditions, conditions, faults)
    if faults or day is None:
        raise BadInput(faults)
    try:
        return trial_of(case, at, with_word, day, choice=choice, clean_after_ms=clean_after_ms, trace=trace, note=note)
    except ValidationError as error:
        raise BadInput(faults_of(error, Trial, "trial", _option)) from None


def _checked(model: type[SomeRecord], words: Mapping[str, Any], faults: list[Fault]) -> SomeRecord | None:
    try:
        return model.model_validate({key: word for key, word in words.items() if word is not None})
    except ValidationError as error:
        faults += faults_of(error, model, "trial", _option)
        return None


def _option(loc: FaultPlace) -> str:
    return OPTIONS.get(str(loc[-1]), str(loc[-1])) if loc else ""


def read_when(text: str | None, now: datetime) -> datetime:
    """When a run was driven, as typed; without an offset in the machine's own time, without text now.

    >>> read_when("2026-05-02 10:15+02:00", datetime.now(UTC)).isoformat()
    '2026-05-02T08:15:00+00:00'
    """
    if text is None:
        return now.replace(microsecond=0)
    expected = "a time such as 2026-05-02 10:15, or 2026-05-02 10:15Z in UTC"
    try:
        at = datetime.fromisoformat(text.strip()).astimezone(UTC) if _WHEN.fullmatch(text.strip()) else None
    except (ValueError, OverflowError):
        at = None
    if at is None:
        raise BadInput([Fault(f"--at {text}", "", "is no time", expected)])
    if at > now:
        raise BadInput([Fault(f"--at {text}", "", "is still to come", "when the run was driven")])
    return at


def measured_trace(
    case: Case, path: Path | None, columns: Sequence[str] | None, lag_ms: float | None, plot: Path | None
) -> Measured | None:
    """What a mixture trace gave, None where there is none; columns as typed: WHAT=NAME. Raises BadInput."""
    if path is None:
        asked = {"--trace-column": columns, "--trace-lag": lag_ms, "--plot": plot}
        given = [option for option, value in asked.items() if value not in (None, [])]
        if given:
            raise BadInput([Fault(given[0], "", "goes with a trace only", "--trace FILE as well")])
        return None
    named: dict[str, str] = {}
    for word in columns or ():
        what, equals, name = (piece.strip() for piece in word.partition("="))
        if not equals or not what or not name:
            raise BadInput(
                [Fault(f"--trace-column {word}", "", "is not of the form WHAT=NAME", "for example phi=NAME")]
            )
        if what in named:
            raise BadInput([Fault(f"--trace-column {word}", "", f"{what} is named twice", "each column once")])
        named[what] = name
    return measure_for_case(case, path, columns=named or None, lag_ms=lag_ms)


def notes_on(case: Case, choice: Choice, trial: Trial) -> list[str]:
    """Why a run says little or nothing: a cold engine, and faults that no part mends."""
    notes = [] if trial.conditions.warm else [COLD]
    by_hand = [
        f for f in findings(case, choice)
        if f.holds is False and f.severity != "note" and not RULES[f.rule].is_choosable
    ]  # fmt: skip
    for f in by_hand:
        where = f"{f.circuit}: " if f.circuit else ""
        notes.append(f"{where}{f.says}. Trust the run less until that is put right: {f.mend}.")
    return notes
