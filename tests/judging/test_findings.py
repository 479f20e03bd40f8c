"""What check says of a car: linkage as measured, by hand; conflicts first; slack with what taking it up does."""

import building
import pytest

from configurator.errors import OutOfRange
from configurator.judging.case import Case
from configurator.judging.findings import broken, check, finding, findings, problems
from configurator.judging.right import DEMAND
from configurator.physics.lateness import Lateness
from configurator.reports import EngineTold, Finding
from configurator.rules import RULES
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import read_wishes


def one(case: Case, rule: str) -> Finding:
    (found,) = [f for f in findings(case, case.as_fitted) if f.rule == rule]
    return found


def volume_cc(case: Case) -> float:
    listed = {slot: (option,) for slot, option in case.as_fitted.items()}
    return float(case.columns("front", listed).shot.volume_cc.item())


def delay_ms(case: Case) -> float:
    listed = {slot: (option,) for slot, option in case.as_fitted.items()}
    return float(case.columns("front", listed).shot.delay_ms.item())


def measured(**linkage: float) -> Case:
    return building.case(building.vehicle(front=linkage))


# --- the linkage as measured ------------------------------------------------------------------------------------------


def test_preload_is_found_and_takes_stroke_from_the_pump() -> None:
    """The lobe lifts 3.6 mm, of which idle has spent some; the diaphragm of 7 cm2 and 3 cc goes 4.286 mm. With 1 mm of
    preload it is at its end before the lobe is: 3.6 + 1 - 4.286 = 0.314 mm of 7 cm2 are lost, 0.220 cc."""
    case = measured(preload_mm=1.0)
    found = one(case, "linkage-has-no-preload")
    assert (found.holds, found.severity, found.margin) == (False, "conflict", -0.95)
    assert found.says == "the pump linkage is preloaded: by 1.00 mm at closed throttle, 0.05 mm allowed"
    assert found.mend.startswith("back the lever's adjuster off")
    assert volume_cc(measured(preload_mm=0.0)) - volume_cc(case) == pytest.approx(0.7 * (3.6 + 1 - 3 / 0.7), abs=1e-6)
    assert volume_cc(case.with_linkage_set()) == pytest.approx(volume_cc(measured(preload_mm=0.0)))


def test_slack_is_found_and_takes_lift_from_the_pump() -> None:
    """1 mm of slack is more than idle lifts: of 3.6 mm, 2.6 mm of 7 cm2 are left, 1.82 cc."""
    case = measured(slack_mm=1.0)
    found = one(case, "linkage-has-no-slack")
    assert (found.holds, found.margin) == (False, -0.95)
    assert volume_cc(case) == pytest.approx(0.7 * 2.6, abs=1e-6)


@pytest.mark.parametrize(("slack_mm", "holds"), [(0.0, True), (0.05, True), (0.06, False)])
def test_five_hundredths_are_no_slack(slack_mm: float, holds: bool) -> None:
    assert one(measured(slack_mm=slack_mm), "linkage-has-no-slack").holds is holds


@pytest.mark.parametrize(("preload_mm", "holds"), [(0.0, True), (0.05, True), (0.06, False)])
def test_five_hundredths_are_no_preload(preload_mm: float, holds: bool) -> None:
    assert one(measured(preload_mm=preload_mm), "linkage-has-no-preload").holds is holds


def test_slack_that_makes_the_hesitation_says_so() -> None:
    """A limit half way between what is felt with 2 mm of slack and without; and one that is kept with neither."""
    slack, none = (measured(slack_mm=mm) for mm in (2.0, 0.0))
    late_ms, prompt_ms = (delay_ms(case) for case in (slack, none))
    assert late_ms > prompt_ms + 2.0
    report = check(building.with_limits(slack, delay_most_ms=0.5 * (late_ms + prompt_ms)), [])
    found = next(f for f in report.findings if f.rule == "linkage-has-no-slack")
    assert any(f.rule == "pull-comes-at-once" for f in report.findings)
    assert found.mend.endswith("the shot starts late by as much; that alone mends the hesitation")
    assert sum("mends the hesitation" in f.mend for f in report.findings) == 1, "said of the slack, not of the delay"
    strict = check(building.with_limits(slack, delay_most_ms=0.5 * prompt_ms), [])
    still = next(f for f in strict.findings if f.rule == "linkage-has-no-slack")
    assert f"; with that done, too small: hesitates {prompt_ms:.0f} ms, " in still.mend


def test_slack_without_a_hesitation_is_slack_and_no_more() -> None:
    case = building.with_limits(measured(slack_mm=0.3), delay_most_ms=500.0)
    slack = next(f for f in check(case, []).findings if f.rule == "linkage-has-no-slack")
    assert slack.mend == "take the slack up at the lever's adjuster: the shot starts late by as much"


