"""What there is to choose, as tables: options with their costs, and the combinations that rules and wishes allow.

Numbers only; no solver in here. Options that nothing could prefer are dropped: one is dominated if another is allowed
wherever it is, under every rule and wish by itself, and costs no more in anything (the order of codes included). That
is exact for any order of goals and any subset of the rules, and matters more than any setting of a solver.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from configurator.arrays import Indices, Integers, Mask
from configurator.car.fitted import FittedNozzle
from configurator.judging.case import AXES, Case, margins
from configurator.rules import RULES, SHARED_SLOTS, Rule
from configurator.slots.options import Option, pence
from configurator.slots.wishes import GOALS, Wish


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

    def cost(self, slot: str, goal: str) -> Integers:
        """What each option of a slot adds to a goal by itself (gaskets, kits and advice come on top)."""
        return self.costs[GOALS.index(goal), self.spans[slot]]

    def rank(self, slot: str) -> Integers:
        """Place of each option in the order of codes, the fitted one first."""
        return self.ranks[self.spans[slot]]

    @cached_property
    def spans(self) -> dict[str, slice]:
        """Where each slot's options stand, all slots one behind the other."""
        ends = np.cumsum([len(options) for options in self.options.values()]).tolist()
        return {slot: slice(end - len(own), end) for (slot, own), end in zip(self.options.items(), ends, strict=True)}

    @cached_property
    def costs(self) -> Integers:
        """What each option adds to each goal by itself, (goals, options of all slots); orifices in thousandths of a
        millimetre."""
        every = [option for options in self.options.values() for option in options]
        costs = np.zeros((len(GOALS), len(every)), dtype=np.int64)
        costs[GOALS.index("changes")] = [option.work != "none" for option in every]
        costs[GOALS.index("permanent")] = [option.permanent for option in every]
        costs[GOALS.index("price")] = [option.price for option in every]
        costs[GOALS.index("labour")] = [option.labour_min for option in every]
        for slot, options in self.options.items():
            sizes = [one.figures.diameter_mm for one in options if isinstance(one.figures, FittedNozzle)]
            if sizes:
                now_mm = self.nozzle_now_mm.get(slot, 0.0)
                costs[GOALS.index("nozzle"), self.spans[slot]] = [round(1000 * size) for size in sizes]
                costs[GOALS.index("step"), self.spans[slot]] = [round(1000 * abs(size - now_mm)) for size in sizes]
        return costs

    @cached_property
    def ranks(self) -> Integers:
        """Rank of each option within its slot, (options of all slots,)."""
        ranks = np.empty(sum(len(options) for options in self.options.values()), dtype=np.int64)
        for slot, options in self.options.items():
            keys = [option.sort_key for option in options]
            ranks[self.spans[slot]][sorted(range(len(keys)), key=keys.__getitem__)] = np.arange(len(keys))
        return ranks

    def kit_savings(self) -> tuple[tuple[str, int, str, int, int], ...]:
        """(pump slot, option, other slot, option, price saved) where the part comes in the pump's box."""
        return self._savings

    @cached_property
    def _savings(self) -> tuple[tuple[str, int, str, int, int], ...]:
        return tuple(self._saved())

    def _saved(self) -> Iterator[tuple[str, int, str, int, int]]:
        for slot, options in self.options.items():
            circuit, _, bare = slot.rpartition(".")
            boxes = [(index, pump.comes_with) for index, pump in enumerate(options)
                     if bare == "pump" and pump.changed and pump.comes_with]  # fmt: skip
            boxed = {code for _, codes in boxes for code in codes}
            for other in (name for name in self.options if name.startswith(f"{circuit}.") and name != slot and boxes):
                parts: dict[str, list[tuple[int, int]]] = {}
                for place, part in enumerate(self.options[other]):
                    if part.work == "fit" and part.code in boxed:
                        parts.setdefault(part.code, []).append((place, part.price))
                for index, codes in boxes:
                    for place, price in (found for code in dict.fromkeys(codes) for found in parts.get(code, ())):
                        yield slot, index, other, place, price


def problem_over(case: Case, wishes: Sequence[Wish], places: Mapping[str, Indices]) -> Problem:
    """The choice between these options of each slot only, given by their places in the case's."""
    options = {slot: tuple(case.options[slot][place] for place in chosen.tolist()) for slot, chosen in places.items()}
    kinds = {slot: case.options[slot].kind[chosen] for slot, chosen in places.items()}
    constraints = [_wish_constraint(wish, places[wish.slot], len(case.options[wish.slot])) for wish in wishes]
    for name in case.circuit_names:
        table = case.tabulated(name)
        for rule in RULES.values():
            if (
                rule.is_choosable
                and rule.severity != "note"
                and (rule.scope == "circuit" or name == case.circuit_names[0])
            ):
                constraints.append(_rule_constraint(rule, name, table, kinds))
    gaskets: dict[str, int] = {}
    for consumable in case.catalog.consumables.values():
        gaskets[consumable.joint] = gaskets.get(consumable.joint, 0) + pence(consumable.price) * consumable.quantity
    now = {slot: o.figures.diameter_mm for slot, (o, *_) in options.items() if isinstance(o.figures, FittedNozzle)}
    return Problem(options, tuple(c for c in constraints if not c.allowed.all() or not c.rule), gaskets, now)


def _wish_constraint(wish: Wish, places: Indices, count: int) -> Constraint:
    allowed = among(wish.allowed, count)[places]
    return Constraint(wish.text, "", (wish.slot,), allowed, (~allowed).astype(float))


def among(places: Collection[int], count: int) -> Mask:
    """Whether each of so many places is one of these."""
    mask = np.zeros(count, dtype=bool)
    mask[np.fromiter(places, dtype=np.intp, count=len(places))] = True
    return mask


def _rule_constraint(rule: Rule, circuit: str, table: Mapping[str, object], kinds: Mapping[str, Indices]) -> Constraint:
    bare = tuple(slot for slot in AXES if slot in rule.circuit_slots())
    slots = tuple(slot if slot in SHARED_SLOTS else f"{circuit}.{slot}" for slot in bare)
    margin = margins(rule, table)
    unread = tuple(axis for axis, slot in enumerate(AXES) if slot not in bare)
    margin = margin[tuple(0 if axis in unread else slice(None) for axis in range(len(AXES)))]
    for axis, slot in enumerate(slots):
        # An axis of length 1 holds for every kind.
        margin = margin.take(kinds[slot] if margin.shape[axis] > 1 else np.zeros_like(kinds[slot]), axis=axis)
    shortfall: NDArray[np.float64] = np.where(margin < 0, -margin, 0.0).astype(float, copy=False)
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
        if not special[index] and survivors:
            no_dearer = np.array(survivors)[(costs[survivors] <= costs[index]).all(axis=1)]
            if any(not np.any(packed[index] & ~packed[other]) for other in no_dearer):
                continue
        survivors.append(int(index))
    return sorted(survivors)
