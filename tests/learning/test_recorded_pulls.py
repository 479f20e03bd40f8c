"""What is measured in a recording, on recordings of the model's own pull on random cars: so the truth is known."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from random_cars import case_with, few_parts, random_car
from recording_making import (
    Driven,
    Phone,
    Truth,
    as_table,
    driven,
    recorded,
    truth_of,
)

from configurator.arrays import Array
from configurator.errors import BadInput
from configurator.judging.case import Case
from configurator.learning.recording.recording import MeasuredPull, measure_pull_for_case
from configurator.learning.recording.smoothing import Evenly, smoothed, swing_in
from configurator.learning.recording.tip_ins import is_forward
from configurator.physics.lateness import Lateness
from configurator.physics.pull_seen import seen_in, smoothed_at


@cache
def manual(seed: int) -> Case:
    """A random car with a clutch and a nozzle in proportion."""
    chance = np.random.default_rng(seed)
    cars = (random_car(one) for one in range(1000 * seed, 1000 * seed + 1000))
    car = next(one for one in cars if one["driveline"]["transmission"] == "manual")
    litres = car["engine"]["displacement_cc"] / 1e3
    size = float(np.clip(chance.choice([0.42, 0.5, 0.6, 0.7]) * np.sqrt(litres / 3.0), 0.34, 1.3))
    nozzle = {"diameter": size, "style": "straight", "orifices": 2, "length_mm": 3.0}
    fitted: dict[str, Any] = {"nozzle": nozzle, "feed_screw": "screw-wide", "pump": "pump-3cc", "lobe": "lobe-fell",
                              "phase_deg": 0}  # fmt: skip
    return case_with(car, few_parts(), fitted)


@cache
def truth(seed: int) -> Truth:
    late = np.exp(0.3 * np.random.default_rng(seed).normal(size=2))
    return truth_of(manual(seed), Lateness(*late.clip(0.5, 2.0).tolist()))


def drive(seed: int, tip_ins: int = 4, level: float = 2.0) -> Driven:
    return driven([truth(seed)] * tip_ins, level, luck=seed)


def measured(tmp_path: Path, seed: int, columns: dict[str, Array]) -> MeasuredPull:
    return measure_pull_for_case(manual(seed), as_table(tmp_path / "pull.csv", columns))


def wanted(found: MeasuredPull, seed: int) -> tuple[float, float]:
    """The rise [ms] and sag [%] that such a recording shows of the true pull."""
    pull = smoothed_at(found.pull.smoothed_ms / 1e3) @ truth(seed).given[:, None]
    seen = seen_in(pull, 0.0 if found.pull.from_throttle else None)
    return float(seen.rise_ms[0]), float(seen.sag_percent[0])


def off(found: MeasuredPull, seed: int) -> Array:
    """How far each tip-in lies off the truth, in its own doubts: (tip-ins, 2)."""
    rise, sag = wanted(found, seed)
    return np.array([
        ((one.rise_ms - rise) / one.rise_doubt_ms, (one.sag_percent - sag) / one.sag_doubt_percent)
        for one in found.pull.tip_ins
    ])  # fmt: skip


PHONES = (
    Phone(), Phone(rate_hz=50.0, firing=0.1), Phone(rate_hz=400.0, noise=0.1), Phone(rate_hz=200.0, firing=0.6),
    Phone(upside_down=True, lies=4), Phone(lies=9, gravity=False), Phone(drift=0.4, lies=3), Phone(lost=0.15, lies=6),
    Phone(uneven=0.45, lies=2), Phone(lies=None),
)  # fmt: skip


def test_rise_and_sag_are_found_within_their_doubts_however_the_phone_lies(tmp_path: Path) -> None:
    far: list[Array] = []
    for seed in range(20):
        found = measured(tmp_path, seed, recorded(drive(seed), replace(PHONES[seed % len(PHONES)], luck=seed)))
        assert len(found.pull.tip_ins) == 4, (seed, found.notes)
        far.append(off(found, seed))
        for one, start in zip(found.pull.tip_ins, drive(seed).tip_ins, strict=True):
            assert -0.02 < one.at_s - start < 0.12
    spread = np.sqrt((np.vstack(far) ** 2).mean(axis=0))
    assert (spread < 1.7).all(), spread
    assert (np.abs(np.vstack(far)) < 3.0).mean() > 0.95


def test_the_doubt_grows_with_the_noise_and_more_is_smoothed(tmp_path: Path) -> None:
    for seed in range(4):
        quiet, loud = (measured(tmp_path, seed, recorded(drive(seed), Phone(noise=noise))) for noise in (0.02, 0.5))
        doubts = [np.mean([one.sag_doubt_percent for one in found.pull.tip_ins]) for found in (quiet, loud)]
        assert doubts[1] > 1.5 * doubts[0] and loud.pull.smoothed_ms > quiet.pull.smoothed_ms


def with_speed(of: Driven, rate_hz: float, noise: float, luck: int = 1) -> tuple[Array, Array, Array]:
    """Times [s], speed of the car [m/s] and of the engine [rev/min], as read so many times a second."""
    random = np.random.default_rng(luck)
    speed = 6.0 + np.cumsum(of.forward) * 1e-3
    at = np.arange(0.0, of.time_s[-1], 1.0 / rate_hz)
    read = np.interp(at, of.time_s, speed) + noise * random.standard_normal(len(at))
    return at, read, np.interp(at, of.time_s, 1200.0 + 130.0 * (speed - 6.0)) + 3.0 * random.standard_normal(len(at))


@pytest.mark.parametrize("rate_hz", [10.0, 25.0, 100.0])
def test_the_speed_of_the_car_says_the_same_with_more_doubt(tmp_path: Path, rate_hz: float) -> None:
    far = []
    for seed in range(6):
        at, speed, _ = with_speed(drive(seed), rate_hz, 0.01)
        found = measured(tmp_path, seed, {"time": at, "speed [m/s]": speed})
        far.append(off(found, seed))
        assert any("readings a second are few" in note for note in found.notes) == (rate_hz < 20.0)
    assert np.sqrt((np.vstack(far) ** 2).mean()) < 2.2


def test_the_speed_of_the_engine_says_the_same(tmp_path: Path) -> None:
    far = []
    for seed in range(6):
        at, _, rpm = with_speed(drive(seed), 50.0, 0.0)
        far.append(off(measured(tmp_path, seed, {"time": at, "rpm": rpm}), seed))
    assert np.sqrt((np.vstack(far) ** 2).mean()) < 2.2


def test_with_the_throttle_the_whole_delay_is_seen(tmp_path: Path) -> None:
    """The rise is counted from the throttle on, and less the best's it is the delay that is felt."""
    for seed in range(8):
        columns = recorded(drive(seed), Phone(luck=seed))
        columns["TPS %"] = np.interp(columns["t"], drive(seed).time_s, drive(seed).throttle)
        found = measured(tmp_path, seed, columns)
        assert found.pull.from_throttle and not any("nobody logged" in note for note in found.notes)
        rise = float(np.mean([one.rise_ms for one in found.pull.tip_ins]))
        assert rise == pytest.approx(wanted(found, seed)[0], abs=14)
        own = truth(seed)
        if np.mean(own.given[-60:]) > 0.99 and wanted(found, seed)[1] < 10:
            best = smoothed_at(found.pull.smoothed_ms / 1e3) @ own.best[:, None]
            assert rise - seen_in(best, 0.0).rise_ms[0] == pytest.approx(own.delay_ms, abs=20)


