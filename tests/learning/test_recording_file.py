"""Recordings from files: what a column is taken for, units said and not said, and figures that are not what is said."""

import json
import random
from pathlib import Path

import numpy as np
import pytest
from random_cars import FRONT, case_with, few_parts, random_car
from recording_making import Phone, as_json_lines, as_table, driven, recorded, truth_of

from configurator.arrays import Array
from configurator.errors import BadInput
from configurator.learning.recording.recording_columns import RECORDING_COLUMNS
from configurator.learning.recording.recording_file import Recording, read_recording

TRUTH = truth_of(case_with(random_car(3), few_parts(), FRONT))
DRIVE = driven([TRUTH, TRUTH])
LOG = recorded(DRIVE, Phone(rate_hz=50.0))
AXES = {name: LOG[name] for name in "xyz"}
SPEED = np.interp(LOG["t"], DRIVE.time_s, 8.0 + np.cumsum(DRIVE.forward) * 1e-3)


def table(**overruled: Array) -> dict[str, Array]:
    return {"t": LOG["t"], **AXES} | overruled


def refused(path: Path, **named: str) -> str:
    with pytest.raises(BadInput) as found:
        read_recording(path, named)
    return str(found.value)


@pytest.mark.parametrize(
    ("heading", "quantity", "unit"),
    [
        ("ax", "x", ""), ("acc_y [m/s2]", "y", "ms2"), ("Acceleration z (m/s^2)", "z", "ms2"), ("gFx", "x", ""),
        ("accelerometer-y [g]", "y", "g"), ("linear acceleration x", "x", ""), ("z", "z", ""),
        ("accel.z (mg)", "z", "mg"), ("accelerationX", "x", ""),
        ("Longitudinal acceleration [g]", "forward", "g"), ("G long", "forward", "g"),
        ("speed km/h", "speed", "kmh"),
        ("GPS speed (mph)", "speed", "mph"), ("velocity m/s", "speed", "ms"),
        ("Engine speed [rev/min]", "rpm", "rpm"), ("RPM", "rpm", "rpm"), ("seconds_elapsed", "time", "s"),
        ("time ns", "time", "ns"), ("TPS %", "throttle", "percent"),
    ],
)  # fmt: skip
def test_a_heading_says_quantity_and_unit(heading: str, quantity: str, unit: str) -> None:
    column = RECORDING_COLUMNS.recognised(heading)
    assert column is not None and (column.quantity, column.unit) == (quantity, unit)


@pytest.mark.parametrize(
    "heading",
    [
        "gyro x",
        "rotation rate z (rad/s)",
        "magnetic y",
        "gravity x",
        "orientation z",
        "latitude",
        "lateral g",
        "longitude",
    ],
)
def test_what_is_no_pull_is_left_alone(heading: str) -> None:
    assert RECORDING_COLUMNS.recognised(heading) is None


@pytest.mark.parametrize(
    ("factor", "heading", "says"),
    [
        (1.0, "a{} [m/s2]", "in m/s2, gravity in it"),
        (1.0, "a{}", "in m/s2 by their size, as no unit is said, gravity"),
        (1 / 9.80665, "a{}", "in g by their size"), (1e3 / 9.80665, "a{} (mg)", "in mg, gravity in it"),
    ],
)  # fmt: skip
def test_every_unit_becomes_the_same_acceleration(tmp_path: Path, factor: float, heading: str, says: str) -> None:
    columns = {heading.format(name): factor * values for name, values in AXES.items()}
    read = read_recording(as_table(tmp_path / "a.csv", {"t [s]": LOG["t"], **columns}, 7))
    assert read.values == pytest.approx(np.column_stack(list(AXES.values())), abs=2e-3)
    assert read.has_gravity and any(says in one for one in read.taken)


def test_without_gravity_a_small_pull_is_in_g_and_a_large_one_in_m_s2(tmp_path: Path) -> None:
    free = recorded(DRIVE, Phone(rate_hz=50.0, gravity=False, firing=0.0))
    for factor, unit in ((1.0, "m/s2"), (1 / 9.80665, "g")):
        columns = {name: free[name] * (1.0 if name == "t" else factor) for name in "txyz"}
        read = read_recording(as_table(tmp_path / "a.csv", columns, 7))
        assert (
            not read.has_gravity and f"in {unit} by their size, as no unit is said, gravity not in it" in read.taken[1]
        )
        assert read.values[:, 0] == pytest.approx(free["x"], abs=2e-3)


def test_a_unit_that_cannot_be_meant_is_refused_with_the_one_it_looks_like(tmp_path: Path) -> None:
    said = {f"a{name} [g]": values for name, values in AXES.items()}
    words = refused(as_table(tmp_path / "a.csv", {"t": LOG["t"], **said}))
    assert "column ax [g], ay [g], az [g]: its middle size is " in words and "looks like m/s2" in words
    assert "name the column as x_ms2=ax [g]" in words
    assert "are said to be in g and m/s2; expected one unit" in refused(tmp_path / "a.csv", x_ms2="ax [g]")
    read = read_recording(tmp_path / "a.csv", {"x_ms2": "ax [g]", "y_ms2": "ay [g]", "z_ms2": "az [g]"})
    assert read.has_gravity


@pytest.mark.parametrize(
    ("heading", "factor", "unit"),
    [
        ("speed [km/h]", 3.6, "km/h"),
        ("speed mph", 1 / 0.44704, "mph"),
        ("v speed (m/s)", 1.0, "m/s"),
        ("speed", 3.6, "km/h"),
    ],
)
def test_every_unit_becomes_the_same_speed(tmp_path: Path, heading: str, factor: float, unit: str) -> None:
    read = read_recording(as_table(tmp_path / "a.csv", {"t": LOG["t"], heading: factor * SPEED}))
    assert read.of == "car speed" and read.values[:, 0] == pytest.approx(SPEED, abs=1e-4)
    assert f"in {unit}" in read.taken[1] and ("no unit is said" in read.taken[1]) == (heading == "speed")


