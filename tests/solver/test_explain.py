"""Why nothing fits, against trying everything: clashes that are clashes and minimal, and the smallest ways out."""

import itertools
import re
from collections.abc import Iterable, Sequence

import building
import numpy as np
import pytest
from hypothesis import assume, given, settings
from small_choices import every_choice, problem_of, tight_choices

from configurator.advice.explain import explain
from configurator.advice.propose import ProposalRequest, propose
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.learning.as_known import Known
from configurator.reports import ProposeReport
from configurator.rules import RULES
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import read_wishes
from configurator.solver.problem import Constraint, Problem, undominated

STEADY = settings(derandomize=True, deadline=None, max_examples=150)


class Tried:
    """Which assignments of a problem each constraint allows, and by how much it is missed, by trying all of them."""

    def __init__(self, problem: Problem) -> None:
        self.hard = [c for c in problem.constraints if not c.advice]
        places = [tuple(chosen.values()) for chosen in every_choice(problem)]
        column = {slot: number for number, slot in enumerate(problem.options)}
        table = np.array(places)
        self._at = [tuple(table[:, column[slot]] for slot in c.slots) for c in self.hard]
        self.count = len(places)

    def allowed(self, constraint: Constraint) -> np.ndarray:
        return np.asarray(constraint.allowed[self._at[self._place(constraint)]])

    def missed(self, constraint: Constraint) -> np.ndarray:
        return np.asarray(constraint.shortfall[self._at[self._place(constraint)]])

    def _place(self, constraint: Constraint) -> int:
        return next(number for number, other in enumerate(self.hard) if other is constraint)

    def left(self, constraints: Iterable[Constraint]) -> np.ndarray:
        """Assignments that all of these allow."""
        left = np.ones(self.count, dtype=bool)
        for constraint in constraints:
            left &= self.allowed(constraint)
        return left

    def fits(self, constraints: Iterable[Constraint]) -> bool:
        return bool(self.left(constraints).any())

    def named(self, names: Sequence[str]) -> list[Constraint]:
        return [next(c for c in self.hard if c.name == name) for name in names]

    def without(self, constraint: Constraint, among: Sequence[Constraint]) -> list[Constraint]:
        return [other for other in among if other is not constraint]


@STEADY
@given(problem=tight_choices)
def test_a_clash_cannot_hold_and_each_of_its_parts_is_needed(problem: Problem) -> None:
    tried = Tried(problem)
    assume(not tried.fits(tried.hard))
    report = explain(problem)
    told: set[str] = set()
    for obstacle in (report, *report.apart):
        clash = tried.named([*obstacle.wishes, *obstacle.rules])
        assert clash and not tried.fits(clash)
        for constraint in clash:
            assert tried.fits(tried.without(constraint, clash)), f"{constraint.name} is not needed for the clash"
        assert not told & {c.name for c in clash}, "they stand apart"
        told |= {c.name for c in clash}
    assert tried.fits([c for c in tried.hard if c.name not in told]), "else an obstacle is not told"
    rules_alone = [c for c in tried.hard if c.rule]
    assert tried.fits(rules_alone) or not report.wishes, "a clash of rules alone names no wish"


@STEADY
@given(problem=tight_choices)
def test_the_wishes_to_give_up_are_all_the_smallest_sets_that_help(problem: Problem) -> None:
    tried = Tried(problem)
    assume(not tried.fits(tried.hard))
    wishes, rules = [c for c in tried.hard if not c.rule], [c for c in tried.hard if c.rule]
    report = explain(problem)
    shown = [frozenset(way.give_up) for way in report.relaxations if "put up with" not in way.says]
    assert len(shown) == len(set(shown))
    for size in range(1, len(wishes) + 1):
        given_up = [set(map(id, names)) for names in itertools.combinations(wishes, size)]
        helpful = {
            frozenset(c.name for c in wishes if id(c) in names)
            for names in given_up
            if tried.fits([*rules, *(c for c in wishes if id(c) not in names)])
        }
        if helpful:
            assert set(shown) <= helpful and len(shown) == min(3, len(helpful))
            return
    assert shown == []


