"""Small choices drawn at random, and their best by trying everything: costs are worked out anew, without the solver.

A choice is a `Problem` with a handful of options a slot; every one of its assignments can be listed.
"""

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import partial

import numpy as np
from hypothesis import strategies as st

from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case
from configurator.rules import RULES
from configurator.slots.options import Option
from configurator.slots.slot import SLOTS, Slot, SlotName
from configurator.slots.wishes import Wish
from configurator.solver.problem import Constraint, Problem, problem_over

GOALS = ("changes", "advice", "permanent", "nozzle", "price", "labour", "step")
JOINTS_OF: dict[SlotName, tuple[str, ...]] = {
    "nozzle": ("nozzle_seat",), "feed_screw": ("nozzle_seat",), "pump": ("pump_cover",),
    "spacer": ("carburettor_flange",), "pad_relief": ("carburettor_flange", "intake_manifold"),
}  # fmt: skip
"""Joints that a change of each slot opens; a nozzle and its screw share a seat, and so its gaskets."""
ALL_JOINTS = sorted({joint for joints in JOINTS_OF.values() for joint in joints})
IN_USE = [slot for written, slot in SLOTS.items() if written not in ("rear.feed_screw", "rear.lobe")]
WORKS: dict[SlotName, tuple[str, ...]] = {
    "nozzle": ("fit", "fit", "redrill"),
    "lobe": ("fit", "rephase"),
    "pad_relief": ("relieve",),
}
RULES_IN_USE = [rule.id for rule in RULES.values() if rule.is_choosable and rule.unit != "mismatch"]

Chosen = Mapping[Slot, int]


def problem_of(case: Case, wishes: Sequence[Wish]) -> Problem:
    """The whole choice for a case, every part by itself. A large catalogue has a choice between classes of parts."""
    return problem_over(case, wishes, {slot: np.arange(len(offered)) for slot, offered in case.options.items()})


def _options(dice: np.random.Generator, slot: Slot, count: int) -> Iterator[Option]:
    for index in range(count):
        size = float(dice.choice((0.7, 0.8, 0.8, 0.9)))
        figures = FittedNozzle(diameter_mm=size, style="straight") if slot.name == "nozzle" else 0.0
        label = f"{slot} {dice.choice(list('zyx'))}{index}"
        if index == 0:
            yield Option(label, figures, "none", "a" if dice.random() < 0.5 else None)
            continue
        work = str(dice.choice(WORKS.get(slot.name, ("fit",))))
        box = tuple(code for code in "abcd" if slot.name == "pump" and dice.random() < 0.5)
        yield Option(
            label, figures, work, str(dice.choice(list("abcd"))), int(dice.integers(0, 12)),  # type: ignore[arg-type]
            int(dice.integers(0, 4)), box, permanent=work in ("redrill", "relieve"),
        )  # fmt: skip


def _constraint(dice: np.random.Generator, counts: Mapping[Slot, int], number: int, share: float) -> Constraint:
    """A rule, a piece of advice or a wish that allows about so large a share of some slots' combinations."""
    kind = str(dice.choice(("rule", "rule", "advice", "wish")))
    several = 1 if kind == "wish" else int(dice.integers(1, min(3, len(counts)) + 1))
    slots = tuple(list(counts)[place] for place in dice.choice(len(counts), several, replace=False))
    shape = tuple(counts[slot] for slot in slots)
    allowed = dice.random(shape) < share
    missed = dice.integers(1, 10, shape).astype(float)
    rule = "" if kind == "wish" else str(dice.choice(RULES_IN_USE))
    name = f"{kind} {number} on {' and '.join(map(str, slots))}"
    return Constraint(name, rule, slots, allowed, np.where(allowed, 0.0, missed), advice=kind == "advice")


def choice_from(seed: int, *, tight: bool = False) -> Problem:
    """A problem of at most 300 assignments; a tight one is often not solvable."""
    dice = np.random.default_rng(seed)
    counts = {slot: 1 for slot in IN_USE if dice.random() < 0.7} or {IN_USE[0]: 1}
    for slot in (list(counts)[place] for place in dice.permutation(len(counts))):
        room = 300 // int(np.prod(list(counts.values())))
        counts[slot] = int(dice.integers(1, min(4, room) + 1))
    options = {slot: tuple(_options(dice, slot, count)) for slot, count in counts.items()}
    several = int(dice.integers(3, 9) if tight else dice.integers(0, 6))
    constraints = tuple(_constraint(dice, counts, number, 0.45 if tight else 0.75) for number in range(several))
    gaskets = {joint: int(dice.integers(0, 5)) for joint in ALL_JOINTS}
    fitted = {slot: some[0].figures for slot, some in options.items()}
    now = {slot: nozzle.diameter_mm for slot, nozzle in fitted.items() if isinstance(nozzle, FittedNozzle)}
    return Problem(options, constraints, gaskets, now)


