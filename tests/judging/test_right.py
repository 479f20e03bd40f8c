"""Right at this demand, against every rule read in one engine after another."""

from dataclasses import replace

import building
import numpy as np
import pytest

from configurator.advice.work import sureness_of
from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case, FeltSizes, margins
from configurator.judging.findings import broken
from configurator.judging.right import OF_FELT_SIZES, right
from configurator.judging.table import tabulate_circuit
from configurator.learning.belief import prior_of
from configurator.physics.lateness import FIRST_FUEL, MAIN_CIRCUIT, Lateness
from configurator.rules import RULES
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

FELT_NEAR = 0.02
"""What is felt is run through by cubics: so near to what is allowed it may be taken for either."""


def rear_case() -> Case:
    car = building.two_circuits(carburettor={"rated_flow_m3_min": 18.0}, tip_in={"opening_time_s": 0.25})
    return building.easy_case(car).with_linkage_set()


@pytest.mark.parametrize("name", ["front", "rear"])
def test_a_combination_is_right_where_it_breaks_no_hard_rule(name: str) -> None:
    case, chance = rear_case(), np.random.default_rng(3)
    table = tabulate_circuit(case, name)
    covers = right(table.columns).covers
    tried, differ, short = 0, 0, 0
    regions = table.columns.shot.regions
    assert regions is not None
    places = np.argwhere(np.any(regions.bits[..., 0, 0, :], axis=-1))
    for place in chance.permutation(places)[:12]:
        parts = {Slot(name, slot): table.options[slot][at] for slot, at in zip(CIRCUIT_SLOTS, place, strict=True)}
        for point in chance.integers(0, len(FIRST_FUEL), 12):
            engine = Lateness(float(FIRST_FUEL[point]), float(MAIN_CIRCUIT[point]))
            found = [one for one in broken(case.at(engine), {**case.as_fitted, **parts}) if one.circuit == name]
            hard = {one.rule for one in found if one.severity == "conflict"}
            tried += 1
            differ += (not hard) != covers[tuple(place)][point]
            short += hard == {"rear-shot-lasts-until-the-main-delivers"}
    assert differ <= FELT_NEAR * tried
    assert short > 0 or name == "front", "some are wrong for that alone"


def test_what_was_felt_rules_out_the_same_by_itself_as_by_the_rules() -> None:
    """Orders read what was felt off sizes and volumes alone."""
    chance, seen = np.random.default_rng(11), 0
    case = building.easy_case().with_linkage_set()
    table = tabulate_circuit(case, "front")
    sizes_mm = np.array([one.read(FittedNozzle).diameter_mm for one in table.options["nozzle"]])
    volumes_cc, peaks_cc_s = (one[..., 0, 0] for one in (table.columns.shot.volume_cc, table.columns.shot.peak_cc_s))
    alike = ~np.array(
        [[pump.changed or lobe.changed for lobe in table.options["lobe"]] for pump in table.options["pump"]]
    )
    for _ in range(40):
        lean_mm, rich_mm = np.sort(chance.choice(sizes_mm, 2))
        size_mm, volume_cc = chance.choice(sizes_mm), chance.choice(volumes_cc.ravel())
        bounds = {"least_mm": size_mm, "most_mm": size_mm, "least_cc": volume_cc, "most_cc": volume_cc}
        bounds["least_cc_s"] = chance.choice(peaks_cc_s.ravel())
        told = chance.choice(list(bounds))
        felt = FeltSizes(lean_mm, rich_mm, now_mm=sizes_mm[0], scatter_mm=0.02, **{told: bounds[told]})
        facts = replace(table.columns.facts, **felt.facts)  # type: ignore[arg-type]
        own = replace(table.columns, facts=facts)
        by_rules = [
            np.broadcast_to(margins(RULES[rule], own)[..., 0, 0] < 0, volumes_cc.shape) for rule in OF_FELT_SIZES
        ]
        ruled_out = felt.rule_out(sizes_mm[:, None, None, None], volumes_cc, peaks_cc_s, alike)
        assert np.array_equal(ruled_out, np.any(by_rules, axis=0)), felt
        seen += 0 < ruled_out.sum() < ruled_out.size
    assert seen >= 30, "most bounds leave some and rule out some"


def test_a_rule_that_no_engine_mends_leaves_a_combination_right_for_none() -> None:
    """The pump hits the pad: whatever is felt, it is not right."""
    case = building.easy_case(building.vehicle(manifold={"pad_clearance_mm": 10})).with_linkage_set()
    table = tabulate_circuit(case, "front")
    assert (
        table.broken["pump-clears-the-manifold-pad"][:, :, 0].all() and not right(table.columns).covers[:, :, 0].any()
    )
    regions = table.columns.shot.regions
    assert regions is not None and regions.covers[0, 0, 0, 0].any(), "it pulls cleanly in some engines"
    assert sureness_of(case, case.as_fitted, prior_of(case)) == 0.0
