"""Combinations that may be tried next, out of the catalogue or of what is on the shelf, with the work between them.

Parts are swapped, lobes turned to another phase; nothing is drilled or relieved for a trial, since that cannot be
undone. Every combination keeps all hard rules but those of the demand, which the trial is about. With two circuits both
may change at once. A nozzle within the scatter of orifices is no step: nothing could be felt of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import product

import numpy as np

from configurator.arrays import Array, Mask
from configurator.car.fitted import FittedNozzle
from configurator.judging.case import Case
from configurator.judging.table import DEMAND, CombinationAt, CombinationTable, tabulate_listed
from configurator.learning.belief import Belief, felt_with
from configurator.learning.next_run import COMEBACK_MIN, RunField
from configurator.physics.verdict import Complaints
from configurator.slots.options import Choice, Offered, Option, Slots
from configurator.slots.slot import CIRCUIT_SLOTS, Slot
from configurator.stopping import heed

MOST_OF_ONE_CIRCUIT = 160
MOST_OF_EACH_OF_TWO = 16
TRIED_WORK = ("none", "fit", "rephase")


@dataclass(frozen=True)
class Candidates:
    """Combinations and the field of them; `now` is the place of what is fitted, which comes first."""

    choices: tuple[Choice, ...]
    field: RunField
    now: int = 0


def candidates(case: Case, belief: Belief, now: Choice, stock: Mapping[str, int] | None = None) -> Candidates:
    """The combinations most worth a look under a belief. stock : what may be fitted besides, by code; None: all.

    Raises Stopped where the work is stopped from outside."""
    most = MOST_OF_ONE_CIRCUIT if len(case.circuit_names) == 1 else MOST_OF_EACH_OF_TWO
    per_circuit = []
    for name in case.circuit_names:
        heed()
        own, open_ = _of_circuit(case, name, belief, now, stock, most)
        heed()
        per_circuit.append((own, open_, felt_with(case, name, own)))
    choices: list[Choice] = []
    open_all: list[bool] = []
    together: list[tuple[int, ...]] = list(product(*(range(len(own)) for own, _, _ in per_circuit)))
    for places in together:
        choice: dict[Slot, Option] = {}
        for place, (own, _, _) in zip(places, per_circuit, strict=True):
            choice |= own[place]
        choices.append(choice)
        open_all.append(all(one[1][place] for place, one in zip(places, per_circuit, strict=True)))
    if stock is not None:
        open_all = [ok and _in_stock(choice, now, stock) for ok, choice in zip(open_all, choices, strict=True)]
    felt = _together([felt for _, _, felt in per_circuit], together)
    return Candidates(tuple(choices), RunField(felt, minutes_between(case, choices), np.array(open_all, dtype=bool)))


def minutes_between(case: Case, choices: Sequence[Choice]) -> Array:
    """Spanner work from each combination to each [min], shape (n, n): labour of every part that has to be put in;
    infinite where a nozzle would be changed for one like it."""
    total = np.zeros((len(choices), len(choices)))
    for slot in choices[0]:
        kinds = {choice[slot].label: choice[slot] for choice in choices}
        code = {label: place for place, label in enumerate(kinds)}
        labour = np.array([labour_min(case, slot, option) for option in kinds.values()])
        at = np.array([code[choice[slot].label] for choice in choices])
        alike = np.array([[not _is_step(case, one, other) for one in kinds.values()] for other in kinds.values()])
        into = np.where(alike, np.inf, labour)
        total += np.where(at[:, None] != at, into[at[:, None], at], 0.0)
    return total


def labour_min(case: Case, slot: Slot, option: Option) -> float:
    """Minutes to fit an option; for the fitted one, to put it back: as long as the quickest of the others takes."""
    if option.changed:
        return float(option.labour_min)
    return float(case.options[slot].quickest_fit_min)


def _of_circuit(
    case: Case, name: str, belief: Belief, now: Choice, stock: Mapping[str, int] | None, most: int
) -> tuple[list[Choice], list[bool]]:
    """What is fitted in a circuit and the combinations most worth a look, and whether each keeps the rules."""
    table = tabulate_listed(case, name, _listed(case, name, now, stock))
    keeps = ~np.any([mask for rule, mask in table.broken.items() if rule not in DEMAND], axis=0)
    rows = _most_worth_a_look(table, keeps, _work_min(case, name, table), belief, most)
    return [_at(name, table, row) for row in rows], [bool(keeps[row]) for row in rows]


def _listed(case: Case, name: str, now: Choice, stock: Mapping[str, int] | None) -> Slots:
    """For each slot of a circuit what is fitted and what may be tried in its place; of other slots the first option."""
    listed: dict[Slot, Sequence[Option]] = {slot: options[:1] for slot, options in case.options.items()}
    for slot in (Slot(name, own) for own in CIRCUIT_SLOTS):
        options, fitted = case.options[slot], now[slot]
        allowed = options.kinds if stock is None else _on_the_shelf(options, stock)
        others = (option for option in allowed if option != fitted and option.work in TRIED_WORK)
        listed[slot] = (fitted, *(option for option in others if _is_step(case, fitted, option)))
    return listed


def _is_step(case: Case, now: Option, other: Option) -> bool:
    """Whether one part in place of another can be felt, as far as their sizes say: not of nozzles within the scatter of
    orifices."""
    before, after = now.figures, other.figures
    if not (isinstance(before, FittedNozzle) and isinstance(after, FittedNozzle)):
        return True
    return after.is_told_from(before, case.catalog.limits.stamped_tolerance_mm)


def _work_min(case: Case, name: str, table: CombinationTable) -> Array:
    """Labour from what is fitted to each combination [min], shape of (nozzle, screw, pump, lobe)."""
    labour = [
        np.array([0.0, *(labour_min(case, Slot(name, own), option) for option in table.options[own][1:])])
        for own in CIRCUIT_SLOTS
    ]
    return _added(labour)


def _most_worth_a_look(
    table: CombinationTable, keeps: Mask, work_min: Array, belief: Belief, most: int
) -> list[CombinationAt]:
    """Combinations by work and sureness, those with the fitted nozzle's companions ahead; what is fitted comes first,
    the others by number of changes, work and step of the orifice."""
    worth = np.where(keeps, work_min + (1.0 - _sureness(table, belief)) * COMEBACK_MIN, np.inf)
    worth[:, 0, 0, 0] -= np.where(keeps[:, 0, 0, 0], 10 * COMEBACK_MIN, 0.0)
    changes = _added([(np.arange(n) > 0).astype(float) for n in keeps.shape])
    step = np.abs(_diameters(table) - _diameters(table)[0])
    steps = _added([step, *(np.zeros(n) for n in keeps.shape[1:])])
    order = np.lexsort([steps.ravel(), changes.ravel(), worth.ravel()])
    rows = [_place(place, keeps.shape) for place in order[:most] if place and np.isfinite(worth.ravel()[place])]
    rows.sort(key=lambda row: (changes[row], work_min[row], step[row[0]], row))
    return [(0, 0, 0, 0), *rows]


def _at(name: str, table: CombinationTable, row: CombinationAt) -> Choice:
    return {Slot(name, own): table.options[own][place] for own, place in zip(CIRCUIT_SLOTS, row, strict=True)}


def _on_the_shelf(options: Offered, stock: Mapping[str, int]) -> list[Option]:
    """What can be made of the fitted part, and every part that is there, kinds or not: each circuit may want one."""
    there = (place for code, count in stock.items() if count > 0 for place in options.of_code(code))
    return [options[place] for place in sorted({*options.own, *there})]


def _added(parts: Sequence[Array]) -> Array:
    """Sum of one figure of each slot for every combination, shape of (nozzle, screw, pump, lobe)."""
    nozzle, screw, pump, lobe = np.ix_(*parts)
    return np.asarray(nozzle + screw + pump + lobe)


def _place(flat: int, shape: tuple[int, ...]) -> CombinationAt:
    nozzle, screw, pump, lobe = (int(index) for index in np.unravel_index(flat, shape))
    return nozzle, screw, pump, lobe


def _sureness(table: CombinationTable, belief: Belief) -> Array:
    """Share of belief in each combination's region, shape of (nozzle, screw, pump, lobe)."""
    regions = table.columns.shot.regions
    assert regions is not None
    return belief.sureness(regions)[..., 0, 0]


def _diameters(table: CombinationTable) -> Array:
    return np.array([
        option.figures.diameter_mm for option in table.options["nozzle"] if isinstance(option.figures, FittedNozzle)
    ])  # fmt: skip


def _together(felt: Sequence[Complaints], places: Sequence[tuple[int, ...]]) -> Complaints:
    """What is felt of combinations of the circuits: the worse of them."""
    columns = zip(felt, zip(*places, strict=True), strict=True)
    return reduce(Complaints.worst_with, (own.take(np.array(column)) for own, column in columns))


def _in_stock(choice: Choice, now: Choice, stock: Mapping[str, int]) -> bool:
    """Whether there are enough on the shelf where both circuits want the same part."""
    wanted = [o.code for slot, o in choice.items() if o != now[slot] and o.work == "fit" and o.code]
    return all(stock.get(code, 0) >= wanted.count(code) for code in wanted)