def test_the_best_is_read_the_rest_left_aside_and_what_is_named_goes_first(tmp_path: Path) -> None:
    rpm = np.interp(LOG["t"], DRIVE.time_s, DRIVE.speed_rpm)
    file = as_table(tmp_path / "a.csv", table(rpm=rpm, tps=rpm, other=rpm))
    read = read_recording(file)
    assert read.of == "three axes" and read.throttle is not None
    assert read.taken[2:] == ("throttle: tps; only how it moves counts", "left aside: rpm")
    assert read_recording(file, {"rpm": "other"}).of == "engine speed"


def same(one: Recording, other: Recording) -> bool:
    return np.allclose(one.values, other.values, atol=1e-3) and np.allclose(one.time_s, other.time_s, atol=2e-3)


def test_json_lines_dates_and_rows_out_of_order_say_the_same(tmp_path: Path) -> None:
    plain = read_recording(as_table(tmp_path / "a.csv", table()))
    assert same(plain, read_recording(as_json_lines(tmp_path / "a.jsonl", table())))
    rows = (tmp_path / "a.csv").read_text().splitlines()
    lists = [json.dumps({"time": float(t), "acc": [float(x), float(y), float(z)]}) for t, x, y, z in
             (row.split(",") for row in rows[1:])]  # fmt: skip
    (tmp_path / "b.jsonl").write_text("\n".join(lists))
    assert same(plain, read_recording(tmp_path / "b.jsonl"))
    dated = [f"2026-05-02T10:15:{t:09.6f},{rest}" for t, rest in
             ((float(row.partition(",")[0]), row.partition(",")[2]) for row in rows[1:]) if t < 59]  # fmt: skip
    (tmp_path / "c.csv").write_text("\n".join(["timestamp,x,y,z", *dated]))
    read = read_recording(tmp_path / "c.csv")
    assert np.allclose(read.values, plain.values[: len(read.values)], atol=1e-3)
    swapped = [*rows[:5], rows[6], rows[5], *rows[7:]]
    (tmp_path / "d.csv").write_text("\n".join(swapped))
    read = read_recording(tmp_path / "d.csv")
    assert same(plain, read) and read.notes == ("rows were out of order and were sorted by their time",)


def test_what_is_wrong_is_named_by_file_row_and_column(tmp_path: Path) -> None:
    rows = as_table(tmp_path / "a.csv", table()).read_text().splitlines()
    file = tmp_path / "b.csv"

    def words(*lines: str) -> str:
        file.write_text("\n".join(lines))
        return refused(file)

    assert "b.csv, row 4, column x: 'much' is not a number; expected a number" in words(
        *rows[:3], "0.05,much,1,9", *rows[4:]
    )
    assert "no column for time among q, x, y, z" in words("q,x,y,z", *rows[1:])
    assert "has acceleration in x and y only among t, x, y, up" in words("t,x,y,up", *rows[1:])
    assert "no column for a pull among t, p, q, r; expected acceleration" in words("t,p,q,r", *rows[1:])
    assert "rows of readings; expected 20 to 200,000" in words(*rows[:9])
    slow = [f"{float(row.partition(',')[0]) * 20},{row.partition(',')[2]}" for row in rows[1:]]
    assert "too slow or too fast for a tip-in; expected samples 0.5 to 125 ms apart" in words("t [s],x,y,z", *slow)
    file.write_text('{"t": 1, "x": 2}\nno object\n[1]\n')
    assert "b.csv, row 2: 'no object' is no JSON object" in refused(file) and "row 3" in refused(file)
    assert "q is no quantity of a recording of the pull" in refused(tmp_path / "a.csv", q="x")
    assert "furlong is no unit of speed here; expected speed or speed_kmh" in refused(
        tmp_path / "a.csv", speed_furlong="x"
    )


def test_dropouts_are_told_and_too_many_refused(tmp_path: Path) -> None:
    chance = np.random.default_rng(1)
    lost = np.where(chance.random(len(LOG["t"])) < 0.1, np.nan, LOG["y"])
    read = read_recording(as_table(tmp_path / "a.csv", table(y=lost)))
    assert (
        len(read.time_s) == np.isfinite(lost).sum()
        and "rows have no reading in x, y, z, or one that no car has" in read.notes[0]
    )
    gone = np.where(chance.random(len(LOG["t"])) < 0.7, np.nan, LOG["y"])
    assert "expected at least 20, and every other row" in refused(as_table(tmp_path / "a.csv", table(y=gone)))


@pytest.mark.parametrize("seed", range(40))
def test_a_spoilt_file_is_read_or_refused_and_never_breaks(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    make = as_json_lines if seed % 2 else as_table
    text = make(tmp_path / "a", {name: values[:60] for name, values in table().items()}).read_text()
    odd = [
        "",
        ",",
        '"',
        "nan",
        "1e400",
        "-1",
        "\n",
        "{",
        "}",
        "[1,2]",
        "é",
        "\u202e",
        "NaN",
        "1,5",
        "null",
        ":",
        "10:15:00",
    ]
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(text))
        text = text[:at] + chance.choice(odd) + text[at + chance.randint(0, 8) :]
    (tmp_path / "a").write_text(text)
    try:
        assert isinstance(read_recording(tmp_path / "a"), Recording)
    except BadInput as error:
        assert "Traceback" not in str(error) and all(fault.file for fault in error.faults)
