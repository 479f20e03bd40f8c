"""What to try after the next feeling: the next nozzle up or down, or other parts where a nozzle is not what it wants.

From the combination on the card, not from what is fitted: what a driver feels of it is one more run. A hesitation asks
for a larger nozzle and smoke for a smaller one, by the usual step or less; a pull that goes flat has run out of shot,
and asks for volume. Where a nozzle alone does not help, or breaks a rule that is kept now, other parts change: the
fewest that do nearly as well as any. Never a smaller nozzle or a later pull for want of fuel, nor a larger nozzle or
more volume for too much of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Mask
from configurator.book.records import Felt
from configurator.car.fitted import FittedNozzle
from configurator.card.sheet import AfterFeeling, NextMove, Swap
from configurator.card.words import part_words, size_words, slot_words
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS, Symptom
from configurator.judging.table import DEMAND, CombinationTable, tabulate_listed
from configurator.judging.trade_sizes import OUT_OF_TRADE, odd_sizes
from configurator.learning.as_known import Known
from configurator.learning.belief import Belief, Run, felt_with
from configurator.learning.driver import ANSWERS, answer_chances, felt_weights
from configurator.rules import RULES
from configurator.slots.options import Choice, Option
from configurator.slots.slot import CIRCUIT_SLOTS, Slot, SlotName
from configurator.units.units import SAME_SIZE_MM

GAIN = 0.05
"""A step has to be surer by so much than what is in."""
AS_GOOD = 0.8
"""What does this share of what the best would do is as good, if it takes fewer changes."""
ELSEWHERE = "look elsewhere: float level, ignition timing, an air leak, a fault in the linkage"


Tables = dict[tuple[str, ...], CombinationTable]
"""Combinations that were judged, by the labels of what may change: feelings of one side share them."""


@dataclass(frozen=True)
class _Circuit:
    """One circuit of a combination, and what would be believed of the engine after a feeling."""

    case: Case
    choice: Choice
    name: str
    believed: Belief
    tables: Tables

    def now(self, slot: SlotName) -> Option:
        return self.choice[Slot(self.name, slot)]

    @property
    def nozzle(self) -> FittedNozzle:
        return self.now("nozzle").read(FittedNozzle)


def after_feelings(known: Known, choice: Choice) -> list[AfterFeeling]:
    """A step for each feeling, from a combination."""
    case, limits = known.case, known.case.catalog.limits
    chances = {name: answer_chances(felt_with(case, name, [choice]))[:, 0] for name in case.circuit_names}
    tables: dict[str, Tables] = {name: {} for name in chances}
    said: list[str] = []
    found = []
    for word in SYMPTOMS.values():
        symptom = word.at("at-once") if word.leaves_open_when else word  # what goes flat later stands apart
        step_mm = limits.fine_move_mm if symptom.faint else limits.first_move_mm
        moves = [] if symptom.side == 0 else [
            _move(circuit, symptom, step_mm) for circuit in _blamed(known, choice, chances, tables, symptom)
        ]  # fmt: skip
        hint = symptom.hint
        for earlier in said:
            hint = hint.replace(earlier, "").strip()
        said += [hint] if hint else []
        found.append(AfterFeeling(word=symptom.word, says=symptom.says, hint=hint, moves=moves))
    return found


def _blamed(
    known: Known, choice: Choice, chances: dict[str, Array], tables: dict[str, Tables], symptom: Symptom
) -> list[_Circuit]:
    """The circuits, that which is likelier to be felt so first, each with the belief after it was."""
    weights = felt_weights(Felt(word=symptom.word, moment=symptom.moment))
    circuits, likely = [], []
    for name, own in chances.items():
        rightly = np.tensordot(weights, own, axes=1)
        likelihood = Run(None, rightly, 1.0 / len(ANSWERS)).likelihood()
        likely.append(-float(likelihood @ known.believed.masses))
        circuits.append(_Circuit(known.case, choice, name, known.believed.updated(likelihood), tables[name]))
    return [circuits[place] for place in np.argsort(likely, kind="stable")]


def _move(circuit: _Circuit, symptom: Symptom, step_mm: float) -> NextMove:
    """A nozzle alone, where one helps and nothing runs out; else the fewest parts that do."""
    side = symptom.side
    listed = {slot: (option,) for slot, option in circuit.choice.items()}
    if not circuit.case.columns(circuit.name, listed).shot.pumps.item():
        return NextMove(circuit=circuit.name, swaps=[], says="these parts do not go together: no step leads on")
    nozzles = _nozzles(circuit, side, step_mm)
    alone = _Field.of(circuit, symptom, nozzles, ("nozzle",))
    field = _Field.of(circuit, symptom, nozzles, CIRCUIT_SLOTS)
    says = ""
    if [*symptom.tells] == ["flat"]:
        others = _Field.of(circuit, symptom, (), CIRCUIT_SLOTS)
        best, says = others.best(others.most) or field.best(field.most), "the shot has run out: it takes more volume"
    else:
        best = alone.best(field.most)
        if best is None:
            best, says = field.best(field.most), alone.lacks("larger" if side > 0 else "smaller")
    if best is None:
        way = "more" if side > 0 else "less"
        says = f"no part that gives {way} and keeps the rules would do better here: {ELSEWHERE}"
        return NextMove(circuit=circuit.name, swaps=[], says=says)
    swaps = [_swap(circuit, slot, option) for slot, option in best.items() if option is not circuit.now(slot)]
    return NextMove(circuit=circuit.name, swaps=swaps, says=says)


def _swap(circuit: _Circuit, slot: SlotName, option: Option) -> Swap:
    size, now = size_words(circuit.case, option), circuit.now(slot)
    odd = odd_sizes({Slot(circuit.name, slot): option}, circuit.case.catalog.limits)
    return Swap(
        slot=slot_words(circuit.case, Slot(circuit.name, slot)),
        to=", ".join(filter(None, (part_words(option), size, OUT_OF_TRADE if odd else ""))), code=option.code,
        in_place_of=now.label if now.code == option.code else part_words(now),
    )  # fmt: skip


@dataclass(frozen=True)
class _Field:
    """Combinations around that of a circuit: how sure each would be after the feeling, whether it gives what that asks
    for, the rules it newly breaks."""

    table: CombinationTable
    sure: Array
    answers: Mask
    broken: dict[str, Mask]

    @classmethod
    def of(cls, circuit: _Circuit, symptom: Symptom, nozzles: Sequence[Option], free: Sequence[SlotName]) -> "_Field":
        """Every combination in which only the free slots may change, the nozzle to one of these."""
        listed: dict[Slot, tuple[Option, ...]] = {slot: (option,) for slot, option in circuit.choice.items()}
        for name in free:
            slot, now = Slot(circuit.name, name), circuit.now(name)
            others = nozzles if name == "nozzle" else circuit.case.on_offer[slot]
            listed[slot] = (now, *(option for option in others if option.label != now.label))
        key = tuple(option.label for options in listed.values() for option in options)
        table = circuit.tables.get(key) or tabulate_listed(circuit.case, circuit.name, listed)
        circuit.tables[key] = table
        regions = table.columns.shot.regions
        assert regions is not None
        newly = {rule: broken for rule, broken in table.broken.items() if rule not in DEMAND and not broken[0, 0, 0, 0]}
        sure = circuit.believed.sureness(regions)[..., 0, 0]
        return cls(table, sure, np.broadcast_to(_answers(symptom, table), sure.shape), newly)

    @property
    def helps(self) -> Mask:
        """Whether it gives what is asked for, and nothing is newly broken."""
        return self.answers & ~np.any(list(self.broken.values()), axis=0) if self.broken else self.answers

    @property
    def most(self) -> float:
        """The surest that helps."""
        return float(np.where(self.helps, self.sure, 0.0).max())

    def best(self, most: float) -> dict[SlotName, Option] | None:
        """Nearly as sure as the surest there is, and surer than now: fewest changes, then surest, then cheapest."""
        enough = max(float(self.sure[0, 0, 0, 0]) + GAIN, AS_GOOD * most)
        places = [tuple(int(one) for one in place) for place in np.argwhere(self.helps & (self.sure >= enough))]

        def rank(place: tuple[int, ...]) -> tuple[float, ...]:
            options = self._at(place)
            new = [option for option, index in zip(options.values(), place, strict=True) if index]
            price = sum(option.price for option in new if option.code not in options["pump"].comes_with)
            return (len(new), not place[0], -round(float(self.sure[place]), 2), price, *place)

        return self._at(min(places, key=rank)) if places else None

    def _at(self, place: tuple[int, ...]) -> dict[SlotName, Option]:
        return {slot: self.table.options[slot][index] for slot, index in zip(CIRCUIT_SLOTS, place, strict=True)}

    def lacks(self, size: str) -> str:
        """Why a nozzle of this size alone will not do."""
        if len(self.table.options["nozzle"]) == 1:
            return f"the catalogue has no {size} nozzle for it"
        surer = self.answers & (self.sure >= self.sure[0, 0, 0, 0] + GAIN)
        rules = [rule for rule, broken in self.broken.items() if np.any(surer & broken)]
        if rules:
            return f"with a {size} nozzle alone {' and '.join(RULES[rule].wrong for rule in rules)}"
        return f"a {size} nozzle alone does not mend it"


def _answers(symptom: Symptom, table: CombinationTable) -> Mask:
    """Whether combinations give what a feeling asks for, against the first: a pull that is less late for want of fuel,
    or more volume; for too much of it, a smaller nozzle or less volume, and more of neither."""
    shot, orifice_mm = table.columns.shot, table.columns.nozzle.diameter_mm[..., 0, 0]
    late_ms, volume_cc = shot.lean_delay_ms[..., 0, 0], shot.volume_cc[..., 0, 0]
    sooner, more, less = late_ms < late_ms[0, 0, 0, 0], *_beside(volume_cc)
    if symptom.side < 0:
        _, smaller = _beside(orifice_mm)
        return np.asarray((smaller | less) & ~more)
    wanted = {"hesitates": sooner, "flat": more}
    return np.asarray(np.any([mask for word, mask in wanted.items() if word in symptom.tells], axis=0))


def _beside(figures: Array) -> tuple[Mask, Mask]:
    """Whether figures are more, and whether they are less, than the first, by what can be told."""
    first = figures[0, 0, 0, 0]
    return figures > (1.0 + TOLD) * first, figures < (1.0 - TOLD) * first


TOLD = 0.01


def _nozzles(circuit: _Circuit, side: int, step_mm: float) -> list[Option]:
    """Nozzles in this direction up to the one nearest to the step, of this style if the body takes it, as new; what was
    drilled stays out, and nothing is drilled for a trial."""
    takes = circuit.case.vehicle.carburettor.nozzle_styles
    now = circuit.nozzle
    styles = (now.style,) if now.style in takes else takes
    beyond = [
        option for option in circuit.case.on_offer[Slot(circuit.name, "nozzle")]
        if option.work != "redrill" and isinstance(option.figures, FittedNozzle) and option.figures.style in styles
        and side * (option.figures.diameter_mm - now.diameter_mm) > SAME_SIZE_MM
        and option.figures.is_told_from(now, circuit.case.catalog.limits.stamped_tolerance_mm)
    ]  # fmt: skip
    if not beyond:
        return []
    wanted_mm = now.diameter_mm + side * step_mm
    farthest_mm = _diameter_mm(min(beyond, key=lambda option: abs(_diameter_mm(option) - wanted_mm)))
    return [option for option in beyond if side * (farthest_mm - _diameter_mm(option)) > -SAME_SIZE_MM]


def _diameter_mm(option: Option) -> float:
    return option.read(FittedNozzle).diameter_mm