@STEADY
@given(problem=tight_choices)
def test_a_rule_gives_way_by_the_least_that_helps(problem: Problem) -> None:
    tried = Tried(problem)
    assume(not tried.fits(tried.hard) and not tried.fits([c for c in tried.hard if c.rule]))
    report = explain(problem)
    clash = tried.named(report.rules)
    assert report.wishes == [] and not tried.fits(clash)
    assert all(RULES[c.rule].wrong in says for c, says in zip(clash, report.says, strict=True))
    expected = {}
    for constraint in clash:
        left = tried.left(tried.without(constraint, tried.hard))
        if left.any():
            expected[constraint.name] = float(tried.missed(constraint)[left].min())
    if not expected:
        assert all(len(way.give_up) > 1 for way in report.relaxations)
        return
    shown = {way.give_up[0]: float(re.findall(r"put up with ([\d.]+) ", way.says)[0]) for way in report.relaxations}
    assert shown.items() <= expected.items()
    assert len(report.relaxations) + report.more_relaxations == len(expected)
    assert len(report.relaxations) == min(3, len(expected))


@STEADY
@given(problem=tight_choices)
def test_a_way_out_is_told_wherever_there_is_one_and_it_is_one(problem: Problem) -> None:
    """Of wishes given up and rules that give way by what is said, together, if it takes several."""
    tried = Tried(problem)
    assume(not tried.fits(tried.hard))
    report = explain(problem)
    give = [c for c in tried.hard if not c.rule or RULES[c.rule].unit != "mismatch"]
    kept = [c for c in tried.hard if all(c is not one for one in give)]
    left = tried.left(kept)
    for constraint in (c for c in give if c.rule):
        left &= np.isfinite(tried.missed(constraint))
    assert bool(report.relaxations) == bool(left.any())
    for way in report.relaxations:
        amounts = [float(amount) for amount in re.findall(r"put up with ([\d.]+) ", way.says)]
        given = tried.named(way.give_up)
        rules = [c for c in given if c.rule]
        assert len(amounts) == len(rules)
        left = tried.left([c for c in tried.hard if all(c is not one for one in given)])
        for constraint, amount in zip(rules, amounts, strict=True):
            left &= tried.missed(constraint) <= amount + 1e-9
        assert left.any()
        for constraint in given:
            others = [c for c in tried.hard if c is constraint or all(c is not one for one in given)]
            assert not tried.fits(others), f"{constraint.name} need not give way"


def proposed(case: Case, request: ProposalRequest) -> ProposeReport:
    return propose(case, request, Known(case, ""))


def stuck() -> Case:
    """A truck whose larger pump has no room, a bonnet too low for spacers, and a nozzle that the small pump empties."""
    car = building.vehicle(driveline={"mass_kg": 2600}, manifold={"pad_clearance_mm": 16, "bonnet_clearance_mm": 12})
    return building.easy_case(car, operations=[], smoke_most_ms=2000.0)


def test_a_wish_that_the_room_forbids_is_named_with_the_rules_it_meets() -> None:
    case, wish = stuck(), ["front.pump=pump-large"]
    report = proposed(case, ProposalRequest(read_wishes(case.options, [], wish, [])))
    assert report.status == "impossible" and report.conflict is not None
    assert report.changes == [] and report.totals is None and report.alternatives == []
    assert report.conflict.wishes == ["front.pump = pump-large"]
    assert report.conflict.rules == ["pump-clears-the-manifold-pad (front)", "spacer-fits-under-the-bonnet"]
    first, *others = [way.give_up for way in report.conflict.relaxations]
    assert first == ["front.pump = pump-large"], "the user's own wish comes first"
    assert all(len(way) == 1 and way[0] in report.conflict.rules for way in others)


def test_wishes_that_exclude_each_other_are_both_named_and_either_may_go() -> None:
    case = building.easy_case()
    report = proposed(case, ProposalRequest(read_wishes(case.options, ["front.nozzle"], ["front.nozzle=1.0mm"], [])))
    assert report.conflict is not None
    assert set(report.conflict.wishes) == {"keep front.nozzle", "front.nozzle = 1.0mm"}
    assert report.conflict.rules == []
    assert {tuple(way.give_up) for way in report.conflict.relaxations} <= {(wish,) for wish in report.conflict.wishes}


