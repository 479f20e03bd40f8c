"""Readings at even times, smoothed without a lag, and what swings in them.

A Bessel filter of the fourth order, run forward and then backward, is very nearly a bell: no lag, no overshoot. Source
of the filters and of the spectrum (Welch's): scipy.signal.
"""

from dataclasses import dataclass
from importlib.util import find_spec

import numpy as np

from configurator.arrays import Array
from configurator.errors import TipinError

INSTALL_RECORDING = "pip install '.[recording]' in tipin's folder, into its environment"
FINEST_STEP_S, COARSEST_STEP_S = 0.0025, 0.01
ORDER = 4
HALF_AT = 0.18739
"""Frequency at which a bell lets half of a swing through, times its standard deviation: sqrt(2 ln 2) / (2 pi)."""
SWING_HZ = (3.0, 20.0)
"""Where holders swing and cars jerk on their drivelines; what an idling engine fires at lies above (assumed)."""
SLOWER_S = 0.08
"""What is slower than a bell of that standard deviation is the pull itself, and no swing (assumed)."""
SWING_STANDS_OUT = 8.0
"""Times the middle of the spectrum between those ends."""
SPECTRUM_S = 2.0
"""Length of the stretches that the spectrum is the mean of: it tells half a hertz apart."""


@dataclass(frozen=True)
class Evenly:
    """Readings at even times, (m,) and (m, k)."""

    time_s: Array
    values: Array

    @property
    def step_s(self) -> float:
        return float(self.time_s[1] - self.time_s[0])


@dataclass(frozen=True)
class Swing:
    """A swing that stands out: how fast, and the standard deviation of what it adds, in the unit of the readings."""

    hertz: float
    size: float


def check_can_read() -> None:
    """Raises TipinError where the library that recordings are read with is missing."""
    if find_spec("scipy") is None:
        raise TipinError(f"a recording of the pull needs scipy: {INSTALL_RECORDING}")


def evenly(time_s: Array, values: Array) -> Evenly:
    """Readings put at even times, straight from one to the next; values : (n, k)."""
    step = float(np.clip(np.median(np.diff(time_s)), FINEST_STEP_S, COARSEST_STEP_S))
    even = np.arange(time_s[0], time_s[-1], step)
    return Evenly(even, np.column_stack([np.interp(even, time_s, column) for column in values.T]))


def smoothed(values: Array, step_s: float, smoothing_s: float) -> Array:
    """Values at even times, (m,) or (m, k), smoothed as by a bell of that standard deviation."""
    from scipy.signal import bessel, sosfiltfilt

    sections = bessel(ORDER, HALF_AT / smoothing_s, norm="mag", fs=1.0 / step_s, output="sos")
    beyond = min(len(values) - 1, round(6.0 * smoothing_s / step_s))
    return np.asarray(sosfiltfilt(sections, values, axis=0, padtype="odd", padlen=beyond))


def swing_in(values: Array, step_s: float, rate_hz: float) -> Swing | None:
    """The swing that stands out of readings at even times, (m,), taken so many times a second; None where none does."""
    from scipy.signal import welch

    length = round(SPECTRUM_S / step_s)
    if len(values) < length:
        return None
    quick = values - smoothed(values, step_s, SLOWER_S)
    hertz, power = welch(quick, 1.0 / step_s, nperseg=length)
    within = (hertz >= SWING_HZ[0]) & (hertz <= min(SWING_HZ[1], 0.4 * rate_hz))
    if within.sum() < 8:
        return None
    highest = int(np.argmax(np.where(within, power, 0.0)))
    if power[highest] < SWING_STANDS_OUT * float(np.median(power[within])):
        return None
    near = np.abs(hertz - hertz[highest]) <= 1.0
    return Swing(float(hertz[highest]), float(np.sqrt(power[near].sum() * (hertz[1] - hertz[0]))))
