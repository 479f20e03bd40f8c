"""Every rule on its own, on columns made by hand: one case that passes, one that fails, and the trade's figures.

A rule without its cases fails here, so that none can be added without them. Figures are common practice, no source,
unless a test says otherwise.
"""

import itertools
from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any, get_args, get_type_hints

import building
import numpy as np
import pytest

from configurator.basis import OWN_REQUEST, PUBLISHED
from configurator.car.facts import CarFacts, CircuitFacts, JobFacts
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.files.declared import Basis
from configurator.judging.findings import finding, findings
from configurator.judging.right import DEMAND, OF_FELT_SIZES
from configurator.rules import RULES, Rule
from configurator.rules.figures import JudgedFigures
from configurator.rules.rule import RULE_SLOTS
from configurator.slots.columns import FeedScrews, JudgedShots, Lobes, Nozzles, PadReliefs, Pumps, Spacers
from configurator.slots.slot import AXES
from configurator.units.units import parse_diameter_mm
from configurator.views.tables import MEASURED_UNITS

SHIPPED = load_catalog(shipped_catalog_dir())
PLAIN: dict[str, dict[str, Any]] = {
    "nozzle": {"diameter_mm": 0.8, "stamped_mm": 0.8, "length_mm": 3.0, "orifices": 2.0, "aimed": 0.0,
               "redrilled": 0.0, "measured": 0.0},
    "feed_screw": {"passage_area_mm2": 3.0},
    "pump": {"capacity_cc": 3.0, "diaphragm_area_mm2": 700.0, "safe_stroke_mm": 6.0, "spring_preload_n": 9.0,
             "spring_rate_n_per_mm": 1.5, "lever": "short", "lever_ratio": 1.0, "depth_below_bowl_mm": 14.0,
             "changed": 0.0},
    "lobe": {"total_lift_mm": 4.0, "lever": "short", "phase_deg": 6.0, "phase_off_deg": 0.0, "phase_count": 3.0,
             "middle_phase_deg": 6.0, "lift_left_percent": 90.0, "changed": 0.0},
    "spacer": {"thickness_mm": 0.0, "bonnet_mm": 0.0},
    "pad_relief": {"relief_mm": 0.0},
    "shot": {"delay_ms": 20.0, "lean_delay_ms": 15.0, "lean_sag_percent": 2.0, "lean_sag_at_ms": 800.0,
             "rich_sag_percent": 1.0, "rich_sag_at_ms": 300.0, "smoke_ms": 60.0, "pop_back_cycles": 0.2,
             "volume_cc": 2.0, "ends_ms": 400.0, "peak_cc_s": 9.0, "sure_percent": 70.0},
    "facts": {"idle_rpm": 850.0, "screw_coefficient": 0.7, "pad_clearance_mm": 20.0, "takes_straight": True,
              "takes_aimed": True, "linkage_disturbed": False, "slack_mm": 0.0, "preload_mm": 0.0,
              "overtravel_mm": 0.5, "rear_main_delivers_ms": np.inf},
    "car": {"bonnet_clearance_mm": 20.0, "spacer_height_mm": 0.0, "flow_per_litre": 4.0, "carburettors": 1,
            "above_jetted_m": 0.0, "overall_ratio": 8.0, "mass_kg": 1200.0,
            "jets_redrilled": False, "first_checks_open": 0},
    "job": {"joints_opened": 1, "joints_with_gaskets": 1},
}  # fmt: skip
"""Columns of one combination that no rule minds."""
KINDS: dict[str, type] = {
    "nozzle": Nozzles, "feed_screw": FeedScrews, "pump": Pumps, "lobe": Lobes, "spacer": Spacers,
    "pad_relief": PadReliefs, "shot": JudgedShots, "facts": CircuitFacts, "car": CarFacts, "job": JobFacts,
}  # fmt: skip


