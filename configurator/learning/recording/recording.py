"""A recording of the pull, measured as the model would be seen: its tip-ins, each with how late the pull comes and how
far it falls.

    measured = measure_pull_for_case(case, path, columns={"x": "sensor 1"})
    trial_of(case, ..., pull=measured.pull)      # records.PullMeasured
    measured.taken, measured.notes               # sentences to print: which column is what; what could not be told
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from configurator.book.records import PullMeasured, TipInMeasured
from configurator.car.vehicle import Vehicle
from configurator.errors import BadInput, Fault
from configurator.judging.case import Case
from configurator.learning.recording.forward import along_the_car
from configurator.learning.recording.one_tip_in import (
    LONGEST_GAP_S,
    CutOut,
    TipInSeen,
    cut_out,
    tip_in_seen,
)
from configurator.learning.recording.recording_file import Recording, read_recording
from configurator.learning.recording.smoothing import Evenly, Swing, check_can_read, evenly, smoothed, swing_in
from configurator.learning.recording.tip_ins import TipInFound, is_forward, tip_ins_in, with_throttle
from configurator.physics.pull_seen import LEVEL_S, SMOOTHINGS_S

SAMPLES_A_SMOOTHING = 1.2
"""Time between readings over what they are smoothed by, at most."""
QUIET, TOO_LOUD = 0.02, 0.15
"""Noise over the level of a pull: what nothing more is smoothed for, and what nothing can be told through."""
SLOW_S = 0.045
"""Time between readings from which delays are told worse for it."""
SLOW_SWING_HZ, SWING_MATTERS = 8.0, 0.1
"""A swing slower than that, of more than so much of the pull's level, is not told from a sag."""
OTHER_GEAR = 1.6
"""Over what the model would have, or below it: from there on the car was in another gear, or on a hill."""


@dataclass(frozen=True)
class MeasuredPull:
    """What a recording gave. pull : as the book keeps it. tip_ins : those behind it, to draw. level : of the pull on
    the mean, in `unit`. taken : what columns were taken for. notes : sentences."""

    file: str
    pull: PullMeasured
    tip_ins: tuple[TipInSeen, ...]
    level: float
    unit: str
    taken: tuple[str, ...]
    notes: tuple[str, ...]


def measure_pull_for_case(case: Case, path: Path, columns: Mapping[str, str] | None = None) -> MeasuredPull:
    """Measure a recording of a car; notes say where it does not look like this car.

    Raises BadInput for a file that cannot be read, and one without a tip-in of which something can be told; TipinError
    where the library is missing that this takes.
    """
    check_can_read()
    recording = read_recording(path, columns)
    _goes_with(case.vehicle, recording)
    measured = _measured(recording)
    expected = _expected_level(case, recording)
    if expected is None or 1.0 / OTHER_GEAR <= measured.level / expected <= OTHER_GEAR:
        return measured
    note = (
        f"pulls {measured.level:.2g} {measured.unit}, where the car of the vehicle file would pull {expected:.2g} on"
        " the flat: is it the gear of the complaint, flat ground, the throttle as far open as the file says?"
    )
    return MeasuredPull(**(vars(measured) | {"notes": (*measured.notes, note)}))


def _goes_with(vehicle: Vehicle, recording: Recording) -> None:
    """Raises BadInput for a recording that does not show the pull of such a car."""
    transmission, of = vehicle.driveline.transmission, recording.of
    if transmission == "converter" and of == "engine speed":
        found = "shows the speed of the engine, which a converter lets flare without a pull"
        raise BadInput([Fault(recording.file, "", found, "acceleration, or the speed of the car")])
    if transmission == "free" and of != "engine speed":
        found = f"shows {of}, and [driveline] transmission is free: the car stands"
        raise BadInput([Fault(recording.file, "", found, "the speed of the engine (rpm)")])


def _expected_level(case: Case, recording: Recording) -> float | None:
    """What the model's car would gain a second at its level: m/s2, or rev/min a second; None where it cannot say."""
    air, line = case.car.tip_in.air, case.vehicle.driveline
    if line.transmission == "converter":
        return None
    first, last = np.interp(LEVEL_S, air.time_s, air.speed_rpm)
    rpm_s = float(last - first) / (LEVEL_S[1] - LEVEL_S[0])
    if rpm_s <= 0.0:
        return None
    if recording.of == "engine speed":
        return rpm_s
    assert line.overall_ratio is not None and line.wheel_radius_m is not None
    return rpm_s * np.pi / 30.0 / line.overall_ratio * line.wheel_radius_m


