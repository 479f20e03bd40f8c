"""What the solver chooses against trying everything: on random small choices, and on random small catalogues.

Costs, feasibility and the order of codes are worked out in the tests, from options and from the findings of `check`.
"""

from collections.abc import Sequence
from dataclasses import replace

import building
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from small_choices import (
    GOALS,
    best_by_hand,
    every_choice,
    is_allowed,
    labels,
    price_of,
    problem_of,
    small_choices,
    tight_choices,
    worth,
)

from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.rules import RULES
from configurator.slots.slot import SLOTS, Slot
from configurator.slots.wishes import GOALS as ALL_GOALS
from configurator.solver.model import EXACT_AS_FLOAT, ChoiceModel, Solution, best, packs
from configurator.solver.problem import Constraint, Problem, undominated

STEADY = settings(derandomize=True, deadline=None, max_examples=300)
FEW = settings(derandomize=True, deadline=None, max_examples=3)
orders = st.permutations(GOALS)


def solved(problem: Problem, order: Sequence[str], workers: int = 1) -> Solution | None:
    return best(ChoiceModel(problem, problem.constraints), order, workers=workers)


def test_the_goals_worked_out_here_are_all_there_are() -> None:
    assert set(GOALS) == set(ALL_GOALS)


@STEADY
@given(problem=small_choices, order=orders)
def test_the_best_choice_is_that_of_trying_everything(problem: Problem, order: list[str]) -> None:
    expected, _ = best_by_hand(problem, order)
    found = solved(problem, order)
    if expected is None:
        assert found is None
        return
    assert found is not None and found.proven and found.bound is None
    assert worth(problem, found.chosen) == worth(problem, expected)
    assert found.chosen == expected, "of equals the first by code"


@STEADY
@given(problem=tight_choices, order=orders)
def test_a_tight_choice_too_and_whether_there_is_any(problem: Problem, order: list[str]) -> None:
    expected, count = best_by_hand(problem, order)
    found = solved(problem, order)
    assert (found is None) == (count == 0)
    assert found is None or found.chosen == expected
    hard = [c for c in problem.constraints if not c.advice]
    assert ChoiceModel(problem, hard).is_feasible() == (count > 0)


@STEADY
@given(problem=small_choices, order=orders)
def test_dropping_dominated_options_changes_no_answer(problem: Problem, order: list[str]) -> None:
    expected, _ = best_by_hand(problem, order)
    smaller = undominated(problem)
    assert all(set(smaller.options[slot]) <= set(options) for slot, options in problem.options.items())
    found = solved(smaller, order)
    if expected is None:
        assert found is None
        return
    assert found is not None and labels(smaller, found.chosen) == labels(problem, expected)


@settings(STEADY, max_examples=60)
@given(problem=small_choices, order=orders)
def test_the_answer_is_the_same_on_any_number_of_cores(problem: Problem, order: list[str]) -> None:
    alone, together = solved(problem, order), solved(problem, order, workers=4)
    assert alone == together


@settings(STEADY, max_examples=100)
@given(problem=small_choices, order=orders)
def test_the_next_best_of_another_kind_leaves_out_some_of_the_work(problem: Problem, order: list[str]) -> None:
    first = solved(problem, order)
    assume(first is not None)
    assert first is not None
    done = {slot: problem.options[slot][i].work for slot, i in first.chosen.items()}

    def differs(chosen: dict[Slot, int]) -> bool:
        return any(problem.options[s][chosen[s]].work != work for s, work in done.items() if work != "none")

    others = [chosen for chosen in every_choice(problem) if is_allowed(problem, chosen) and differs(chosen)]
    model = ChoiceModel(problem, problem.constraints)
    model.forbid_work(first.chosen)
    second = best(model, order)
    if not others:
        assert second is None
        return
    assert second is not None and differs(second.chosen)
    assert worth(problem, second.chosen) == min(
        (worth(problem, chosen) for chosen in others), key=lambda value: [value[goal] for goal in order]
    )


@settings(STEADY, max_examples=100)
@given(problem=small_choices, order=orders)
def test_goals_are_packed_without_loss(problem: Problem, order: list[str]) -> None:
    goals = ChoiceModel(problem, problem.constraints).goals(order)
    packed = packs(goals)
    assert [goal for pack in packed for goal, _ in pack] == goals
    for pack in packed:
        weights = [weight for _, weight in pack]
        behind = [sum(g.most * w for g, w in pack[place + 1 :]) for place in range(len(pack))]
        assert all(weight > rest for weight, rest in zip(weights, behind, strict=True))
        assert len(pack) == 1 or sum(goal.most * weight for goal, weight in pack) < EXACT_AS_FLOAT