def columns(limits: Any = None, /, **overruled: Mapping[str, Any]) -> JudgedFigures:
    """Columns of a plain combination with some figures overruled: columns(nozzle={"diameter_mm": [0.8, 0.9]})."""
    made: dict[str, Any] = {"limits": limits or building.limits()}
    for name, plain in PLAIN.items():
        figures = plain | dict(overruled.get(name, {}))
        if name not in ("facts", "car", "job"):
            figures = {key: np.asarray(value) for key, value in figures.items()}
        made[name] = KINDS[name](**figures)
    return JudgedFigures(**made)


Figures = dict[str, dict[str, Any]]
CASES: dict[str, tuple[Figures, Figures]] = {
    "feed-screw-is-not-the-restriction": ({"nozzle": {"diameter_mm": 0.9}}, {"nozzle": {"diameter_mm": 1.0}}),
    "large-nozzle-has-the-larger-pump": (
        {"nozzle": {"diameter_mm": 1.1}, "pump": {"capacity_cc": 4.2}},
        {"nozzle": {"diameter_mm": 1.1}, "pump": {"capacity_cc": 4.1}},
    ),
    "nozzle-is-not-unusually-small": ({"nozzle": {"diameter_mm": 0.66}}, {"nozzle": {"diameter_mm": 0.6}}),
    "nozzle-is-not-unusually-large": ({"nozzle": {"diameter_mm": 1.3}}, {"nozzle": {"diameter_mm": 1.4}}),
    "pull-comes-at-once": (
        {"shot": {"delay_ms": 50.0, "lean_delay_ms": 25.0}}, {"shot": {"delay_ms": 51.0, "lean_delay_ms": 25.5}},
    ),
    "pull-is-not-drowned": (
        {"shot": {"delay_ms": 50.0, "lean_delay_ms": 24.9}}, {"shot": {"delay_ms": 51.0, "lean_delay_ms": 25.4}},
    ),
    "pull-does-not-go-flat": ({"shot": {"lean_sag_percent": 6.0}}, {"shot": {"lean_sag_percent": 6.1}}),
    "pull-does-not-nose-over": ({"shot": {"rich_sag_percent": 6.0}}, {"shot": {"rich_sag_percent": 6.1}}),
    "mixture-does-not-smoke": ({"shot": {"smoke_ms": 200.0}}, {"shot": {"smoke_ms": 201.0}}),
    "mixture-does-not-pop-back": ({"shot": {"pop_back_cycles": 1.0}}, {"shot": {"pop_back_cycles": 1.1}}),
    "right-for-enough-engines": (
        {"shot": {"sure_percent": 90.0}, "facts": {"sure_wanted_percent": 90.0}},
        {"shot": {"sure_percent": 89.0}, "facts": {"sure_wanted_percent": 90.0}},
    ),
    "nozzle-is-no-smaller-than-was-too-small": (
        {"nozzle": {"diameter_mm": 0.70}, "facts": {"lean_mm": 0.70}},
        {"nozzle": {"diameter_mm": 0.69}, "facts": {"lean_mm": 0.70}},
    ),
    "nozzle-is-no-larger-than-was-large-enough": (
        {"nozzle": {"diameter_mm": 0.90}, "facts": {"rich_mm": 0.90}},
        {"nozzle": {"diameter_mm": 0.91}, "facts": {"rich_mm": 0.90}},
    ),
    "shot-is-no-less-than-was-too-little": (
        {"shot": {"volume_cc": 2.0}, "facts": {"least_cc": 2.0}},
        {"shot": {"volume_cc": 1.9}, "facts": {"least_cc": 2.0}},
    ),
    "shot-is-no-slower-than-was-too-little": (
        {"shot": {"peak_cc_s": 4.0}, "facts": {"least_cc_s": 4.0}},
        {"shot": {"peak_cc_s": 3.9}, "facts": {"least_cc_s": 4.0}},
    ),
    "shot-is-no-more-than-smoked": (
        {"shot": {"volume_cc": 2.0}, "facts": {"most_cc": 2.0}},
        {"shot": {"volume_cc": 2.1}, "facts": {"most_cc": 2.0}},
    ),
    "rear-shot-lasts-until-the-main-delivers": (
        {"shot": {"ends_ms": 300.0}, "facts": {"rear_main_delivers_ms": 300.0}},
        {"shot": {"ends_ms": 300.0}, "facts": {"rear_main_delivers_ms": 310.0}},
    ),
    "lobe-is-made-for-the-lever": ({"lobe": {"lever": "short"}}, {"lobe": {"lever": "long"}}),
    "lobe-travel-stays-inside-the-safe-stroke": (
        {"pump": {"lever_ratio": 1.1, "safe_stroke_mm": 4.78}, "lobe": {"total_lift_mm": 4.0}},
        {"pump": {"lever_ratio": 1.1, "safe_stroke_mm": 4.77}, "lobe": {"total_lift_mm": 4.0}},
    ),
    "phase-exists-on-the-lobe": ({"lobe": {"phase_off_deg": 0.0}}, {"lobe": {"phase_off_deg": 2.0}}),
    "slow-idle-has-an-early-phase": (
        {"facts": {"idle_rpm": 650.0}, "lobe": {"phase_deg": 0.0}},
        {"facts": {"idle_rpm": 650.0}, "lobe": {"phase_deg": 12.0}},
    ),
    "fast-idle-has-a-late-phase": (
        {"facts": {"idle_rpm": 1100.0}, "lobe": {"phase_deg": 12.0}},
        {"facts": {"idle_rpm": 1100.0}, "lobe": {"phase_deg": 0.0}},
    ),
    "enough-shot-is-left-at-idle": ({"lobe": {"lift_left_percent": 80.0}}, {"lobe": {"lift_left_percent": 79.0}}),
    "pump-clears-the-manifold-pad": (
        {"pump": {"depth_below_bowl_mm": 19.0}, "spacer": {"thickness_mm": 0.5}},
        {"pump": {"depth_below_bowl_mm": 19.0}, "pad_relief": {"relief_mm": 0.4}},
    ),
    "spacer-fits-under-the-bonnet": ({"spacer": {"bonnet_mm": 10.0}}, {"spacer": {"bonnet_mm": 10.5}}),
    "nozzle-style-suits-the-body": (
        {"nozzle": {"aimed": 1.0}, "facts": {"takes_straight": False}},
        {"nozzle": {"aimed": 1.0}, "facts": {"takes_aimed": False}},
    ),
    "every-joint-opened-gets-its-gaskets": (
        {"job": {"joints_opened": 2, "joints_with_gaskets": 2}},
        {"job": {"joints_opened": 2, "joints_with_gaskets": 1}},
    ),
    "linkage-has-no-slack": ({"facts": {"slack_mm": 0.05}}, {"facts": {"slack_mm": 0.06}}),
    "linkage-has-no-preload": ({"facts": {"preload_mm": 0.05}}, {"facts": {"preload_mm": 0.06}}),
    "linkage-has-overtravel-clearance": ({"facts": {"overtravel_mm": 0.38}}, {"facts": {"overtravel_mm": 0.37}}),
    "linkage-is-set-again-after-a-change": ({"pump": {"changed": 0.0}}, {"lobe": {"changed": 1.0}}),
    "stamped-and-measured-orifice-agree": (
        {"nozzle": {"diameter_mm": 0.82, "stamped_mm": 0.8}}, {"nozzle": {"diameter_mm": 0.77, "stamped_mm": 0.8}},
    ),
    "redrilled-orifice-is-measured": (
        {"nozzle": {"redrilled": 1.0, "measured": 1.0}}, {"nozzle": {"redrilled": 1.0, "measured": 0.0}},
    ),
    "only-straight-nozzles-are-redrilled": (
        {"nozzle": {"redrilled": 1.0, "aimed": 0.0}}, {"nozzle": {"redrilled": 1.0, "aimed": 1.0}},
    ),
    "rated-flow-is-not-implausibly-small": ({"car": {"flow_per_litre": 2.0}}, {"car": {"flow_per_litre": 0.1}}),
    "rated-flow-is-not-implausibly-large": ({"car": {"flow_per_litre": 8.0}}, {"car": {"flow_per_litre": 60.0}}),
    "main-jets-suit-the-altitude": ({"car": {"above_jetted_m": -600.0}}, {"car": {"above_jetted_m": -601.0}}),
    "overall-ratio-has-the-gear-in-it": ({"car": {"overall_ratio": 5.0}}, {"car": {"overall_ratio": 3.9}}),
    "mass-is-not-implausibly-small": ({"car": {"mass_kg": 400.0}}, {"car": {"mass_kg": 78.0}}),
    "jets-are-never-redrilled": ({"car": {"jets_redrilled": False}}, {"car": {"jets_redrilled": True}}),
    "every-carburettor-gets-the-same": ({"car": {"carburettors": 1}}, {"car": {"carburettors": 2}}),
    "first-checks-are-done": ({"car": {"first_checks_open": 0}}, {"car": {"first_checks_open": 1}}),
}  # fmt: skip
"""For each rule, figures with which it holds and figures with which it does not."""
NOT_MEASURED: dict[str, Figures] = {
    "linkage-has-no-slack": {"facts": {"slack_mm": np.nan}},
    "linkage-has-no-preload": {"facts": {"preload_mm": np.nan}},
    "linkage-has-overtravel-clearance": {"facts": {"overtravel_mm": np.nan}},
    "pump-clears-the-manifold-pad": {"facts": {"pad_clearance_mm": np.nan}},
    "spacer-fits-under-the-bonnet": {"car": {"bonnet_clearance_mm": np.nan}, "spacer": {"bonnet_mm": 5.0}},
}
DOES_NOT_APPLY: dict[str, Figures] = {
    "rear-shot-lasts-until-the-main-delivers": {"shot": {"ends_ms": 0.0}},
    "right-for-enough-engines": {"shot": {"sure_percent": np.nan}},
    "pull-comes-at-once": {"shot": {"delay_ms": 500.0}, "facts": {"sure_wanted_percent": 90.0}},
    "pull-is-not-drowned": {"shot": {"delay_ms": 500.0, "lean_delay_ms": 250.0}},
    "pull-does-not-go-flat": {"shot": {"lean_sag_percent": 50.0}, "facts": {"sure_wanted_percent": 90.0}},
    "pull-does-not-nose-over": {"shot": {"rich_sag_percent": 50.0}, "facts": {"sure_wanted_percent": 90.0}},
    "mixture-does-not-smoke": {"shot": {"smoke_ms": 900.0}, "facts": {"sure_wanted_percent": 90.0}},
    "slow-idle-has-an-early-phase": {"facts": {"idle_rpm": 701.0}, "lobe": {"phase_deg": 12.0}},
    "fast-idle-has-a-late-phase": {"facts": {"idle_rpm": 999.0}, "lobe": {"phase_deg": 0.0}},
    "enough-shot-is-left-at-idle": {"facts": {"idle_rpm": 650.0}, "lobe": {"lift_left_percent": 1.0}},
    "spacer-fits-under-the-bonnet": {"car": {"bonnet_clearance_mm": 0.0}},
    "linkage-has-no-slack": {"facts": {"slack_mm": 2.0, "linkage_disturbed": True}},
    "linkage-has-no-preload": {"facts": {"preload_mm": 2.0, "linkage_disturbed": True}},
    "linkage-has-overtravel-clearance": {"facts": {"overtravel_mm": 0.0, "linkage_disturbed": True}},
    "stamped-and-measured-orifice-agree": {"nozzle": {"stamped_mm": np.nan}},
}
each_rule = pytest.mark.parametrize("rule", RULES.values(), ids=list(RULES))


