"""Rules on what fuel passes, and when: screw, nozzle, and the demand."""

import numpy as np

from configurator.arrays import Array, Mask
from configurator.basis import OWN_REQUEST
from configurator.car.facts import CircuitFacts
from configurator.car.standard import STANDARD_PUMP
from configurator.catalogue.limits import Limits
from configurator.physics.fuel_path import screw_cut
from configurator.rules.rule import Reading, rule
from configurator.slots.columns import FeedScrews, JudgedShots, Lobes, Nozzles, Pumps

NOMINAL_NOZZLE_COEFFICIENT = 0.78
"""Discharge coefficient of a drilled nozzle at usual shots (1965 correlation at Re 5,000 to 10,000, l/d 3 to 4)."""

ALL_OF_IT = 100.0
"""Per cent of the pull: what falls further holds the car back, and nobody tells how far."""


@rule(
    kind="cure",
    at_most=True,
    unit="%",
    severity="conflict",
    says="the feed screw is too narrow: it cuts what the nozzle can pass by {value:.1f} %, {limit:.1f} % allowed",
    mend="fit a free-flow feed screw, or a smaller nozzle",
    limit="screw_cut_most_percent",
)
def feed_screw_is_not_the_restriction(
    nozzle: Nozzles, feed_screw: FeedScrews, facts: CircuitFacts, limits: Limits
) -> Reading:
    """The nozzle, not the feed screw, sets the flow. From two orifices of about 0.91 to 0.97 mm (0.036 to 0.038 in) up
    that takes a free-flow screw."""
    cut = screw_cut(
        nozzle.area_m2, feed_screw.passage_area_mm2 * 1e-6, NOMINAL_NOZZLE_COEFFICIENT, facts.screw_coefficient
    )
    return 100.0 * cut, limits.screw_cut_most_percent


@rule(
    kind="cure",
    at_most=True,
    unit="mm",
    severity="conflict",
    says="the pump is too small for the nozzle: two {value:.2f} mm orifices (or their area), it holds enough up to "
    "{limit:.2f} mm",
    mend="fit a larger pump, or a smaller nozzle",
    limit="larger_pump_from_mm",
)
def large_nozzle_has_the_larger_pump(nozzle: Nozzles, pump: Pumps, limits: Limits) -> Reading:
    """Beyond about 0.94 mm (0.037 in) a pump of 3 cc a stroke (30 cc in ten) is empty too soon, and a larger one takes
    its place. Fuel leaves by the orifices' area, so a pump's capacity says up to what size it is good: 4 cc to 1.09 mm,
    5 cc to 1.21 mm. The figure is for two orifices: others count by their area."""
    return nozzle.as_two_mm, pump.good_to_mm(STANDARD_PUMP.capacity_cc, limits.larger_pump_from_mm)


@rule(
    kind="cure",
    at_most=False,
    unit="mm",
    severity="warning",
    says="out of the trade's sizes: two {value:.2f} mm orifices (or their area), {limit:.2f} mm is the "
    "smallest in common use",
    mend="measure the orifice again; look at idle mixture, float level and lobe before going smaller",
    limit="nozzle_least_mm",
)
def nozzle_is_not_unusually_small(nozzle: Nozzles, limits: Limits) -> Reading:
    """Nozzles below about 0.64 mm (0.025 in), two orifices or their area, are out of the common: question the figure,
    or the cause."""
    return nozzle.as_two_mm, limits.nozzle_least_mm


@rule(
    kind="cure",
    at_most=True,
    unit="mm",
    severity="warning",
    says="out of the trade's sizes: two {value:.2f} mm orifices (or their area), {limit:.2f} mm is the "
    "largest in common use",
    mend="measure the orifice again; look for an air leak, a low float or a slack linkage before going larger",
    limit="nozzle_most_mm",
)
def nozzle_is_not_unusually_large(nozzle: Nozzles, limits: Limits) -> Reading:
    """Nozzles above about 1.32 mm (0.052 in), two orifices or their area, are out of the common: question the figure,
    or the cause."""
    return nozzle.as_two_mm, limits.nozzle_most_mm


