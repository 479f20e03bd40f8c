"""What there is to choose, as tables: options with their costs, and the combinations that rules and wishes allow.

Numbers only; no solver in here. Options that nothing could prefer are dropped: one is dominated if another is allowed
wherever it is, under every rule and wish by itself, and costs no more in anything (the order of codes included). That
is exact for any order of goals and any subset of the rules, and matters more than any setting of a solver.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from configurator.arrays import Indices, Integers, Mask
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import Catalog
from configurator.judging.case import Case, margins
from configurator.rules import RULES, Kind, Rule
from configurator.rules.figures import JudgedFigures
from configurator.slots.options import Option, pence
from configurator.slots.slot import AXES, Slot
from configurator.slots.wishes import GOALS, Wish


@dataclass(frozen=True)
class Constraint:
    """Combinations of some slots' options that one rule or wish allows; rule is empty for a wish. shortfall is how far
    outside each combination lies, in the rule's unit, 0 inside. felt : whether it is a wish that a symptom stands for.
    """

    name: str
    rule: str
    slots: tuple[Slot, ...]
    allowed: Mask
    shortfall: NDArray[np.float64]
    advice: bool = False
    felt: bool = False
    limit: float = np.nan
    """The rule's limit, where it is the same for all combinations; else not a number."""

    @property
    def kind(self) -> Kind:
        """Whether it is about what fits, as what somebody asks for is, too; or about what cures."""
        return RULES[self.rule].kind if self.rule else "cure" if self.felt else "fit"

    def only(self, slot: Slot, keep: Sequence[int]) -> "Constraint":
        if slot not in self.slots:
            return self
        axis = self.slots.index(slot)
        return replace(self, allowed=self.allowed.take(keep, axis=axis), shortfall=self.shortfall.take(keep, axis=axis))


class KitSaving(NamedTuple):
    """A pump and another slot's part that comes in its box, each by its place in its slot, and the price saved."""

    pump: Slot
    pump_place: int
    other: Slot
    place: int
    price: int


@dataclass(frozen=True)
class Problem:
    """Slots with their options; constraints; price of new gaskets for each joint, per circuit."""

    options: dict[Slot, tuple[Option, ...]]
    constraints: tuple[Constraint, ...]
    gasket_price: dict[str, int]
    nozzle_now_mm: dict[Slot, float] = field(default_factory=dict)
    """Orifice fitted now, by slot."""

    def of_the_fit(self) -> "Problem":
        """The same choice where all that counts is what fits, whether it cures or not."""
        return replace(self, constraints=tuple(c for c in self.constraints if c.kind == "fit"))

    def cost(self, slot: Slot, goal: str) -> Integers:
        """What each option of a slot adds to a goal by itself (gaskets, kits and advice come on top)."""
        return self.costs[GOALS.index(goal), self.spans[slot]]

    def rank(self, slot: Slot) -> Integers:
        """Place of each option in the order of codes, the fitted one first."""
        return self.ranks[self.spans[slot]]

    @cached_property
    def spans(self) -> dict[Slot, slice]:
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

    @cached_property
    def kit_savings(self) -> tuple[KitSaving, ...]:
        """What parts cost less that come in a pump's box."""
        return tuple(
            saving
            for pump in self.options if pump.name == "pump"
            for other in self.options if other.circuit == pump.circuit and other != pump
            for saving in self._saved(pump, other)
        )  # fmt: skip

    def _saved(self, pump: Slot, other: Slot) -> Iterator[KitSaving]:
        """What a pump's boxes save on the parts of another slot."""
        boxes = [(place, one.comes_with) for place, one in enumerate(self.options[pump])
                 if one.changed and one.comes_with]  # fmt: skip
        if not boxes:
            return
        places: dict[str, list[int]] = {}
        for place, part in enumerate(self.options[other]):
            if part.work == "fit" and part.code:
                places.setdefault(part.code, []).append(place)
        for pump_place, codes in boxes:
            for place in (place for code in dict.fromkeys(codes) for place in places.get(code, ())):
                yield KitSaving(pump, pump_place, other, place, self.options[other][place].price)