def _measured(recording: Recording) -> MeasuredPull:
    pull, notes = _pull_over_time(recording)
    sampled_s = float(np.median(np.diff(recording.time_s)))
    found = tip_ins_in(pull)
    if not found:
        expected = "steady driving for two seconds, then the throttle snapped open and held for two"
        raise BadInput([Fault(recording.file, "", "no tip-in is seen", expected, "record it again")])
    if recording.throttle is not None:
        found = [with_throttle(one, recording.time_s, recording.throttle) for one in found]
    from_throttle = recording.throttle is not None and any(one.throttle_s is not None for one in found)
    if from_throttle:
        found = [one for one in found if one.throttle_s is not None]
    gaps = [(float(a), float(b)) for a, b in pairwise(recording.time_s) if b - a > max(LONGEST_GAP_S, 2.5 * sampled_s)]
    smoothing_s, cuts, refused = _cut_outs(pull, gaps, found, sampled_s)
    if not cuts:
        faults = [Fault(recording.file, f"tip-in at {one.half_s:.1f} s", why) for one, why in refused]
        raise BadInput(faults)
    noises = [cut.noise for cut in cuts]
    level = float(np.median([cut.level for cut in cuts]))
    loud = float(np.std(np.concatenate(noises))) / level
    if loud > TOO_LOUD:
        expected = f"at most {TOO_LOUD:.0%}"
        remedy = "fix the phone to something stiff; on a smooth road"
        found_loud = f"the noise before the pull is {loud:.0%} of it"
        raise BadInput([Fault(recording.file, "", found_loud, expected, remedy)])
    seen = [tip_in_seen(cut, noises, from_throttle=from_throttle, sampled_s=sampled_s) for cut in cuts]
    tip_ins = [one for one in seen if one is not None]
    if not tip_ins:
        raise BadInput([Fault(recording.file, "", "the pull is hidden in the noise", "a phone fixed more stiffly")])
    swing = None if recording.of.endswith("speed") else swing_in(pull.values[:, 0], pull.step_s, 1.0 / sampled_s)
    extra = _lost_in(swing, level)
    notes += [f"tip-in at {one.half_s:.1f} s left out: {why}" for one, why in refused]
    notes += _on(recording, sampled_s, swing, level, from_throttle=from_throttle)
    kept = PullMeasured(
        tip_ins=[_kept(one, extra) for one in tip_ins], from_throttle=from_throttle, smoothed_ms=1e3 * smoothing_s,
    )  # fmt: skip
    unit = "rev/min a second" if recording.of == "engine speed" else "m/s2"
    return MeasuredPull(recording.file, kept, tuple(tip_ins), level, unit, recording.taken, (*recording.notes, *notes))


def _pull_over_time(recording: Recording) -> tuple[Evenly, list[str]]:
    """The pull forward at even times, (m, 1), not smoothed, in m/s2 or rev/min a second; and sentences on it."""
    if recording.of == "three axes":
        found = along_the_car(recording)
        along, notes = found.along, list(found.notes)
        forward = is_forward(along)
        return Evenly(along.time_s, along.values if forward else -along.values), notes
    even = evenly(recording.time_s, recording.values)
    if recording.of == "forward":
        return (even if is_forward(even) else Evenly(even.time_s, -even.values)), []
    return Evenly(even.time_s, np.gradient(even.values, even.step_s, axis=0)), []


def _cut_outs(
    pull: Evenly, gaps: Sequence[tuple[float, float]], found: Sequence[TipInFound], sampled_s: float
) -> tuple[float, list[CutOut], list[tuple[TipInFound, str]]]:
    """What the pull is smoothed by: no more than its noise and its rate ask for; the tip-ins then, and of which nothing
    can be told, and why."""
    for smoothing_s in SMOOTHINGS_S:
        if sampled_s > SAMPLES_A_SMOOTHING * smoothing_s and smoothing_s < SMOOTHINGS_S[-1]:
            continue
        smooth = Evenly(pull.time_s, smoothed(pull.values, pull.step_s, smoothing_s))
        cut = [(one, cut_out(smooth, gaps, one)) for one in found]
        cuts = [one for _, one in cut if isinstance(one, CutOut)]
        if cuts and float(np.median([one.noise_share for one in cuts])) <= QUIET:
            break
    return smoothing_s, cuts, [(one, why) for one, why in cut if isinstance(why, str)]


def _kept(seen: TipInSeen, extra_percent: float) -> TipInMeasured:
    sag_doubt = float(np.hypot(seen.sag_doubt_percent, extra_percent))
    return TipInMeasured(
        at_s=round(seen.begins_s, 3), rise_ms=round(seen.rise_ms, 1), rise_doubt_ms=round(seen.rise_doubt_ms, 1),
        sag_percent=round(seen.sag_percent, 2), sag_doubt_percent=round(sag_doubt, 2),
        sag_at_ms=round(seen.sag_at_ms),
    )  # fmt: skip


def _lost_in(swing: Swing | None, level: float) -> float:
    """What a slow swing adds to the doubt of a sag [%]."""
    if swing is None or swing.hertz > SLOW_SWING_HZ or swing.size < SWING_MATTERS * level:
        return 0.0
    return 100.0 * float(np.sqrt(2.0)) * swing.size / level


def _on(recording: Recording, sampled_s: float, swing: Swing | None, level: float, *, from_throttle: bool) -> list[str]:
    """What could not be told, or not well, in words."""
    notes = []
    if not from_throttle:
        notes.append(
            "nobody logged the throttle: what passes before the pull first moves is not seen, so it hesitates longer"
            " than that"
        )
    if sampled_s > SLOW_S:
        notes.append(f"{1.0 / sampled_s:.0f} readings a second are few: a short hesitation or sag is not seen")
    if swing is not None and swing.size > 0.5 * SWING_MATTERS * level:
        share = f"something swings {swing.hertz:.0f} times a second, by {swing.size / level:.0%} of the pull"
        if swing.hertz <= SLOW_SWING_HZ and swing.size >= SWING_MATTERS * level:
            notes.append(f"{share} (a soft holder, or the car on its driveline): sags smaller than that are not told")
        else:
            notes.append(f"{share}: it is filtered out; a stiffer holder would be better")
    return notes