def test_after_a_change_of_lobe_or_pump_what_was_measured_says_nothing() -> None:
    case = measured(slack_mm=2.0, overtravel_mm=0.1)
    linkage = {"linkage-has-no-slack", "linkage-has-overtravel-clearance"}
    for word, disturbs in (("front.lobe=lobe-low@0", True), ("front.pump=pump-large", True),
                           ("front.nozzle=straight-0.90", False)):  # fmt: skip
        found = {f.rule for f in check(case, read_wishes(case.options, [], [word], [])).findings}
        assert (not found & linkage) is disturbs, word
        assert ("linkage-is-set-again-after-a-change" in found) is disturbs, word


# --- a report as a whole ----------------------------------------------------------------------------------------------


def test_a_car_in_order_is_in_order() -> None:
    case = building.easy_case(building.vehicle(front={"slack_mm": 0.0, "preload_mm": 0.0, "overtravel_mm": 0.5}))
    report = check(case, [])
    assert report.ok and report.vehicle == "test truck"
    assert report.engine == EngineTold(late_first_fuel=1.0, late_main_circuit=1.0)
    assert report.with_changes == {}
    assert not [f for f in report.findings if f.holds is False and f.severity == "conflict"]
    assert all(f.holds is not True for f in report.findings)


def test_what_holds_is_told_only_if_asked_for_and_last() -> None:
    case = building.case()
    short, whole = check(case, []), check(case, [], everything=True)
    assert whole.findings[: len(short.findings)] == short.findings
    rest = whole.findings[len(short.findings) :]
    assert rest and all(f.holds is True and f.margin is not None and f.margin >= 0 and not f.mend for f in rest)
    assert len(whole.findings) == len(findings(case, case.as_fitted))


def test_conflicts_stand_first_and_what_can_be_measured_before_what_is_modelled() -> None:
    car = building.vehicle(confirmed={"float_level": False}, front={"nozzle": "straight-1.20", "slack_mm": 1.0})
    report = check(building.case(car).at(Lateness(2.0, 1.75)), [])
    assert report.engine == EngineTold(late_first_fuel=2.0, late_main_circuit=1.75)
    found = report.findings
    rank = {"conflict": 0, "warning": 1, "note": 2}
    keys = [(rank[f.severity], f.rule in DEMAND) for f in found]
    assert keys == sorted(keys) and {key[0] for key in keys} == {0, 1, 2} and (0, True) in keys and (0, False) in keys


def test_a_note_or_a_warning_alone_is_no_conflict() -> None:
    car = building.vehicle(confirmed={"float_level": False, "idle_speed": False})
    report = check(building.easy_case(car), [])
    (first,) = [f for f in report.findings if f.rule == "first-checks-are-done"]
    assert (
        report.ok and first.severity == "warning" and first.says.startswith("first checks open: 2 of 3 not confirmed")
    )
    jets = check(building.easy_case(building.vehicle(carburettor={"jets_redrilled": True})), [])
    assert not jets.ok and jets.findings[0].rule == "jets-are-never-redrilled"


def test_changes_are_named_and_what_breaks_is_what_choosing_could_mend() -> None:
    case = measured(slack_mm=1.0)
    wishes = read_wishes(case.options, [], ["front.nozzle=straight-1.20", "spacer=spacer-13"], [])
    report = check(case, wishes)
    assert set(report.with_changes) == {"front.nozzle", "spacer"}
    assert report.with_changes["front.nozzle"].startswith("straight-1.20")
    chosen = dict(case.as_fitted)
    chosen[SLOTS["front.nozzle"]] = next(o for o in case.options[SLOTS["front.nozzle"]] if o.code == "straight-1.20")
    rules = {f.rule for f in broken(case, chosen)}
    assert {"feed-screw-is-not-the-restriction", "large-nozzle-has-the-larger-pump"} <= rules
    assert "linkage-has-no-slack" not in rules, "no part mends it"
    assert all(f.holds is False for f in broken(case, chosen))


def test_problems_are_what_does_not_hold_or_nobody_measured() -> None:
    found = findings(building.case(), building.case().as_fitted)
    told = problems(found)
    assert {f.rule for f in told} == {f.rule for f in found if f.holds is not True}
    unmeasured = next(f for f in told if f.rule == "linkage-has-no-preload")
    assert (unmeasured.severity, unmeasured.says, unmeasured.margin) == ("note", "not measured yet", None)


def test_a_margin_is_given_to_four_digits_behind_the_point() -> None:
    """The delay and the cut of the screw have as many digits as floats have."""
    case = building.case(building.vehicle(front={"nozzle": "straight-0.70"}))
    listed = {slot: (option,) for slot, option in case.as_fitted.items()}
    table = case.columns("front", listed)
    for rule in ("feed-screw-is-not-the-restriction", "pull-comes-at-once"):
        exact = float(RULES[rule].margin(table).item())
        assert one(case, rule).margin == round(exact, 4) != round(exact, 3)


def test_a_figure_that_is_worked_out_and_no_number_is_an_error_of_ours() -> None:
    """Only what is measured on the car may be missing."""
    with pytest.raises(OutOfRange, match=r"pull-comes-at-once \(front\)") as caught:
        finding(building.case(), RULES["pull-comes-at-once"], "front", float("nan"), 50.0, float("nan"))
    assert (caught.value.low, caught.value.high) == (float("-inf"), float("inf"))
