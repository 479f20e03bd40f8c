"""Rules on what fuel passes, and when: screw, nozzle, and the demand."""

from configurator.car.facts import CircuitFacts
from configurator.catalogue.limits import Limits
from configurator.physics.fuel_path import screw_cut
from configurator.rules.rule import Reading, rule
from configurator.slots.columns import FeedScrews, JudgedShots, Nozzles, Pumps

NOMINAL_NOZZLE_COEFFICIENT = 0.78
"""Discharge coefficient of a drilled nozzle at usual shots (1965 correlation at Re 5,000 to 10,000, l/d 3 to 4)."""


@rule(
    at_most=True,
    unit="%",
    severity="conflict",
    says="the feed screw cuts what the nozzle can pass by {value:.1f} %; "
    "at most {limit:.1f} % leaves the nozzle in charge",
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
    at_most=True,
    unit="mm",
    severity="conflict",
    says="a nozzle of two {value:.2f} mm orifices (or their area) is fed by less than the larger pump; "
    "up to {limit:.2f} mm the standard pump will do",
    mend="fit the larger pump, or a smaller nozzle",
    limit="larger_pump_from_mm",
)
def large_nozzle_has_the_larger_pump(nozzle: Nozzles, pump: Pumps, limits: Limits) -> Reading:
    """Beyond about 0.94 mm (0.037 in) the larger pump (5 cc a stroke, 50 cc in ten) takes the place of the standard one
    (3 cc a stroke, 30 cc in ten), which is empty too soon. The figure is for two orifices: others count by their
    area."""
    return nozzle.as_two_mm, pump.where_smaller_than(limits.larger_pump_capacity_cc, limits.larger_pump_from_mm)


@rule(
    at_most=False,
    unit="mm",
    severity="warning",
    says="two {value:.2f} mm orifices (or their area) are less than any in common use (from {limit:.2f} mm)",
    mend="measure the orifice again; look at idle mixture, float level and lobe before going smaller",
    limit="nozzle_least_mm",
)
def nozzle_is_not_unusually_small(nozzle: Nozzles, limits: Limits) -> Reading:
    """Nozzles below about 0.64 mm (0.025 in), two orifices or their area, are out of the common: question the figure,
    or the cause."""
    return nozzle.as_two_mm, limits.nozzle_least_mm


@rule(
    at_most=True,
    unit="mm",
    severity="warning",
    says="two {value:.2f} mm orifices (or their area) are more than any in common use (up to {limit:.2f} mm)",
    mend="measure the orifice again; look for an air leak, a low float or a slack linkage before going larger",
    limit="nozzle_most_mm",
)
def nozzle_is_not_unusually_large(nozzle: Nozzles, limits: Limits) -> Reading:
    """Nozzles above about 1.32 mm (0.052 in), two orifices or their area, are out of the common: question the figure,
    or the cause."""
    return nozzle.as_two_mm, limits.nozzle_most_mm


@rule(
    at_most=True,
    unit="ms",
    severity="conflict",
    says="the mixture is too lean for {value:.0f} ms after tip-in; at most {limit:.0f} ms goes unfelt",
    mend="a larger nozzle; where that only shortens the shot, the larger pump or a lobe with more lift",
    limit="hole_most_ms",
)
def shot_covers_the_hole(shot: JudgedShots, limits: Limits) -> Reading:
    """The shot covers the lean hole after tip-in: the longest spell below the lean limit stays short."""
    return shot.hole_ms, limits.hole_most_ms


@rule(
    at_most=True,
    unit="ms",
    severity="conflict",
    says="the mixture is too rich for {value:.0f} ms after tip-in; at most {limit:.0f} ms goes unfelt",
    mend="a smaller nozzle, or a lobe with less lift",
    limit="flood_most_ms",
)
def shot_does_not_flood(shot: JudgedShots, limits: Limits) -> Reading:
    """The shot does not drown the engine: the longest spell above the rich limit stays short."""
    return shot.flood_ms, limits.flood_most_ms


@rule(
    at_most=False,
    unit="ms",
    severity="conflict",
    says="the rear shot ends {value:.0f} ms after tip-in; the rear main circuit delivers from {limit:.0f} ms",
    mend="the larger pump or a lobe with more lift on the rear circuit; a smaller rear nozzle makes it last, too",
)
def rear_shot_lasts_until_the_main_delivers(shot: JudgedShots, facts: CircuitFacts) -> Reading:
    """The rear circuit has no idle flow to help it: its shot lasts until the rear main circuit delivers."""
    return shot.ends_ms, facts.rear_main_delivers_ms
