"""A mixture trace sent with a run: measured as `tipin trial add` does it, what is wrong with it told of its field."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from configurator.errors import BadInput, Fault
from configurator.judging.case import Case
from configurator.learning.trace.trace import Measured, measure_for_case
from configurator.learning.trial_entry import read_columns, read_lag_ms
from configurator.web.posted import SentFile

SENT_TRACE, SENT_LAG, SENT_COLUMNS = "trace", "trace_lag", "trace_column"
"""Fields of the form, as faults name them."""


def measured_of(case: Case, file: SentFile | None, said: Mapping[str, str]) -> Measured | None:
    """What a trace gave; None where there is none. said : what was typed. Raises BadInput, faults by their fields."""
    if file is None:
        for field in (SENT_LAG, SENT_COLUMNS):
            if said.get(field):
                raise BadInput.in_field(field, "", "goes with a file only", "a file as well")
        return None
    lag_ms = read_lag_ms(said[SENT_LAG]) if SENT_LAG in said else None
    columns = read_columns([line for line in said.get(SENT_COLUMNS, "").splitlines() if line.strip()])
    with TemporaryDirectory(prefix="tipin-") as folder:
        path = Path(folder) / "trace.csv"
        path.write_bytes(file.content)
        try:
            return measure_for_case(case, path, columns=columns or None, lag_ms=lag_ms)
        except BadInput as error:
            raise BadInput([_of_field(fault, str(path)) for fault in error.faults]) from None


def _of_field(fault: Fault, path: str) -> Fault:
    """A fault of the file, or else of the lag, which no file has."""
    return replace(fault, file="", field=SENT_TRACE if fault.file == path else SENT_LAG, line=0, written="")