def test_every_rule_has_a_case_that_passes_and_one_that_fails() -> None:
    assert set(CASES) == set(RULES)
    assert set(NOT_MEASURED) == {rule.id for rule in RULES.values() if rule.unknown}


@each_rule
def test_a_rule_says_all_that_docs_and_findings_need(rule: Rule) -> None:
    assert rule.statement.endswith(".") and len(rule.statement) > 20
    assert rule.mend and rule.unit and rule.severity in ("conflict", "warning", "note")
    assert set(rule.circuit_slots()) <= set(AXES), "slots are those of a circuit or of the car"
    assert set(rule.slots) <= set(RULE_SLOTS)
    fields_there = get_type_hints(JudgedFigures)
    asked = get_type_hints(rule.reads)
    assert {name: asked[name] for name in rule.needs} == {name: fields_there[name] for name in rule.needs}
    said = rule.says.format(value=1.25, limit=2.5)
    assert "{" not in said and said != rule.statement and rule.wrong and rule.wrong in said
    assert "{" not in rule.wrong, "what is wrong is said without figures, too"
    assert "{value" in rule.says or rule.unit not in MEASURED_UNITS, "with the figure found"
    assert rule.kind in ("fit", "cure")
    if rule.limit:
        row = SHIPPED.limit_rows[rule.limit]
        assert row.says and row.basis in get_args(Basis) and (row.source or row.basis != PUBLISHED)
    else:
        assert rule.basis in (*get_args(Basis), OWN_REQUEST) and (rule.source or rule.basis != PUBLISHED)


