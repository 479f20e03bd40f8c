"""Where every part in every slot stands under what the user has pinned: it fits, fits with changes, or is impossible.

Worked out for all parts at once, class by class, from the tables of `blocks`: what fits, and the least that changes
with it, by one sweep; why a part is impossible, from the sets of rules that its assignments break. What is fitted is
the start: least means fewest further slots changed. A pinned slot's own pin is lifted when another of its parts is
looked at. Answers are arrays; an object for a part is made when it is asked for.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from configurator.advice.standing import AvailabilityReport, Clash, Companion, SlotStanding, Standing, State
from configurator.arrays import Indices, Integers, Mask
from configurator.judging.case import Case
from configurator.judging.engine_told import told_engine
from configurator.judging.findings import findings
from configurator.physics.lateness import AS_MODELLED, Lateness
from configurator.rules import RULES
from configurator.slots.options import Choice, Offered
from configurator.slots.slot import Slot
from configurator.slots.wishes import Wish, choose, word_of
from configurator.solver.blocks import Blocks
from configurator.solver.clashes import Sets, Ways, clashes, least_to_give_up, members, wishes_among
from configurator.solver.classes import Classes, classes_of
from configurator.solver.problem import Problem, among, problem_over
from configurator.solver.solution import Assignment
from configurator.solver.sweep import NEVER, Costs, Pinned, Pins, Sweep, Weights


@dataclass(frozen=True)
class Standings:
    """Where every option of a slot stands, (options,): whether it is possible, slots changed besides it and those
    pinned, and price (in hundredths) and labour of it all [min]; the latter mean nothing where it is impossible."""

    possible: Mask
    further: Integers
    price: Integers
    labour_min: Integers


@dataclass(frozen=True)
class Availability:
    """A choice ready to be asked: its options by class, a problem with one option a class, the tables of its blocks."""

    classes: Mapping[Slot, Classes]
    problem: Problem
    costs: Costs
    ways: Ways
    felt: tuple[str, ...] = ()
    vehicle: str = ""
    engine: Lateness = AS_MODELLED

    @classmethod
    def of(cls, case: Case, wishes: Sequence[Wish] = ()) -> "Availability":
        """A case with its linkage set, since parts are not chosen against a slack one; wishes hold in every answer."""
        case = case.with_linkage_set()
        classes = classes_of(case, wishes)
        problem = problem_over(case, wishes, {slot: own.cheapest() for slot, own in classes.items()})
        felt = tuple(wish.text for wish in wishes if wish.felt)
        return cls._over(classes, problem, felt, case.vehicle.name, case.engine)

    @classmethod
    def over(cls, problem: Problem) -> "Availability":
        """Any choice. Raises TipinError where its prices are too large to be weighed exactly."""
        offered = {slot: Offered.of(options) for slot, options in problem.options.items()}
        return cls._over({slot: Classes(own, own.kind) for slot, own in offered.items()}, problem)

    @classmethod
    def _over(
        cls,
        classes: Mapping[Slot, Classes],
        problem: Problem,
        felt: tuple[str, ...] = (),
        vehicle: str = "",
        engine: Lateness = AS_MODELLED,
    ) -> "Availability":
        blocks = Blocks.of(problem)
        price, labour_min = (
            sum(int(getattr(own.offered, figure).max(initial=0)) for own in classes.values())
            for figure in ("price", "labour_min")
        )
        costs = Costs(blocks, Weights.of(problem, price, labour_min))
        return cls(classes, problem, costs, Ways(blocks), felt, vehicle, engine)

    def standings(self, pins: Sequence[Wish] = ()) -> dict[Slot, Standings]:
        """Every option of every slot. Pins of one slot hold together."""
        asked = _Asked(self, pins)
        return {slot: asked.standings(slot) for slot in self.problem.options}

    def clashes(self, pins: Sequence[Wish] = ()) -> dict[Slot, list[Clash | None]]:
        """Why each class of every slot is impossible; None for those that are not."""
        asked = _Asked(self, pins)
        return {slot: [asked.clash_of(slot, one) for one in range(own.count)] for slot, own in self.classes.items()}

    def report(
        self, pins: Sequence[Wish] = (), slots: Sequence[Slot] = (), places: Collection[int] | None = None
    ) -> AvailabilityReport:
        """Every option of the slots asked for, of all if none is named, or those at some places only. Pins of one slot
        hold together."""
        asked = _Asked(self, pins)
        return AvailabilityReport(
            vehicle=self.vehicle, engine=told_engine(self.engine), pins=[pin.text for pin in pins],
            slots=[asked.slot(slot, places) for slot in slots or self.problem.options], clash=asked.clash_of_all(),
            felt=list(self.felt),
        )  # fmt: skip

    def why(self, case: Case, slot: Slot, places: frozenset[int], pins: Sequence[Wish] = ()) -> AvailabilityReport:
        """Some options of a slot of the case; of one alone also what the rules in its way find with it."""
        report = self.report(pins, [slot], sorted(places))
        options = report.slots[0].options
        if len(places) != 1 or options[0].clash is None:
            return report
        choice = choose(case.options, [pin for pin in pins if pin.slot != slot])
        (place,) = places
        found = {
            f"{f.rule} ({f.circuit})" if f.circuit else f.rule: f"{f.says}; {f.seen}" if f.seen else f.says
            for f in findings(case.with_linkage_set(), {**choice, slot: case.options[slot][place]}) if f.holds is False
        }  # fmt: skip
        clash = options[0].clash
        told = clash.model_copy(update={"found": [found.get(rule, "") for rule in clash.rules]})
        one = options[0].model_copy(update={"clash": told})
        return report.model_copy(update={"slots": [report.slots[0].model_copy(update={"options": [one]})]})

    def best(self, pins: Sequence[Wish] = ()) -> Choice | None:
        """The fewest changes that keep every rule and pin; None if nothing does."""
        asked = _Asked(self, pins)
        chosen = asked.sweep.best()
        return None if chosen is None else asked.choice_of(chosen)

    def clash(self, pins: Sequence[Wish] = ()) -> Clash | None:
        """Why nothing fits under the pins; None if something does."""
        return _Asked(self, pins).clash_of_all()


class _Asked:
    """One question: the sweep and the ways out under its pins."""

    def __init__(self, engine: Availability, pins: Sequence[Wish]) -> None:
        self.engine = engine
        self.allowed: dict[Slot, frozenset[int]] = {}
        for pin in pins:
            self.allowed[pin.slot] = self.allowed.get(pin.slot, pin.allowed) & pin.allowed
        self.pins: Pins = {slot: self._pinned(slot) for slot in self.allowed}
        self.sweep = Sweep(engine.costs, self.pins)
        self.ways = engine.ways.under({slot: pin.allowed for slot, pin in self.pins.items()})
        self.hard = engine.costs.blocks.hard
        texts = {slot: "; ".join(pin.text for pin in pins if pin.slot == slot) for slot in self.pins}
        self.names = [*(c.name for c in self.hard), *(texts[slot] for slot in self.ways.pinned)]
        self._told: dict[Sets, Clash] = {}
        self._brings: dict[tuple[Slot, int], list[Companion]] = {}

    @cached_property
    def _members(self) -> dict[Slot, Indices]:
        """For each pinned slot the option that each class is taken as: its cheapest of those allowed."""
        classes = self.engine.classes
        return {
            slot: classes[slot].cheapest(among(allowed, len(classes[slot].number)))
            for slot, allowed in self.allowed.items()
        }

    def _pinned(self, slot: Slot) -> Pinned:
        own, weights = self.engine.classes[slot], self.engine.costs.weights
        taken, usual = self._members[slot], own.cheapest()
        there = np.flatnonzero(taken >= 0)
        more = (figure[taken[there]] - figure[usual[there]] for figure in (own.offered.price, own.offered.labour_min))
        further = zip(there.tolist(), *(figures.tolist() for figures in more), strict=True)
        return Pinned(frozenset(there.tolist()), {one: weights.packed(price, labour) for one, price, labour in further})

    def choice_of(self, chosen: Assignment) -> Choice:
        """The options that an assignment of classes stands for."""
        return {
            slot: self.engine.classes[slot].offered[int(self._members[slot][one])] if slot in self._members
            else self.engine.problem.options[slot][one]
            for slot, one in chosen.items()
        }  # fmt: skip

    def standings(self, slot: Slot) -> Standings:
        """Where every option of a slot stands."""
        own = self.engine.classes[slot]
        least, usual = self._least(slot), own.cheapest()
        further, price, labour_min = self.engine.costs.weights.unpacked(least)
        if slot not in self.pins:
            further = further - np.array([option.changed for option in self.engine.problem.options[slot]])
        offered = own.offered
        return Standings(
            (least < NEVER)[own.number], further[own.number],
            (price - offered.price[usual])[own.number] + offered.price,
            (labour_min - offered.labour_min[usual])[own.number] + offered.labour_min,
        )  # fmt: skip

    def _least(self, slot: Slot) -> Integers:
        if slot not in self._leasts:
            self._leasts[slot] = self.sweep.least(slot)
        return self._leasts[slot]

    @cached_property
    def _leasts(self) -> dict[Slot, Integers]:
        return {}

    def slot(self, slot: Slot, places: Collection[int] | None = None) -> SlotStanding:
        """The options of a slot, or those at some places."""
        own, found, pinned = self.engine.classes[slot], self.standings(slot), slot in self.pins
        possible, further, price, labour_min = (getattr(found, name).tolist() for name in _FIGURES)
        number, allowed = own.number.tolist(), self.allowed.get(slot, frozenset())
        options = []
        for place in range(len(number)) if places is None else places:
            option, one = own.offered[place], number[place]
            brings = self.companions(slot, one) if possible[place] and further[place] else []
            state: State = "impossible" if not possible[place] else "with_changes" if brings else "fits"
            # Built without validation: these figures were made here, and one answer may hold very many options.
            options.append(Standing.model_construct(
                label=option.label, code=option.code, word=word_of(option), state=state, fitted=not option.changed,
                pinned=place in allowed, with_changes=brings,
                price=price[place] / 100 if possible[place] else None,
                labour_min=labour_min[place] if possible[place] else None, clash=self.clash_of(slot, one),
            ))  # fmt: skip
        return SlotStanding.model_construct(slot=str(slot), pinned=pinned, options=options)

    def companions(self, slot: Slot, one: int) -> list[Companion]:
        """What changes with the options of a class, those pinned left out."""
        if (slot, one) not in self._brings:
            options = self.choice_of(self.sweep.assignment(slot, one))
            self._brings[slot, one] = [
                Companion.model_construct(slot=str(name), to=option.label, word=word_of(option))
                for name, option in options.items()
                if option.changed and name != slot and name not in self.pins
            ]
        return self._brings[slot, one]

    def clash_of(self, slot: Slot, one: int) -> Clash | None:
        """Why the options of a class are impossible; None where they are not."""
        return None if self._least(slot)[one] < NEVER else self.clash(self.ways.out_for(slot, one))

    def clash_of_all(self) -> Clash | None:
        ways = self.ways.out()
        return None if ways == (0,) else self.clash(ways)

    def clash(self, ways: Sets) -> Clash:
        """The clash to tell first, and every smallest set of pins to give up."""
        if ways not in self._told:
            first, *others = clashes(ways, self.hard)
            rules = [c for c in members(first, self.hard) if c.rule]
            self._told[ways] = Clash.model_construct(
                pins=members(first & wishes_among(self.hard), self.names), rules=[c.name for c in rules],
                says=[RULES[c.rule].statement for c in rules], others=len(others),
                give_up=[members(way, self.names) for way in least_to_give_up(ways, self.hard)],
            )  # fmt: skip
        return self._told[ways]


_FIGURES = ("possible", "further", "price", "labour_min")
