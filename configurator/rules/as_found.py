"""Rules on what is found on the car: measured linkage, drilled orifices, and faults to mend first."""

import numpy as np

from configurator.car.facts import CarFacts, CircuitFacts
from configurator.catalogue.limits import Limits
from configurator.rules.rule import Reading, rule
from configurator.slots.columns import Lobes, Nozzles, Pumps


def _unless_disturbed(facts: CircuitFacts, limit: float) -> float:
    """The limit, or infinity after a change of lobe, phase or pump: what was measured before says nothing then."""
    return np.inf if facts.linkage_disturbed else limit


@rule(
    kind="fit",
    at_most=True,
    unit="mm",
    severity="conflict",
    says="slack in the pump linkage: {value:.2f} mm at closed throttle, {limit:.2f} mm allowed",
    mend="take the slack up at the lever's adjuster: the shot starts late by as much",
    limit="linkage_tolerance_mm",
    unknown="measure the slack of the pump linkage at closed throttle (feeler gauge, engine stopped)",
)
def linkage_has_no_slack(facts: CircuitFacts, limits: Limits) -> Reading:
    """At closed throttle the pump linkage has no slack."""
    return facts.slack_mm, _unless_disturbed(facts, limits.linkage_tolerance_mm)


@rule(
    kind="fit",
    at_most=True,
    unit="mm",
    severity="conflict",
    says="the pump linkage is preloaded: by {value:.2f} mm at closed throttle, {limit:.2f} mm allowed",
    mend="back the lever's adjuster off until it just touches: preload takes stroke from the pump",
    limit="linkage_tolerance_mm",
    unknown="measure the preload at closed throttle: turns of the adjuster until the lever comes free, times its pitch",
)
def linkage_has_no_preload(facts: CircuitFacts, limits: Limits) -> Reading:
    """At closed throttle the pump linkage is not preloaded."""
    return facts.preload_mm, _unless_disturbed(facts, limits.linkage_tolerance_mm)


@rule(
    kind="fit",
    at_most=False,
    unit="mm",
    severity="conflict",
    says="too little overtravel clearance: {value:.2f} mm at full opening, {limit:.2f} mm needed",
    mend="set the clearance at the lever's adjuster at full opening, then check closed throttle again",
    limit="overtravel_clearance_mm",
    unknown="measure the overtravel clearance at full opening (feeler gauge, engine stopped)",
)
def linkage_has_overtravel_clearance(facts: CircuitFacts, limits: Limits) -> Reading:
    """At full opening the diaphragm can still be pressed in by 0.38 mm (0.015 in), or the lever strains it."""
    return facts.overtravel_mm, _unless_disturbed(facts, limits.overtravel_clearance_mm)


@rule(
    kind="fit",
    at_most=True,
    unit="change",
    severity="note",
    says="the lobe, its phase or the pump changes: earlier linkage measurements no longer hold",
    mend="set slack and overtravel clearance again, at closed and at full opening",
)
def linkage_is_set_again_after_a_change(pump: Pumps, lobe: Lobes) -> Reading:
    """After any change of lobe, phase or pump the linkage is set and measured again."""
    return np.maximum(pump.changed, lobe.changed), 0.0


@rule(
    kind="fit",
    at_most=True,
    unit="mm",
    severity="warning",
    says="not the size on its stamp: measured {value:.3f} mm off it, {limit:.3f} mm allowed",
    mend="the measured orifice is used; mind that the code on the nozzle is wrong",
    limit="stamped_tolerance_mm",
)
def stamped_and_measured_orifice_agree(nozzle: Nozzles, limits: Limits) -> Reading:
    """The orifice measured with a pin gauge agrees with the size on the nozzle."""
    differs = np.abs(nozzle.diameter_mm - nozzle.stamped_mm)
    stamped = np.isfinite(nozzle.stamped_mm)
    return np.where(stamped, differs, 0.0), np.where(stamped, limits.stamped_tolerance_mm, np.inf)


@rule(
    kind="fit",
    at_most=True,
    unit="nozzle",
    severity="warning",
    says="the nozzle was redrilled and nobody measured it since",
    mend="measure the orifice with a pin gauge: a drill cuts a hundredth or three over its size as often as not",
)
def redrilled_orifice_is_measured(nozzle: Nozzles) -> Reading:
    """A redrilled nozzle is known by its measured orifice, not by the drill."""
    return ((nozzle.redrilled > 0) & (nozzle.measured == 0)).astype(float), 0.0


