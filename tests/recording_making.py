"""Recordings as a phone or a logger would have made them, from the model's own pull: so the truth is known.

Nothing here is taken from the code that measures. A drive is made a thousand times a second: steady, the throttle
snapped open and held, let go, and again; a brake at the end. The phone lies in it anyhow, and hears the engine fire.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from configurator.arrays import Array
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.physics.lateness import AS_MODELLED, Lateness
from configurator.physics.pull import FeltPulls, Pulling
from configurator.slots.columns import Mount

FINE_S = 0.001
STEADY_S, HELD_S, LIFTED_S = 3.0, 3.0, 2.5
COAST_M_S2, BRAKE_M_S2 = -0.5, -3.5
CYLINDERS = 4


@dataclass(frozen=True)
class Truth:
    """What there is to be seen: pulls over the most of the best, at times from tip-in [s]; of these parts, and best.
    felt : the same as a driver feels it."""

    time_s: Array
    given: Array
    best: Array
    speed_rpm: Array
    felt: FeltPulls

    @property
    def delay_ms(self) -> float:
        return float(self.felt.delay_ms[0])


def truth_of(case: Case, engine: Lateness = AS_MODELLED) -> Truth:
    """The pull of what is fitted to a car of one pump circuit, in one engine."""
    circuit, fitted = case.circuits["front"], case.car.fitted_circuits["front"]
    slack = np.array([case.slack_mm("front", [False], [False]).item()])
    mount = Mount(fitted.lobe, fitted.phase_deg)
    shot = circuit.deliver([fitted.nozzle], [fitted.feed_screw], [fitted.pump], [mount], slack)
    supply = circuit.verdict.supply
    responses, missed = supply.responses(circuit.flow_kg_s(shot)), 1.0 - circuit.film_share([fitted.nozzle])
    phi = responses.phi(supply.base(engine.main_circuit), missed / engine.first_fuel)
    felt = circuit.verdict.felt_in(responses, missed, engine)
    pulling = Pulling(circuit.event, lag_s=case.car.assumed.pull_lag_s)
    return Truth(pulling.time_s, pulling.given(phi)[:, 0], pulling.best, case.car.tip_in.air.speed_rpm, felt)


@dataclass(frozen=True)
class Driven:
    """A drive at even times [s]: acceleration forward [m/s2], engine speed [rev/min], throttle [%]; the tip-ins [s]."""

    time_s: Array
    forward: Array
    speed_rpm: Array
    throttle: Array
    tip_ins: Array


def driven(truths: Sequence[Truth], level_m_s2: float = 1.6, opening_s: float = 0.2, luck: int = 1) -> Driven:
    """One tip-in after another."""
    random = np.random.default_rng(luck)
    starts, clock = [], 0.0
    for _ in truths:
        starts.append(clock + STEADY_S + random.uniform(0.0, 0.7))
        clock = starts[-1] + HELD_S + LIFTED_S
    time = np.arange(0.0, clock + 3.0, FINE_S)
    forward, speed, throttle = np.zeros_like(time), np.full_like(time, truths[0].speed_rpm[0]), np.full_like(time, 8.0)
    for start, truth in zip(starts, truths, strict=True):
        since = time - start
        held = (since >= 0.0) & (since < HELD_S)
        forward[held] = level_m_s2 * np.interp(since[held], truth.time_s, truth.given)
        speed[held] = np.interp(since[held], truth.time_s, truth.speed_rpm)
        throttle[held] = 8.0 + 72.0 * np.clip(since[held] / opening_s, 0.0, 1.0)
        after = (since >= HELD_S) & (since < HELD_S + LIFTED_S)
        fell = np.clip((since[after] - HELD_S) / 0.3, 0.0, 1.0)
        forward[after] = forward[held][-1] * (1.0 - fell) + COAST_M_S2 * fell
        back = np.clip((since[after] - HELD_S - 1.2) / 0.8, 0.0, 1.0)
        forward[after] *= 1.0 - back
        speed[after] = np.interp(since[after], [HELD_S, HELD_S + LIFTED_S], [speed[held][-1], truth.speed_rpm[0]])
    braking = np.clip((time - clock) / 0.4, 0.0, 1.0) * (time < clock + 2.0)
    forward += BRAKE_M_S2 * braking
    return Driven(time, forward, speed, throttle, np.array(starts))


@dataclass(frozen=True)
class Phone:
    """How a phone records: times a second, noise and firing vibration [m/s2], drift [m/s2 a minute], share of rows
    lost, how it lies (a rotation's seed; None for flat, forward along y), whether upside down, swing of its holder."""

    rate_hz: float = 100.0
    noise: float = 0.05
    firing: float = 0.3
    drift: float = 0.0
    lost: float = 0.0
    lies: int | None = 1
    upside_down: bool = False
    gravity: bool = True
    uneven: float = 0.1
    swings_hz: float = 0.0
    swings: float = 0.0
    luck: int = 1


def turned(phone: Phone) -> Rotation:
    """From (across, forward, up) of the car to the phone's axes."""
    lies = Rotation.identity() if phone.lies is None else Rotation.random(random_state=phone.lies)
    return lies * Rotation.from_euler("y", 180, degrees=True) if phone.upside_down else lies


def recorded(drive: Driven, phone: Phone = Phone()) -> dict[str, Array]:
    """Columns t [s], and x, y, z [m/s2]."""
    random = np.random.default_rng(phone.luck)
    time, fired = drive.time_s, np.cumsum(drive.speed_rpm / 60.0 * CYLINDERS / 2.0) * FINE_S
    shaken = phone.firing * np.sin(2.0 * np.pi * fired)
    forward = drive.forward + 0.3 * shaken + phone.drift * time / 60.0
    forward = forward + phone.swings * np.sin(2.0 * np.pi * phone.swings_hz * time)
    up = (9.80665 if phone.gravity else 0.0) + shaken + 0.02 * drive.forward
    across = 0.2 * shaken + 0.05 * np.sin(2.0 * np.pi * time / 7.0)
    axes = turned(phone).apply(np.column_stack([across, forward, up]))
    at = np.arange(0.0, time[-1], 1.0 / phone.rate_hz)
    at = np.sort(at + phone.uneven / phone.rate_hz * random.uniform(-1.0, 1.0, len(at)))
    at = at[random.random(len(at)) >= phone.lost]
    columns = {name: np.interp(at, time, axis) for name, axis in zip("xyz", axes.T, strict=True)}
    return {"t": at} | {name: one + phone.noise * random.standard_normal(len(at)) for name, one in columns.items()}


def as_table(path: Path, columns: dict[str, Array], decimals: int = 5) -> Path:
    """Columns as CSV; what is not a number is an empty cell."""
    rows = [",".join(columns)]
    rows += [
        ",".join("" if np.isnan(one) else f"{one:.{decimals}f}" for one in row)
        for row in zip(*columns.values(), strict=True)
    ]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def as_json_lines(path: Path, columns: dict[str, Array]) -> Path:
    """Columns as JSON lines, the acceleration nested."""
    lines = []
    for t, *axes in zip(*columns.values(), strict=True):
        lines.append(json.dumps({"time": round(float(t), 4), "acceleration": dict(zip("xyz", axes, strict=True))}))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def example_recording(path: Path) -> Path:
    """The recording that is shipped with the example cars: the roadster, a little wetter than the model has it."""
    shipped = shipped_catalog_dir()
    case = Case.of(load_vehicle(shipped / "examples" / "roadster.toml"), load_catalog(shipped))
    drive = driven([truth_of(case, Lateness(1.35, 1.1))] * 4, level_m_s2=4.6, luck=7)
    columns = recorded(drive, Phone(rate_hz=50.0, noise=0.04, firing=0.2, lies=5, luck=7))
    named = {f"acceleration {name} [m/s2]": values for name, values in columns.items() if name != "t"}
    return as_table(path, {"time [s]": columns["t"]} | named, decimals=2)


if __name__ == "__main__":
    print(example_recording(shipped_catalog_dir() / "examples" / "roadster-pull.csv"))