def test_a_brake_let_go_is_no_tip_in_and_turns_the_phone_about_no_more(tmp_path: Path) -> None:
    """The drive ends with a brake harder than any pull: forward stays forward, and there are four tip-ins."""
    for seed in range(6):
        found = measured(tmp_path, seed, recorded(drive(seed, level=1.2), Phone(lies=seed + 20)))
        assert len(found.pull.tip_ins) == 4 and found.level == pytest.approx(1.2, rel=0.15)


def test_a_crest_of_the_road_is_no_pull(tmp_path: Path) -> None:
    """Where gravity is in the recording, what is upright is left out, however large."""
    of, columns = drive(2), recorded(drive(2), Phone(lies=None))
    crest = sum(4.0 * np.exp(-(((columns["t"] - start - 4.0) / 0.5) ** 2)) for start in of.tip_ins)
    found = measured(tmp_path, 2, columns | {"z": columns["z"] + crest})
    assert len(found.pull.tip_ins) == 4 and found.level == pytest.approx(2.0, rel=0.1)


def test_what_begins_at_half_a_pull_is_left_out(tmp_path: Path) -> None:
    """The throttle opened by half, held, and then opened whole is no tip-in from a steady drive."""
    of = drive(2)
    half = 0.9 * sum(
        np.clip((of.time_s - start + 1.6) / 0.1, 0, 1) * (of.time_s < start + 0.3) for start in of.tip_ins[:2]
    )
    raised = replace(of, forward=np.maximum(of.forward, half))
    found = measured(tmp_path, 2, recorded(raised, Phone(noise=0.02, firing=0.05)))
    starts = [one.at_s for one in found.pull.tip_ins]
    assert len([at for at in starts if at > of.tip_ins[2] - 0.5]) == 2
    assert not any(abs(at - start) < 0.4 for at in starts for start in of.tip_ins[:2])