def test_choices_beyond_one_pack_are_still_exact() -> None:
    """Two circuits of many options: the goals fill several packs. Each pinned option is chosen, or nothing fits it."""
    problem = problem_of(many_options(), [])
    assert len(packs(ChoiceModel(problem, problem.constraints).goals(GOALS))) > 1
    for slot in (SLOTS["front.nozzle"], SLOTS["rear.nozzle"], SLOTS["rear.pump"]):
        for index in range(len(problem.options[slot]))[:: 1 if slot == SLOTS["rear.pump"] else 9]:
            only = np.arange(len(problem.options[slot])) == index
            pinned = replace(problem, constraints=(*problem.constraints, Constraint("", "", (slot,), only, 1.0 - only)))
            hard = [c for c in pinned.constraints if not c.advice]
            found = solved(pinned, GOALS)
            assert (found is not None) == ChoiceModel(pinned, hard).is_feasible()
            assert found is None or (found.proven and found.chosen[slot] == index)


def many_options() -> Case:
    """A front and a rear circuit before a catalogue of many sizes."""
    sizes = [building.nozzle(0.6 + 0.02 * step, style) for step in range(36) for style in ("straight", "aimed")]
    lobes = [building.lobe(f"lobe-{n}", 2.6 + 0.2 * n, phases_deg=(0.0, 6.0, 12.0)) for n in range(9)]
    return building.case(building.two_circuits(), building.catalog(nozzles=sizes, lobes=[*building.LOBES, *lobes]))


@st.composite
def small_cases(draw: st.DrawFn) -> Case:
    """A truck of some weight and room before a catalogue of a few parts at random prices."""
    car = building.vehicle(
        engine={"idle_rpm": draw(st.sampled_from((650, 850, 1050)))},
        driveline={"mass_kg": draw(st.sampled_from((900, 1500, 2600)))},
        manifold={"pad_clearance_mm": draw(st.sampled_from((16, 19, 22))),
                  "bonnet_clearance_mm": draw(st.sampled_from((12, 30)))},
        carburettor={"rated_flow_m3_min": draw(st.sampled_from((15, 21, 26)))},
        front={"lobe": draw(st.sampled_from(("lobe-low", "lobe-mid")))},
    )  # fmt: skip
    price = st.sampled_from((2.0, 5.0, 9.0))
    boxes = [(), ("screw-free",), ("screw-free", "lobe-long")]
    stock = building.catalog(
        nozzles=[building.nozzle(size, price=draw(price)) for size in (0.8, draw(st.sampled_from((0.9, 1.0, 1.1))))],
        screws=[building.screw("screw-narrow", 3.0), building.screw("screw-free", 6.5, price=draw(price))],
        pumps=[building.pump(), building.larger_pump(price=draw(price), comes_with=draw(st.sampled_from(boxes)))],
        lobes=[building.lobe("lobe-low", 2.6), building.lobe("lobe-mid", 3.6, phases_deg=(0.0,)),
               building.lobe("lobe-long", 4.6, lever="long", phases_deg=(4.0,), price=draw(price))],
        spacers=[building.spacer(6.0, price=draw(price))],
        operations=[building.RELIEVE.model_copy(update={"most_mm": 1.0})],
    )  # fmt: skip
    return building.case(car, stock)


@FEW
@given(case=small_cases(), order=orders)
def test_a_catalogue_s_best_choice_is_that_of_checking_everything(case: Case, order: list[str]) -> None:
    """Whether a choice fits, and how much advice it ignores, is what `check` finds on it, one choice at a time."""
    problem = problem_of(case, [])
    gaskets: dict[str, int] = {c.joint: round(100 * c.price) * c.quantity for c in case.catalog.consumables.values()}
    ranked = []
    for chosen in every_choice(problem):
        choice = {slot: problem.options[slot][index] for slot, index in chosen.items()}
        broken = [f for f in findings(case, choice) if f.holds is False and RULES[f.rule].is_choosable]
        if not any(f.severity == "conflict" for f in broken):
            value = worth(problem, chosen) | {"advice": sum(f.severity == "warning" for f in broken)}
            value["price"] = price_of({s: o for s, o in choice.items() if o.work != "none"}, gaskets)
            ranked.append(([value[goal] for goal in order], [o.sort_key for o in choice.values()], chosen))
    for asked in (problem, undominated(problem)):
        found = solved(asked, order)
        if not ranked:
            assert found is None
            continue
        _, _, expected = min(ranked, key=lambda entry: entry[:2])
        assert found is not None
        assert labels(asked, found.chosen) == labels(problem, expected)


def test_some_demands_are_met_and_some_are_not() -> None:
    """The cases above are worth something only if both outcomes occur: here by limits that are met always, or never."""
    for most, fits in ((2000, True), (0, False)):
        eased = building.with_limits(building.case(), delay_most_ms=most, sag_most_percent=most, smoke_most_ms=most)
        assert (solved(problem_of(eased, []), GOALS) is not None) is fits


@pytest.mark.parametrize("order", [("nozzle", "changes"), ("price",), ()])
def test_goals_that_are_not_named_come_behind(order: tuple[str, ...]) -> None:
    problem = problem_of(building.case(), [])
    full = [*order, *(goal for goal in ALL_GOALS if goal not in order)]
    assert solved(problem, order) == solved(problem, full)