@each_rule
def test_a_rule_holds_in_its_passing_case_only(rule: Rule) -> None:
    passing, failing = CASES[rule.id]
    assert rule.margin(columns(**passing)) >= 0
    assert rule.margin(columns(**failing)) < 0


@each_rule
def test_a_plain_combination_breaks_no_rule(rule: Rule) -> None:
    assert rule.margin(columns()) >= 0


@pytest.mark.parametrize("name", NOT_MEASURED)
def test_what_nobody_measured_becomes_a_note_that_says_what_to_measure(name: str) -> None:
    table, rule, case = columns(**NOT_MEASURED[name]), RULES[name], building.case()
    value, limit = (float(x) for x in rule.readings(table))
    found = finding(case, rule, "front", value, limit, float(rule.margin(table)))
    assert (found.severity, found.holds, found.margin) == ("note", None, None)
    assert found.mend == rule.unknown and "nan" not in found.says


@pytest.mark.parametrize("name", DOES_NOT_APPLY)
def test_a_rule_that_does_not_apply_has_an_endless_margin(name: str) -> None:
    assert np.isposinf(RULES[name].margin(columns(**DOES_NOT_APPLY[name])))


def test_a_rule_that_does_not_apply_is_not_reported() -> None:
    case = building.case(building.vehicle(engine={"idle_rpm": 1100}))
    reported = {found.rule for found in findings(case, case.as_fitted)}
    assert "fast-idle-has-a-late-phase" in reported
    assert not reported & {"slow-idle-has-an-early-phase", "enough-shot-is-left-at-idle"}
    assert not reported & {"rear-shot-lasts-until-the-main-delivers", "spacer-fits-under-the-bonnet"}