def problem_over(case: Case, wishes: Sequence[Wish], places: Mapping[Slot, Indices]) -> Problem:
    """The choice between these options of each slot only, given by their places in the case's."""
    options = {slot: tuple(case.options[slot][place] for place in chosen.tolist()) for slot, chosen in places.items()}
    kinds = {slot: case.options[slot].kind[chosen] for slot, chosen in places.items()}
    constraints = [_wish_constraint(wish, places[wish.slot], len(case.options[wish.slot])) for wish in wishes]
    for name in case.circuit_names:
        table, first = case.tabulated(name), name == case.circuit_names[0]
        rules = (
            rule for rule in RULES.values()
            if rule.is_choosable and rule.severity != "note" and not (case.fuel_left_alone and rule.kind == "cure")
        )  # fmt: skip
        constraints += [
            _rule_constraint(rule, name, table, kinds) for rule in rules if first or rule.scope == "circuit"
        ]  # fmt: skip
    now = {slot: own[0].read(FittedNozzle).diameter_mm for slot, own in options.items() if slot.name == "nozzle"}
    cutting = tuple(c for c in constraints if not c.allowed.all() or not c.rule)
    return Problem(options, cutting, _gasket_price(case.catalog), now)


def _gasket_price(catalog: Catalog) -> dict[str, int]:
    """What all gaskets of each joint cost, in hundredths."""
    prices: dict[str, int] = {}
    for consumable in catalog.consumables.values():
        prices[consumable.joint] = prices.get(consumable.joint, 0) + pence(consumable.price) * consumable.quantity
    return prices


def _wish_constraint(wish: Wish, places: Indices, count: int) -> Constraint:
    allowed = among(wish.allowed, count)[places]
    return Constraint(wish.text, "", (wish.slot,), allowed, (~allowed).astype(float), felt=wish.felt)


def among(places: Collection[int], count: int) -> Mask:
    """Whether each of so many places is one of these."""
    mask = np.zeros(count, dtype=bool)
    mask[np.fromiter(places, dtype=np.intp, count=len(places))] = True
    return mask


def _rule_constraint(rule: Rule, circuit: str, table: JudgedFigures, kinds: Mapping[Slot, Indices]) -> Constraint:
    bare = tuple(slot for slot in AXES if slot in rule.circuit_slots())
    slots = tuple(Slot.of(circuit, slot) for slot in bare)
    margin = margins(rule, table)
    unread = tuple(axis for axis, slot in enumerate(AXES) if slot not in bare)
    margin = margin[tuple(0 if axis in unread else slice(None) for axis in range(len(AXES)))]
    for axis, slot in enumerate(slots):
        # An axis of length 1 holds for every kind.
        margin = margin.take(kinds[slot] if margin.shape[axis] > 1 else np.zeros_like(kinds[slot]), axis=axis)
    shortfall: NDArray[np.float64] = np.where(margin < 0, -margin, 0.0).astype(float, copy=False)
    name = rule.id if rule.scope == "car" else f"{rule.id} ({circuit})"
    _, limits = rule.readings(table)
    finite = limits[np.isfinite(limits)]
    one_limit = finite.size > 0 and finite.min() == finite.max()
    return Constraint(
        name, rule.id, slots, ~(margin < 0), shortfall, advice=rule.severity == "warning",
        limit=float(finite[0]) if one_limit else np.nan,
    )  # fmt: skip


def undominated(problem: Problem) -> Problem:
    """The same problem without options that another makes needless."""
    in_a_kit = {(saving.other, saving.place) for saving in problem.kit_savings}
    for slot in problem.options:
        keep = _survivors(problem, slot, in_a_kit)
        options = problem.options | {slot: tuple(problem.options[slot][i] for i in keep)}
        in_a_kit = {(s, i) for s, i in in_a_kit if s != slot} | {
            (slot, new) for new, old in enumerate(keep) if (slot, old) in in_a_kit
        }
        problem = replace(problem, options=options, constraints=tuple(c.only(slot, keep) for c in problem.constraints))
    return problem


def _survivors(problem: Problem, slot: Slot, in_a_kit: set[tuple[Slot, int]]) -> list[int]:
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
