"""Mixture traces from files: headings, units, order of rows, and figures that are not what they are said to be."""

import random
from pathlib import Path

import numpy as np
import pytest
from trace_making import example, file_of, logged, written

from configurator.arrays import Array
from configurator.errors import BadInput
from configurator.learning.logged.readings import LARGEST_LOG_BYTES, MOST_ROWS
from configurator.learning.trace.trace import measure_for_case
from configurator.learning.trace.trace_columns import TRACE_COLUMNS
from configurator.learning.trace.trace_file import Trace, read_trace

RATIO = 14.6
LOG = logged("roadster", rate_hz=50.0, noise=0.01)


def columns(**overruled: Array) -> dict[str, Array]:
    return {"time_s": LOG.time_s, "throttle %": LOG.throttle, "phi": LOG.phi} | overruled


def read(path: Path, **named: str) -> Trace:
    return read_trace(path, named, RATIO)


def refused(path: Path, **named: str) -> str:
    with pytest.raises(BadInput) as found:
        read(path, **named)
    return str(found.value)


@pytest.mark.parametrize(
    ("heading", "quantity", "unit"),
    [
        ("time_ms", "time", "ms"), ("t [s]", "time", "s"), ("Time (sec)", "time", "s"), ("timestamp us", "time", "us"),
        ("Time", "time", ""), ("throttle %", "throttle", "percent"), ("tps deg", "throttle", "deg"),
        ("TPS (V)", "throttle", "volt"), ("Throttle angle", "throttle", "deg"), ("phi", "phi", ""), ("φ", "phi", ""),
        ("Lambda 1", "lambda", ""), ("λ", "lambda", ""), ("AFR", "afr", ""), ("Air/Fuel ratio", "afr", ""),
        ("A/F", "afr", ""), ("rpm", "speed", "rpm"), ("Engine speed [rev/min]", "speed", "rpm"),
    ],
)  # fmt: skip
def test_a_heading_says_quantity_and_unit(heading: str, quantity: str, unit: str) -> None:
    column = TRACE_COLUMNS.recognised(heading)
    assert column is not None and (column.quantity, column.unit) == (quantity, unit)


@pytest.mark.parametrize("heading", ["AFR target", "desired lambda", "throttle rate", "coolant", "temp", "road speed"])
def test_what_is_no_reading_is_left_alone(heading: str) -> None:
    assert TRACE_COLUMNS.recognised(heading) is None


@pytest.mark.parametrize(
    ("heading", "values"),
    [("lambda", 1.0 / LOG.phi), ("AFR", RATIO / LOG.phi), ("Air-fuel ratio", RATIO / LOG.phi)],
)
def test_every_kind_of_mixture_becomes_phi(tmp_path: Path, heading: str, values: Array) -> None:
    table = {"t [ms]": LOG.time_s * 1e3, "TPS": LOG.throttle / 100.0, heading: values, "RPM": LOG.speed}
    trace = read(written(tmp_path / "t.csv", table))
    assert trace.phi == pytest.approx(LOG.phi, rel=1e-4)
    assert trace.time_s == pytest.approx(LOG.time_s - LOG.time_s[0], abs=1e-4)
    assert trace.throttle == pytest.approx(LOG.throttle / 100.0, abs=1e-4)
    assert trace.speed_rpm == pytest.approx(LOG.speed, abs=0.01)


@pytest.mark.parametrize("factor", [1.0, 1e3, 1e6])
def test_a_bare_time_is_told_by_its_steps(tmp_path: Path, factor: float) -> None:
    table = {"Time": LOG.time_s * factor, "throttle": LOG.throttle, "phi": LOG.phi}
    assert read(written(tmp_path / "t.csv", table)).time_s[-1] == pytest.approx(LOG.time_s[-1] - LOG.time_s[0])


def test_a_spreadsheet_of_a_continental_kind_is_read(tmp_path: Path) -> None:
    path = written(tmp_path / "t.csv", columns(), delimiter=";")
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b".", b",").replace(b"\n", b"\r\n"))
    assert read(path).phi == pytest.approx(LOG.phi, abs=1e-4)