@rule(
    kind="fit",
    at_most=True,
    unit="nozzle",
    severity="warning",
    says="an aimed nozzle was redrilled: a drill spoils the jet's aim",
    mend="replace it by an aimed nozzle of the size, or redrill a straight one",
)
def only_straight_nozzles_are_redrilled(nozzle: Nozzles) -> Reading:
    """Only straight nozzles are sensibly redrilled."""
    return ((nozzle.redrilled > 0) & (nozzle.aimed > 0)).astype(float), 0.0


@rule(
    kind="cure",
    at_most=True,
    unit="carburettor",
    severity="conflict",
    says="metering jets were redrilled: what they pass is anybody's guess",
    mend="put jets of known size back before tuning the pump circuit",
)
def jets_are_never_redrilled(car: CarFacts) -> Reading:
    """Metering jets are calibrated by flow and never redrilled."""
    return float(car.jets_redrilled), 0.0


@rule(
    kind="cure",
    at_most=True,
    unit="check",
    severity="warning",
    says="first checks open: {value:.0f} of 3 not confirmed (float level, idle mixture, idle speed)",
    mend="set float level, idle mixture and idle speed first: a fault there feels like a fault of the pump circuit",
)
def first_checks_are_done(car: CarFacts) -> Reading:
    """Float level, idle mixture and idle speed are set before the pump circuit is touched."""
    return float(car.first_checks_open), 0.0


@rule(
    kind="fit",
    at_most=True,
    unit="carburettor",
    severity="note",
    says="several carburettors alike: {value:.0f}, each with its share of the engine; parts, prices and times "
    "are those of one",
    mend="do the same to each",
)
def every_carburettor_gets_the_same(car: CarFacts) -> Reading:
    """Of several alike carburettors one is judged, and every other gets the same parts."""
    return float(car.carburettors), 1.0


@rule(
    kind="cure",
    at_most=True,
    unit="m",
    severity="warning",
    says="main jets for another height: the car stands {value:.0f} m from it; up to {limit:.0f} m takes no others",
    mend="match the main jets to the height first, and judge the pump circuit again with them: jets that are too rich "
    "or too lean feel like a wrong shot",
    limit="jetted_altitude_most_m",
)
def main_jets_suit_the_altitude(car: CarFacts, limits: Limits) -> Reading:
    """The main jets are those for the height where the car stands; they come before the pump circuit."""
    return abs(car.above_jetted_m), limits.jetted_altitude_most_m


@rule(
    kind="fit",
    at_most=False,
    unit="turns",
    severity="warning",
    says="doubtful overall ratio: {value:.1f}; less than {limit:.1f} is an axle alone, or a direct top gear",
    mend="overall_ratio is gear times final drive: with 3.9 at the axle and 2.1 in second it is 8.2; leave it if the "
    "complaint is in a direct gear",
    limit="overall_ratio_least",
)
def overall_ratio_has_the_gear_in_it(car: CarFacts, limits: Limits) -> Reading:
    """The overall ratio is that of the gear of the complaint, not of the final drive alone."""
    return car.overall_ratio, np.where(np.isfinite(car.overall_ratio), limits.overall_ratio_least, np.inf)


@rule(
    kind="fit",
    at_most=False,
    unit="kg",
    severity="warning",
    says="doubtful mass: {value:.0f} kg; less than {limit:.0f} kg is hardly ever seen",
    mend="look for a slipped digit in mass_kg: the vehicle as it drives, laden",
    limit="mass_least_kg",
)
def mass_is_not_implausibly_small(car: CarFacts, limits: Limits) -> Reading:
    """The mass is that of a whole car with its driver."""
    return car.mass_kg, np.where(np.isfinite(car.mass_kg), limits.mass_least_kg, np.inf)


SLIPPED_DIGIT = "look for a slipped digit or a wrong unit in displacement_cc, rated flow and test depression"


@rule(
    kind="fit",
    at_most=False,
    unit="m3/min/l",
    severity="warning",
    says="doubtful rated flow: {value:.2f} m3/min for each litre of engine; less than {limit:.2f} is hardly ever seen",
    mend=SLIPPED_DIGIT,
    limit="flow_per_litre_least",
)
def rated_flow_is_not_implausibly_small(car: CarFacts, limits: Limits) -> Reading:
    """Displacement and rated flow fit each other: the carburettor is not far too small."""
    return car.flow_per_litre, limits.flow_per_litre_least


@rule(
    kind="fit",
    at_most=True,
    unit="m3/min/l",
    severity="warning",
    says="doubtful rated flow: {value:.2f} m3/min for each litre of engine; more than {limit:.2f} is hardly ever seen",
    mend=SLIPPED_DIGIT,
    limit="flow_per_litre_most",
)
def rated_flow_is_not_implausibly_large(car: CarFacts, limits: Limits) -> Reading:
    """Displacement and rated flow fit each other: the carburettor is not far too large."""
    return car.flow_per_litre, limits.flow_per_litre_most
