"""What there is to choose, as tables: options with their costs, and the combinations that rules and wishes allow.

Numbers only; no solver in here. Options that nothing could prefer are dropped: one is dominated if another is allowed
wherever it is, under every rule and wish by itself, and costs no more in anything (the order of codes included). That
is exact for any order of goals and any subset of the rules, and matters more than any setting of a solver.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from configurator.case import AXES, Case, margins
from configurator.fitted import FittedNozzle
from configurator.options import Option, pence
from configurator.rules import RULES, SHARED_SLOTS, Rule
from configurator.wishes import GOALS, Wish

Mask = NDArray[np.bool_]
Whole = NDArray[np.int64]


_COSTS: Mapping[str, Callable[[Option], int]] = {
    "changes": lambda option: int(option.changed),
    "nozzle": lambda option: (
        round(option.figures.diameter_mm * 1000) if isinstance(option.figures, FittedNozzle) else 0
    ),
    "permanent": lambda option: int(option.permanent),
    "price": lambda option: option.price,
    "labour": lambda option: option.labour_min,
    "advice": lambda option: 0,
}
"""What an option adds to each goal by itself; orifices in thousandths of a millimetre."""


def _step(option: Option, now_mm: float) -> int:
    """How far an orifice is from the one fitted, in thousandths of a millimetre."""
    return round(abs(option.figures.diameter_mm - now_mm) * 1000) if isinstance(option.figures, FittedNozzle) else 0


@dataclass(frozen=True)
class Constraint:
    """Combinations of some slots' options that one rule or wish allows; rule is empty for a wish. shortfall is how far
    outside each combination lies, in the rule's unit, 0 inside."""

    name: str
    rule: str
    slots: tuple[str, ...]
    allowed: Mask
    shortfall: NDArray[np.float64]
    advice: bool = False

    def only(self, slot: str, keep: Sequence[int]) -> "Constraint":
        if slot not in self.slots:
            return self
        axis = self.slots.index(slot)
        return replace(self, allowed=self.allowed.take(keep, axis=axis), shortfall=self.shortfall.take(keep, axis=axis))


@dataclass(frozen=True)
class Problem:
    """Slots with their options; constraints; price of new gaskets for each joint, per circuit."""

    options: dict[str, tuple[Option, ...]]
    constraints: tuple[Constraint, ...]
    gasket_price: dict[str, int]
    nozzle_now_mm: dict[str, float] = field(default_factory=dict)
    """Orifice fitted now, by slot."""

    def cost(self, slot: str, goal: str) -> Whole:
        """What each option of a slot adds to a goal by itself (gaskets, kits and advice come on top)."""
        if goal == "step":
            now = self.nozzle_now_mm.get(slot, 0.0)
            return np.array([_step(option, now) for option in self.options[slot]], dtype=np.int64)
        return np.array([_COSTS[goal](option) for option in self.options[slot]], dtype=np.int64)

    def rank(self, slot: str) -> Whole:
        """Place of each option in the order of codes, the fitted one first."""
        order = sorted(range(len(self.options[slot])), key=lambda i: self.options[slot][i].sort_key)
        return np.argsort(np.array(order, dtype=np.int64))

    def kit_savings(self) -> Iterator[tuple[str, int, str, int, int]]:
        """(pump slot, option, other slot, option, price saved) where the part comes in the pump's box."""
        for slot, options in self.options.items():
            circuit, _, bare = slot.rpartition(".")
            if bare == "pump":
                for index, pump in enumerate(options):
                    for other, others in self.options.items():
                        if other.startswith(f"{circuit}.") and other != slot:
                            for place, part in enumerate(others):
                                if part.work == "fit" and part.code in pump.comes_with and pump.changed:
                                    yield slot, index, other, place, part.price


