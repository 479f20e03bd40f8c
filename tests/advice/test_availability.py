"""Where every part stands: against trying everything, against a SAT library, and against one solve a part."""

import itertools
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sat_reasons import all_clashes, all_ways_out
from small_choices import choice_from, every_choice, holds, worth

from configurator.advice.availability import Availability
from configurator.advice.standing import Standing
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.judging.case import Case
from configurator.rules import RULES
from configurator.slots.slot import SLOTS, Slot
from configurator.slots.wishes import Wish, read_wishes, word_of
from configurator.solver.blocks import Blocks
from configurator.solver.clashes import Ways, transversals
from configurator.solver.model import ChoiceModel, best
from configurator.solver.problem import Constraint, Problem

STEADY = settings(derandomize=True, deadline=None, max_examples=120)
ROOT = Path(__file__).resolve().parents[2]
CATALOG = load_catalog(ROOT / "catalog")
GOALS = ("changes", "advice", "permanent", "price", "labour")


def pinned_choice(seed: int) -> tuple[Problem, list[Wish]]:
    """A small choice and pins on some of its slots, each leaving some of the options."""
    dice = np.random.default_rng(seed + 1)
    problem = choice_from(seed, tight=bool(dice.random() < 0.7))
    pins = []
    for slot, options in problem.options.items():
        if dice.random() < 0.4:
            allowed = frozenset(int(i) for i in dice.choice(len(options), int(dice.integers(1, 3))))
            pins.append(Wish(f"{slot} = {sorted(allowed)}", slot, allowed))
    return problem, pins


pinned_choices = st.integers(0, 2**32 - 1).map(pinned_choice)


def as_constraint(problem: Problem, pin: Wish) -> Constraint:
    allowed = np.array([i in pin.allowed for i in range(len(problem.options[pin.slot]))])
    return Constraint(pin.text, "", (pin.slot,), allowed, 1.0 - allowed)


def constraints_for(problem: Problem, pins: Sequence[Wish], slot: Slot) -> list[Constraint]:
    """What must hold when a slot's options are looked at: hard rules, wishes, and the other slots' pins."""
    return [
        *(c for c in problem.constraints if not c.advice),
        *(as_constraint(problem, pin) for pin in pins if pin.slot != slot),
    ]


WILL_NOT_DO = {"will_not_cure", "impossible"}


def every_option(engine: Availability, pins: Sequence[Wish]) -> Iterator[tuple[Slot, int, Standing]]:
    for slot in engine.report(pins).slots:
        for place, standing in enumerate(slot.options):
            yield SLOTS[slot.slot], place, standing


@STEADY
@given(drawn=pinned_choices)
def test_state_and_least_change_are_those_found_by_trying_everything(drawn: tuple[Problem, list[Wish]]) -> None:
    problem, pins = drawn
    pinned = {pin.slot for pin in pins}
    listed = list(every_choice(problem))
    for slot, place, standing in every_option(Availability.over(problem), pins):
        must = constraints_for(problem, pins, slot)
        with_it = [c for c in listed if c[slot] == place]
        cures = [c for c in with_it if all(holds(one, c) for one in must)]
        fitting = cures or [c for c in with_it if all(holds(one, c) for one in must if one.kind == "fit")]
        assert (standing.clash is None) == bool(cures) == (not standing.wrong)
        if not fitting:
            assert standing.state == "impossible" and standing.price is None and not standing.with_changes
            continue

        def further(chosen: dict[Slot, int], slot: Slot = slot) -> list[Slot]:
            free = [name for name in chosen if name != slot and name not in pinned]
            return [name for name in free if problem.options[name][chosen[name]].changed]

        judged = problem if cures else problem.of_the_fit()

        def cost(chosen: dict[Slot, int], judged: Problem = judged) -> tuple[int, ...]:
            full = worth(judged, chosen)
            return (len(further(chosen)), *(full[goal] for goal in GOALS[1:]))

        least = min(map(cost, fitting))
        assert standing.state == ("will_not_cure" if not cures else "with_changes" if least[0] else "fits")
        reached = [c for c in fitting if cost(c) == least]
        assert (round(100 * (standing.price or 0)), standing.labour_min) == least[3:]
        told = {SLOTS[one.slot]: one.to for one in standing.with_changes}
        assert told in [{name: problem.options[name][c[name]].label for name in further(c)} for c in reached]


