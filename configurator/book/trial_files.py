"""Runs as files, to keep, to look into with a spreadsheet, or to carry to another book: JSON and CSV hold the same.

In CSV a run is one row: what was fitted stands in a column for each slot, for people, and the vehicle file with its
measured figures in the last column, as JSON.
"""

import csv
import io
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, ValidationError

from configurator.book.records import CAR_FORMAT, Trial, car_of, measured_car
from configurator.car.vehicle import Vehicle, place_in_toml
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, Fault, one_line
from configurator.files.faults import FaultPlace, faults_of
from configurator.files.reading import did_you_mean, read_table, read_text
from configurator.judging.case import Case
from configurator.judging.feelings import symptom_felt
from configurator.reports import SCHEMA_VERSION, Answer
from configurator.slots.slot import SLOTS

Format = Literal["csv", "json"]
LARGEST_IMPORT_BYTES = 50_000_000
LONGEST_LABEL = 200
_OF_RUN = ("number", "at", "vehicle", "undone")
_OF_FEELING = {"felt": "word", "strength": "strength", "moment": "moment"}
_OF_DAY = ("warm", "air_temperature_c", "altitude_m", "air_pressure_kpa", "fuel")
_AS_IT_IS = ("number", "vehicle", "clean_after_ms", "note", "car_format")
_OF_TRACE = ("hole_ms", "flood_ms", "lag_ms", "doubt_ms")
COLUMNS = (*_OF_RUN, *_OF_FEELING, *_OF_DAY, "clean_after_ms", *_OF_TRACE, "pull", "note", *SLOTS, "car", "car_format")


class TrialFile(Answer):
    """What runs are exported to and imported from as JSON."""

    trials: list[Trial] = Field(description="the runs, in the order in which they were recorded")


def as_text(trials: Sequence[Trial], format: Format) -> str:
    """Runs as a file of one of the formats."""
    if format == "json":
        return TrialFile(trials=list(trials)).model_dump_json(indent=2) + "\n"
    out = io.StringIO(newline="")
    table = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    table.writeheader()
    table.writerows(map(_row, trials))
    return out.getvalue()


def _row(trial: Trial) -> dict[str, Any]:
    felt, trace = trial.felt, trial.trace
    row: dict[str, Any] = {name: getattr(trial, name) for name in _AS_IT_IS}
    row["at"] = trial.at.astimezone(UTC).isoformat()
    row |= {column: getattr(felt, field) for column, field in _OF_FEELING.items()} if felt else {}
    row |= {name: getattr(trial.conditions, name) for name in _OF_DAY}
    row |= {name: getattr(trace, name) for name in _OF_TRACE} if trace else {}
    row["pull"] = trial.pull.model_dump_json() if trial.pull else None
    row |= {slot: trial.codes.get(slot) for slot in SLOTS}
    row |= {"undone": _yes(trial.undone), "warm": _yes(trial.conditions.warm)}
    return row | {"car": json.dumps(trial.car, ensure_ascii=False)}


def _yes(flag: bool) -> str:
    return "yes" if flag else "no"


def read_trials(path: Path, catalog: Catalog) -> list[Trial]:
    """The runs of a JSON or CSV file, told apart by how it starts, each with its parts by their figures.

    Raises BadInput with every fault in it, looked at as if each had been entered."""
    text = read_text(path, LARGEST_IMPORT_BYTES)
    if not text.strip():
        raise BadInput([Fault(str(path), "", "is empty", "runs as they are exported")])
    return _from_json(path, text, catalog) if text.lstrip().startswith("{") else _from_csv(path, catalog)


def _from_json(path: Path, text: str, catalog: Catalog) -> list[Trial]:
    def place(loc: FaultPlace) -> str:
        entry = (
            f"trials, entry {loc[1] + 1}" if len(loc) > 1 and isinstance(loc[1], int) else str(loc[0]) if loc else ""
        )
        return ", ".join(filter(None, [entry, ".".join(map(str, loc[2:]))]))

    try:
        read = TrialFile.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        if first["type"] == "json_invalid":
            problem = f"cannot be read, as it is not JSON ({first['ctx']['error']})"
            raise BadInput([Fault(str(path), "", problem, "runs as they are exported")]) from None
        raise BadInput(faults_of(error, TrialFile, str(path), place)) from None
    if read.schema_version > SCHEMA_VERSION:
        problem = f"was written by a later tipin (schema_version {read.schema_version})"
        raise BadInput([Fault(str(path), "", problem, f"schema_version {SCHEMA_VERSION}", "install that tipin here")])
    faults: list[Fault] = []
    trials = []
    for entry, trial in enumerate(read.trials):

        def in_entry(loc: FaultPlace, entry: int = entry) -> str:
            return place(("trials", entry, *loc))

        found = list(_sense(trial, str(path), in_entry)) or list(_not_as_recorded(trial, str(path), in_entry, catalog))
        faults += found
        trials += [] if found else [_measured(trial, catalog)]
    if faults:
        raise BadInput(faults)
    return trials


