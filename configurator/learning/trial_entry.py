"""A run as it is entered: words and figures, checked, and what to keep in mind about it."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Literal, TypeVar

from pydantic import Field, ValidationError

from configurator.book.car_records import SetAside
from configurator.book.records import Conditions, Felt, PullMeasured, TraceMeasured, Trial, car_of, trial_of
from configurator.errors import BadInput, Fault
from configurator.files.declared import Record, in_unit
from configurator.files.faults import faults_of
from configurator.judging.case import Case
from configurator.judging.feelings import WHEN_NOT_SAID
from configurator.judging.findings import findings, jets_first
from configurator.learning.belief import symptom_of
from configurator.learning.pull_told import PullInWords
from configurator.reports import Answer
from configurator.rules import RULES, WRONG
from configurator.slots.options import Choice

COLD = "The engine was cold: the run is kept, but it counts for nothing, since a cold engine stumbles anyway."
_WHEN = re.compile(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:\d\d)?")
SomeRecord = TypeVar("SomeRecord", bound=Record)


class TrialReport(Answer):
    """Answer of `tipin trial add`, `list`, `undo` and `import`."""

    book: str = Field(description="the book: a file, or the URL of a database without its password")
    did: Literal["recorded", "listed", "undone", "imported"] = Field(description="what was done")
    trials: list[Trial] = Field(description="the runs that it was done with")
    set_aside: list[SetAside] = Field([], description="runs that cannot be read: why, and whether they are undone")
    known: int = Field(0, description="runs that the book held already, by an imported file or by their entry key")
    notes: list[str] = Field([], description="what to keep in mind about a run just recorded")
    pull: PullInWords | None = Field(None, description="what the recording of a run just recorded says")
    taken: list[str] = Field([], description="what the columns of that recording were taken for")


def enter_trial(
    case: Case,
    choice: Choice,
    at: datetime,
    felt: Mapping[str, str | None],
    conditions: Mapping[str, Any],
    *,
    clean_after_ms: str | None = None,
    trace: TraceMeasured | None = None,
    pull: PullMeasured | None = None,
    note: str = "",
) -> Trial:
    """The run that these words and figures describe; raises BadInput naming the field at fault.

    felt : word, strength and moment, None where not said.
    conditions : fields of records.Conditions, None where not said.
    """
    for field, says in (("strength", "how strongly"), ("moment", "when")):
        if felt["word"] is None and felt[field] is not None:
            raise BadInput.in_field(field, "", f"says {says}, but not what was felt", "what was felt as well")
    faults: list[Fault] = []
    with_word = _checked(Felt, felt, faults) if felt["word"] is not None else None
    day = _checked(Conditions, conditions, faults)
    if faults or day is None:
        raise BadInput(faults)
    try:
        return trial_of(
            case, at, with_word, day,
            choice=choice, clean_after_ms=clean_after_ms, trace=trace, pull=pull, note=note,
        )  # fmt: skip
    except ValidationError as error:
        raise BadInput(_in_fields(error, Trial)) from None


def _checked(model: type[SomeRecord], words: Mapping[str, Any], faults: list[Fault]) -> SomeRecord | None:
    try:
        return model.model_validate({key: word for key, word in words.items() if word is not None})
    except ValidationError as error:
        faults += _in_fields(error, model)
        return None


def _in_fields(error: ValidationError, model: type[Record]) -> list[Fault]:
    """Each fault at the field of a record that it lies in, or at the run as a whole."""
    found = faults_of(error, model, "trial", lambda loc: str(loc[-1]) if loc else "")
    return [replace(fault, file="", place="", field=fault.place) if fault.place else fault for fault in found]


def read_lag_ms(text: str) -> float:
    """The lag of a mixture sensor [ms] as typed; raises BadInput.

    >>> read_lag_ms("80"), read_lag_ms("0.1 s")
    (80.0, 100.0)
    """
    try:
        return float(in_unit(text, "ms"))
    except ValueError:
        raise BadInput.in_field("trace_lag", text, "is no time", 'a number of ms, or text such as "0.1 s"') from None


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
        raise BadInput.in_field("at", text, "is no time", expected)
    if at > now:
        raise BadInput.in_field("at", text, "is still to come", "when the run was driven")
    return at


def read_columns(words: Sequence[str], field: str = "trace_column", such_as: str = "phi=NAME") -> dict[str, str]:
    """Names of a table's columns by what they hold, from words of the form WHAT=NAME; raises BadInput in that field.

    >>> read_columns(["phi=mixture", "time = t"])
    {'phi': 'mixture', 'time': 't'}
    """
    named: dict[str, str] = {}
    for word in words:
        what, _, name = (piece.strip() for piece in word.partition("="))
        if not what or not name:
            raise BadInput.in_field(field, word, "is not of the form WHAT=NAME", f"for example {such_as}")
        if what in named:
            raise BadInput.in_field(field, word, f"{what} is named twice", "each column once")
        named[what] = name
    return named


def says_little(trial: Trial) -> list[str]:
    """Why a run says less than it might: a cold engine, a stumble of which nobody said when."""
    notes = [] if trial.conditions.warm else [COLD]
    symptom = symptom_of(trial)
    if symptom is not None and symptom.leaves_open_when:
        notes.append(f"{WHEN_NOT_SAID[0].upper()}{WHEN_NOT_SAID[1:]}.")
    return notes


def notes_on(case: Case, choice: Choice, trial: Trial) -> list[str]:
    """The same, parts put in that do not fit, faults that no part mends. Parts that will not cure are what a run is
    for."""
    notes = says_little(trial)
    notes += jets_first(Case.of(car_of(trial), case.catalog)) if trial.conditions.altitude_m is not None else []
    before = {(f.rule, f.circuit) for f in findings(case, case.as_fitted) if f.holds is False}
    for f in (f for f in findings(case, choice) if f.holds is False and f.severity != "note"):
        where = f"{f.circuit}: " if f.circuit else ""
        if not RULES[f.rule].is_choosable:
            notes.append(f"{where}{f.says}. Trust the run less until that is put right: {f.mend}.")
        elif f.kind == "fit" and f.severity == "conflict" and (f.rule, f.circuit) not in before:
            notes.append(f"{where}{WRONG['fit']}: {f.says}. Look again whether that is what was in.")
    return notes