@rule(
    kind="cure",
    at_most=True,
    unit="ms",
    severity="conflict",
    says="too small: hesitates {value:.0f} ms, {limit:.0f} allowed",
    mend="a larger nozzle; where that only shortens the shot, the larger pump or a lobe with more lift",
    limit="delay_most_ms",
)
def pull_comes_at_once(shot: JudgedShots, facts: CircuitFacts, limits: Limits) -> Reading:
    """The pull comes as soon as the engine's air can give it: it is not late for want of fuel."""
    return shot.delay_ms, np.where(shot.late_for_want_of_fuel, facts.unless_believed(limits.delay_most_ms), np.inf)


@rule(
    kind="cure",
    at_most=True,
    unit="ms",
    severity="conflict",
    says="too large: bogs for {value:.0f} ms, {limit:.0f} allowed",
    mend="less fuel at once: a smaller nozzle, or a lobe with less lift",
    limit="delay_most_ms",
)
def pull_is_not_drowned(shot: JudgedShots, facts: CircuitFacts, limits: Limits) -> Reading:
    """The first fuel does not drown the engine: the pull is not late in too rich a mixture."""
    return shot.delay_ms, np.where(shot.late_for_want_of_fuel, np.inf, facts.unless_believed(limits.delay_most_ms))


@rule(
    kind="cure",
    at_most=True,
    unit="%",
    severity="conflict",
    says="runs out: pulls {value:.0f} % less after a clean start, {limit:.0f} allowed",
    mend="more volume: a lobe with more lift, or the larger pump; a smaller nozzle only where nothing hesitates",
    limit="sag_most_percent",
)
def pull_does_not_go_flat(shot: JudgedShots, facts: CircuitFacts, limits: Limits) -> Reading:
    """The pull does not fall off later: the shot lasts until the main circuit has taken over."""
    return _of_the_pull(shot.lean_sag_percent), facts.unless_believed(limits.sag_most_percent)


@rule(
    kind="cure",
    at_most=True,
    unit="%",
    severity="conflict",
    says="too much fuel: pulls {value:.0f} % less after a clean start, {limit:.0f} allowed",
    mend="less fuel: a lobe with less lift, a smaller pump, or a smaller nozzle",
    limit="sag_most_percent",
)
def pull_does_not_nose_over(shot: JudgedShots, facts: CircuitFacts, limits: Limits) -> Reading:
    """The shot does not drown the engine: the pull does not fall off in too rich a mixture."""
    return _of_the_pull(shot.rich_sag_percent), facts.unless_believed(limits.sag_most_percent)


@rule(
    kind="cure",
    at_most=True,
    unit="ms",
    severity="conflict",
    says="too much fuel: black smoke for {value:.0f} ms, {limit:.0f} allowed",
    mend="check float level and main jets first; then less fuel: a lobe with less lift, a smaller pump, or a smaller "
    "nozzle",
    limit="smoke_most_ms",
)
def mixture_does_not_smoke(shot: JudgedShots, facts: CircuitFacts, limits: Limits) -> Reading:
    """The shot leaves no cloud of black smoke. Where the volume is too much, a lobe mends it, not the nozzle."""
    return shot.smoke_ms, facts.unless_believed(limits.smoke_most_ms)


@rule(
    kind="cure",
    at_most=True,
    unit="cycles",
    severity="warning",
    says="may pop back: the charge still burns as the inlet opens for {value:.1f} engine cycles, {limit:.0f} allowed",
    mend="what cures the hesitation; keep the air cleaner on and your face away",
    limit="pop_back_most_cycles",
)
def mixture_does_not_pop_back(shot: JudgedShots, limits: Limits) -> Reading:
    """The mixture is never so lean that it still burns when the inlet valve opens."""
    return shot.pop_back_cycles, limits.pop_back_most_cycles


@rule(
    kind="cure",
    at_most=False,
    unit="%",
    severity="conflict",
    says="not sure enough: by what was felt right to {value:.0f} % only",
    mend="what covers more of it: the next nozzle, or more volume where a nozzle alone cannot",
    basis=OWN_REQUEST,
)
def right_for_enough_engines(shot: JudgedShots, facts: CircuitFacts) -> Reading:
    """What is chosen is right for as much as is wanted of what runs leave open of the engine. It stands for the rules
    on the shot where parts are chosen by runs."""
    return shot.sure_percent, facts.sure_wanted_percent


