"""Traces as a logger would have written them, from the model's own mixture: so the truth is known.

Nothing here is taken from the code that measures: the sensor is stepped through in half milliseconds.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from configurator.arrays import Array
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.learning.trace.trace_model import ModelTrace, model_trace

EXAMPLES = ("roadster", "tow-truck", "van", "hill-climber")
LAG_S = 0.08
STEP_S = 0.0005


@cache
def example(name: str) -> Case:
    catalog = shipped_catalog_dir()
    return Case.of(load_vehicle(catalog / "examples" / f"{name}.toml"), load_catalog(catalog))


@cache
def truth(name: str) -> ModelTrace:
    return model_trace(example(name))


@dataclass(frozen=True)
class Logged:
    """Columns of a trace: time from the start of the file [s], throttle [%], phi as read, speed [rev/min]."""

    time_s: Array
    throttle: Array
    phi: Array
    speed: Array


def logged(
    name: str,
    *,
    rate_hz: float = 100.0,
    noise: float = 0.01,
    lag_s: float = LAG_S,
    lost: float = 0.0,
    before_s: float = 1.5,
    after_s: float = 3.0,
    seed: int = 1,
    delay_s: float = 0.0,
) -> Logged:
    """An example's tip-in as logged after some idling: lagging, with noise, a share of the readings lost."""
    random = np.random.default_rng(seed)
    case, model = example(name), truth(name)
    clock = np.arange(-before_s, after_s, STEP_S)
    idle = case.car.assumed.idle_phi
    mixture = np.interp(clock - delay_s, model.time_ms / 1e3, model.phi, left=idle)
    keep = np.exp(-STEP_S / lag_s) if lag_s else 0.0
    # Step by step: keep of the reading before, the rest of the mixture now
    shown = lfilter([1.0 - keep], [1.0, -keep], mixture, zi=[keep * mixture[0]])[0]
    time = np.arange(-before_s + random.uniform(0.0, 1.0 / rate_hz), after_s - 0.01, 1.0 / rate_hz)
    phi = np.interp(time, clock, shown) + noise * random.standard_normal(len(time))
    phi[random.random(len(time)) < lost] = np.nan
    angle = np.interp(time, case.car.tip_in.air.time_s, case.car.tip_in.throttle_deg / 82.0 * 100.0)
    speed = np.interp(time, case.car.tip_in.air.time_s, case.car.tip_in.air.speed_rpm)
    throttle = angle + 0.4 * random.standard_normal(len(time))
    return Logged(time + before_s, throttle, phi, speed + 8.0 * random.standard_normal(len(time)))


def written(path: Path, columns: dict[str, Array], delimiter: str = ",", decimals: int = 5) -> Path:
    """A table of these columns; a reading that is not a number is an empty cell."""
    rows = [delimiter.join(columns)]
    for row in zip(*columns.values(), strict=True):
        rows.append(delimiter.join("" if np.isnan(value) else f"{value:.{decimals}f}" for value in row))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def file_of(path: Path, log: Logged) -> Path:
    """A trace in the units that headings say plainly."""
    return written(path, {"time_s": log.time_s, "throttle %": log.throttle, "phi": log.phi, "rpm": log.speed})