@pytest.mark.parametrize(
    "keep, fit, avoid",
    [
        (["front.pump"], ["front.nozzle=1.1mm"], []),
        (["front.feed_screw", "front.pump"], ["front.nozzle=1.2mm"], ["redrill"]),
        ([], ["front.pump=pump-large"], ["relief", "spacer"]),
        (["front.lobe"], ["front.pump=pump-large"], ["front.nozzle"]),
    ],
    ids=["pump", "screw and pump", "room", "lobe"],
)
def test_giving_up_what_is_named_helps_and_nothing_less_does(keep: list[str], fit: list[str], avoid: list[str]) -> None:
    case = building.easy_case(building.vehicle(manifold={"pad_clearance_mm": 16}))
    wishes = read_wishes(case.options, keep, fit, avoid)
    conflict = proposed(case, ProposalRequest(wishes)).conflict
    assert conflict is not None
    ways = [way for way in conflict.relaxations if not set(way.give_up) & set(conflict.rules)]
    assert ways
    for way in ways:
        assert way.give_up and set(way.give_up) <= {wish.text for wish in wishes}
        left = [wish for wish in wishes if wish.text not in way.give_up]
        assert proposed(case, ProposalRequest(left)).conflict is None
        for name in way.give_up:
            one_kept = [wish for wish in wishes if wish.text == name or wish.text not in way.give_up]
            assert proposed(case, ProposalRequest(one_kept)).conflict is not None


def test_a_demand_that_nothing_meets_says_by_how_much_it_would_have_to_give_way() -> None:
    case = building.with_limits(building.easy_case(), delay_most_ms=10.0)
    conflict = proposed(case, ProposalRequest()).conflict
    assert conflict is not None and conflict.wishes == []
    assert "pull-comes-at-once (front)" in conflict.rules
    (way,) = [w for w in conflict.relaxations if w.give_up == ["pull-comes-at-once (front)"]]
    needed = float(re.findall(r"put up with (\S+) ms", way.says)[0])
    says = conflict.says[conflict.rules.index("pull-comes-at-once (front)")]
    found, allowed = map(float, re.findall(r"too small: hesitates (\S+) ms, (\S+) allowed", says)[0])
    assert allowed == 10.0 and found - allowed == pytest.approx(needed, abs=1.01), "told with the nearest there is"
    for more, status in ((needed * 0.95, "impossible"), (needed, "optimal")):
        eased = building.with_limits(case, delay_most_ms=case.catalog.limits.delay_most_ms + more)
        assert proposed(eased, ProposalRequest()).status == status


def test_leaving_out_dominated_options_leaves_the_clash() -> None:
    case = stuck()
    problem = problem_of(case, read_wishes(case.options, [], ["front.pump=pump-large"], []))
    assert explain(problem) == explain(undominated(problem))


def test_a_demand_that_nothing_meets_gives_way_by_the_nearest_miss_of_all_parts() -> None:
    """Every part misses the demand; the dearest misses it least, and must not be dropped for cheaper ones."""
    stock = building.catalog(
        nozzles=[building.nozzle(size, price=100 * size) for size in (0.40, 0.45, 0.50)],
        pumps=[building.pump()], lobes=[building.lobe("lobe-mid", 3.6, phases_deg=(0.0,))],
        screws=building.SCREWS[:1], spacers=[], operations=[], **building.EASY,
    )  # fmt: skip
    case = building.case(building.vehicle(front={"nozzle": "straight-0.40"}), stock)
    late = {}
    for option in case.options[SLOTS["front.nozzle"]]:
        report = findings(case, case.as_fitted | {SLOTS["front.nozzle"]: option})
        (delay,) = [f.margin for f in report if f.rule == "pull-comes-at-once"]
        late[option.code] = -(delay or 0.0)
    assert 0 < late["straight-0.50"] < late["straight-0.40"]
    conflict = proposed(case, ProposalRequest()).conflict
    assert conflict is not None and conflict.rules == ["pull-comes-at-once (front)"]
    (way,) = conflict.relaxations
    shown = float(re.findall(r"put up with (\S+) ms", way.says)[0])
    assert late["straight-0.50"] <= shown <= 1.02 * late["straight-0.50"], "rounded to the safe side, if at all"
