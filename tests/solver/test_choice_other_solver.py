"""The same choices put to a solver of another kind, answer set programming (clingo), with rules written anew.

Both must agree whether anything fits, and on the least of every goal in the user's order.
"""

import itertools
from collections.abc import Sequence

import building
import clingo
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_choices import GOALS, JOINTS_OF, problem_of, small_choices, tight_choices, worth

from configurator.car.fitted import FittedNozzle
from configurator.slots.options import Option
from configurator.slots.slot import Slot
from configurator.slots.wishes import read_wishes
from configurator.solver.model import ChoiceModel, best
from configurator.solver.problem import Problem, undominated

STEADY = settings(derandomize=True, deadline=None, max_examples=120)
PROGRAM = """
1 { pick(S,I) : option(S,I) } 1 :- slot(S).
:- tuple(C,T), hard(C), pick(S,I) : part(C,T,S,I).
ignored(C) :- tuple(C,T), advice(C), pick(S,I) : part(C,T,S,I).
open(J) :- pick(S,I), opens(S,I,J).
saved(S,I) :- pick(P,K), pick(S,I), box(P,K,S,I).

goal(G,C,S) :- pick(S,I), cost(G,S,I,C).
goal(advice,1,C) :- ignored(C).
goal(price,C,J) :- open(J), gasket(J,C).
goal(price,-C,saved(S)) :- saved(S,I), cost(price,S,I,C).
:~ goal(G,C,X), level(G,L). [C@L,G,X]
#show pick/2.
"""
"""One option a slot; no combination that a hard rule forbids; costs by goal, each goal on a level of its own."""


def facts_of(problem: Problem, order: Sequence[str]) -> str:
    lines: list[str] = []
    slots = {slot: f"s{number}" for number, slot in enumerate(problem.options)}
    for level, goal in enumerate(reversed(order), 1):
        lines.append(f"level({goal},{level}).")
    for slot, options in problem.options.items():
        lines.append(f"slot({slots[slot]}).")
        for index, option in enumerate(options):
            lines += _facts_of_option(slot, slots[slot], index, option)
            step = abs(_size_um(option) - _size_um(options[0]))
            lines.append(f"cost(step,{slots[slot]},{index},{step}).")
    lines += [f"gasket(j({circuit},{joint}),{price})." for joint, price in problem.gasket_price.items()
              for circuit in ("front", "rear", "car")]  # fmt: skip
    for pump, others in itertools.product(problem.options, repeat=2):
        if pump.name == "pump" and others != pump and others.circuit == pump.circuit:
            for (k, box), (i, part) in itertools.product(*(enumerate(problem.options[s]) for s in (pump, others))):
                if k and part.work == "fit" and part.code in box.comes_with:
                    lines.append(f"box({slots[pump]},{k},{slots[others]},{i}).")
    for number, constraint in enumerate(problem.constraints):
        lines.append(f"{'advice' if constraint.advice else 'hard'}({number}).")
        for place in np.argwhere(~constraint.allowed):
            tuple_id = "t(" + ",".join(map(str, place)) + ")"
            lines.append(f"tuple({number},{tuple_id}).")
            lines += [f"part({number},{tuple_id},{slots[slot]},{index})."
                      for slot, index in zip(constraint.slots, place, strict=True)]  # fmt: skip
    return "\n".join(lines)


def _facts_of_option(slot: Slot, name: str, index: int, option: Option) -> list[str]:
    costs = {
        "changes": int(index > 0), "permanent": int(option.work in ("redrill", "relieve")),
        "nozzle": _size_um(option), "price": option.price, "labour": option.labour_min,
    }  # fmt: skip
    lines = [f"option({name},{index})."] + [f"cost({goal},{name},{index},{cost})." for goal, cost in costs.items()]
    if index:
        lines += [
            f"opens({name},{index},j({slot.circuit or 'car'},{joint}))." for joint in JOINTS_OF.get(slot.name, ())
        ]
    return lines


def _size_um(option: Option) -> int:
    return round(option.figures.diameter_mm * 1000) if isinstance(option.figures, FittedNozzle) else 0


def least_by_clingo(problem: Problem, order: Sequence[str]) -> dict[str, int] | None:
    """The least of each goal in this order, or None if nothing fits."""
    control = clingo.Control(["--opt-strategy=usc", "--warn=none"])
    control.add("base", [], PROGRAM + facts_of(problem, order))
    control.ground([("base", [])])
    least: dict[str, int] | None = None
    with control.solve(yield_=True) as handle:
        for model in handle:
            costs = dict(zip(model.priority, model.cost, strict=True))
            least = {goal: costs.get(level, 0) for level, goal in enumerate(reversed(order), 1)}
        result = handle.get()
        assert result.exhausted
        assert bool(result.satisfiable) == (least is not None)
    return least


def least_by_cp_sat(problem: Problem, order: Sequence[str]) -> dict[str, int] | None:
    found = best(ChoiceModel(problem, problem.constraints), order)
    return None if found is None else worth(problem, found.chosen)


@STEADY
@given(problem=small_choices, order=st.permutations(GOALS))
def test_both_solvers_find_the_same_least_goals(problem: Problem, order: list[str]) -> None:
    assert least_by_cp_sat(problem, order) == least_by_clingo(problem, order)


@STEADY
@given(problem=tight_choices, order=st.permutations(GOALS))
def test_both_solvers_agree_whether_anything_fits(problem: Problem, order: list[str]) -> None:
    assert least_by_cp_sat(problem, order) == least_by_clingo(problem, order)


WISHES: dict[str, tuple[list[str], list[str], list[str]]] = {
    "none": ([], [], []),
    "a larger nozzle": ([], ["front.nozzle=0.9mm"], []),
    "the larger pump": ([], ["front.pump=pump-large"], ["relief"]),
    "keep all but the nozzle": (["front.lobe", "front.pump", "front.feed_screw", "spacer"], [], ["redrill"]),
    "impossible": (["front.feed_screw"], ["front.nozzle=1.2mm"], []),
}


@pytest.mark.parametrize("wishes", WISHES.values(), ids=list(WISHES))
@pytest.mark.parametrize("first", ["changes", "nozzle", "price"])
def test_both_solvers_agree_on_a_whole_catalogue(wishes: tuple[list[str], list[str], list[str]], first: str) -> None:
    car = building.vehicle(engine={"idle_rpm": 1050}, driveline={"mass_kg": 2600}, manifold={"pad_clearance_mm": 17})
    case = building.easy_case(car)
    problem = problem_of(case, read_wishes(case.options, *wishes))
    order = [first, *(goal for goal in GOALS if goal != first)]
    least = least_by_clingo(undominated(problem), order)
    assert least == least_by_cp_sat(problem, order)
    assert (least is None) == (wishes == WISHES["impossible"])