@STEADY
@given(drawn=pinned_choices)
def test_clashes_and_ways_out_are_those_found_by_trying_everything(drawn: tuple[Problem, list[Wish]]) -> None:
    problem, pins = drawn
    listed = list(every_choice(problem))
    for slot, place, standing in every_option(Availability.over(problem), pins):
        if standing.clash is None:
            continue
        must = constraints_for(problem, pins, slot)
        if standing.state == "impossible":
            must = [one for one in must if one.kind == "fit"]
        broken = {
            frozenset(i for i, one in enumerate(must) if not holds(one, chosen))
            for chosen in listed if chosen[slot] == place
        }  # fmt: skip
        ways = {one for one in broken if not any(other < one for other in broken)}
        clashes = _clashes_by_hand(len(must), broken)
        told = standing.clash
        rule_of = {one.name: one.rule for one in must}
        assert told.says == [RULES[rule_of[name]].wrong for name in told.rules]
        names = [c.name for c in must]
        chosen = _one_named(names, [*told.pins, *told.rules], clashes)
        of_rules = [clash for clash in clashes if all(must[i].rule for i in clash)]
        assert len(chosen) == min(map(len, of_rules or clashes)), "a smaller clash was there to be told"
        assert chosen in (of_rules or clashes), "rules that clash by themselves are told as such"
        assert told.others == len(clashes) - 1
        of_wishes = [way for way in ways if all(not must[i].rule for i in way)]
        fewest = min(map(len, of_wishes), default=0)
        smallest = sorted(sorted(names[i] for i in way) for way in of_wishes if len(way) == fewest)
        assert sorted(map(sorted, told.give_up)) == smallest


def _clashes_by_hand(count: int, broken: set[frozenset[int]]) -> list[frozenset[int]]:
    """Every minimal set of constraints of which each assignment breaks one, by looking at all, small ones first."""
    found: list[frozenset[int]] = []
    for size in range(count + 1):
        for chosen in map(frozenset, itertools.combinations(range(count), size)):
            if all(chosen & one for one in broken) and not any(smaller <= chosen for smaller in found):
                found.append(chosen)
    return found


def _one_named(names: Sequence[str], told: Sequence[str], clashes: Sequence[frozenset[int]]) -> frozenset[int]:
    named = [clash for clash in clashes if sorted(names[i] for i in clash) == sorted(told)]
    assert named, f"{told} is no minimal clash of {[[names[i] for i in clash] for clash in clashes]}"
    return named[0]


PINS = {
    "roadster": ["front.pump=fitted", "front.lobe=fitted"],
    "tow-truck": ["pad_relief=fitted", "front.pump=fitted", "spacer=none"],
    "van": ["front.nozzle=straight-0.90", "spacer=none"],
    "hill-climber": ["front.lobe=fitted", "rear.nozzle=fitted", "spacer=none"],
}


def example(name: str) -> tuple[Case, Availability, list[Wish]]:
    case = Case.of(load_vehicle(ROOT / f"catalog/examples/{name}.toml"), CATALOG).with_linkage_set()
    return case, Availability.of(case), read_wishes(case.options, [], PINS[name], [])


@pytest.mark.parametrize("name", PINS)
def test_a_sat_library_finds_the_same_clashes_and_ways_out(name: str) -> None:
    _, engine, pins = example(name)
    problem, compared = engine.problem, 0
    dice = np.random.default_rng(7)
    impossible = [(slot, place) for slot, place, one in every_option(engine, pins) if one.clash]
    for number in dice.choice(len(impossible), 8, replace=False):
        slot, place = impossible[int(number)]
        others = [pin for pin in pins if pin.slot != slot]
        must = constraints_for(problem, pins, slot)
        ways = Ways(Blocks.of(problem), {pin.slot: pin.allowed for pin in others})
        found = ways.out_for(slot, place)
        as_sets = [frozenset(i for i in range(len(must)) if bits >> i & 1) for bits in found]
        assert set(as_sets) == all_ways_out(problem, must, {slot: place})
        clashes = [frozenset(i for i in range(len(must)) if bits >> i & 1) for bits in transversals(found)]
        assert set(clashes) == all_clashes(problem, must, {slot: place})
        compared += len(clashes)
    assert compared >= 8


@pytest.mark.parametrize("name", PINS)
def test_one_solve_a_part_finds_the_same_least_change(name: str) -> None:
    _, engine, pins = example(name)
    pins = pins[:1]
    dice = np.random.default_rng(11)
    listed = list(every_option(engine, pins))
    places = [dice.permutation([i for i, one in enumerate(listed) if (one[2].state in WILL_NOT_DO) == no])[:6]
              for no in (True, False)]  # fmt: skip
    seen = set()
    for number in np.concatenate(places):
        slot, place, standing = listed[int(number)]
        own = Wish("this part", slot, frozenset({place}))
        must = [*engine.problem.constraints, as_constraint(engine.problem, own)]
        must += [as_constraint(engine.problem, pin) for pin in pins if pin.slot != slot]
        problem = replace(engine.problem, constraints=tuple(must))
        solution = best(ChoiceModel(problem, problem.constraints), GOALS)
        seen.add(standing.state)
        assert (solution is None) == (standing.state in WILL_NOT_DO)
        by_fit = ChoiceModel(problem, [one for one in problem.constraints if one.kind == "fit"])
        assert (best(by_fit, GOALS) is None) == (standing.state == "impossible")
        if solution is not None:
            pinned = {pin.slot for pin in pins} | {slot}
            chosen = {name: problem.options[name][i] for name, i in solution.chosen.items()}
            assert sum(option.changed for name, option in chosen.items() if name not in pinned) == len(
                standing.with_changes
            )
            assert round(100 * (standing.price or 0)) == worth(problem, solution.chosen)["price"]
    assert seen & WILL_NOT_DO and seen - WILL_NOT_DO