def test_one_tip_in_is_enough(tmp_path: Path) -> None:
    assert len(measured(tmp_path, 2, recorded(drive(2, 1), Phone())).pull.tip_ins) == 1


def between(columns: dict[str, Array], keep: Array) -> dict[str, Array]:
    return {name: values[keep] for name, values in columns.items()}


def refused(tmp_path: Path, seed: int, columns: dict[str, Array]) -> str:
    with pytest.raises(BadInput) as found:
        measured(tmp_path, seed, columns)
    return str(found.value)


def test_what_cannot_be_told_is_said_and_the_rest_measured(tmp_path: Path) -> None:
    of, columns = drive(2), recorded(drive(2), Phone())
    second, third = of.tip_ins[1:3]
    gap = (columns["t"] < second + 0.1) | (columns["t"] > second + 0.5)
    found = measured(tmp_path, 2, between(columns, gap))
    assert len(found.pull.tip_ins) == 3 and "left out: there is a gap in the readings" in " ".join(found.notes)
    begun = columns["t"] > of.tip_ins[0] - 0.3
    found = measured(tmp_path, 2, between(columns, begun))
    assert len(found.pull.tip_ins) == 3
    pause = columns["t"] + 300.0 * (columns["t"] > third - 2.0)
    assert len(measured(tmp_path, 2, columns | {"t": pause}).pull.tip_ins) == 4


def test_a_glitch_is_no_reading(tmp_path: Path) -> None:
    columns = recorded(drive(2), Phone())
    spoilt = columns["y"].copy()
    spoilt[::97] = 1e5
    whole, found = measured(tmp_path, 2, columns), measured(tmp_path, 2, columns | {"y": spoilt})
    rises = [np.mean([one.rise_ms for one in run.pull.tip_ins]) for run in (whole, found)]
    assert rises[1] == pytest.approx(rises[0], abs=5) and "or one that no car has" in " ".join(found.notes)


@pytest.mark.parametrize("seed", range(12))
def test_a_spoilt_recording_is_measured_or_refused_and_never_breaks(tmp_path: Path, seed: int) -> None:
    random = np.random.default_rng(seed)
    columns = {name: values.copy() for name, values in recorded(drive(2, 2), Phone(rate_hz=50.0)).items()}
    for _ in range(3):
        name, at = str(random.choice(list(columns))), int(random.integers(len(columns["t"])))
        own = slice(at, at + int(random.integers(1, 600)))
        values = columns[name]
        values[own] = [np.nan, values[at], -values[at], 1e6, 50.0 * values[at]][int(random.integers(5))]
    try:
        assert measured(tmp_path, 2, columns).pull.tip_ins
    except BadInput as error:
        assert str(error)


