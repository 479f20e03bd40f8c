"""The sweep for the best choice against CP-SAT and against trying everything: the very same assignment."""

import subprocess
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_choices import GOALS, best_by_hand, labels, small_choices, tight_choices

from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.judging.case import Case
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import read_wishes
from configurator.solver import optimum
from configurator.solver.blocks import Blocks
from configurator.solver.classes import worth_choosing
from configurator.solver.model import ChoiceModel, Solution, best
from configurator.solver.optimum import Chooser, Optimum, anything_fits, work_of
from configurator.solver.problem import Constraint, Problem, undominated
from configurator.solver.solution import Assignment, Unsettled

STEADY = settings(derandomize=True, deadline=None, max_examples=250)
ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ("roadster", "tow-truck", "van", "hill-climber")
orders = st.permutations(GOALS)


def by_cp_sat(problem: Problem, order: list[str], unlike: list[Assignment] = []) -> Solution | None:  # noqa: B006
    model = ChoiceModel(problem, problem.constraints)
    for chosen in unlike:
        model.forbid_work(chosen)
    return best(model, order)


@STEADY
@given(problem=small_choices, order=orders)
def test_the_sweep_finds_what_trying_everything_finds(problem: Problem, order: list[str]) -> None:
    expected, _ = best_by_hand(problem, order)
    assert Optimum(Blocks.of(problem)).best(order) == expected


@STEADY
@given(problem=tight_choices, order=orders)
def test_in_a_tight_choice_too_and_whether_anything_fits(problem: Problem, order: list[str]) -> None:
    expected, count = best_by_hand(problem, order)
    assert Optimum(Blocks.of(problem)).best(order) == expected
    assert anything_fits(problem) == (count > 0)


@STEADY
@given(problem=small_choices, order=orders)
def test_the_next_best_of_other_kinds_is_that_of_cp_sat_however_many_came_before(
    problem: Problem, order: list[str]
) -> None:
    seen: list[Assignment] = []
    for _ in range(4):
        works = [work_of(problem, chosen) for chosen in seen]
        swept, expected = Optimum(Blocks.of(problem)).best(order, works), by_cp_sat(problem, order, seen)
        assert swept == (expected.chosen if expected else None)
        if swept is None:
            break
        seen.append(swept)


@cache
def example(name: str) -> Case:
    catalog = load_catalog(ROOT / "catalog")
    return Case.of(load_vehicle(ROOT / f"catalog/examples/{name}.toml"), catalog).with_linkage_set()


WISHES: dict[str, tuple[list[str], list[str], list[str]]] = {
    "none": ([], [], []),
    "a size": ([], ["front.nozzle=0.90mm"], ["redrill"]),
    "a pump": ([], ["front.pump=pump-5cc"], ["relief"]),
    "kept": (["front.pump", "spacer"], [], []),
}


@pytest.mark.parametrize("first", GOALS)
@pytest.mark.parametrize("name", EXAMPLES)
def test_on_the_examples_the_sweep_and_cp_sat_choose_the_same_whatever_goal_is_first(name: str, first: str) -> None:
    case = example(name)
    order = [first, *(goal for goal in GOALS if goal != first)]
    for words in WISHES.values():
        problem = undominated(worth_choosing(case, read_wishes(case.options, *words)))
        found = Chooser(problem).best(order)
        assert found == by_cp_sat(problem, order)
        if found is not None:
            _the_same_of_another_kind(worth_choosing(case, read_wishes(case.options, *words)), order)


def _the_same_of_another_kind(problem: Problem, order: list[str]) -> None:
    """The sweep over all options answers as CP-SAT does over those that none makes needless."""
    chooser, fewer = Chooser(problem), undominated(problem)
    first, expected = chooser.best(order), by_cp_sat(fewer, order)
    assert first is not None and expected is not None
    assert labels(problem, first.chosen) == labels(fewer, expected.chosen)
    other, by_solver = (
        chooser.best_of_another_kind(order, [first.chosen]),
        by_cp_sat(fewer, order, [expected.chosen]),
    )
    assert (other is None) == (by_solver is None)
    if other is not None and by_solver is not None:
        assert other.proven and labels(problem, other.chosen) == labels(fewer, by_solver.chosen)


def test_what_is_too_large_for_a_sweep_is_left_to_cp_sat(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = worth_choosing(example("tow-truck"), [])
    swept = Chooser(problem).best(GOALS)
    assert swept is not None
    hard = replace(problem, constraints=tuple(c for c in problem.constraints if not c.advice))
    none = np.zeros(len(problem.options[SLOTS["spacer"]]), dtype=bool)
    shut = replace(hard, constraints=(*hard.constraints, Constraint("", "", (SLOTS["spacer"],), none, 1.0 - none)))
    fits = anything_fits(hard), anything_fits(shut)
    asked = []
    monkeypatch.setattr(optimum, "MOST_CELLS", 10)
    monkeypatch.setattr(optimum, "Optimum", lambda *_: asked.append("swept all the same"))
    chooser = Chooser(problem)
    first = chooser.best(GOALS)
    assert first is not None and labels(chooser.problem, first.chosen) == labels(problem, swept.chosen)
    assert chooser.best_of_another_kind(GOALS, [first.chosen]) == by_cp_sat(
        chooser.problem, list(GOALS), [first.chosen]
    )
    assert (anything_fits(hard), anything_fits(shut)) == fits == (True, False)
    assert not asked


def test_effort_bounds_the_sweep_as_it_bounds_cp_sat() -> None:
    problem = undominated(worth_choosing(example("tow-truck"), []))
    cells = Blocks.of(problem).cells
    assert Chooser(problem, cells / optimum.CELLS_PER_S).best(GOALS) is not None
    with pytest.raises(Unsettled):
        Chooser(problem, 1e-9).best(GOALS)


def test_a_proposal_that_the_sweep_finds_does_not_load_ortools() -> None:
    program = (
        "import sys; from configurator.judging.case import Case; from configurator.catalogue.load import load_catalog;"
        "from configurator.car.vehicle import load_vehicle;"
        "from configurator.advice.propose import ProposalRequest;"
        "from configurator.advice.sure_proposal import proposal_of;"
        "from configurator.learning.as_known import known_by;"
        "case = Case.of(load_vehicle('catalog/examples/roadster.toml'), load_catalog('catalog'));"
        "report = proposal_of(known_by(case, []), ProposalRequest()); print(report.status, 'ortools' in sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["optimal", "False"]
