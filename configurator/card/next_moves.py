"""What to try after the next feeling: the next nozzle up or down, and what the rules want changed with it.

From the combination on the card, not from what is fitted: a driver who feels it lean tells that the engine asks for
more than the combination covers. So the next one has to cover what lies just beyond, with the nozzle moved by the usual
step or by less. Where a nozzle alone does not do that, or breaks a rule that is kept now, other parts change: the
fewest that cover as much as the nozzle's step would.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from configurator.arrays import Array, Mask
from configurator.car.fitted import FittedNozzle
from configurator.card.sheet import AfterFeeling, NextMove, Swap
from configurator.card.words import part_words, size_words, slot_words
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS
from configurator.judging.table import DEMAND, CombinationTable, tabulate_listed
from configurator.physics.verdict import FACTOR_RANGE
from configurator.slots.options import Choice, Option
from configurator.slots.slot import CIRCUIT_SLOTS, Slot, SlotName
from configurator.units.units import SAME_SIZE_MM

JUST_BEYOND = 1.02
"""How far beyond its window a demand factor is put that is said to lie there, as a ratio."""
ELSEWHERE = "look elsewhere: float level, ignition timing, an air leak, a fault in the linkage"


@dataclass(frozen=True)
class _Circuit:
    """One circuit of a combination, whether it pumps at all, and the demand factors it covers (nan where none)."""

    case: Case
    choice: Choice
    name: str
    pumps: bool
    low: float
    high: float

    @classmethod
    def of(cls, case: Case, choice: Choice, name: str) -> "_Circuit":
        listed = {slot: (option,) for slot, option in choice.items()}
        shot = case.columns(name, listed, with_windows=True).shot
        pumps = bool(np.isfinite(shot.hole_ms.item()))
        return cls(case, choice, name, pumps, float(shot.window_low.item()), float(shot.window_high.item()))

    def now(self, slot: SlotName) -> Option:
        return self.choice[Slot(self.name, slot)]

    @property
    def nozzle(self) -> FittedNozzle:
        return self.now("nozzle").read(FittedNozzle)


def after_feelings(case: Case, choice: Choice) -> list[AfterFeeling]:
    """A step for each feeling, from a combination, for a case whose linkage is set."""
    circuits = [_Circuit.of(case, choice, name) for name in case.circuit_names]
    limits = case.catalog.limits
    known: dict[tuple[int, float], list[NextMove]] = {}
    said: list[str] = []
    found = []
    for symptom in SYMPTOMS.values():
        step_mm = limits.fine_move_mm if symptom.faint else limits.first_move_mm
        way = (symptom.side, step_mm)
        if way not in known:
            known[way] = _moves(circuits, symptom.side, step_mm)
        hint = symptom.hint
        for earlier in said:
            hint = hint.replace(earlier, "").strip()
        said += [hint] if hint else []
        found.append(AfterFeeling(word=symptom.word, says=symptom.says, hint=hint, moves=known[way]))
    return found


def _moves(circuits: Sequence[_Circuit], side: int, step_mm: float) -> list[NextMove]:
    """A step on each circuit, the one nearer its edge first; none where nothing is wrong."""
    if side == 0:
        return []
    edges = {circuit.name: circuit.high if side > 0 else -circuit.low for circuit in circuits}
    nearest_first = sorted(circuits, key=lambda c: (np.isnan(edges[c.name]), edges[c.name]))
    return [_move(circuit, side, step_mm) for circuit in nearest_first]


def _move(circuit: _Circuit, side: int, step_mm: float) -> NextMove:
    edge = circuit.high if side > 0 else circuit.low
    if not circuit.pumps:
        return _nothing(circuit, "these parts do not go together, so there is no next step from them")
    if np.isnan(edge):
        return _nothing(circuit, "right for no engine as it is: put right what speaks against these parts first")
    if edge >= FACTOR_RANGE[1] if side > 0 else edge <= FACTOR_RANGE[0]:
        return _nothing(circuit, f"right for any engine in that direction: {ELSEWHERE}")
    near = edge * JUST_BEYOND**side
    nozzles = _nozzles(circuit, side, step_mm)
    alone = _Field.of(circuit, nozzles, ("nozzle",))
    best, says = alone.best([near], side * step_mm), ""
    if best is None:
        field = _Field.of(circuit, nozzles, CIRCUIT_SLOTS)
        best = field.best([near, alone.reach(side)], side * step_mm) or field.best([near], side * step_mm)
        says = alone.lacks("larger" if side > 0 else "smaller", near)
    if best is None:
        way = "more" if side > 0 else "less"
        return _nothing(circuit, f"no part in the catalogue gives {way} here and keeps the rules: {ELSEWHERE}")
    swaps = [_swap(circuit, slot, option) for slot, option in best.items() if option is not circuit.now(slot)]
    return NextMove(circuit=circuit.name, swaps=swaps, says=says)


def _nothing(circuit: _Circuit, says: str) -> NextMove:
    return NextMove(circuit=circuit.name, swaps=[], says=says)


def _swap(circuit: _Circuit, slot: SlotName, option: Option) -> Swap:
    size = size_words(circuit.case, option)
    return Swap(
        slot=slot_words(circuit.case, Slot(circuit.name, slot)),
        to=f"{part_words(option)}, {size}" if size else part_words(option), code=option.code,
        in_place_of=part_words(circuit.now(slot)),
    )  # fmt: skip


@dataclass(frozen=True)
class _Field:
    """Combinations around that of a circuit, the demand factors that each covers, and which rules each newly breaks."""

    table: CombinationTable
    nozzle_mm: float
    low: Array
    high: Array
    broken: dict[str, Mask]

    @classmethod
    def of(cls, circuit: _Circuit, nozzles: Sequence[Option], free: Sequence[SlotName]) -> "_Field":
        """Every combination in which only the free slots may change, the nozzle to one of these."""
        listed: dict[Slot, tuple[Option, ...]] = {slot: (option,) for slot, option in circuit.choice.items()}
        for name in free:
            slot, now = Slot(circuit.name, name), circuit.now(name)
            others = nozzles if name == "nozzle" else circuit.case.on_offer[slot]
            listed[slot] = (now, *(option for option in others if option.label != now.label))
        table = tabulate_listed(circuit.case, circuit.name, listed)
        shot = table.columns.shot
        newly = {rule: broken for rule, broken in table.broken.items() if rule not in DEMAND and not broken[0, 0, 0, 0]}
        low, high = shot.window_low[..., 0, 0], shot.window_high[..., 0, 0]
        return cls(table, circuit.nozzle.diameter_mm, low, high, newly)

    def covers(self, factor: float) -> Mask:
        """Which combinations cover a demand factor; none whose parts do not go together."""
        with np.errstate(invalid="ignore"):
            return np.asarray((self.low <= factor) & (factor <= self.high))

    def reach(self, side: int) -> float:
        """How far beyond its edge any of them reaches, a little inside, as a demand factor."""
        return float(np.nanmax(self.high)) * 0.995 if side > 0 else float(np.nanmin(self.low)) / 0.995

    def best(self, factors: Sequence[float], move_mm: float) -> dict[SlotName, Option] | None:
        """The combination that covers these factors and breaks nothing: fewest changes, a changed nozzle first, nearest
        to the move, cheapest."""
        fits = np.logical_and.reduce([self.covers(factor) for factor in factors])
        for broken in self.broken.values():
            fits &= ~broken
        places = [tuple(int(index) for index in place) for place in np.argwhere(fits)]
        wanted_mm = self.nozzle_mm + move_mm

        def rank(place: tuple[int, ...]) -> tuple[float, ...]:
            options = self._at(place)
            away_mm = abs(_diameter_mm(options["nozzle"]) - wanted_mm)
            new = [option for option, index in zip(options.values(), place, strict=True) if index]
            price = sum(option.price for option in new if option.code not in options["pump"].comes_with)
            return (len(new), not place[0], round(away_mm, 4), price, *place)

        return self._at(min(places, key=rank)) if places else None

    def _at(self, place: tuple[int, ...]) -> dict[SlotName, Option]:
        return {slot: self.table.options[slot][index] for slot, index in zip(CIRCUIT_SLOTS, place, strict=True)}

    def lacks(self, size: str, factor: float) -> str:
        """Why a nozzle of this size alone will not do."""
        nozzles = len(self.table.options["nozzle"])
        if nozzles == 1:
            return f"the catalogue has no {size} nozzle for it"
        rules = [rule for rule, broken in self.broken.items() if np.any(self.covers(factor) & broken)]
        if rules:
            return f"a {size} nozzle alone would break {' and '.join(rules)}"
        return f"a {size} nozzle alone does not cover what lies just beyond"


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
    ]  # fmt: skip
    if not beyond:
        return []
    wanted_mm = now.diameter_mm + side * step_mm
    farthest_mm = _diameter_mm(min(beyond, key=lambda option: abs(_diameter_mm(option) - wanted_mm)))
    return [option for option in beyond if side * (farthest_mm - _diameter_mm(option)) > -SAME_SIZE_MM]


def _diameter_mm(option: Option) -> float:
    return option.read(FittedNozzle).diameter_mm