def test_a_finding_rests_on_the_catalogue_s_own_row() -> None:
    stock = building.catalog()
    row = stock.limit_rows["delay_most_ms"].model_copy(update={"basis": "owner's figure", "source": "bay two, 3 runs"})
    stock = replace(stock, limit_rows=dict(stock.limit_rows) | {"delay_most_ms": row})
    case = building.case(stock=stock)
    (found,) = [f for f in findings(case, case.as_fitted) if f.rule == "pull-comes-at-once"]
    assert (found.basis, found.source) == ("owner's figure", "bay two, 3 runs")


def test_the_pull_in_one_engine_decides_until_engines_are_believed_in() -> None:
    """Then the share that a choice is right for decides in its place; a pop back is told all the same."""
    felt = {"delay_ms": 90.0, "lean_delay_ms": 90.0, "lean_sag_percent": 9.0, "rich_sag_percent": 9.0,
            "smoke_ms": 300.0, "pop_back_cycles": 2.0, "sure_percent": 40.0, "ends_ms": 300.0}  # fmt: skip
    facts = {"rear_main_delivers_ms": 900.0}
    found = {
        wanted: {
            rule for rule in (*DEMAND, "mixture-does-not-pop-back")
            if RULES[rule].margin(columns(shot=felt, facts=facts | {"sure_wanted_percent": wanted})) < 0
        }
        for wanted in (np.inf, 60.0, 40.0)
    }  # fmt: skip
    others = {"right-for-enough-engines", "pull-is-not-drowned", *OF_FELT_SIZES}
    of_one = {*DEMAND, "mixture-does-not-pop-back"} - others
    assert found[np.inf] == of_one
    assert found[60.0] == {"right-for-enough-engines", "mixture-does-not-pop-back"}
    assert found[40.0] == {"mixture-does-not-pop-back"}