def test_a_row_of_units_below_the_headings_counts(tmp_path: Path) -> None:
    path = written(
        tmp_path / "t.csv", {"time": LOG.time_s * 1e3, "throttle": LOG.throttle * 0.9, "lambda": 1 / LOG.phi}
    )
    heading, *rows = path.read_text().splitlines()
    path.write_text("\n".join([heading, "ms,deg,-", *rows]))
    trace = read(path)
    assert trace.throttle == pytest.approx(LOG.throttle / 100.0, abs=1e-4) and len(trace.phi) == len(LOG.phi)


def test_rows_out_of_order_are_sorted_and_it_is_said(tmp_path: Path) -> None:
    path = file_of(tmp_path / "t.csv", LOG)
    heading, *rows = path.read_text().splitlines()
    random.Random(5).shuffle(rows)
    path.write_text("\n".join([heading, *rows]))
    trace = read(path)
    assert trace.phi == pytest.approx(LOG.phi, abs=1e-4) and np.all(np.diff(trace.time_s) > 0.0)
    assert trace.notes == ("rows were out of order and were sorted by their time",)


def test_two_runs_in_one_file_are_refused(tmp_path: Path) -> None:
    path = file_of(tmp_path / "t.csv", LOG)
    heading, *rows = path.read_text().splitlines()
    path.write_text("\n".join([heading, *rows, *rows]))
    assert refused(path) == (
        f"{path}, row {len(rows) + 2}, column time_s: time starts again; expected one run in a file; cut the file there"
    )


def test_rows_of_one_time_are_put_together(tmp_path: Path) -> None:
    coarse = np.floor(LOG.time_s * 25.0) / 25.0
    trace = read(written(tmp_path / "t.csv", columns(time_s=coarse)))
    first = coarse == coarse[4]
    assert len(trace.time_s) == len(set(coarse))
    assert trace.phi[np.argmin(np.abs(trace.time_s + coarse[0] - coarse[4]))] == pytest.approx(
        LOG.phi[first].mean(), abs=1e-5
    )


def test_what_no_sensor_says_is_a_dropout(tmp_path: Path) -> None:
    path = written(tmp_path / "t.csv", columns(phi=RATIO / LOG.phi))
    heading, *rows = path.read_text().replace("phi", "AFR").splitlines()
    cells = [row.rsplit(",", 1)[0] for row in rows]
    rows[3:8] = [f"{cell},{what}" for cell, what in zip(cells[3:8], ("0", "", "NaN", "--", "999"), strict=True)]
    path.write_text("\n".join([heading, *rows]))
    trace = read(path)
    assert list(np.flatnonzero(np.isnan(trace.phi))) == [3, 4, 5, 6, 7]
    assert trace.notes == (f"5 of {len(rows)} mixture readings are missing or beyond what a sensor can say",)


