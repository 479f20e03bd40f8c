"""Inputs made up from what the models of files declare: every reader gives a value, or BadInput with its faults.

A sound file is taken, and a few of its places are changed: to a bound and just beyond it, to another type, to text with
and without a unit, to a key that is not there or is there twice. `python tests/fuzz_inputs.py 20000` reads so many.
"""

import csv
import io
import json
import math
import os
import shutil
import sqlite3
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from copy import deepcopy
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from configurator.book.book import open_book
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.book.shelf import read_quantities
from configurator.book.trial_files import as_text, read_trials
from configurator.car.fitted import vehicle_for
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import FAMILIES, load_catalog, shipped_catalog_dir
from configurator.errors import BadInput
from configurator.files.declared import bounds_of, records_in
from configurator.files.reading import read_toml
from configurator.judging.case import Case
from configurator.learning.trace.trace_file import read_trace
from configurator.ordering.meeting import Meeting, load_meeting

SHIPPED = load_catalog(shipped_catalog_dir())
EXAMPLES = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))
PLACES = 4
"""Changed in one input, at most."""
ODD: list[Any] = [
    0, -1, 1, 1e-300, 1e308, -1e308, float("nan"), float("inf"), 10**30, True, False, "", " ", "x", "none", "nan", "0",
    "-1", "1e400", "31 thou", "0.8 furlong", "8,5", "1,234.5", "#68", "yes", "2026-05-04", "9999-12-31", "0001-01-01",
    "2999-01-01T00:00:00+14:00", "straight-0.80", "a" * 300, "ü €", "a\nb", "\x00", "\u202e", "\U0001f527", "0:0 5:1",
    "5:1 0:0", "0:nan 1:1", "7.00-14", "205/55 R16", "3.9*2.6", [], [1], ["x"], [[0, 0], [1, 1]], {}, {"code": "x"},
    None,
]  # fmt: skip


def values_of(declared: Any) -> st.SearchStrategy[Any]:
    """What somebody may write in a place: bounds and what lies just beyond, and what is odd anywhere."""
    bounds = list(bounds_of(declared).values()) if declared is not None else []
    near = [
        factor * bound + off for bound in bounds for factor in (1, 1 - 1e-9, 1 + 1e-9, 10, -1) for off in (0, 1e-12)
    ]
    return st.sampled_from([*near, *map(str, near), *ODD]) | st.floats() | st.integers() | st.text(max_size=20)


@st.composite
def changed(draw: st.DrawFn, model: type[BaseModel], sound: Mapping[str, Any]) -> dict[str, Any]:
    """A file as nested tables with some places changed."""
    tables: dict[str, Any] = json.loads(json.dumps(sound, default=str))
    for _ in range(draw(st.integers(1, PLACES))):
        _change(draw, model, tables)
    return tables


def _change(draw: st.DrawFn, model: type[BaseModel] | None, table: dict[str, Any]) -> None:
    fields = model.model_fields if model else {}
    known = [*fields, *table]
    key = draw(st.sampled_from(known) if known else st.just("x"))
    if draw(st.integers(0, 9)) == 0:
        key = draw(st.sampled_from(["x", key + "s", key.upper(), key[1:] or "y"]))
    declared = fields.get(key)
    inner = next(records_in(declared.annotation), None) if declared is not None else None
    value = table.get(key)
    one = value[0] if isinstance(value, list) and value else value
    if isinstance(one, dict) and draw(st.integers(0, 4)) > 0:
        _change(draw, inner, one)
    elif draw(st.integers(0, 4)) == 0:
        table.pop(key, None)
    else:
        table[key] = deepcopy(draw(values_of(declared)))  # it may be changed once more


def as_toml(tables: Mapping[str, Any]) -> str:
    """Tables as TOML, inline within the first level; what TOML has no word for is left out."""
    return "".join(f"{_key(key)} = {_toml(value)}\n" for key, value in tables.items() if value is not None)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_toml(v)}" for k, v in value.items() if v is not None) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(one) for one in value if one is not None) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return json.dumps(value, ensure_ascii=False)