def test_an_overruled_limit_moves_the_margin_by_as_much() -> None:
    for_all = columns(building.limits(delay_most_ms=80.0), shot={"delay_ms": 60.0, "lean_delay_ms": 60.0})
    assert RULES["pull-comes-at-once"].margin(for_all) == pytest.approx(20.0)


def _passes(rule: str, **figures: Mapping[str, Any]) -> Any:
    return RULES[rule].margin(columns(SHIPPED.limits, **figures)) >= 0


SIZES_MM = np.arange(0.50, 1.501, 0.001)


def test_the_standard_screw_gives_way_to_a_free_flow_one_from_0_91_to_0_97_mm() -> None:
    standard = min(screw.passage_area_mm2 for screw in SHIPPED.feed_screws.values())
    free = [screw.passage_area_mm2 for screw in SHIPPED.feed_screws.values() if screw.free_flow]
    sizes = {"diameter_mm": SIZES_MM}
    passes = _passes("feed-screw-is-not-the-restriction", nozzle=sizes, feed_screw={"passage_area_mm2": standard})
    assert 0.91 <= SIZES_MM[passes].max() <= 0.97
    for area in free:
        wide = _passes("feed-screw-is-not-the-restriction", nozzle=sizes, feed_screw={"passage_area_mm2": area})
        assert SIZES_MM[wide].max() >= 1.32, "a free-flow screw serves every size in use"


def test_the_larger_pump_takes_over_from_about_0_94_mm() -> None:
    """The trade's word for 3 cc a stroke; of any other pump the orifices' area goes with its capacity."""
    most_mm = {}
    for capacity_cc in (3.0, 4.0, 5.0, 6.0):
        good = _passes(
            "large-nozzle-has-the-larger-pump", nozzle={"diameter_mm": SIZES_MM}, pump={"capacity_cc": capacity_cc}
        )
        most_mm[capacity_cc] = SIZES_MM[good].max()
    assert most_mm[3.0] == pytest.approx(0.94, abs=0.005)
    assert most_mm == {cc: pytest.approx(0.94 * (cc / 3.0) ** 0.5, abs=0.002) for cc in most_mm}
    assert most_mm[6.0] > 1.32, "all sizes in use"


@pytest.mark.parametrize("rule", ["large-nozzle-has-the-larger-pump", "nozzle-is-not-unusually-small",
                                  "nozzle-is-not-unusually-large", "feed-screw-is-not-the-restriction"])  # fmt: skip