def problem_of(case: Case, wishes: Sequence[Wish]) -> Problem:
    """The whole choice for a case: every choosable hard rule of every circuit, advice, and the user's wishes."""
    options = dict(case.options)
    constraints = [_wish_constraint(wish, len(options[wish.slot])) for wish in wishes]
    for name in case.circuit_names:
        table = case.tabulated(name)
        for rule in RULES.values():
            if (
                rule.is_choosable
                and rule.severity != "note"
                and (rule.scope == "circuit" or name == case.circuit_names[0])
            ):
                constraints.append(_rule_constraint(rule, name, table, options))
    gaskets: dict[str, int] = {}
    for consumable in case.catalog.consumables.values():
        gaskets[consumable.joint] = gaskets.get(consumable.joint, 0) + pence(consumable.price) * consumable.quantity
    now = {slot: o.figures.diameter_mm for slot, (o, *_) in options.items() if isinstance(o.figures, FittedNozzle)}
    return Problem(options, tuple(c for c in constraints if not c.allowed.all() or not c.rule), gaskets, now)


def _wish_constraint(wish: Wish, count: int) -> Constraint:
    allowed = np.array([index in wish.allowed for index in range(count)])
    return Constraint(wish.text, "", (wish.slot,), allowed, 1.0 - allowed)


def _rule_constraint(
    rule: Rule, circuit: str, table: Mapping[str, object], options: Mapping[str, Sequence[Option]]
) -> Constraint:
    bare = tuple(slot for slot in AXES if slot in rule.circuit_slots())
    slots = tuple(slot if slot in SHARED_SLOTS else f"{circuit}.{slot}" for slot in bare)
    margin = margins(rule, table)
    shape = tuple(
        len(options[f"{circuit}.{slot}" if slot not in SHARED_SLOTS else slot]) if slot in bare else 1 for slot in AXES
    )
    margin = np.broadcast_to(margin, shape).reshape([len(options[slot]) for slot in slots])
    shortfall = np.where(margin < 0, -margin, 0.0)
    name = rule.id if rule.scope == "car" else f"{rule.id} ({circuit})"
    return Constraint(name, rule.id, slots, ~(margin < 0), shortfall, advice=rule.severity == "warning")


def undominated(problem: Problem) -> Problem:
    """The same problem without options that another makes needless."""
    in_a_kit = {(other, place) for _, _, other, place, _ in problem.kit_savings()}
    for slot in problem.options:
        keep = _survivors(problem, slot, in_a_kit)
        options = problem.options | {slot: tuple(problem.options[slot][i] for i in keep)}
        in_a_kit = {(s, i) for s, i in in_a_kit if s != slot} | {
            (slot, new) for new, old in enumerate(keep) if (slot, old) in in_a_kit
        }
        problem = replace(problem, options=options, constraints=tuple(c.only(slot, keep) for c in problem.constraints))
    return problem


def _survivors(problem: Problem, slot: str, in_a_kit: set[tuple[str, int]]) -> list[int]:
    options = problem.options[slot]
    rows = [
        np.moveaxis(c.allowed, c.slots.index(slot), 0).reshape(len(options), -1)
        for c in problem.constraints if slot in c.slots
    ]  # fmt: skip
    # A saving is an advantage that no row shows: an option with one, or a pump that gives one, is never dropped.
    special = np.array([(slot, i) in in_a_kit or bool(o.comes_with and o.changed) for i, o in enumerate(options)])
    packed = np.packbits(np.column_stack([np.ones(len(options), dtype=bool), *rows]), axis=1)
    costs = np.column_stack([problem.cost(slot, goal) for goal in GOALS])
    survivors: list[int] = []
    # In this order whoever beats an option comes before it: cheaper in the first goal that differs, or earlier by code.
    for index in np.lexsort([problem.rank(slot), *costs.T[::-1]]):
        no_dearer = [other for other in survivors if np.all(costs[other] <= costs[index])]
        beaten = any(not np.any(packed[index] & ~packed[other]) for other in no_dearer)
        if special[index] or not beaten:
            survivors.append(int(index))
    return sorted(survivors)