WRONG: dict[str, tuple[dict[str, Array], str]] = {
    "seconds said to be milliseconds": (
        {"time_ms": LOG.time_s, "tps": LOG.throttle, "phi": LOG.phi},
        "column time_ms: samples are 0.02 ms apart; it looks like seconds; expected samples 0.5 to 100 ms apart; "
        "name the column as time_s=time_ms",
    ),
    "milliseconds said to be seconds": (
        {"time_s": LOG.time_s * 1e3, "tps": LOG.throttle, "phi": LOG.phi},
        "column time_s: samples are 20 s apart; it looks like milliseconds; expected samples 0.5 to 100 ms apart; "
        "name the column as time_ms=time_s",
    ),
    "one sample a second": (
        {"time_s": LOG.time_s * 50.0, "tps": LOG.throttle, "phi": LOG.phi},
        "column time_s: samples are 1 s apart; it looks like milliseconds; expected samples 0.5 to 100 ms apart; "
        "name the column as time_ms=time_s",
    ),
    "samples half a second apart": (
        {"time_s": LOG.time_s * 15.0, "tps": LOG.throttle, "phi": LOG.phi},
        "column time_s: samples are 0.3 s apart; the logger was too slow or too fast for a tip-in; "
        "expected samples 0.5 to 100 ms apart",
    ),
    "air-fuel ratio said to be lambda": (
        {"t": LOG.time_s, "tps": LOG.throttle, "lambda": np.full_like(LOG.phi, 14.25)},
        "column lambda: its middle value is 14.25; it looks like an air-fuel ratio; expected about 1 as lambda; "
        "name the column as afr=lambda",
    ),
    "air-fuel ratio said to be phi": (
        {"t": LOG.time_s, "tps": LOG.throttle, "phi": np.full_like(LOG.phi, 13.5)},
        "column phi: its middle value is 13.5; it looks like an air-fuel ratio; expected about 1 as phi; "
        "name the column as afr=phi",
    ),
    "lambda said to be air-fuel ratio": (
        {"t": LOG.time_s, "tps": LOG.throttle, "AFR": np.full_like(LOG.phi, 0.95)},
        "column AFR: its middle value is 0.95; it looks like lambda or phi; expected about 14.6 as an air-fuel ratio; "
        "name the column as lambda=AFR",
    ),
    "volts said to be air-fuel ratio": (
        {"t": LOG.time_s, "tps": LOG.throttle, "AFR": np.full_like(LOG.phi, 2.6)},
        "column AFR: its middle value is 2.6, which is no mixture that burns; "
        "expected about 14.6 as an air-fuel ratio; if it is the sensor's voltage, have the logger turn it into lambda",
    ),
    "a share said to be per cent": (
        {"t": LOG.time_s, "throttle %": np.linspace(0.05, 1.0, len(LOG.phi)), "phi": LOG.phi},
        "column throttle %: runs from 0.0547 to 0.995; it looks like a share of 0 to 1; expected 0 to 100 as %; "
        "name the column as throttle_share=throttle %",
    ),
    "per cent said to be volts": (
        {"t": LOG.time_s, "tps v": np.linspace(5.0, 100.0, len(LOG.phi)), "phi": LOG.phi},
        "column tps v: runs from 5.48 to 99.5; it looks like %; expected 0 to 5 as volts; "
        "name the column as throttle_percent=tps v",
    ),
}


@pytest.mark.parametrize("what", WRONG)
def test_a_wrong_unit_is_noticed_and_the_likely_one_named(tmp_path: Path, what: str) -> None:
    table, message = WRONG[what]
    path = written(tmp_path / "t.csv", table)
    assert refused(path) == f"{path}, {message}"


def test_what_the_remedy_says_mends_it(tmp_path: Path) -> None:
    path = written(tmp_path / "t.csv", {"time_s": LOG.time_s * 1e3, "tps": LOG.throttle, "phi": RATIO / LOG.phi})
    trace = read(path, time_ms="time_s", afr="phi")
    assert trace.phi == pytest.approx(LOG.phi, rel=1e-4) and trace.time_s[-1] == pytest.approx(4.46, abs=0.01)


def test_a_missing_column_is_named_with_what_is_there(tmp_path: Path) -> None:
    path = written(tmp_path / "t.csv", {"time_s": LOG.time_s, "O2": LOG.phi, "pedal": LOG.throttle})
    assert refused(path).splitlines() == [
        f"{path}, row 1: no column for throttle among time_s, O2, pedal; "
        "expected a heading such as throttle % or TPS deg; or name its column, as throttle=HEADING",
        f"{path}, row 1: no column for the mixture among time_s, O2, pedal; "
        "expected a heading such as phi, lambda or AFR; or name its column, as phi=HEADING",
    ]
    assert read(path, phi="O2", throttle_percent="pedal").phi == pytest.approx(LOG.phi, abs=1e-4)


def test_two_columns_that_may_be_meant_are_asked_about(tmp_path: Path) -> None:
    table = {"time_s": LOG.time_s, "tps": LOG.throttle, "Lambda 1": 1 / LOG.phi, "Lambda 2": 1.02 / LOG.phi}
    path = written(tmp_path / "t.csv", table)
    assert refused(path) == (
        f"{path}, row 1: several columns may be the mixture: Lambda 1, Lambda 2; expected one; "
        "name the one to read, as lambda=Lambda 1"
    )
    assert read(path, **{"lambda": "Lambda 2"}).phi == pytest.approx(LOG.phi / 1.02, abs=1e-4)


