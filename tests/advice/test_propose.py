"""Proposals: every reason is true, sums add up, wishes and symptoms are honoured, and the answer is always the same."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any

import building
import numpy as np
import pytest
from small_choices import joints_opened, problem_of

from configurator.advice.propose import ProposalRequest
from configurator.advice.sure_proposal import proposal_of
from configurator.advice.work import sureness_of
from configurator.car.fitted import FittedNozzle
from configurator.errors import TipinError
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS, read_symptom
from configurator.judging.findings import findings
from configurator.learning.as_known import known_by
from configurator.reports import Change, ConsumableLine, EngineTold, ProposeReport, Totals
from configurator.rules import RULES
from configurator.slots.options import Option
from configurator.slots.slot import SLOTS, Slot
from configurator.slots.wishes import GOALS, read_order, read_wishes
from configurator.solver.model import ChoiceModel, best
from configurator.solver.problem import Constraint, Problem, undominated


def asked(
    case: Case, keep: Iterable[str] = (), fit: Iterable[str] = (), avoid: Iterable[str] = (), **more: Any
) -> ProposeReport:
    """What is proposed before any run, or after a symptom."""
    request = ProposalRequest(read_wishes(case.options, list(keep), list(fit), list(avoid)), **more)
    return proposal_of(known_by(case, [], request.symptom), request)


def low_pad(**tables: Any) -> Case:
    """A truck without room for the larger pump, whose lobe is too low: most changes need something else beside."""
    car = building.vehicle(
        front={"lobe": "lobe-low"}, **{"manifold": {"pad_clearance_mm": 16, "bonnet_clearance_mm": 40}} | tables
    )
    return building.easy_case(car, operations=[], smoke_most_ms=2000.0)


def eased(case: Case) -> Case:
    """The same car with a driver who minds nothing: only what fits what decides."""
    return building.with_limits(
        case, delay_most_ms=5000, sag_most_percent=500, smoke_most_ms=9000, rear_main_delivers_share=0.05
    )


@dataclass(frozen=True)
class Asked:
    """A case, and what is wished for."""

    case: Callable[[], Case]
    fit: tuple[str, ...] = ()
    order: tuple[str, ...] = GOALS


REPORTS = {
    "as it comes": Asked(lambda: building.easy_case(building.vehicle(front={"nozzle": "straight-0.70"}))),
    "larger pump": Asked(low_pad, fit=("front.pump=pump-large",)),
    "large nozzle": Asked(lambda: eased(building.case()), fit=("front.nozzle=1.1mm",)),
    "larger pump where anything will do": Asked(lambda: eased(building.case()), fit=("front.pump=pump-large",)),
    "relief": Asked(
        lambda: building.easy_case(building.vehicle(manifold={"pad_clearance_mm": 18, "bonnet_clearance_mm": 5})),
        fit=("front.pump=pump-large",),
    ),
    "smallest nozzle first": Asked(building.easy_case, order=("nozzle", "changes")),
    "two circuits": Asked(
        lambda: eased(building.case(building.two_circuits())),
        fit=("rear.pump=pump-large", "front.feed_screw=screw-free"),
    ),
    "thin catalogue": Asked(
        lambda: building.easy_case(
            building.vehicle(front={"nozzle": "straight-0.60"}),
            nozzles=[building.nozzle(0.6), building.nozzle(0.9)],
            operations=[],
        )
    ),
}
each_report = pytest.mark.parametrize("name", REPORTS)


@cache
def report_of(name: str) -> tuple[Case, ProposeReport]:
    case = REPORTS[name].case()
    return case, asked(case, fit=REPORTS[name].fit, order=REPORTS[name].order)


def proposals(report: ProposeReport) -> list[tuple[list[Change], list[ConsumableLine], Totals]]:
    assert report.totals is not None
    rest = [(other.changes, other.consumables, other.totals) for other in report.alternatives]
    return [(report.changes, report.consumables, report.totals), *rest]


def choice_after(case: Case, changes: Iterable[Change]) -> dict[Slot, Option]:
    """The options that the changes name, all else as fitted."""
    named = {
        SLOTS[change.slot]: next(o for o in case.options[SLOTS[change.slot]] if o.changed and o.label == change.to)
        for change in changes
    }
    return case.as_fitted | named


def broken(case: Case, choice: dict[Slot, Option], severity: str = "conflict") -> set[tuple[str, str | None]]:
    """Rules of a severity that choosing parts could mend, as `check` finds them."""
    return {
        (f.rule, f.circuit)
        for f in findings(case, choice)
        if f.severity == severity and f.holds is False and RULES[f.rule].is_choosable
    }


def test_the_cases_below_give_changes_and_alternatives_to_look_at() -> None:
    reports = [report_of(name)[1] for name in REPORTS]
    assert all(report.status == "optimal" for report in reports)
    assert sum(len(report.changes) for report in reports) >= 10
    assert sum(len(report.alternatives) for report in reports) >= 3


@each_report
def test_every_proposal_holds_under_all_hard_rules(name: str) -> None:
    case, report = report_of(name)
    for changes, _, _ in proposals(report):
        assert broken(case, choice_after(case, changes)) == set()


@each_report
def test_every_reason_is_true(name: str) -> None:
    """Undoing one change alone breaks each rule its reasons name, advice where no hard rule; without one it is there
    by wish or goal."""
    case, report = report_of(name)
    for changes, _, _ in proposals(report):
        choice = choice_after(case, changes)
        for change in changes:
            before = choice | {SLOTS[change.slot]: case.as_fitted[SLOTS[change.slot]]}
            undone = broken(case, before) or broken(case, before, "warning") - broken(case, choice, "warning")
            named = {text.rpartition("[")[2].rstrip("]") for text in change.because if text.endswith("]")}
            assert named == {rule for rule, _ in undone}, (change.slot, change.because)
            others = [text for text in change.because if not text.endswith("]")]
            assert named or any(
                text.startswith(("you asked for it", "no rule forces it", "in the pump's box")) for text in others
            )


@each_report
def test_sums_and_gaskets_add_up(name: str) -> None:
    case, report = report_of(name)
    for changes, consumables, totals in proposals(report):
        assert totals.changes == len(changes) == len({change.slot for change in changes})
        assert totals.labour_min == sum(change.labour_min for change in changes)
        spent = sum(change.price for change in changes) + sum(line.price for line in consumables)
        assert totals.price == pytest.approx(spent, abs=0.005)
        opened = joints_opened(SLOTS[change.slot] for change in changes)
        for part in case.catalog.consumables.values():
            times = sum(joint == part.joint for _, joint in opened)
            lines = [line for line in consumables if line.code == part.code]
            assert sum(line.quantity for line in lines) == times * part.quantity
            assert sum(line.price for line in lines) == pytest.approx(times * part.quantity * part.price)


@each_report
def test_the_price_is_what_the_solver_made_least(name: str) -> None:
    """With the price first, the total is the least of all allowed choices: kits and gaskets count the same way."""
    case, wanted = REPORTS[name].case(), REPORTS[name]
    report = asked(case, fit=wanted.fit, order=("price",))
    problem = problem_of(case, read_wishes(case.options, [], list(wanted.fit), []))
    model = ChoiceModel(problem, problem.constraints)
    (goal,) = [goal for goal in model.goals(GOALS) if goal.name == "price"]
    model.model.minimize(goal.total)
    solver, _ = model.solve()
    assert report.totals is not None and round(100 * report.totals.price) == solver.value(goal.total)


@each_report
def test_alternatives_differ_from_the_proposal_and_from_each_other(name: str) -> None:
    _, report = report_of(name)
    seen = [frozenset((change.slot, change.to) for change in changes) for changes, _, _ in proposals(report)]
    assert len(set(seen)) == len(seen)
    assert len({other.title for other in report.alternatives}) == len(report.alternatives)


@pytest.mark.parametrize("name", ["relief", "two circuits"])
def test_the_answer_is_the_same_twice(name: str) -> None:
    case, wanted = REPORTS[name].case(), REPORTS[name]
    again = asked(case, fit=wanted.fit, order=wanted.order)
    assert again.model_dump_json() == report_of(name)[1].model_dump_json()


@pytest.mark.parametrize("workers", [2, 8])
@pytest.mark.parametrize("name", ["relief", "two circuits"])
def test_the_choice_is_the_same_on_any_number_of_cores(name: str, workers: int) -> None:
    case, wanted = REPORTS[name].case(), REPORTS[name]
    problem = undominated(problem_of(case, read_wishes(case.options, [], list(wanted.fit), [])))
    alone = best(ChoiceModel(problem, problem.constraints), wanted.order)
    together = best(ChoiceModel(problem, problem.constraints), wanted.order, workers=workers)
    assert alone is not None and alone == together


def test_a_part_of_the_pump_s_box_costs_nothing_in_its_own_circuit_only() -> None:
    case = eased(building.case(building.two_circuits()))
    report = asked(case, fit=["rear.pump=pump-large", "rear.feed_screw=screw-free", "front.feed_screw=screw-free"])
    price = {change.slot: change.price for change in report.changes}
    assert price["rear.feed_screw"] == price["rear.lobe"] == 0.0
    assert price["front.feed_screw"] == 9.0 and price["rear.pump"] == 80.0
    (screw,) = [change for change in report.changes if change.slot == "rear.feed_screw"]
    assert any("box" in reason for reason in screw.because)


KEPT = ["front.nozzle", "front.feed_screw", "front.pump", "front.lobe", "spacer", "pad_relief"]


@pytest.mark.parametrize("slot", KEPT)
def test_what_is_to_be_kept_is_kept(slot: str) -> None:
    report = asked(eased(low_pad()), keep=[slot], fit=[] if slot == "front.nozzle" else ["front.nozzle=1.0mm"])
    if report.totals is None:
        assert report.conflict is not None and f"keep {slot}" in report.conflict.wishes
        return
    for changes, _, _ in proposals(report):
        assert slot not in {change.slot for change in changes}


@pytest.mark.parametrize(
    "word, holds",
    [
        ("front.nozzle=0.9mm", lambda o: o.figures.diameter_mm == pytest.approx(0.9)),
        ("front.nozzle=straight-1.10", lambda o: o.code == "straight-1.10"),
        ("front.nozzle=redrill:#60", lambda o: o.work == "redrill" and o.figures.diameter_mm == pytest.approx(1.016)),
        ("front.pump=pump-large", lambda o: o.code == "pump-large"),
        ("front.lobe=lobe-high@8", lambda o: o.code == "lobe-high" and o.figures.phase_deg == 8.0),
        ("front.lobe=8", lambda o: o.code == "lobe-mid" and o.figures.phase_deg == 8.0),
        ("spacer=spacer-6", lambda o: o.code == "spacer-6"),
        ("spacer=none", lambda o: not o.changed),
    ],
)
def test_what_is_asked_for_is_in_every_proposal(word: str, holds: Any) -> None:
    case = eased(building.case())
    slot = word.partition("=")[0]
    report = asked(case, fit=[word])
    for changes, _, _ in proposals(report):
        assert holds(choice_after(case, changes)[SLOTS[slot]])
        for change in changes:
            if change.slot == slot:
                assert any(reason.startswith("you asked for it") for reason in change.because)


@pytest.mark.parametrize("word, work", [("redrill", "redrill"), ("relief", "relieve"), ("rephase", "rephase")])
def test_work_to_be_avoided_is_not_proposed(word: str, work: str) -> None:
    car = building.vehicle(manifold={"pad_clearance_mm": 18})
    case = building.easy_case(car, nozzles=[building.nozzle(0.8), building.nozzle(1.2)])
    for first in ("changes", "price", "nozzle"):
        report = asked(case, avoid=[word], order=read_order(first))
        assert all(change.work != work for changes, _, _ in proposals(report) for change in changes)


def _diameter(option: Option) -> float:
    assert isinstance(option.figures, FittedNozzle)
    return option.figures.diameter_mm


@pytest.mark.parametrize("size", [0.7, 0.9])
@pytest.mark.parametrize("word", ["smoke", "stumble", "flat"])
@pytest.mark.parametrize("rated_flow_m3_min, first", [(15, "changes"), (21, "price"), (27, "changes")])
def test_no_proposal_goes_against_what_is_felt(word: str, size: float, rated_flow_m3_min: float, first: str) -> None:
    """Smoke never asks for a larger nozzle, a stumble never for a smaller one; going flat may ask for either."""
    car = building.vehicle(
        carburettor={"rated_flow_m3_min": rated_flow_m3_min}, front={"nozzle": f"straight-{size:.2f}"}
    )
    case = building.easy_case(car)
    report = asked(case, symptom=read_symptom(word), order=read_order(first))
    assert report.symptom == word and report.hint == SYMPTOMS[word].hint
    if report.totals is not None:
        for changes, _, _ in proposals(report):
            proposed = _diameter(choice_after(case, changes)[SLOTS["front.nozzle"]])
            assert word != "smoke" or proposed <= size
            assert word != "stumble" or proposed >= size


@pytest.mark.parametrize("word", ["stumble", "flat", "smoke"])
def test_what_is_felt_is_met_with_what_is_right_for_more_engines(word: str) -> None:
    """A truck that is right as it stands, until something is felt; a stumble brings a larger nozzle or more volume."""
    case, symptom = building.easy_case(), SYMPTOMS[word]
    clean, report = asked(case), asked(case, symptom=symptom)
    known = known_by(case, [], symptom)
    assert clean.changes == [] and known.belief is not None and report.sureness is not None
    as_fitted = sureness_of(known.case, case.as_fitted, known.belief)
    if not report.changes:  # nothing else is much surer, and it is likely to be right
        assert word == "smoke" and report.sureness == pytest.approx(as_fitted, abs=1e-4) and as_fitted > 0.5
        return
    assert report.sureness > as_fitted
    after = choice_after(case, report.changes)
    grows = _diameter(after[SLOTS["front.nozzle"]]) - _diameter(case.as_fitted[SLOTS["front.nozzle"]])
    volume, before = report.pulls[0].volume_cc, clean.pulls[0].volume_cc
    assert volume is not None and before is not None
    assert word != "stumble" or grows > 0 or volume > before


def test_a_proposal_tells_the_pull_that_comes_with_it_and_how_sure_that_is() -> None:
    case, report = report_of("as it comes")
    choice = choice_after(case, report.changes)
    (pull,) = report.pulls
    found = {f.rule: f.margin for f in findings(case, choice)}
    assert pull.delay_ms == pytest.approx(60.0 - (found["pull-comes-at-once"] or 0.0), abs=0.06)
    assert pull.smoke_ms == pytest.approx(600.0 - (found["mixture-does-not-smoke"] or 0.0), abs=0.06)
    assert pull.felt == "pulls cleanly" and pull.sureness == report.sureness
    assert report.sureness is not None and 0.0 < report.sureness < 1.0
    assert report.engine == EngineTold(late_first_fuel=1.0, late_main_circuit=1.0)
    impossible = asked(building.with_limits(case, delay_most_ms=1.0))
    assert (impossible.status, impossible.sureness, impossible.pulls) == ("impossible", None, [])


def test_a_search_cut_short_says_so_and_what_is_proven() -> None:
    """However little effort is allowed: an honest bound, or an error that says so; never "impossible"."""
    sizes = [building.nozzle(0.7 + 0.02 * step, price=5 + (7 * step) % 11) for step in range(20)]
    case = building.easy_case(building.vehicle(front={"nozzle": "straight-0.70"}), nozzles=sizes)
    certain = asked(case)
    outcomes = set()
    for effort in (1e-9, 1e-5, 1e-4, 1e-3, 1.0):
        try:
            report = asked(case, effort=float(effort))
        except TipinError as error:
            assert "effort" in str(error)
            outcomes.add("none")
            continue
        outcomes.add(report.status)
        assert report.totals is not None and certain.totals is not None
        assert report.status in ("optimal", "feasible") and (report.bound is None) == (report.status == "optimal")
        assert report.totals.changes >= certain.totals.changes
        assert report.status == "feasible" or report.changes == certain.changes
    assert "optimal" in outcomes and outcomes & {"none", "feasible"}


def knotty(slots: int = 9, count: int = 12, rules: int = 14) -> Problem:
    """A choice of no meaning with many rules over three slots each, hard enough to be cut short."""
    dice = np.random.default_rng(1)
    options = {
        Slot(f"circuit-{slot}", "lobe"): tuple(
            Option(f"{slot}:{n}", 0.0, "fit" if n else "none", f"part-{n}", int(dice.integers(1, 1000)), 1)
            for n in range(count)
        )
        for slot in range(slots)
    }
    constraints = []
    for rule in range(rules):
        three = tuple(list(options)[slot] for slot in dice.choice(slots, 3, replace=False))
        allowed = dice.random((count,) * 3) < 0.5
        constraints.append(Constraint(f"rule {rule}", "a rule", three, allowed, np.where(allowed, 0.0, 1.0)))
    return Problem(options, tuple(constraints), {})


def test_a_choice_found_but_not_proven_best_comes_with_a_bound_that_is_true() -> None:
    problem, cut_short = knotty(), 0
    certain = best(ChoiceModel(problem, problem.constraints), ("price",))
    assert certain is not None and certain.proven

    def price(chosen: dict[Slot, int]) -> int:
        return sum(problem.options[slot][index].price for slot, index in chosen.items())

    for effort in np.geomspace(2e-3, 2e-1, 7):
        try:
            found = best(ChoiceModel(problem, problem.constraints), ("price",), effort=float(effort))
        except TipinError:
            continue
        assert found is not None, "running out of effort is no proof that nothing fits"
        numbers = [int(number) for number in re.findall(r"\d+", found.bound or "")]
        if not found.proven and len(numbers) == 2:
            least, shown = numbers
            assert least <= price(certain.chosen) <= shown == price(found.chosen)
            cut_short += 1
    assert cut_short, "no effort tried was too little: make the choice knottier"


def test_a_car_that_is_in_order_is_left_alone() -> None:
    report = asked(building.easy_case())
    assert report.status == "optimal" and report.changes == [] and report.consumables == []
    assert report.totals == Totals(changes=0, price=0.0, labour_min=0)


def test_faults_mended_by_hand_stand_first_and_what_is_to_look_at_stands_apart() -> None:
    car = building.vehicle(confirmed={"float_level": False}, carburettor={"jets_redrilled": True})
    report = asked(building.easy_case(car))
    assert {f.rule for f in report.first} == {"first-checks-are-done", "jets-are-never-redrilled"}
    assert {f.rule for f in report.remaining} >= {"linkage-has-no-preload", "linkage-has-overtravel-clearance"}
    assert all(f.severity == "note" or RULES[f.rule].is_choosable for f in report.remaining)