def _from_csv(path: Path, catalog: Catalog) -> list[Trial]:
    table = read_table(path, LARGEST_IMPORT_BYTES)
    faults = list(table.faults)
    for column in table.columns:
        if column not in COLUMNS:
            remedy = did_you_mean(column, COLUMNS) or f"the columns are {', '.join(COLUMNS)}"
            faults.append(Fault(str(path), f"column {column}", "is not a column of this table", remedy=remedy))
    faults += [
        Fault(str(path), f"column {name}", "is missing", f"the columns {', '.join(COLUMNS)}")
        for name in ("at", "vehicle", "car") if name not in table.columns
    ]  # fmt: skip
    trials: list[Trial] = []
    for row in table.rows if not faults else ():

        def place(loc: FaultPlace, number: int = row.number) -> str:
            return f"row {number}, column {_column(loc)}" if loc else f"row {number}"

        try:
            trial = Trial.model_validate(_tables(row.cells))
        except ValidationError as error:
            faults += faults_of(error, Trial, str(path), place)
        except ValueError as error:
            faults.append(Fault(str(path), place(("car",)), f"is not JSON ({error})", "JSON, as it is exported"))
        else:
            found = list(_sense(trial, str(path), place)) or list(_not_as_recorded(trial, str(path), place, catalog))
            faults += found
            trials += [] if found else [_measured(trial, catalog)]
    if faults:
        raise BadInput(faults)
    return trials


def _tables(cells: dict[str, str]) -> dict[str, Any]:
    """A run's fields from the cells of its row. Raises ValueError if the car is no JSON."""
    plain = (*_OF_RUN, "clean_after_ms", "note", "car_format")
    run: dict[str, Any] = {name: cells[name] for name in plain if name in cells}
    parted: tuple[tuple[str, dict[str, str]], ...] = (
        ("felt", {field: cells[column] for column, field in _OF_FEELING.items() if column in cells}),
        ("conditions", {name: cells[name] for name in _OF_DAY if name in cells}),
        ("trace", {name: cells[name] for name in _OF_TRACE if name in cells}),
    )
    run |= {name: fields for name, fields in parted if fields}
    run["codes"] = {slot: cells[slot] for slot in SLOTS if slot in cells}
    for name in ("car", "pull"):
        if name in cells:
            try:
                run[name] = json.loads(cells[name])
            except RecursionError:
                raise ValueError("nested too deeply") from None
    return run


def _column(loc: FaultPlace) -> str:
    """The column in which a field of a run stands."""
    if loc[0] == "felt":
        return next((column for column, field in _OF_FEELING.items() if loc[-1] == field), "felt")
    if loc[0] == "car":
        return " ".join(["car", place_in_toml(loc[1:])]).strip()
    return str(loc[-1])


def _sense(trial: Trial, file: str, place: Callable[[FaultPlace], str]) -> Iterable[Fault]:
    """What is wrong with a run although every field of it can be read."""
    if trial.felt is None and trial.trace is None and trial.pull is None:
        yield Fault(file, place(("felt", "word")), "says neither what was felt nor what was measured", "one of them")
    if trial.felt is not None:
        try:
            symptom_felt(trial.felt.word, trial.felt.moment)
        except BadInput as error:
            for fault in error.faults:
                problem = f"{fault.place} {fault.problem}"
                yield replace(fault, file=file, place=place(("felt", fault.field)), problem=problem, field="")
    try:
        car_of(trial)
    except ValidationError as error:
        yield from faults_of(error, Vehicle, file, lambda loc: place(("car", *loc)))
    except (KeyError, TypeError, AttributeError, ValueError, ZeroDivisionError):
        yield Fault(file, place(("car",)), "is no vehicle", "the tables of a vehicle file, [engine] among them")


def _not_as_recorded(trial: Trial, file: str, place: Callable[[FaultPlace], str], catalog: Catalog) -> Iterable[Fault]:
    """What nobody could have entered, although it makes sense by itself."""
    if trial.car_format > CAR_FORMAT:
        problem = f"was kept by a later tipin (format {trial.car_format})"
        yield Fault(file, place(("car",)), problem, f"format {CAR_FORMAT}", "install that tipin here")
        return
    if trial.at > datetime.now(UTC):
        yield Fault(file, place(("at",)), f"{trial.at:%Y-%m-%d %H:%M} is still to come", "when the run was driven")
    if trial.vehicle != trial.car.get("name"):
        problem = f"found '{one_line(trial.vehicle)}', and its car is called '{one_line(str(trial.car.get('name')))}'"
        yield Fault(file, place(("vehicle",)), problem, "the same name in both")
    for slot, label in trial.codes.items():
        if slot not in SLOTS:
            yield Fault(file, place(("codes", slot)), "is no slot", f"one of {', '.join(SLOTS)}")
        elif len(label) > LONGEST_LABEL or not label.isprintable():
            expected = f"the name of a part on one line, {LONGEST_LABEL} characters at most"
            yield Fault(file, place(("codes", slot)), "is no name of a part", expected)
        elif (circuit := SLOTS[slot].circuit) and circuit not in trial.car["fitted"]:
            yield Fault(file, place(("codes", slot)), f"its car has no {circuit} pump circuit", "slots that it has")
    try:
        Case.of(car_of(trial), catalog)
    except BadInput as error:
        for fault in error.faults:
            where = ", ".join([place(("car",)), fault.place])
            yield replace(fault, file=file, place=where, remedy=fault.remedy or "describe the part by its figures")


def _measured(trial: Trial, catalog: Catalog) -> Trial:
    """A run with its parts by their figures, as recording keeps them: the catalogue may change later."""
    own = trial.car["fitted"].values()
    if not any(isinstance(part, str) for one in own if isinstance(one, dict) for part in one.values()):
        return trial
    case = Case.of(car_of(trial), catalog)
    fitted = measured_car(case, case.as_fitted)["fitted"]
    return trial.model_copy(update={"car": trial.car | {"fitted": fitted}})
