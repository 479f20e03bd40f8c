"""Rules on what fits what: lobe, pump, lever, pad, bonnet, body."""

import numpy as np

from configurator.car.facts import CarFacts, CircuitFacts, JobFacts
from configurator.catalogue.limits import Limits
from configurator.rules.rule import Reading, rule
from configurator.slots.columns import Lobes, Nozzles, PadReliefs, Pumps, Spacers


@rule(
    kind="fit",
    at_most=True,
    unit="mismatch",
    severity="conflict",
    says="the lobe is made for another pump's lever",
    mend="fit a lobe made for this pump's lever",
)
def lobe_is_made_for_the_lever(pump: Pumps, lobe: Lobes) -> Reading:
    """A lobe goes with the lever of one kind of pump: those of the larger pump do not suit the standard one."""
    return (pump.lever != lobe.lever).astype(float), 0.0


@rule(
    kind="fit",
    at_most=True,
    unit="mm",
    severity="conflict",
    says="the lobe lifts too far: travel at full opening and overtravel clearance come to {value:.2f} mm, the "
    "pump's stroke allows {limit:.2f} mm",
    mend="fit a lobe with less lift, or a pump with a longer stroke",
    limit="overtravel_clearance_mm",
)
def lobe_travel_stays_inside_the_safe_stroke(pump: Pumps, lobe: Lobes, limits: Limits) -> Reading:
    """Travel at full opening plus the overtravel clearance stays inside the diaphragm's safe stroke; beyond it the
    diaphragm tears or the linkage bends."""
    return pump.lever_ratio * lobe.total_lift_mm + limits.overtravel_clearance_mm, pump.safe_stroke_mm


@rule(
    kind="fit",
    at_most=True,
    unit="deg",
    severity="conflict",
    says="no such phase on the lobe: {value:.0f} deg from any that it is drilled for",
    mend="mount the lobe in a phase it has",
)
def phase_exists_on_the_lobe(lobe: Lobes) -> Reading:
    """A lobe is mounted in one of the phases it is drilled for: one for lobes of the larger pump, two or three for
    others."""
    return lobe.phase_off_deg, 0.0


@rule(
    kind="cure",
    at_most=True,
    unit="deg",
    severity="warning",
    says="late phase for a slow idle: {value:.0f} deg, {limit:.0f} deg or before wanted",
    mend="move the lobe to an earlier phase",
    limit="early_phase_idle_most_rpm",
)
def slow_idle_has_an_early_phase(lobe: Lobes, facts: CircuitFacts, limits: Limits) -> Reading:
    """With an idle of about 600 to 700 rev/min an early phase is right: the shot starts with the throttle."""
    applies = facts.idle_rpm <= limits.early_phase_idle_most_rpm
    return lobe.phase_deg, np.where(applies & (lobe.phase_count > 1), lobe.middle_phase_deg, np.inf)


@rule(
    kind="cure",
    at_most=False,
    unit="deg",
    severity="warning",
    says="early phase for a fast idle: {value:.0f} deg, {limit:.0f} deg or after wanted",
    mend="move the lobe to a later phase",
    limit="late_phase_idle_least_rpm",
)
def fast_idle_has_a_late_phase(lobe: Lobes, facts: CircuitFacts, limits: Limits) -> Reading:
    """From an idle of about 1,000 rev/min a later phase is right: an early one has spent part of its lift at idle."""
    applies = facts.idle_rpm >= limits.late_phase_idle_least_rpm
    return lobe.phase_deg, np.where(applies & (lobe.phase_count > 1), lobe.middle_phase_deg, np.inf)


@rule(
    kind="cure",
    at_most=False,
    unit="%",
    severity="warning",
    says="the lobe is spent at idle: {value:.0f} % of its lift is left, {limit:.0f} % wanted",
    mend="move the lobe to a later phase, or slow the idle",
    limit="shot_left_least_percent",
)
def enough_shot_is_left_at_idle(lobe: Lobes, facts: CircuitFacts, limits: Limits) -> Reading:
    """Between a slow and a fast idle, the phase is judged by the share of the lift that is left at idle."""
    between = limits.early_phase_idle_most_rpm < facts.idle_rpm < limits.late_phase_idle_least_rpm
    return lobe.lift_left_percent, np.where(between, limits.shot_left_least_percent, np.inf)


@rule(
    kind="fit",
    at_most=False,
    unit="mm",
    severity="conflict",
    says="the pump is too deep for the manifold pad: {value:.1f} mm between them (below 0 they foul), "
    "{limit:.1f} mm needed",
    mend="relieve the pad a little, or fit a spacer that still goes under the bonnet",
    limit="pump_pad_clearance_mm",
    unknown="measure the pad: the height from it to the underside of the bowl, before a deeper pump is bought",
    doubtful=(
        -4.0,
        "first make sure that the gauge stood between the pad and the bowl's underside, not at the pump's "
        "body (docs/vehicle.md shows where)",
    ),
)
def pump_clears_the_manifold_pad(
    pump: Pumps, spacer: Spacers, pad_relief: PadReliefs, facts: CircuitFacts, limits: Limits
) -> Reading:
    """The pump body clears the manifold's pad; the larger pump is deeper and often does not."""
    room = facts.pad_clearance_mm + spacer.thickness_mm + pad_relief.relief_mm - pump.depth_below_bowl_mm
    return room, limits.pump_pad_clearance_mm


@rule(
    kind="fit",
    at_most=False,
    unit="mm",
    severity="conflict",
    says="too high for the bonnet: {value:.0f} mm left above the air cleaner, {limit:.0f} mm needed",
    mend="fit a thinner spacer, or relieve the pad instead",
    limit="bonnet_clearance_mm",
    unknown="measure the height left under the bonnet (modelling clay on the air cleaner) before fitting a spacer",
)
def spacer_fits_under_the_bonnet(spacer: Spacers, car: CarFacts, limits: Limits) -> Reading:
    """A spacer lifts carburettor and air cleaner: the bonnet must still close with room for the engine to rock."""
    left = car.bonnet_clearance_mm - spacer.bonnet_mm
    has_one = car.spacer_height_mm + spacer.bonnet_mm > 0.0
    return left, np.where(has_one, limits.bonnet_clearance_mm, np.inf)


@rule(
    kind="fit",
    at_most=True,
    unit="mismatch",
    severity="conflict",
    says="the carburettor's body does not take this style of nozzle",
    mend="fit a nozzle of the style that the body takes",
)
def nozzle_style_suits_the_body(nozzle: Nozzles, facts: CircuitFacts) -> Reading:
    """The nozzle is of a style, straight or aimed, that the body has room for."""
    accepted = np.where(nozzle.aimed, facts.takes_aimed, facts.takes_straight)
    return 1.0 - accepted.astype(float), 0.0


@rule(
    kind="fit",
    at_most=True,
    unit="joint",
    severity="warning",
    says="joints without a new gasket: {value:.0f} of those opened, the catalogue has none for it",
    mend="add the gasket to the catalogue's consumables, with its joint",
)
def every_joint_opened_gets_its_gaskets(job: JobFacts) -> Reading:
    """Gaskets for every joint that a change opens are in the list: an old gasket is not fitted again."""
    return float(job.joints_opened - job.joints_with_gaskets), 0.0
