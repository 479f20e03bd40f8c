"""Parts chosen by class against the same choice part by part: the same answers, however many are alike."""

import numpy as np
import pytest
from many_alike import case_of_many
from small_choices import GOALS, labels, problem_of

from configurator.advice.availability import Availability
from configurator.judging.case import Case
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import Wish
from configurator.solver.classes import classes_of, worth_choosing
from configurator.solver.model import ChoiceModel, best
from configurator.solver.optimum import Chooser
from configurator.solver.problem import undominated

SEEDS = range(5)
each_seed = pytest.mark.parametrize("seed", SEEDS)


def drawn_wishes(case: Case, seed: int, count: int, most: float = 0.8) -> list[Wish]:
    """Wishes that allow some of the parts of some slots, parts of one kind here and there parted."""
    dice = np.random.default_rng(seed + 17)
    slots = [slot for slot, offered in case.options.items() if len(offered) > 3]
    wishes = []
    for number in range(count):
        slot = slots[dice.integers(len(slots))]
        allowed = np.flatnonzero(dice.random(len(case.options[slot])) < dice.uniform(0.2, most))
        wishes.append(Wish(f"wish {number}", slot, frozenset(map(int, allowed))))
    return wishes


@each_seed
@pytest.mark.parametrize("count", [0, 2])
def test_the_best_of_the_classes_is_the_best_of_all_parts_in_every_order(seed: int, count: int) -> None:
    case = case_of_many(seed)
    wishes = drawn_wishes(case, seed, count)
    full, classes = problem_of(case, wishes), worth_choosing(case, wishes)
    assert sum(map(len, classes.options.values())) < sum(map(len, full.options.values()))
    for first in GOALS:
        order = [first, *(goal for goal in GOALS if goal != first)]
        expected = best(ChoiceModel(full, full.constraints), order)
        for asked in (classes, undominated(classes)):
            found, swept = best(ChoiceModel(asked, asked.constraints), order), Chooser(asked).best(order)
            assert (found is None) == (swept is None) == (expected is None)
            if expected is not None and found is not None and swept is not None:
                assert labels(asked, found.chosen) == labels(full, expected.chosen), first
                assert swept == found, first


@each_seed
@pytest.mark.parametrize("count", [0, 2])
def test_every_part_stands_where_it_stands_when_each_is_looked_at_by_itself(seed: int, count: int) -> None:
    case = case_of_many(seed)
    wishes = drawn_wishes(case, seed + 100, 1) if seed % 2 else []
    pins = drawn_wishes(case, seed, count)
    by_class, by_part = Availability.of(case, wishes), Availability.over(problem_of(case, wishes))
    few, many = (sum(map(len, engine.problem.options.values())) for engine in (by_class, by_part))
    assert few < many
    states = set()
    for ours, theirs in zip(by_class.report(pins).slots, by_part.report(pins).slots, strict=True):
        for one, other in zip(ours.options, theirs.options, strict=True):
            assert (one.label, one.state, one.price, one.labour_min, one.pinned) == (
                other.label, other.state, other.price, other.labour_min, other.pinned,
            )  # fmt: skip
            assert len(one.with_changes) == len(other.with_changes)
            assert one.clash == other.clash
            states.add(one.state)
    assert len(states) > 1
    chosen, expected = by_class.best(pins), by_part.best(pins)
    assert (chosen is None) == (expected is None)
    if chosen is not None and expected is not None:
        for read in (lambda option: option.changed, lambda option: option.price, lambda option: option.labour_min):
            assert sum(map(read, chosen.values())) == sum(map(read, expected.values()))
        assert all(chosen[pin.slot] in [case.options[pin.slot][place] for place in pin.allowed] for pin in pins)
    assert by_class.clash(pins) == by_part.clash(pins)