def _key(key: str) -> str:
    return json.dumps(key, ensure_ascii=False)


class Readers:
    """Every reader, each by its name as what it is given and what reads that from a file; files lie in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        for example in EXAMPLES:
            shutil.copy(example, folder)
        self._catalogue = folder / "catalogue"
        shutil.copytree(shipped_catalog_dir(), self._catalogue, ignore=shutil.ignore_patterns("examples"))
        self._cars = [tomllib.loads(path.read_text(encoding="utf-8")) for path in EXAMPLES]
        case = Case.of(vehicle_for(self._cars[0], "car.toml", SHIPPED), SHIPPED)
        at = datetime(2026, 5, 2, 10, 15, tzinfo=UTC)
        self._run = trial_of(case, at, Felt(word="stumble", moment=None), Conditions())
        self.all: dict[str, tuple[st.SearchStrategy[Any], Callable[[Any], object]]] = {
            "vehicle": (st.one_of(*(changed(Vehicle, car) for car in self._cars)), self._vehicle),
            "workshop": (changed(Meeting, self._meeting()), self._workshop),
            "catalogue": (st.sampled_from(sorted(FAMILIES)).flatmap(self._rows), self._table),
            "runs, JSON": (changed(Trial, json.loads(self._run.model_dump_json())), self._runs_json),
            "runs, CSV": (self._csv(as_text([self._run, self._run], "csv")), self._runs_csv),
            "a run in the book": (changed(Trial, json.loads(self._run.model_dump_json())), self._kept_run),
            "shelf": (self._csv("code,quantity\nstraight-0.80,2\nlobe-fell,1\n"), self._shelf),
            "trace": (self._csv(_trace()), self._trace),
        }

    def _meeting(self) -> dict[str, Any]:
        return {
            "name": "evening", "today": "2026-05-04", "sureness": 0.9,
            "vehicle": [{"file": EXAMPLES[0].name, "day": "2026-05-20", "sureness": 0.8, "symptom": "stumble"}],
        }  # fmt: skip

    def _csv(self, text: str) -> st.SearchStrategy[str]:
        """A table with cells, headings and rows changed."""
        rows = list(csv.reader(io.StringIO(text)))

        @st.composite
        def tables(draw: st.DrawFn) -> str:
            made = [list(row) for row in rows]
            for _ in range(draw(st.integers(1, PLACES))):
                row = draw(st.integers(0, len(made) - 1))
                cell = draw(st.integers(0, len(made[row]) - 1)) if made[row] else 0
                kind = draw(st.integers(0, 11))
                if kind == 0 and len(made) > 1:
                    del made[row]
                elif kind == 1:
                    made[row] = made[row][:cell]
                elif kind == 2:
                    made.insert(row, list(made[row]))
                elif made[row]:
                    made[row][cell] = str(draw(values_of(None)))
            out = io.StringIO()
            csv.writer(out, delimiter=draw(st.sampled_from(",;\t"))).writerows(made)
            return out.getvalue()

        return tables()

    def _rows(self, family: str) -> st.SearchStrategy[tuple[str, str]]:
        path = shipped_catalog_dir() / f"{family}.csv"
        lines = path.read_text(encoding="utf-8") if path.exists() else ""
        text = "\n".join(line for line in lines.splitlines() if not line.startswith("#"))
        columns = ",".join(FAMILIES[family].model_fields)
        return st.tuples(st.just(family), self._csv(text or f"{columns}\n{columns}\n"))

    def _written(self, name: str, text: str) -> Path:
        path = self._folder / name
        path.write_bytes(text.encode("utf-8", "replace"))
        return path

    def _vehicle(self, tables: dict[str, Any]) -> object:
        path = self._written("car.toml", as_toml(tables))
        return Case.of(vehicle_for(read_toml(path), str(path), SHIPPED), SHIPPED)

    def _workshop(self, tables: dict[str, Any]) -> object:
        return load_meeting(self._written("workshop.toml", as_toml(tables)))

    def _table(self, table: tuple[str, str]) -> object:
        path = self._catalogue / f"{table[0]}.csv"
        before = path.read_bytes() if path.exists() else None
        path.write_bytes(table[1].encode("utf-8", "replace"))
        try:
            return load_catalog(self._catalogue)
        finally:
            if before is None:
                path.unlink()
            else:
                path.write_bytes(before)

    def _runs_json(self, run: dict[str, Any]) -> object:
        text = json.dumps({"schema_version": 2, "trials": [run]})
        return read_trials(self._written("runs.json", text), SHIPPED)

    def _runs_csv(self, text: str) -> object:
        return read_trials(self._written("runs.csv", text), SHIPPED)

    def _kept_run(self, run: dict[str, Any]) -> object:
        """As another program, or a later tipin, would have put it there: it counts, or stands aside."""
        place = self._folder / "book.sqlite"
        if not place.exists():
            with open_book(place) as book:
                book.add_trial(self._run)
        with closing(sqlite3.connect(place)) as connection, connection:
            connection.execute("PRAGMA synchronous = OFF")
            connection.execute("UPDATE trials SET digest = NULL, record = ?", (json.dumps(run),))
        with open_book(place) as book:
            held = book.records(with_undone=True)
            assert len(held.runs) + len(held.set_aside) == 1
            return held

    def _shelf(self, text: str) -> object:
        return read_quantities(self._written("shelf.csv", text), SHIPPED)

    def _trace(self, text: str) -> object:
        return read_trace(self._written("trace.csv", text), None, 14.6)

    def one(self) -> st.SearchStrategy[tuple[str, Any]]:
        """An input for one of the readers."""
        return st.sampled_from(sorted(self.all)).flatmap(lambda name: st.tuples(st.just(name), self.all[name][0]))

    def survives(self, name: str, given: Any) -> bool:
        """Whether it is read; fails with anything but a value or BadInput that can be told."""
        try:
            self.all[name][1](given)
        except BadInput as error:
            assert error.faults and all(str(fault) for fault in error.faults)
            assert len(str(error).splitlines()) <= 21
            return False
        return True


def _trace() -> str:
    rows = [f"{0.02 * n:.2f},{10 if n < 30 else 90},{1.0 if n < 30 else 1.2},{1500 + 10 * n}" for n in range(80)]
    return "\n".join(["time_s,throttle %,phi,rpm", *rows]) + "\n"


def read_many(count: int, folder: Path, seen: Counter[str]) -> None:
    """Reads so many made-up inputs; fails with the first that ends in a traceback, made as small as it can be."""
    readers = Readers(folder)

    @settings(
        max_examples=count, deadline=None, database=None, derandomize=count <= 1000,
        suppress_health_check=list(HealthCheck), phases=[Phase.generate, Phase.shrink],
    )  # fmt: skip
    @given(given_=readers.one())
    def read(given_: tuple[str, Any]) -> None:
        name, content = given_
        seen[f"{name}: {'read' if readers.survives(name, content) else 'refused'}"] += 1

    read()


def lines(seen: Counter[str]) -> Iterator[str]:
    for what, count in sorted(seen.items()):
        yield f"{count:7,}  {what}"


if __name__ == "__main__":
    os.environ["TIPIN_CACHE"] = "off"
    began, counted = time.monotonic(), Counter[str]()
    with tempfile.TemporaryDirectory() as where:
        read_many(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000, Path(where), counted)
    print("\n".join(lines(counted)))
    print(f"{counted.total():,} inputs in {time.monotonic() - began:.0f} s: each was read, or refused with its faults")
