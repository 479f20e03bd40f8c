"""A mixture trace measured as the model would: tip-in found, sensor's lag taken out, hole and flood with their doubt.

    measured = measure_for_case(case, path, columns={"lambda": "O2 reading"}, lag_ms=None)
    trial_of(case, ..., trace=measured.spells)       # spells is a records.TraceMeasured
    measured.notes                                   # sentences to print: what was bridged, sorted, assumed
    views.trace_pictures.save_trace(measured, model_trace(case), path)     # .svg or .png

The event is the two seconds after the throttle begins to open. Hole and flood are its longest spells beyond the limits,
counted as the model counts them. Their doubt is the root mean square by which curves that the readings allow as well
differ from the one taken, put together with what the doubt about the lag makes.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from configurator.arrays import Array
from configurator.book.records import TraceMeasured
from configurator.errors import BadInput, Fault
from configurator.judging.case import Case
from configurator.learning.trace.sensor_lag import take_out_lag
from configurator.learning.trace.trace_file import Trace, read_trace
from configurator.learning.trace.trace_tip_in import Opened, find_tip_in
from configurator.physics.spells import POOR_PHI, RICH_PHI, metered
from configurator.physics.tip_in import UNTIL_S

DEFAULT_LAG_MS = 80.0
"""Time in which a warm wide-range sensor shows 63 % of a step; assumed."""
DEFAULT_LAG_RANGE_MS = (40.0, 150.0)
"""Assumed to hold nine sensors of ten."""
GIVEN_LAG_DOUBT = 0.1
"""Standard error of a lag that somebody measured, over the lag; assumed."""
NINE_OF_TEN = 1.645
LAG_RANGE_MS = (0.0, 500.0)
LONGEST_BRIDGED_S = 0.12
LEAST_EVENT_S = 1.0
BEFORE_S = 0.6
LEAST_BEFORE_S = 0.1
GRID_FINE_STEP_S, GRID_FINE_FROM_S, GRID_FINE_UNTIL_S, GRID_COARSE_STEP_S = 0.005, -0.06, 1.0, 0.02
DRAWS, SEED = 200, 20260
BUSY_S = 0.1
"""Until then the mixture bends as it will; from then on it is smooth over the logarithm of time."""
CALM_BEFORE = 100.0
LEAN_AT_REST = 0.95
"""No engine idles or cruises steadily on a mixture leaner than this."""
EITHER_WAY = 1.05
"""Up to here a mixture before tip-in is phi or lambda, nobody can tell."""
SPEED_DIFFERS = 0.25


@dataclass(frozen=True)
class Measured:
    """What a trace gave. Times [ms] count from tip-in.

    spells : as the book keeps them; its doubt is the larger of the two here. time_ms, phi : mixture, lag out, over the
    event and a little before it. read_time_ms, read_phi : readings as they came, nan for a dropout. tip_in_s : in the
    file's time. bridged_ms : begin and end of gaps that were crossed. start_speed_rpm : nan where nobody logged it.
    """

    file: str
    spells: TraceMeasured
    hole_doubt_ms: float
    flood_doubt_ms: float
    time_ms: Array
    phi: Array
    read_time_ms: Array
    read_phi: Array
    tip_in_s: float
    opening_ms: float
    start_speed_rpm: float
    lean_phi: float
    rich_phi: float
    bridged_ms: tuple[tuple[float, float], ...]
    notes: tuple[str, ...]


def measure_for_case(
    case: Case, path: Path, *, columns: Mapping[str, str] | None = None, lag_ms: float | None = None
) -> Measured:
    """Measure a trace by the limits and with the fuel of a case; notes say where it does not look like this vehicle.

    Raises BadInput as measure_trace does.
    """
    vehicle = case.vehicle
    measured = measure_trace(
        path, lag_ms=lag_ms, columns=columns, lean_phi=POOR_PHI, rich_phi=RICH_PHI,
        stoichiometric_ratio=vehicle.fuel.stoichiometric_ratio,
    )  # fmt: skip
    idles = vehicle.tip_in.start == "idle"
    expected = vehicle.engine.idle_rpm if idles else vehicle.tip_in.cruise_rpm
    speed = measured.start_speed_rpm
    if not abs(speed - expected) > SPEED_DIFFERS * expected:
        return measured
    key = "[engine] idle_rpm" if idles else "[tip_in] cruise_rpm"
    note = f"the engine turns {speed:.0f} rev/min before tip-in, and {key} says {expected:g}: is it this vehicle's?"
    return replace(measured, notes=(*measured.notes, note))


def measure_trace(
    path: Path,
    *,
    lag_ms: float | None,
    columns: Mapping[str, str] | None,
    lean_phi: float,
    rich_phi: float,
    stoichiometric_ratio: float,
) -> Measured:
    """Hole and flood of the steepest tip-in in a trace, with their doubt.

    lag_ms : time in which the sensor shows 63 % of a step; None for the assumed one, which is doubted more. columns :
    as read_trace takes them.
    Raises BadInput for a file that cannot be read, a trace without a tip-in or with a long gap in it, and a lag that is
    none.
    """
    low, high = LAG_RANGE_MS
    if lag_ms is not None and not low <= lag_ms <= high:
        raise BadInput([Fault("sensor lag", "", f"is {lag_ms:g} ms", f"{low:g} to {high:g} ms")])
    trace = read_trace(path, columns, stoichiometric_ratio)
    opened = find_tip_in(trace.file, trace.time_s, trace.throttle)
    end_s = _end_s(trace, opened)
    time_s = trace.time_s - opened.start_s
    bridged = _bridged(trace.file, time_s, trace.phi, end_s, opened.start_s)
    grid = _grid(max(-BEFORE_S, float(time_s[0])), end_s)
    used = np.isfinite(trace.phi) & (time_s >= grid[0]) & (time_s <= end_s)
    lag = DEFAULT_LAG_MS if lag_ms is None else lag_ms
    seen = (time_s[used], trace.phi[used], grid, _calm(grid))
    found = take_out_lag(*seen, lag / 1e3, DRAWS, SEED)
    doubtful = _right_way_up(trace, grid, found.phi)
    taken = _spells_ms(grid, found.phi[:, None], lean_phi, rich_phi)
    variance = np.mean((_spells_ms(grid, found.draws, lean_phi, rich_phi) - taken) ** 2, axis=1)
    for other, weight in _other_lags(lag_ms):
        phi = take_out_lag(*seen, other / 1e3, 0, SEED).phi
        variance += weight * (_spells_ms(grid, phi[:, None], lean_phi, rich_phi) - taken)[:, 0] ** 2
    # Not less than what rounding each end of a spell to what can be told apart would make
    least = float(found.resolution_s[(grid >= 0.0) & (grid <= BUSY_S)].mean()) * 1e3 / np.sqrt(6.0)
    (hole, flood), doubt = taken[:, 0], np.maximum(np.sqrt(variance), least)
    speed = trace.speed_rpm[(time_s > -0.5) & (time_s < 0.0) & np.isfinite(trace.speed_rpm)]
    return Measured(
        file=trace.file,
        spells=TraceMeasured(hole_ms=float(hole), flood_ms=float(flood), lag_ms=lag, doubt_ms=float(doubt.max())),
        hole_doubt_ms=float(doubt[0]), flood_doubt_ms=float(doubt[1]), time_ms=grid * 1e3, phi=found.phi,
        read_time_ms=time_s * 1e3, read_phi=trace.phi, tip_in_s=opened.start_s, opening_ms=opened.opening_s * 1e3,
        start_speed_rpm=float(np.median(speed)) if len(speed) else float("nan"), lean_phi=lean_phi, rich_phi=rich_phi,
        bridged_ms=bridged, notes=(*trace.notes, *doubtful, *_notes(opened, end_s, bridged, lag_ms)),
    )  # fmt: skip


def _end_s(trace: Trace, opened: Opened) -> float:
    """End of the event, from tip-in [s]: two seconds, or as long as throttle and trace allow."""
    seen = float(trace.time_s[np.flatnonzero(np.isfinite(trace.phi))[-1]]) - opened.start_s
    closed = opened.closed_s - opened.start_s
    before = opened.start_s - float(trace.time_s[np.flatnonzero(np.isfinite(trace.phi))[0]])
    at = f"tip-in at {opened.start_s:.2f} s"
    if before < LEAST_BEFORE_S:
        found = f"the trace begins only {before * 1e3:.0f} ms before"
        raise BadInput([Fault(trace.file, at, found, f"at least {LEAST_BEFORE_S * 1e3:.0f} ms, better a second")])
    if closed < LEAST_EVENT_S:
        found, remedy = f"the throttle closes again after {closed:.1f} s", "hold it open for two seconds"
        raise BadInput([Fault(trace.file, at, found, f"open for at least {LEAST_EVENT_S:g} s", remedy)])
    if seen < LEAST_EVENT_S:
        found, remedy = f"the trace ends {seen:.1f} s after it", "record two seconds more"
        raise BadInput([Fault(trace.file, at, found, f"at least {LEAST_EVENT_S:g} s", remedy)])
    return min(UNTIL_S, seen, closed)


def _bridged(file: str, time_s: Array, phi: Array, end_s: float, start_s: float) -> tuple[tuple[float, float], ...]:
    """Gaps in the mixture during the event [ms], longer than two steps; raises BadInput for one too long to cross."""
    seen = time_s[np.isfinite(phi)]
    step = float(np.median(np.diff(time_s)))
    gaps = [
        (float(begin), float(end))
        for begin, end in pairwise(seen)
        if end - begin > 1.9 * step and end > -LEAST_BEFORE_S and begin < end_s
    ]
    for begin, end in gaps:
        if end - begin > LONGEST_BRIDGED_S:
            found = f"no mixture reading for {(end - begin) * 1e3:.0f} ms, from {begin * 1e3:.0f} ms after tip-in"
            expected = f"gaps of at most {LONGEST_BRIDGED_S * 1e3:.0f} ms during a tip-in"
            raise BadInput([Fault(file, f"at {start_s + begin:.2f} s", found, expected, "record the run again")])
    return tuple((begin * 1e3, end * 1e3) for begin, end in gaps)


def _grid(start_s: float, end_s: float) -> Array:
    """Times to work on [s], tip-in among them: fine where the hole forms, coarser before and after."""
    fine_end = min(GRID_FINE_UNTIL_S, end_s)
    fine = (
        np.arange(round(max(GRID_FINE_FROM_S, start_s) / GRID_FINE_STEP_S), round(fine_end / GRID_FINE_STEP_S) + 1)
        * GRID_FINE_STEP_S
    )
    before = np.arange(fine[0] - GRID_COARSE_STEP_S, start_s - GRID_COARSE_STEP_S, -GRID_COARSE_STEP_S)[::-1]
    after = np.arange(fine[-1] + GRID_COARSE_STEP_S, end_s + GRID_COARSE_STEP_S, GRID_COARSE_STEP_S)
    return np.concatenate([before, fine, after])


def _calm(grid_s: Array) -> Array:
    """How much a bend counts: with t^3, integral t^3 x''^2 dt, a curve is as smooth over the logarithm of time."""
    return np.where(grid_s < GRID_FINE_FROM_S / 2, CALM_BEFORE, np.maximum(grid_s / BUSY_S, 1.0) ** 3)


def _spells_ms(grid_s: Array, phi: Array, lean_phi: float, rich_phi: float) -> Array:
    """Hole and flood [ms] of curves of shape (times, n) over the event, shape (2, n)."""
    event, limits = slice(int(np.searchsorted(grid_s, -1e-9)), None), ((lean_phi, -1.0), (rich_phi, 1.0))
    counts = np.ones(len(grid_s[event]), dtype=bool)
    meters = metered(grid_s[event], phi[event], phi.shape[1], limits, counts)
    return np.array([meter.longest_s for meter in meters]) * 1e3


def _other_lags(lag_ms: float | None) -> tuple[tuple[float, float], ...]:
    """Other lags [ms] that may be true, and the weight of what each moves, squared: half of it for either side."""
    if lag_ms is None:
        return tuple((other, 0.5 / NINE_OF_TEN**2) for other in DEFAULT_LAG_RANGE_MS)
    return tuple((lag_ms * (1.0 + side * GIVEN_LAG_DOUBT), 0.5) for side in (-1, 1)) if lag_ms > 0 else ()


def _right_way_up(trace: Trace, grid_s: Array, phi: Array) -> list[str]:
    """Lambda taken for phi, or the other way round, shows where the engine runs steadily: it would be far too lean.

    Raises BadInput where it is before tip-in, and gives a note where it may be.
    """
    before = grid_s < -0.02
    rest, settled = (
        float(np.median(phi[before] if before.any() else phi[:1])),
        float(np.median(phi[grid_s > 0.75 * grid_s[-1]])),
    )
    said, heading = trace.mixture.quantity, trace.mixture.heading
    turned = "phi" if said == "lambda" else "lambda"
    if rest >= LEAN_AT_REST:
        if said == "afr" or rest > EITHER_WAY or not settled < LEAN_AT_REST:
            return []
        return [
            f"phi settles at {settled:.2f}, lean for an open throttle: if {heading} is {turned}, say {turned}={heading}"
        ]
    found = f"phi is {rest:.2f} before tip-in, leaner than engines idle or cruise"
    remedy = "set the idle mixture first, and look for false air and a cold sensor"
    if said != "afr":
        turn = f"as {turned} it would be phi {1.0 / rest:.2f}: name it as {turned}={heading}"
        remedy = f"{turn}; or, if it is {said}, {remedy}"
    raise BadInput([Fault(trace.file, f"column {heading}", found, f"{LEAN_AT_REST} or richer", remedy)])


def _notes(opened: Opened, end_s: float, bridged: tuple[tuple[float, float], ...], lag_ms: float | None) -> list[str]:
    notes = []
    if opened.others:
        notes.append(f"{opened.others + 1} tip-ins in the trace; the steepest, at {opened.start_s:.2f} s, was taken")
    if end_s < UNTIL_S - 0.01:
        notes.append(f"only {end_s:.1f} s after tip-in could be judged, not {UNTIL_S:g}")
    if bridged:
        longest = max(end - begin for begin, end in bridged)
        gaps = "1 gap in the mixture was" if len(bridged) == 1 else f"{len(bridged)} gaps in the mixture were"
        notes.append(f"{gaps} bridged, the longest of {longest:.0f} ms")
    if lag_ms is None:
        low, high = DEFAULT_LAG_RANGE_MS
        notes.append(
            f"the sensor's lag was assumed: {DEFAULT_LAG_MS:g} ms, {low:g} to {high:g}; give yours for less doubt"
        )
    return notes