@each_seed
def test_a_pin_on_the_dearer_of_two_alike_costs_what_that_one_costs(seed: int) -> None:
    case = case_of_many(seed)
    engine, free = Availability.of(case), Availability.of(case).report().slots
    seen = 0
    for slot in (SLOTS["front.nozzle"], SLOTS["front.pump"], SLOTS["spacer"]):
        offered = case.options[slot]
        for kind in range(len(offered.kinds)):
            members = sorted(np.flatnonzero(offered.kind == kind).tolist(), key=lambda at: offered[at].price)
            cheap, dear = members[0], members[-1]
            if offered[dear].price == offered[cheap].price or any(offered[at].comes_with for at in members):
                continue
            pinned = [engine.report([Wish("this", slot, frozenset({at}))]).slots for at in (cheap, dear)]
            for one, other in zip(*pinned, strict=True):
                for low, high in zip(one.options, other.options, strict=True):
                    assert low.state == high.state
                    if low.price is not None and high.price is not None and one.slot != str(slot):
                        more = offered[dear].price - offered[cheap].price
                        assert round(100 * (high.price - low.price)) == more
                        seen += 1
    assert seen or all(one.clash for one in free[0].options)


@each_seed
def test_standings_as_arrays_say_what_the_report_says(seed: int) -> None:
    case = case_of_many(seed)
    engine, pins = Availability.of(case), drawn_wishes(case, seed, 1)
    found, reasons = engine.standings(pins), engine.clashes(pins)
    for told in engine.report(pins).slots:
        slot = SLOTS[told.slot]
        own, classes = found[slot], engine.classes[slot]
        for place, standing in enumerate(told.options):
            assert own.possible[place] == (standing.state in ("fits", "with_changes"))
            assert reasons[slot][classes.number[place]] == standing.clash
            if own.possible[place]:
                assert (own.price[place] / 100, own.labour_min[place]) == (standing.price, standing.labour_min)
                assert own.further[place] == len(standing.with_changes)


def test_a_part_alone_is_told_without_a_word_on_the_others() -> None:
    case = case_of_many(3)
    engine = Availability.of(case)
    slot, places = SLOTS["front.pump"], frozenset({0, 2})
    whole, some = engine.report([], [slot]), engine.why(slot, places)
    assert some == whole.only(places) and len(some.slots[0].options) == 2


def test_a_wish_that_parts_a_kind_parts_its_class_and_a_box_does_too() -> None:
    case = case_of_many(2)
    offered = case.options[SLOTS["front.nozzle"]]
    kind = int(np.bincount(offered.kind).argmax())
    members = np.flatnonzero(offered.kind == kind).tolist()
    wish = Wish("one of them", SLOTS["front.nozzle"], frozenset(members[:1]))
    free, parted = classes_of(case, [])[SLOTS["front.nozzle"]], classes_of(case, [wish])[SLOTS["front.nozzle"]]
    assert len({free.number[place] for place in members}) == 1
    assert [parted.number[place] == parted.number[members[0]] for place in members] == [True] + [False] * (
        len(members) - 1
    )
    screws = classes_of(case, [])[SLOTS["front.feed_screw"]]
    (boxed,) = case.options[SLOTS["front.feed_screw"]].of_code("screw-free")
    assert (screws.number == screws.number[boxed]).sum() == 1
    pumps = classes_of(case, [])[SLOTS["front.pump"]]
    brings = [bool(option.comes_with) for option in pumps.offered]
    assert not {n for n, b in zip(pumps.number, brings, strict=True) if b} & {
        n for n, b in zip(pumps.number, brings, strict=True) if not b
    }


def test_of_a_class_the_cheapest_and_the_quickest_are_kept_and_nothing_else() -> None:
    case = case_of_many(4)
    for slot, classes in classes_of(case, []).items():
        kept = set(classes.worth_choosing().tolist())
        for number in range(classes.count):
            members = {place: classes.offered[int(place)] for place in np.flatnonzero(classes.number == number)}
            cheapest = min(members, key=lambda at: (members[at].price, members[at].labour_min, members[at].code or ""))
            quickest = min(members, key=lambda at: (members[at].labour_min, members[at].price, members[at].code or ""))
            assert kept & set(members) == {cheapest, quickest}, slot