def test_best_is_the_fewest_changes_and_none_where_pins_clash() -> None:
    case, engine, _ = example("tow-truck")
    chosen = engine.best()
    assert chosen is not None
    proposed = best(ChoiceModel(engine.problem, engine.problem.constraints), GOALS)
    assert proposed is not None
    assert sum(option.changed for option in chosen.values()) == worth(engine.problem, proposed.chosen)["changes"]
    pins = read_wishes(case.options, [], ["front.nozzle=0.60mm", "front.pump=fitted"], [])
    assert engine.best(pins) is None
    clash = engine.clash(pins)
    assert clash is not None and "front.nozzle = 0.60mm" in clash.pins and engine.clash() is None


def test_a_slots_own_pin_is_lifted_and_its_other_parts_stay_open() -> None:
    case, engine, _ = example("roadster")
    pins = read_wishes(case.options, [], ["front.nozzle=straight-0.75"], [])
    free, held = (engine.report(some, [SLOTS["front.nozzle"]]).slots[0] for some in ([], pins))
    assert not free.pinned and held.pinned
    assert [one.state for one in free.options] == [one.state for one in held.options]
    assert [one.label for one in held.options if one.pinned] == ["straight-0.75, 0.75 mm (29.5 thou)"]


def test_of_equal_clashes_the_one_with_the_plainer_rule_is_told() -> None:
    """Both rules alone forbid the part; what fits what is understood before what a shot does."""
    problem = choice_from(3)
    problem = replace(problem, constraints=())
    slot = next(name for name, options in problem.options.items() if len(options) > 1)
    count = len(problem.options[slot])
    allowed = np.arange(count) != 1
    hard, plain = "lobe-travel-stays-inside-the-safe-stroke", "nozzle-style-suits-the-body"
    both = [Constraint(rule, rule, (slot,), allowed, 1.0 - allowed) for rule in (hard, plain)]
    for order in (both, both[::-1]):
        engine = Availability.over(replace(problem, constraints=tuple(order)))
        clash = engine.report([], [slot]).slots[0].options[1].clash
        assert clash is not None and clash.rules == [plain] and clash.others == 1
        assert clash.says == [RULES[plain].wrong] and clash.give_up == []


@pytest.mark.parametrize("name", PINS)
def test_the_word_of_an_option_means_it_and_no_other(name: str) -> None:
    case, _, _ = example(name)
    for slot, options in case.options.items():
        for place, option in enumerate(options):
            (wish,) = read_wishes(case.options, [], [f"{slot}={word_of(option)}"], [])
            assert wish.allowed == {place}, f"{slot}={word_of(option)}"


def test_a_felt_wish_counts_in_every_answer() -> None:
    case, free, _ = example("roadster")
    nozzles = free.report([], [SLOTS["front.nozzle"]]).slots[0].options
    fits = next(i for i, one in enumerate(nozzles) if i > 1 and one.state not in WILL_NOT_DO)
    smaller = Wish("a smaller nozzle", SLOTS["front.nozzle"], frozenset({fits - 2, fits - 1}), felt=True)
    option = Availability.of(case, [smaller]).report([], [SLOTS["front.nozzle"]]).slots[0].options[fits]
    clash = option.clash
    assert option.state == "will_not_cure" and option.wrong[-1] == "a smaller nozzle" and clash is not None
    assert clash.pins == ["a smaller nozzle"] and clash.rules == [] and clash.give_up == [["a smaller nozzle"]]


def test_a_problem_without_a_core_or_rules_has_every_option_free() -> None:
    problem = choice_from(5)
    bare = replace(problem, constraints=(), options={k: v for k, v in problem.options.items() if k.circuit})
    assert bare.options
    assert {one.state for _, _, one in every_option(Availability.over(bare), [])} == {"fits"}


def test_several_threads_that_ask_first_at_once_are_told_the_same() -> None:
    """The page keeps one for every car, and asks it from a thread for each request."""
    engine = Availability.of(Case.of(load_vehicle(ROOT / "catalog/examples/hill-climber.toml"), CATALOG))
    right = engine.clashes()
    with ThreadPoolExecutor(4) as pool:
        for _ in range(40):
            afresh = replace(engine, ways=Ways(engine.ways.blocks))
            assert list(pool.map(lambda _, asked=afresh: asked.clashes(), range(4))) == [right] * 4
