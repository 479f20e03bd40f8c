"""One tip-in of a pull over time: cut out, set to rest before it, and what is seen of it with the doubt.

The doubt comes from the noise before tip-ins: stretches of it are laid over the pull once more, and how far what is
seen moves then is its standard error. How far it moves on the mean is taken off again: once for a rise; for a sag,
which noise deepens in proportion to its size, as much as brings it from two noises together back to none.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array
from configurator.learning.recording.smoothing import Evenly
from configurator.learning.recording.tip_ins import TipInFound
from configurator.physics.pull_seen import LEVEL_S, SEEN_TIMES_S, STEP_S, PullsSeen, seen_in

RISES_FOR_S = 0.2
"""From where a pull begins to half of it, about: where to look for the beginning."""
STEADY_S, LEAST_STEADY_S, CLEAR_OF_S = 1.2, 0.5, (0.6, 0.1)
"""How much before a tip-in is taken for its rest, how little it may be, and how far it stays clear of the
beginning, as long as that is only guessed, and once it is found."""
UNSTEADY = 0.15
"""Standard deviation of the rest over the level, from which there is none."""
LEAST_PULL_S = 1.2
ENDED_BELOW = 0.3
"""Of the level: a pull that stays below it to the end is over."""
LONGEST_GAP_S = 0.15
LATEST_MS, DEEPEST_PERCENT = 1500.0, 400.0
"""No pull that comes to a level rises later, or falls deeper: that is something else."""
OF_ONE_NOISE = 1.0 / (np.sqrt(2.0) - 1.0)
"""What one noise adds, over what a second of its kind adds to it."""
SAG_DOUBTED = 1.5
"""How much more a sag scatters than that, for what is taken off: by recordings made of the model's pull."""
NOISES_LAID_OVER, NOISE_SEED = 100, 20261130
LEAST_DOUBT_MS, LEAST_DOUBT_PERCENT = 4.0, 0.7
"""Of no reading is more than that known: of its times, and of a holder on a moving car (assumed)."""


@dataclass(frozen=True)
class TipInSeen:
    """One tip-in: when it begins in the recording [s], its pull at SEEN_TIMES_S from there over its level, its level,
    and what is seen of it with standard errors; lasts_s : of the pull, from its beginning."""

    begins_s: float
    course: Array
    level: float
    rise_ms: float
    rise_doubt_ms: float
    sag_percent: float
    sag_doubt_percent: float
    sag_at_ms: float
    lasts_s: float


@dataclass(frozen=True)
class CutOut:
    """A tip-in's pull at SEEN_TIMES_S from some time on, at rest before; that time [s]; the noise of the rest before it
    at steps of STEP_S; its level, about; how long it lasts."""

    course: Array
    from_s: float
    noise: Array
    level: float
    lasts_s: float

    @property
    def noise_share(self) -> float:
        return float(np.std(self.noise)) / self.level


def cut_out(pull: Evenly, gaps: Sequence[tuple[float, float]], found: TipInFound) -> CutOut | str:
    """A tip-in of a smoothed pull, (m, 1), or why nothing can be told of it. gaps : without readings, begin and end."""
    from_s = found.half_s - RISES_FOR_S if found.throttle_s is None else found.throttle_s
    guessed, known = CLEAR_OF_S
    for clear_s in (guessed, guessed, known) if found.throttle_s is None else ():
        cut = _cut_at(pull, gaps, from_s, clear_s)
        if isinstance(cut, str):
            return cut
        begins = float(seen_in(cut.course[:, None]).begins_s[0])
        from_s += begins if np.isfinite(begins) else 0.0
    return _cut_at(pull, gaps, from_s, known)


def _cut_at(pull: Evenly, gaps: Sequence[tuple[float, float]], from_s: float, clear_s: float) -> CutOut | str:
    values = pull.values[:, 0]
    first_s = max(float(pull.time_s[0]), from_s - STEADY_S)
    before = np.arange(first_s, from_s - clear_s, STEP_S)
    if len(before) * STEP_S < LEAST_STEADY_S:
        return f"the recording begins only {max(from_s - first_s, 0.0):.1f} s before: drive steadily for two first"
    end_s = from_s + LEVEL_S[1]
    if any(begin < end_s and end > from_s - LEAST_STEADY_S for begin, end in gaps):
        return "there is a gap in the readings"
    rest = np.interp(before, pull.time_s, values)
    times = from_s + SEEN_TIMES_S
    course = np.interp(times, pull.time_s, values) - float(np.mean(rest))
    level, lasts_s = _level_and_end(course, float(pull.time_s[-1]) - from_s)
    if lasts_s < LEAST_PULL_S:
        return f"the pull is over after {max(lasts_s, 0.0):.1f} s: hold the throttle open for two"
    if not level > 0.0:
        return "it comes to no pull"
    noise = rest - np.mean(rest)
    if np.std(noise) > UNSTEADY * level:
        return "there is no steady stretch before it: drive steadily for two seconds first"
    held = float(np.mean(course[(lasts_s - 0.3 <= SEEN_TIMES_S) & (lasts_s - 0.1 >= SEEN_TIMES_S)]))
    if lasts_s < LEVEL_S[1]:
        course = np.where(lasts_s - 0.1 < SEEN_TIMES_S, held, course)
    course[before[0] - from_s > SEEN_TIMES_S] = 0.0
    return CutOut(course, from_s, noise, level, lasts_s)


