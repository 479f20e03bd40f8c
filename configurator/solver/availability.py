"""Where every part in every slot stands under what the user has pinned: it fits, fits with changes, or is impossible.

Worked out for all parts at once from the tables of `blocks`: what fits, and the least that changes with it, by one
sweep; why a part is impossible, from the sets of rules that its assignments break. What is fitted is the start: least
means fewest further slots changed. A pinned slot's own pin is lifted when another of its parts is looked at.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from configurator.case import Case
from configurator.findings import findings
from configurator.options import Option
from configurator.rules import RULES
from configurator.solver.blocks import Blocks
from configurator.solver.clashes import Sets, Ways, clashes, least_to_give_up, members, wishes_among
from configurator.solver.problem import Problem, problem_of
from configurator.solver.sweep import NEVER, Assignment, Pins, Sweep, Weights
from configurator.standing import AvailabilityReport, Clash, Companion, SlotStanding, Standing, State
from configurator.wishes import Wish, choose, word_of


@dataclass(frozen=True)
class Availability:
    """A choice ready to be asked: its problem, the tables of its blocks, and the weights of its costs."""

    problem: Problem
    blocks: Blocks
    weights: Weights
    felt: tuple[str, ...] = ()
    vehicle: str = ""
    demand_factor: float = 1.0

    @classmethod
    def of(cls, case: Case, wishes: Sequence[Wish] = ()) -> "Availability":
        """A case with its linkage set, since parts are not chosen against a slack one; wishes hold in every answer."""
        case = case.with_linkage_set()
        blocks = Blocks.of(problem_of(case, wishes))
        felt = tuple(wish.text for wish in wishes if wish.felt)
        return cls(blocks.problem, blocks, Weights.of(blocks), felt, case.vehicle.name, case.factor)

    @classmethod
    def over(cls, problem: Problem) -> "Availability":
        """Any choice. Raises TipinError where its prices are too large to be weighed exactly."""
        blocks = Blocks.of(problem)
        return cls(problem, blocks, Weights.of(blocks))

    def report(self, pins: Sequence[Wish] = (), slots: Sequence[str] = ()) -> AvailabilityReport:
        """Every option of the slots asked for, of all if none is named. Pins of one slot hold together."""
        asked = _Asked(self, pins)
        return AvailabilityReport(
            vehicle=self.vehicle, demand_factor=self.demand_factor, pins=[pin.text for pin in pins],
            slots=[asked.slot(slot) for slot in slots or self.problem.options], clash=asked.clash_of_all(),
            felt=list(self.felt),
        )  # fmt: skip

    def why(self, case: Case, slot: str, places: frozenset[int], pins: Sequence[Wish] = ()) -> AvailabilityReport:
        """Some options of a slot of the case; of one alone also what the rules in its way find with it."""
        report = self.report(pins, [slot]).only(places)
        options = report.slots[0].options
        if len(places) != 1 or options[0].clash is None:
            return report
        choice = choose(case.options, [pin for pin in pins if pin.slot != slot])
        (place,) = places
        found = {
            f"{f.rule} ({f.circuit})" if f.circuit else f.rule: f.says
            for f in findings(case.with_linkage_set(), choice | {slot: case.options[slot][place]}) if f.holds is False
        }  # fmt: skip
        clash = options[0].clash
        told = clash.model_copy(update={"found": [found.get(rule, "") for rule in clash.rules]})
        one = options[0].model_copy(update={"clash": told})
        return report.model_copy(update={"slots": [report.slots[0].model_copy(update={"options": [one]})]})

    def best(self, pins: Sequence[Wish] = ()) -> dict[str, Option] | None:
        """The fewest changes that keep every rule and pin; None if nothing does."""
        chosen = Sweep(self.blocks, self.weights, _by_slot(pins)).best()
        return None if chosen is None else {slot: self.problem.options[slot][i] for slot, i in chosen.items()}

    def clash(self, pins: Sequence[Wish] = ()) -> Clash | None:
        """Why nothing fits under the pins; None if something does."""
        return _Asked(self, pins).clash_of_all()


def _by_slot(pins: Iterable[Wish]) -> Pins:
    allowed: dict[str, frozenset[int]] = {}
    for pin in pins:
        allowed[pin.slot] = allowed.get(pin.slot, pin.allowed) & pin.allowed
    return allowed


class _Asked:
    """One question: the sweep and the ways out under its pins."""

    def __init__(self, engine: Availability, pins: Sequence[Wish]) -> None:
        self.engine = engine
        self.pins = _by_slot(pins)
        self.sweep = Sweep(engine.blocks, engine.weights, self.pins)
        self.ways = Ways(engine.blocks, self.pins)
        self.hard = engine.blocks.hard
        texts = {slot: "; ".join(pin.text for pin in pins if pin.slot == slot) for slot in self.pins}
        self.names = [*(c.name for c in self.hard), *(texts[slot] for slot in self.ways.pinned)]
        self._clashes: dict[Sets, Clash] = {}

    def slot(self, slot: str) -> SlotStanding:
        least = self.sweep.least(slot)
        costs, cells = least.cost.tolist(), least.cell.tolist()
        options = [
            self._option(slot, place, option, costs[place], cells[place])
            for place, option in enumerate(self.engine.problem.options[slot])
        ]
        return SlotStanding.model_construct(slot=slot, pinned=slot in self.pins, options=options)

    def _option(self, slot: str, place: int, option: Option, cost: int, cell: int) -> Standing:
        pinned = slot in self.pins and place in self.pins[slot]
        clash: Clash | None = None
        brings: list[Companion] = []
        state: State = "impossible"
        price = labour = 0
        if cost >= NEVER:
            clash = self.clash(self.ways.out_for(slot, place))
        else:
            changed, price, labour = self.engine.weights.unpacked(cost)
            if changed > (option.changed and slot not in self.pins):  # slots besides this one and those pinned
                brings = self._companions(slot, self.sweep.assignment(slot, cell))
            state = "with_changes" if brings else "fits"
        # Built without validation: these figures were made here, and one answer holds hundreds of options.
        return Standing.model_construct(
            label=option.label, code=option.code, word=word_of(option), state=state, fitted=not option.changed,
            pinned=pinned, with_changes=brings, price=None if clash else price / 100,
            labour_min=None if clash else labour, clash=clash,
        )  # fmt: skip

    def _companions(self, slot: str, chosen: Assignment) -> list[Companion]:
        options = {name: self.engine.problem.options[name][place] for name, place in chosen.items()}
        return [
            Companion.model_construct(slot=name, to=option.label, word=word_of(option))
            for name, option in options.items()
            if option.changed and name != slot and name not in self.pins
        ]

    def clash_of_all(self) -> Clash | None:
        ways = self.ways.out()
        return None if ways == (0,) else self.clash(ways)

    def clash(self, ways: Sets) -> Clash:
        """The clash to tell first, and every smallest set of pins to give up."""
        if ways not in self._clashes:
            first, *others = clashes(ways, self.hard)
            rules = [c for c in members(first, self.hard) if c.rule]
            self._clashes[ways] = Clash.model_construct(
                pins=members(first & wishes_among(self.hard), self.names), rules=[c.name for c in rules],
                says=[RULES[c.rule].statement for c in rules], others=len(others),
                give_up=[members(way, self.names) for way in least_to_give_up(ways, self.hard)],
            )  # fmt: skip
        return self._clashes[ways]