small_choices = st.integers(0, 2**32 - 1).map(choice_from)
tight_choices = st.integers(0, 2**32 - 1).map(partial(choice_from, tight=True))


def every_choice(problem: Problem) -> Iterator[dict[Slot, int]]:
    for places in itertools.product(*(range(len(options)) for options in problem.options.values())):
        yield dict(zip(problem.options, places, strict=True))


def holds(constraint: Constraint, chosen: Chosen) -> bool:
    return bool(constraint.allowed[tuple(chosen[slot] for slot in constraint.slots)])


def is_allowed(problem: Problem, chosen: Chosen) -> bool:
    return all(holds(constraint, chosen) for constraint in problem.constraints if not constraint.advice)


def sizes_um(problem: Problem) -> dict[Slot, int]:
    """Orifice of what is fitted in each slot of a nozzle, in thousandths of a millimetre."""
    return {slot: _size_um(options[0]) for slot, options in problem.options.items()}


def _size_um(option: Option) -> int:
    return round(1000 * option.figures.diameter_mm) if isinstance(option.figures, FittedNozzle) else 0


def worth(problem: Problem, chosen: Chosen) -> dict[str, int]:
    """What a choice comes to in every goal: gaskets once a joint, parts of a pump's box for nothing."""
    options = {slot: problem.options[slot][index] for slot, index in chosen.items()}
    changed = {slot: option for slot, option in options.items() if option.work != "none"}
    return {
        "changes": len(changed),
        "permanent": sum(option.work in ("redrill", "relieve") for option in changed.values()),
        "nozzle": sum(_size_um(option) for option in options.values()),
        "step": sum(abs(_size_um(option) - sizes_um(problem)[slot]) for slot, option in options.items()),
        "price": price_of(changed, problem.gasket_price),
        "labour": sum(option.labour_min for option in options.values()),
        "advice": sum(c.advice and not holds(c, chosen) for c in problem.constraints),
    }


def price_of(changed: Mapping[Slot, Option], gasket_price: Mapping[str, int]) -> int:
    """Parts, less what comes in the box of the same circuit's new pump, and gaskets for each joint opened."""
    price = sum(option.price for option in changed.values())
    for slot, part in changed.items():
        pump = changed.get(Slot(slot.circuit, "pump"))
        if slot.name != "pump" and pump is not None and part.work == "fit" and part.code in pump.comes_with:
            price -= part.price
    opened = joints_opened(changed)
    return price + sum(gasket_price.get(joint, 0) for _, joint in opened)


def joints_opened(changed: Iterable[Slot]) -> set[tuple[str | None, str]]:
    """Joints that changes in these slots open, each with its circuit."""
    return {(slot.circuit, joint) for slot in changed for joint in JOINTS_OF.get(slot.name, ())}


def rank_by_code(problem: Problem, chosen: Chosen) -> tuple[tuple[bool, str, str], ...]:
    """What is fitted first, then by code and label, slot by slot."""
    options = (problem.options[slot][index] for slot, index in chosen.items())
    return tuple((option.work != "none", option.code or "", option.label) for option in options)


def best_by_hand(problem: Problem, order: Sequence[str]) -> tuple[dict[Slot, int] | None, int]:
    """The best assignment by goals in this order and then by code, and how many assignments are allowed."""
    fitting = [chosen for chosen in every_choice(problem) if is_allowed(problem, chosen)]
    if not fitting:
        return None, 0

    def key(chosen: Chosen) -> tuple[object, ...]:
        value = worth(problem, chosen)
        return ([value[goal] for goal in order], rank_by_code(problem, chosen))

    return min(fitting, key=key), len(fitting)


def labels(problem: Problem, chosen: Chosen) -> dict[Slot, str]:
    return {slot: problem.options[slot][index].label for slot, index in chosen.items()}