def _level_and_end(course: Array, recorded_s: float) -> tuple[float, float]:
    """Level of a pull, and how long it lasts [s]."""
    within = (SEEN_TIMES_S >= 0.5) & (min(recorded_s, LEVEL_S[1]) >= SEEN_TIMES_S)
    if not within.any():
        return 0.0, recorded_s
    level = float(np.percentile(course[within], 70.0))
    there = np.flatnonzero((course > ENDED_BELOW * level) & (recorded_s >= SEEN_TIMES_S))
    ends_s = float(SEEN_TIMES_S[there[-1]]) if len(there) else 0.0
    # What ends sooner than the readings is let go of a little before that
    return level, min(recorded_s, ends_s if ends_s >= min(recorded_s, SEEN_TIMES_S[-1]) - STEP_S else ends_s - 0.15)


def tip_in_seen(cut: CutOut, noises: Sequence[Array], *, from_throttle: bool, sampled_s: float) -> TipInSeen | None:
    """What is seen of a tip-in; None where the noise hides it. noises : of the rest before all tip-ins of a recording.
    from_throttle : whether it begins where it was cut out. sampled_s : time between readings."""
    begins_s = 0.0 if from_throttle else None
    random = np.random.default_rng(NOISE_SEED)
    laid_over = np.column_stack([_a_stretch(noises, random) for _ in range(NOISES_LAID_OVER)])
    own = seen_in(cut.course[:, None], begins_s)
    drawn = seen_in(cut.course[:, None] + laid_over, begins_s)
    if not np.isfinite(own.rise_ms[0]) or np.isfinite(drawn.rise_ms).mean() < 0.9:
        return None
    rise, rise_doubt = _without_bias(float(own.rise_ms[0]), drawn.rise_ms, 1.0)
    sag, sag_doubt = _without_bias(float(own.sag_percent[0]), drawn.sag_percent, OF_ONE_NOISE)
    if rise > LATEST_MS or sag > DEEPEST_PERCENT or max(rise_doubt, sag_doubt) > LATEST_MS:
        return None
    begins = float(own.begins_s[0])
    return TipInSeen(
        begins_s=cut.from_s + begins, course=_shifted(cut.course, begins) / own.level[0], level=float(own.level[0]),
        rise_ms=rise, rise_doubt_ms=float(np.hypot(rise_doubt, max(LEAST_DOUBT_MS, 1e3 * sampled_s / np.sqrt(12.0)))),
        sag_percent=sag, sag_doubt_percent=max(SAG_DOUBTED * sag_doubt, LEAST_DOUBT_PERCENT), sag_at_ms=_sag_at_ms(own),
        lasts_s=cut.lasts_s,
    )  # fmt: skip


def _without_bias(seen: float, drawn: Array, times: float) -> tuple[float, float]:
    known = drawn[np.isfinite(drawn)]
    return max(seen - times * (float(np.mean(known)) - seen), 0.0), float(np.std(known))


def _sag_at_ms(seen: PullsSeen) -> float:
    return max(float(seen.sag_at_ms[0]), 0.0)


def _a_stretch(noises: Sequence[Array], random: np.random.Generator) -> Array:
    """Noise of one of the rests, from anywhere in it on and round again, at SEEN_TIMES_S."""
    own = noises[int(random.integers(len(noises)))]
    there_and_back = np.concatenate([own, own[::-1]])
    turned = np.roll(there_and_back, int(random.integers(len(there_and_back))))
    sign = 1.0 if random.random() < 0.5 else -1.0
    return np.asarray(sign * np.resize(turned, len(SEEN_TIMES_S)))


def _shifted(course: Array, by_s: float) -> Array:
    return np.asarray(np.interp(SEEN_TIMES_S + by_s, SEEN_TIMES_S, course))
