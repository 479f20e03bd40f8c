"""Files sent with a run, a mixture trace or a recording of the pull: measured as `tipin trial add` does it, what is
wrong with them told of their fields."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from configurator.errors import BadInput, Fault
from configurator.judging.case import Case
from configurator.learning.recording.recording import MeasuredPull, measure_pull_for_case
from configurator.learning.trace.trace import Measured, measure_for_case
from configurator.learning.trial_entry import read_columns, read_lag_ms
from configurator.web.posted import SentFile

SENT_TRACE, SENT_LAG, SENT_COLUMNS = "trace", "trace_lag", "trace_column"
SENT_PULL, SENT_PULL_COLUMNS = "pull", "pull_column"
"""Fields of the form, as faults name them."""


def measured_of(case: Case, file: SentFile | None, said: Mapping[str, str]) -> Measured | None:
    """What a trace gave; None where there is none. said : what was typed. Raises BadInput, faults by their fields."""
    if file is None:
        _needs_a_file(said, SENT_LAG, SENT_COLUMNS)
        return None
    lag_ms = read_lag_ms(said[SENT_LAG]) if SENT_LAG in said else None
    columns = read_columns(_lines(said, SENT_COLUMNS))
    with _in_a_folder(file, SENT_TRACE, SENT_LAG) as path:
        return measure_for_case(case, path, columns=columns or None, lag_ms=lag_ms)


def recorded_of(case: Case, file: SentFile | None, said: Mapping[str, str]) -> MeasuredPull | None:
    """What a recording of the pull gave, likewise."""
    if file is None:
        _needs_a_file(said, SENT_PULL_COLUMNS)
        return None
    columns = read_columns(_lines(said, SENT_PULL_COLUMNS), SENT_PULL_COLUMNS, "speed_kmh=NAME")
    with _in_a_folder(file, SENT_PULL, SENT_PULL) as path:
        return measure_pull_for_case(case, path, columns)


def _needs_a_file(said: Mapping[str, str], *fields: str) -> None:
    for field in fields:
        if said.get(field):
            raise BadInput.in_field(field, "", "goes with a file only", "a file as well")


def _lines(said: Mapping[str, str], field: str) -> list[str]:
    return [line for line in said.get(field, "").splitlines() if line.strip()]


@contextmanager
def _in_a_folder(file: SentFile, its_field: str, other: str) -> Iterator[Path]:
    """The file where a reader finds it. A fault is one of its field, or of the other where it lies in no file."""
    with TemporaryDirectory(prefix="tipin-") as folder:
        path = Path(folder) / "sent.csv"
        path.write_bytes(file.content)
        try:
            yield path
        except BadInput as error:
            raise BadInput([_of_field(fault, str(path), its_field, other) for fault in error.faults]) from None


def _of_field(fault: Fault, path: str, its_field: str, other: str) -> Fault:
    return replace(fault, file="", field=its_field if fault.file == path else other, line=0, written="")