def test_the_trades_figures_are_for_two_orifices_and_others_count_by_area(rule: str) -> None:
    """One of 1.15 mm passes what two of 0.81 do, and four of 0.575: whatever holds for the two holds for them."""
    margins = [
        RULES[rule].margin(columns(SHIPPED.limits, nozzle={"diameter_mm": SIZES_MM * (2 / n) ** 0.5, "orifices": n}))
        for n in (1.0, 2.0, 4.0)
    ]
    np.testing.assert_allclose(margins[0], margins[1], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(margins[2], margins[1], rtol=1e-9, atol=1e-9)
    assert (margins[1] < 0).any() and (margins[1] >= 0).any()


@pytest.mark.parametrize("thou, in_use", [(24, False), (25, True), (37, True), (52, True), (53, False)])
def test_sizes_from_25_to_52_thou_are_in_common_use(thou: int, in_use: bool) -> None:
    size = {"diameter_mm": parse_diameter_mm(f"{thou} thou")}
    small, large = (_passes(f"nozzle-is-not-unusually-{word}", nozzle=size) for word in ("small", "large"))
    assert bool(small and large) is in_use


@pytest.mark.parametrize(
    "idle_rpm, suit", [(600, "early"), (700, "early"), (850, "any"), (1000, "late"), (1200, "late")]
)
def test_a_slow_idle_wants_an_early_phase_and_a_fast_one_a_late_phase(idle_rpm: int, suit: str) -> None:
    facts, three = {"idle_rpm": float(idle_rpm)}, {"phase_deg": [0.0, 6.0, 12.0]}
    slow = _passes("slow-idle-has-an-early-phase", facts=facts, lobe=three)
    fast = _passes("fast-idle-has-a-late-phase", facts=facts, lobe=three)
    expected = {"early": [True, True, False], "late": [False, True, True], "any": [True, True, True]}
    assert (slow & fast).tolist() == expected[suit]
    only_one = three | {"phase_count": 1.0}
    assert _passes("slow-idle-has-an-early-phase", facts=facts, lobe=only_one).all()
    assert _passes("fast-idle-has-a-late-phase", facts=facts, lobe=only_one).all()


def test_fifteen_thou_of_overtravel_clearance_is_enough_and_fourteen_is_not() -> None:
    for inches, enough in ((0.015, True), (0.014, False)):
        assert bool(_passes("linkage-has-overtravel-clearance", facts={"overtravel_mm": inches * 25.4})) is enough
        stroke = {"safe_stroke_mm": 4.0 + inches * 25.4}
        assert bool(_passes("lobe-travel-stays-inside-the-safe-stroke", pump=stroke)) is enough


@each_rule
def test_a_table_by_broadcasting_equals_one_combination_at_a_time(rule: Rule) -> None:
    """Two options a slot, those of the passing and of the failing case; 64 combinations at once and one by one."""
    passing, failing = CASES[rule.id]
    pairs = [columns(**(failing | passing)), columns(**failing)]
    columns_of: dict[str, Any] = {}
    for axis, slot in enumerate(AXES):
        own = [getattr(pair, slot) for pair in pairs]
        both = {item.name: np.array([getattr(one, item.name) for one in own]) for item in fields(KINDS[slot])}
        columns_of[slot] = KINDS[slot](**both).along(axis, len(AXES))
    shot = {name: np.array([pair.shot.figures[name] for pair in pairs]) for name in pairs[0].shot.figures}
    cube = [np.broadcast_to(x.reshape(2, 1, 1, 1, 1, 1), (2, 2, 2, 2, 1, 1)) for x in shot.values()]
    made: dict[str, Any] = dict(zip(shot, cube, strict=True))
    table = replace(pairs[1], shot=JudgedShots(**made), **columns_of)
    at_once = np.broadcast_to(rule.margin(table), (2,) * len(AXES))
    for place in itertools.product((0, 1), repeat=len(AXES)):
        parts: dict[str, Any] = {slot: getattr(pairs[at], slot) for slot, at in zip(AXES, place, strict=True)}
        single = replace(pairs[1], shot=pairs[place[0]].shot, **parts)
        assert at_once[place] == rule.margin(single)