def test_short_unsteady_and_missing_pulls_are_named(tmp_path: Path) -> None:
    own = truth(2)
    short = driven([own], 2.0)
    cut = short.time_s > short.tip_ins[0] + 0.9
    stopped = replace(short, forward=np.where(cut, -0.2, short.forward))
    assert "the pull is over after" in refused(tmp_path, 2, recorded(stopped, Phone()))
    still = replace(short, forward=np.zeros_like(short.forward))
    assert "expected a tip-in: more than 0.25 m/s2" in refused(tmp_path, 2, recorded(still, Phone(firing=0.0)))
    rough = Phone(noise=0.01, swings_hz=1.3, swings=1.2)
    words = refused(tmp_path, 2, recorded(short, rough))
    assert "no steady stretch" in words or "the noise before the pull" in words or "no tip-in is seen" in words


def test_a_holder_that_swings_is_seen_in_the_spectrum(tmp_path: Path) -> None:
    for hertz in (4.0, 6.0, 12.0):
        columns = recorded(drive(3), Phone(swings_hz=hertz, swings=0.5, firing=0.05))
        found = measured(tmp_path, 3, columns)
        said = " ".join(found.notes)
        assert f"something swings {hertz:.0f} times a second" in said
        assert ("sags smaller than that are not told" in said) == (hertz < 8.0)
    calm = measured(tmp_path, 3, recorded(drive(3), Phone(firing=0.05)))
    assert "swings" not in " ".join(calm.notes)
    doubt = [np.mean([one.sag_doubt_percent for one in run.pull.tip_ins]) for run in (
        calm, measured(tmp_path, 3, recorded(drive(3), Phone(swings_hz=4.0, swings=0.5, firing=0.05))))]  # fmt: skip
    assert doubt[1] > 10.0 > doubt[0]


def test_another_gear_or_a_hill_is_seen_in_the_level(tmp_path: Path) -> None:
    car = manual(2)
    air, line = car.car.tip_in.air, car.vehicle.driveline
    assert line.overall_ratio is not None and line.wheel_radius_m is not None
    gained = np.interp(1.8, air.time_s, air.speed_rpm) - np.interp(1.0, air.time_s, air.speed_rpm)
    expected = gained / 0.8 * np.pi / 30.0 / line.overall_ratio * line.wheel_radius_m
    for times, told in ((1.0, False), (0.45, True)):
        found = measured(tmp_path, 2, recorded(drive(2, level=float(times * expected)), Phone(noise=0.02, firing=0.05)))
        assert any("is it the gear of the complaint" in note for note in found.notes) == told


@pytest.mark.parametrize(
    ("transmission", "columns", "words"),
    [("converter", ("rpm",), "a converter lets flare"), ("free", ("x", "y", "z"), "the car stands")],
)
def test_a_recording_that_cannot_show_the_pull_is_refused(
    tmp_path: Path, transmission: str, columns: Sequence[str], words: str
) -> None:
    cars = (random_car(seed) for seed in range(100))
    car = next(one for one in cars if one["driveline"]["transmission"] == "converter")
    if transmission == "free":
        car = car | {"driveline": {"transmission": "free"}}
    at, _, rpm = with_speed(drive(2), 50.0, 0.0)
    log = {"t": at, "rpm": rpm} if columns == ("rpm",) else recorded(drive(2), Phone(rate_hz=50.0))
    with pytest.raises(BadInput, match=words):
        measure_pull_for_case(case_with(car, few_parts()), as_table(tmp_path / "a.csv", log))


def test_the_smoothing_has_no_lag_and_is_a_bell() -> None:
    impulse = np.zeros(2001)
    impulse[1000] = 1.0
    for smoothing_s in (0.03, 0.1):
        own = smoothed(impulse, 0.0025, smoothing_s)
        time = 0.0025 * (np.arange(2001) - 1000)
        bell = np.exp(-0.5 * (time / smoothing_s) ** 2)
        assert np.argmax(own) == 1000 and own == pytest.approx(bell / bell.sum(), abs=0.06 * bell.max() / bell.sum())


def test_no_swing_is_seen_in_noise() -> None:
    random = np.random.default_rng(5)
    seen = [swing_in(random.standard_normal(4000), 0.01, 100.0) for _ in range(20)]
    assert sum(one is not None for one in seen) <= 1


def test_forward_is_where_the_tip_ins_are() -> None:
    of = drive(4)
    every = slice(None, None, 10)
    pull = Evenly(of.time_s[every], of.forward[every, None])
    assert is_forward(pull) and not is_forward(Evenly(pull.time_s, -pull.values))