@pytest.mark.parametrize(
    ("key", "heading", "says"),
    [
        ("mixture", "phi", "mixture is no quantity of a trace; expected time, throttle, phi, lambda, afr, speed"),
        ("time_min", "time_s", "min is no unit of time here; expected time or time_s or time_ms or time_us"),
        ("phi", "phy", "there is no column phy; expected one of the file's headings; did you mean phi?"),
    ],
)
def test_a_column_named_wrongly_is_refused(tmp_path: Path, key: str, heading: str, says: str) -> None:
    assert says in refused(written(tmp_path / "t.csv", columns()), **{key: heading})


def test_text_among_the_figures_is_found_by_row_and_column(tmp_path: Path) -> None:
    path = file_of(tmp_path / "t.csv", LOG)
    rows = path.read_text().splitlines()
    rows[4] = rows[4].replace(rows[4].split(",")[2], "rich")
    path.write_text("\n".join(rows))
    assert refused(path) == (
        f"{path}, row 5, column phi: 'rich' is not a number; expected a number, or nothing where there is no reading"
    )


def test_a_trace_has_a_size(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("time_s,tps,phi\n" + "0.01,1,1\n" * 3)
    assert refused(path) == f"{path}: has 3 rows of readings; expected 20 to 200,000"
    path.write_text("time_s,tps,phi\n" + "1,1,1\n" * (MOST_ROWS + 1))
    assert refused(path) == f"{path}: has 200,001 rows of readings; expected 20 to 200,000"
    path.write_bytes(b"1,1,1\n" * (LARGEST_LOG_BYTES // 6 + 1))
    assert refused(path) == f"{path}: holds 10 MB; expected at most 10 MB"


def test_a_time_far_from_the_others_is_refused(tmp_path: Path) -> None:
    time_s = LOG.time_s.copy()
    time_s[-1] = 1e9
    assert refused(written(tmp_path / "t.csv", columns(time_s=time_s))).endswith(
        "s; expected at most 3600 s; cut out the run, and look for a row whose time is far from the others"
    )


def test_a_damaged_file_is_measured_or_refused_and_nothing_else(tmp_path: Path) -> None:
    whole = file_of(tmp_path / "whole.csv", logged("van", rate_hz=40.0)).read_bytes()
    path = tmp_path / "t.csv"
    outcomes = set()
    for seed in range(60):
        chance = random.Random(seed)
        content = bytearray(whole)
        for _ in range(chance.choice((1, 3, 30))):
            at = chance.randrange(len(content))
            action = chance.randrange(4)
            if action == 0:
                content[at] = chance.randrange(256)
            elif action == 1:
                del content[at : at + chance.choice((1, 40, 2000))]
            elif action == 2:
                content[at:at] = chance.choice((b",", b"\n", b"1e999", b'"', b"-", b";;;;", b"nan"))
            else:
                content[at:at] = content[max(0, at - 200) : at]
        path.write_bytes(bytes(content) or b" ")
        try:
            trace = read(path)
            assert np.all(np.diff(trace.time_s) > 0.0) and not np.any(trace.phi <= 0.0)
            measure_for_case(example("van"), path, lag_ms=80.0)
            outcomes.add("measured")
        except BadInput as error:
            assert str(path) in str(error)
            outcomes.add("refused")
    assert outcomes == {"measured", "refused"}


@pytest.mark.parametrize("odd", [1e308, -1.0, -1e308, 20_001.0])
def test_a_speed_that_no_engine_turns(odd: float, tmp_path: Path) -> None:
    """One or two are told and left out; a column of them is refused."""
    speed = np.asarray(LOG.speed).copy()
    speed[3] = speed[40] = odd
    trace = read(written(tmp_path / "some.csv", columns(rpm=speed)))
    assert f"2 of {len(speed)} speeds are beyond what an engine turns" in trace.notes
    assert np.isnan(trace.speed_rpm[[3, 40]]).all() and np.isfinite(trace.speed_rpm).sum() == len(speed) - 2
    text = refused(written(tmp_path / "all.csv", columns(rpm=np.full_like(speed, odd))))
    assert "column rpm: " in text and "speeds are beyond what an engine turns; expected 0 to 20000 rev/min" in text