@rule(
    kind="cure",
    at_most=False,
    unit="mm",
    severity="conflict",
    says="felt too small before: {value:.2f} mm, only from {limit:.2f} mm it can be told from what stumbled",
    mend="a nozzle that is no smaller, or another lobe or pump with it",
    basis=OWN_REQUEST,
)
def nozzle_is_no_smaller_than_was_too_small(nozzle: Nozzles, pump: Pumps, lobe: Lobes, facts: CircuitFacts) -> Reading:
    """Where a nozzle was felt too small, a smaller one is no cure with the same pump and lobe; where it was felt so
    last, nor with others."""
    return nozzle.diameter_mm, np.where(_changed(pump, lobe), facts.least_mm, max(facts.lean_mm, facts.least_mm))


@rule(
    kind="cure",
    at_most=True,
    unit="mm",
    severity="conflict",
    says="felt no better before: {value:.2f} mm, only up to {limit:.2f} mm it can be told from what smoked or ran out",
    mend="a nozzle that is no larger, or another lobe or pump with it",
    basis=OWN_REQUEST,
)
def nozzle_is_no_larger_than_was_large_enough(
    nozzle: Nozzles, pump: Pumps, lobe: Lobes, facts: CircuitFacts
) -> Reading:
    """Where a nozzle smoked, or emptied the pump too soon, a larger one is no cure with the same pump and lobe; where
    it was felt so last, nor with others."""
    return nozzle.diameter_mm, np.where(_changed(pump, lobe), facts.most_mm, min(facts.rich_mm, facts.most_mm))


@rule(
    kind="cure",
    at_most=False,
    unit="cm3",
    severity="conflict",
    says="less fuel than was felt too little: {value:.2f} cm3, {limit:.2f} cm3 was not enough",
    mend="a lobe with more lift, or the larger pump",
    basis=OWN_REQUEST,
)
def shot_is_no_less_than_was_too_little(shot: JudgedShots, facts: CircuitFacts) -> Reading:
    """Where a shot was felt to be too little, at once or because it ran out, one of less volume is no cure."""
    return shot.volume_cc, facts.least_cc


@rule(
    kind="cure",
    at_most=False,
    unit="cm3/s",
    severity="conflict",
    says="less fuel at once than was felt too little: {value:.1f} cm3/s, {limit:.1f} cm3/s was not enough",
    mend="a larger nozzle, a wider feed screw, or a pump with a stronger spring",
    basis=OWN_REQUEST,
)
def shot_is_no_slower_than_was_too_little(shot: JudgedShots, facts: CircuitFacts) -> Reading:
    """Where fuel was felt to be wanting at once, a shot that flows less is no cure, whatever gives it."""
    return shot.peak_cc_s, facts.least_cc_s


@rule(
    kind="cure",
    at_most=True,
    unit="cm3",
    severity="conflict",
    says="more volume than smoked: {value:.2f} cm3, {limit:.2f} cm3 was too much",
    mend="a lobe with less lift, or a smaller pump",
    basis=OWN_REQUEST,
)
def shot_is_no_more_than_smoked(shot: JudgedShots, facts: CircuitFacts) -> Reading:
    """Where a shot was felt to be too much, one of more volume is no cure."""
    return shot.volume_cc, facts.most_cc


def _of_the_pull(sag_percent: Array) -> Array:
    """A fall of the pull, all of it at most; infinite where nothing is pumped at all."""
    return np.where(np.isfinite(sag_percent), np.minimum(sag_percent, ALL_OF_IT), sag_percent)


def _changed(pump: Pumps, lobe: Lobes) -> Mask:
    """Whether pump or lobe is another than what is fitted; a screw only leaves the nozzle in charge."""
    return np.asarray((pump.changed + lobe.changed) > 0.0)


@rule(
    kind="cure",
    at_most=False,
    unit="ms",
    severity="conflict",
    says="the rear shot runs out: {value:.0f} ms after tip-in, the rear main circuit delivers from {limit:.0f} ms",
    mend="the larger pump or a lobe with more lift on the rear circuit; a smaller nozzle only where nothing hesitates",
)
def rear_shot_lasts_until_the_main_delivers(shot: JudgedShots, facts: CircuitFacts) -> Reading:
    """The rear circuit has no idle flow to help it: its shot lasts until the rear main circuit delivers."""
    return shot.ends_ms, facts.unless_believed(facts.rear_main_delivers_ms)
