"""Where every part in every slot stands under what the user has pinned: it fits and cures, as it is or with changes; it
fits, but will not cure; or it does not fit.

Worked out for all parts at once, class by class, from the tables of `blocks`: what holds, and the least that changes
with it, by one sweep over all rules, and by another over those of the fit; why a part will not do, from the sets of
rules that its assignments break. What is fitted is the start: least means fewest further slots changed. A pinned slot's
own pin is lifted when another of its parts is looked at. Answers are arrays; an object for a part is made when it is
asked for.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf

import numpy as np

from configurator.advice.standing import AvailabilityReport, Clash, Companion, SlotStanding, Standing, State
from configurator.arrays import Indices, Integers, Mask
from configurator.judging.case import Case
from configurator.judging.engine_told import told_engine
from configurator.judging.findings import broken, conflicts
from configurator.judging.right import DEMAND
from configurator.judging.unmeasured import measure_first
from configurator.physics.lateness import AS_MODELLED
from configurator.rules import RULES, Kind, Rule
from configurator.slots.options import Choice, Offered
from configurator.slots.slot import SLOTS, Slot
from configurator.slots.wishes import Wish, choose, word_of
from configurator.solver.blocks import Blocks
from configurator.solver.clashes import Sets, Ways, clashes, least_to_give_up, members, wishes_among
from configurator.solver.classes import Classes, classes_of
from configurator.solver.problem import Problem, among, problem_over
from configurator.solver.solution import Assignment
from configurator.solver.sweep import NEVER, Costs, Pinned, Pins, Sweep, Weights


@dataclass(frozen=True)
class Standings:
    """Where every option of a slot stands, (options,): whether all rules can hold with it, slots changed besides it and
    those pinned, and price (in hundredths) and labour of it all [min]; the latter mean nothing where they cannot."""

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
    case: Case | None = None
    felt: tuple[Wish, ...] = ()
    """What a symptom asks for."""

    @classmethod
    def of(cls, case: Case, wishes: Sequence[Wish] = ()) -> "Availability":
        """A case with its linkage set, since parts are not chosen against a slack one; wishes hold in every answer."""
        case = case.with_linkage_set()
        classes = classes_of(case, wishes)
        problem = problem_over(case, wishes, {slot: own.cheapest() for slot, own in classes.items()})
        return cls._over(classes, problem, case, tuple(wish for wish in wishes if wish.felt))

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
        case: Case | None = None,
        felt: tuple[Wish, ...] = (),
    ) -> "Availability":
        blocks = Blocks.of(problem)
        price, labour_min = (
            sum(int(getattr(own.offered, figure).max(initial=0)) for own in classes.values())
            for figure in ("price", "labour_min")
        )
        costs = Costs(blocks, Weights.of(problem, price, labour_min))
        return cls(classes, problem, costs, Ways(blocks), case, felt)

    @cached_property
    def in_one_engine(self) -> Case | None:
        """The case with the pull judged in its engine alone, where parts are chosen by what is believed of it."""
        return self.case.content_with(inf) if self.case and self.case.asked else None

    @cached_property
    def of_the_fit(self) -> tuple[Costs, Ways]:
        """Costs and ways out where all that counts is what fits."""
        blocks = Blocks.of(self.problem.of_the_fit())
        return Costs(blocks, self.costs.weights), Ways(blocks)

    def standings(self, pins: Sequence[Wish] = ()) -> dict[Slot, Standings]:
        """Every option of every slot. Pins of one slot hold together."""
        asked = _Asked(self, pins)
        return {slot: asked.cures.standings(slot) for slot in self.problem.options}

    def clashes(self, pins: Sequence[Wish] = ()) -> dict[Slot, list[Clash | None]]:
        """Why each class of every slot does not fit or will not cure; None for those that do."""
        asked = _Asked(self, pins)
        return {slot: [asked.clash_of(slot, one) for one in range(own.count)] for slot, own in self.classes.items()}

    def report(
        self, pins: Sequence[Wish] = (), slots: Sequence[Slot] = (), places: Collection[int] | None = None
    ) -> AvailabilityReport:
        """Every option of the slots asked for, of all if none is named, or those at some places only. Pins of one slot
        hold together."""
        asked = _Asked(self, pins)
        return AvailabilityReport(
            vehicle=self.case.vehicle.name if self.case else "",
            engine=told_engine(self.case.engine if self.case else AS_MODELLED), pins=[pin.text for pin in pins],
            slots=[asked.slot(slot, places) for slot in slots or self.problem.options], clash=asked.clash_of_all(),
            felt=[wish.text for wish in self.felt], clean=self.case is not None and self.case.fuel_left_alone,
            currency=self.case.catalog.currency if self.case else "",
        )  # fmt: skip

    def why(self, slot: Slot, places: frozenset[int], pins: Sequence[Wish] = ()) -> AvailabilityReport:
        """Some options of a slot, with what to measure first; of one alone also what the rules in its way find with
        it."""
        report = self.report(pins, [slot], sorted(places))
        options = report.slots[0].options
        first: dict[str, None] = {}
        for place, option in zip(sorted(places), options, strict=True):
            if option.state != "impossible" and self.case is not None:
                first |= dict.fromkeys(measure_first(self.case, _with(self.case, pins, slot, place, option)))
        report = report.model_copy(update={"first": list(first)})
        if len(places) != 1 or options[0].clash is None:
            return report
        (place,), clash = places, options[0].clash
        found = {
            f"{rule.id} ({circuit})" if circuit else rule.id: says
            for rule, circuit, says in (_Asked(self, pins).found(self.case, slot, place) if self.case else ())
        } | {
            f"{f.rule} ({f.circuit})": f"{f.says}; {f.seen}"
            for f in (broken(self.case, _Asked(self, pins).choice_with(slot, place)) if self.case else ()) if f.seen
        }  # fmt: skip
        told = clash.model_copy(update={"found": [found.get(rule, "") for rule in clash.rules]})
        one = options[0].model_copy(update={"clash": told})
        return report.model_copy(update={"slots": [report.slots[0].model_copy(update={"options": [one]})]})

    def best(self, pins: Sequence[Wish] = ()) -> Choice | None:
        """The fewest changes that keep every rule and pin; None if nothing does."""
        asked = _Asked(self, pins)
        chosen = asked.cures.sweep.best()
        return None if chosen is None else asked.choice_of(chosen)

    def clash(self, pins: Sequence[Wish] = ()) -> Clash | None:
        """Why nothing fits under the pins; None if something does."""
        return _Asked(self, pins).clash_of_all()


def _with(case: Case, pins: Sequence[Wish], slot: Slot, place: int, standing: Standing) -> Choice:
    """A part in its slot, with what is pinned and what changes with it."""
    choice = {**choose(case.options, [pin for pin in pins if pin.slot != slot]), slot: case.options[slot][place]}
    for other in standing.with_changes:
        choice[SLOTS[other.slot]] = case.options[SLOTS[other.slot]].labelled(other.to) or choice[SLOTS[other.slot]]
    return choice


class _Asked:
    """One question: the sweeps and the ways out under its pins, by all rules and by those of the fit."""

    def __init__(self, engine: Availability, pins: Sequence[Wish]) -> None:
        self.engine = engine
        self.allowed: dict[Slot, frozenset[int]] = {}
        for pin in pins:
            self.allowed[pin.slot] = self.allowed.get(pin.slot, pin.allowed) & pin.allowed
        self.pins: Pins = {slot: self._pinned(slot) for slot in self.allowed}
        self.texts = {slot: "; ".join(pin.text for pin in pins if pin.slot == slot) for slot in self.pins}
        self.cures = _Swept(self, "cure", engine.costs, engine.ways)

    @cached_property
    def fits(self) -> "_Swept":
        """The same by what fits alone."""
        return _Swept(self, "fit", *self.engine.of_the_fit)

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

    def slot(self, slot: Slot, places: Collection[int] | None = None) -> SlotStanding:
        """The options of a slot, or those at some places."""
        listed = range(len(self.engine.classes[slot].number)) if places is None else places
        options = [self._standing(slot, place) for place in listed]
        return SlotStanding.model_construct(slot=str(slot), pinned=slot in self.pins, options=options)

    def _standing(self, slot: Slot, place: int) -> Standing:
        own = self.engine.classes[slot]
        option, one = own.offered[place], int(own.number[place])
        by = self._by(slot, one)
        further, price, labour_min = by.figures(slot, place) if by else (0, None, None)
        brings = by.companions(slot, one) if by and further else []
        state: State = "impossible"
        if by:
            state = "will_not_cure" if by is not self.cures else "with_changes" if brings else "fits"
        clash = self.clash_of(slot, one)
        # Built without validation: these figures were made here, and one answer may hold very many options.
        return Standing.model_construct(
            label=option.label, code=option.code, word=word_of(option), state=state, fitted=not option.changed,
            pinned=place in self.allowed.get(slot, frozenset()), with_changes=brings,
            price=None if price is None else price / 100, labour_min=labour_min,
            wrong=self._wrong(slot, place, clash) if clash else [], clash=clash,
        )  # fmt: skip

    def _by(self, slot: Slot, one: int) -> "_Swept | None":
        """By which rules the options of a class hold: by all, by those of the fit, or by none."""
        return next((swept for swept in (self.cures, self.fits) if swept.holds(slot, one)), None)

    def clash_of(self, slot: Slot, one: int) -> Clash | None:
        """Why the options of a class do not fit or will not cure; None where they do."""
        if self.cures.holds(slot, one):
            return None
        return self.cures.clash_of(slot, one) if self.fits.holds(slot, one) else self.fits.clash_of(slot, one)

    def clash_of_all(self) -> Clash | None:
        """Why nothing at all fits, or nothing that fits cures; None where something does."""
        return self.fits.clash_of_all() or self.cures.clash_of_all()

    def found(self, case: Case, slot: Slot, place: int) -> list[tuple[Rule, str, str]]:
        """What the rules that stand in an option's way find with it, the least changed that fits it, and the rest as
        pinned or fitted: rule, circuit and words."""
        one = int(self.engine.classes[slot].number[place])
        return list(conflicts(case, self.choice_with(slot, place), "cure" if self.fits.holds(slot, one) else "fit"))

    def choice_with(self, slot: Slot, place: int) -> Choice:
        """An option, the least changed that fits it, and the rest as pinned or fitted."""
        own = self.engine.classes[slot]
        one = int(own.number[place])
        if self.fits.holds(slot, one):
            return {**self.choice_of(self.fits.sweep.assignment(slot, one)), slot: own.offered[place]}
        as_pinned = {
            name: self.engine.classes[name].offered[min(allowed)] for name, allowed in self.allowed.items() if allowed
        }
        fitted = {name: classes.offered[0] for name, classes in self.engine.classes.items()}
        return {**fitted, **as_pinned, slot: own.offered[place]}

    def _wrong(self, slot: Slot, place: int, clash: Clash) -> list[str]:
        """What is wrong with an option, in words; what nobody finds on parts is what somebody asked for. Where parts
        are chosen by runs, what is felt in the likeliest engine is told before how few they are right for."""
        case, in_one = self.engine.case, self.engine.in_one_engine
        found = self.found(case, slot, place) if case else []
        if in_one and any(rule.id in DEMAND for rule, _, _ in found):
            felt = [one for one in self.found(in_one, slot, place) if one[0].id in DEMAND]
            found = [*felt, *(one for one in found if not felt or one[0].id not in DEMAND)]
        told = [f"{circuit}: {says}" if circuit and circuit != slot.circuit else says for _, circuit, says in found]
        against = [wish.text for wish in self.engine.felt if wish.slot == slot and place not in wish.allowed]
        texts = {wish.text for wish in self.engine.felt}
        asked = [pin if pin in texts else f"you asked for {pin}" for pin in clash.pins]
        return [*told, *against] or [*clash.says, *asked]


class _Swept:
    """The least changes that rules want of each option, and what stands in its way: by all, to cure, or to fit."""

    def __init__(self, asked: _Asked, kind: Kind, costs: Costs, ways: Ways) -> None:
        self.asked, self.engine, self.kind = asked, asked.engine, kind
        self.sweep, self.hard = Sweep(costs, asked.pins), costs.blocks.hard
        self.ways = ways.under({slot: pin.allowed for slot, pin in asked.pins.items()})
        self.names = [*(c.name for c in self.hard), *(asked.texts[slot] for slot in self.ways.pinned)]
        self._leasts: dict[Slot, Integers] = {}
        self._figures: dict[Slot, list[list[int]]] = {}
        self._told: dict[Sets, Clash] = {}
        self._brings: dict[tuple[Slot, int], list[Companion]] = {}

    def holds(self, slot: Slot, one: int) -> bool:
        """Whether the rules can hold with the options of a class."""
        return bool(self._least(slot)[one] < NEVER)

    def standings(self, slot: Slot) -> Standings:
        """Where every option of a slot stands."""
        own = self.engine.classes[slot]
        least, usual = self._least(slot), own.cheapest()
        further, price, labour_min = self.engine.costs.weights.unpacked(least)
        if slot not in self.asked.pins:
            further = further - np.array([option.changed for option in self.engine.problem.options[slot]])
        offered = own.offered
        return Standings(
            (least < NEVER)[own.number], further[own.number],
            (price - offered.price[usual])[own.number] + offered.price,
            (labour_min - offered.labour_min[usual])[own.number] + offered.labour_min,
        )  # fmt: skip

    def figures(self, slot: Slot, place: int) -> tuple[int, int, int]:
        """Slots changed besides, price in hundredths and labour of it all [min] for one option that holds."""
        if slot not in self._figures:
            found = self.standings(slot)
            self._figures[slot] = [column.tolist() for column in (found.further, found.price, found.labour_min)]
        further, price, labour_min = (column[place] for column in self._figures[slot])
        return further, price, labour_min

    def _least(self, slot: Slot) -> Integers:
        if slot not in self._leasts:
            self._leasts[slot] = self.sweep.least(slot)
        return self._leasts[slot]

    def companions(self, slot: Slot, one: int) -> list[Companion]:
        """What changes with the options of a class, those pinned left out."""
        if (slot, one) not in self._brings:
            options = self.asked.choice_of(self.sweep.assignment(slot, one))
            self._brings[slot, one] = [
                Companion.model_construct(slot=str(name), to=option.label, word=word_of(option))
                for name, option in options.items()
                if option.changed and name != slot and name not in self.asked.pins
            ]
        return self._brings[slot, one]

    def clash_of(self, slot: Slot, one: int) -> Clash:
        """Why the rules cannot hold with the options of a class."""
        return self._clash(self.ways.out_for(slot, one))

    def clash_of_all(self) -> Clash | None:
        ways = self.ways.out()
        return None if ways == (0,) else self._clash(ways)

    def _clash(self, ways: Sets) -> Clash:
        """The clash to tell first, and every smallest set of pins to give up."""
        if ways not in self._told:
            first, *others = clashes(ways, self.hard)
            rules = [c for c in members(first, self.hard) if c.rule]
            self._told[ways] = Clash.model_construct(
                kind=self.kind, pins=members(first & wishes_among(self.hard), self.names),
                rules=[c.name for c in rules],
                says=[RULES[c.rule].wrong for c in rules], others=len(others),
                give_up=[members(way, self.names) for way in least_to_give_up(ways, self.hard)],
            )  # fmt: skip
        return self._told[ways]
