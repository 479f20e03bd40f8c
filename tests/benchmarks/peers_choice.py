"""General-purpose solvers for the choice of parts: each is given a problem and goals in order, and finds their least.

Each is told in the form that suited it best in trials, named in its function. A problem is given as the program's own
solver gets it, without dominated options. Of assignments equal in every goal a peer may return any; the program
settles that by the order of codes besides.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import prod
from threading import Timer
from time import perf_counter
from typing import Any

import numpy as np
from peers_clauses import Clauses, Table

from configurator.arrays import Mask
from configurator.slots.joints import CarJoint, openers
from configurator.slots.slot import Slot
from configurator.solver.model import ChoiceModel, packs
from configurator.solver.problem import Problem

MOST_CELLS = 150_000_000
"""Assignments that brute force takes on."""
MOST_LIFTED = 20_000
"""Combinations of the smaller slots of a table that HiGHS is given a variable each for."""
MOST_PACKED = 2**20
"""What goals packed into one objective may come to for HiGHS, whose tolerances are a millionth."""


@dataclass(frozen=True)
class Answer:
    """The least of each goal in order and the assignment that has it; neither where nothing fits."""

    least: tuple[int, ...] | None
    chosen: dict[Slot, int] | None


class GaveUp(Exception):
    """A peer had no proven answer when its time was over, and says so."""

    def __init__(self, limit_s: float) -> None:
        super().__init__(f"gave up after {limit_s:g} s")


Peer = Callable[[Problem, Sequence[str], float], Answer]
"""Problem, goals in order, limit in seconds. Raises GaveUp."""
NOTHING_FITS = Answer(None, None)


def _answer(model: Clauses, order: Sequence[str], true: set[int]) -> Answer:
    return Answer(tuple(model.value(goal, true) for goal in order), model.chosen(true))


def by_clingo(problem: Problem, order: Sequence[str], limit_s: float) -> Answer:
    """Answer sets by way of the backend, so that nothing is ground; core-guided, one priority a goal. Of its core
    strategies (oll, pmres, k, one, with and without stratification) and of branch and bound, k won."""
    import clingo

    model = Clauses(problem)
    control = clingo.Control(["--opt-strategy=usc,k", "--warn=none"])
    with control.backend() as backend:
        atom = [0, *(backend.add_atom() for _ in range(model.count))]
        model.tell_clingo(backend, atom, model.clauses)
        for level, goal in enumerate(reversed(order), 1):
            backend.add_minimize(level, [(atom[x], weight) for weight, x in model.goal(goal)])
    true: set[int] = set()

    def keep(found: Any) -> None:
        true.clear()
        true.update(x for x in range(1, len(atom)) if found.is_true(atom[x]))

    with control.solve(on_model=keep, async_=True) as handle:
        if not handle.wait(limit_s):
            handle.cancel()
            raise GaveUp(limit_s)
    return _answer(model, order, true) if true else NOTHING_FITS


def by_rc2(problem: Problem, order: Sequence[str], limit_s: float) -> Answer:
    """MaxSAT with stratified cores; costs in steps ("at least so much"), goals by weights of their own order of size.
    Level by level with what is proven made hard, costs option by option, and other SAT solvers were no faster."""
    from pysat.card import CardEnc, EncType
    from pysat.examples.rc2 import RC2Stratified
    from pysat.formula import WCNF

    model, formula = Clauses(problem), WCNF()
    weight = 1
    for goal in reversed(order):
        terms, follow = model.stepped(goal)
        formula.extend(follow)
        for cost, x in terms:
            formula.append([-x if cost > 0 else x], weight=weight * abs(cost))
        weight *= 1 + sum(abs(cost) for cost, _ in terms)
    for pick in model.pick.values():
        encoding = EncType.pairwise if len(pick) <= 6 else EncType.ladder
        one = CardEnc.equals(pick, 1, top_id=model.count, encoding=encoding)
        model.count = max(model.count, one.nv)
        formula.extend(one.clauses)
    formula.extend(model.clauses)
    with RC2Stratified(formula, solver="g4", blo="div") as solver:
        alarm = Timer(limit_s, solver.interrupt)
        alarm.start()
        found = solver.compute(expect_interrupt=True)
        alarm.cancel()
        if found is None and solver.interrupted:
            raise GaveUp(limit_s)
    return NOTHING_FITS if found is None else _answer(model, order, {x for x in found if x > 0})


def by_z3(problem: Problem, order: Sequence[str], limit_s: float) -> Answer:
    """Soft clauses, one lexicographic group a goal. Of the engines maxres, rc2 and wmax, with soft clauses and with
    sums to be made least, wmax with soft clauses won."""
    import z3

    model, solver = Clauses(problem), z3.Optimize()
    solver.set(priority="lex", maxsat_engine="wmax", timeout=max(1, round(1000 * limit_s)))
    variable = {x: z3.Bool(f"x{x}") for x in range(1, model.count + 1)}
    literal = variable | {-x: z3.Not(one) for x, one in variable.items()}
    for pick in model.pick.values():
        solver.add(z3.PbEq([(variable[x], 1) for x in pick], 1))
    for clause in model.clauses:
        solver.add(z3.Or([literal[x] for x in clause]))
    for goal in order:
        for cost, x in model.goal(goal):
            solver.add_soft(literal[-x if cost > 0 else x], abs(cost), goal)
    found = solver.check()
    if found == z3.unknown:
        raise GaveUp(limit_s)
    if found == z3.unsat:
        return NOTHING_FITS
    values = solver.model()
    return _answer(model, order, {x for x, one in variable.items() if z3.is_true(values[one])})


def by_highs(problem: Problem, order: Sequence[str], limit_s: float) -> Answer:
    """A mixed-integer program. A table over three slots and more is lifted: a variable for each combination of all
    its slots but the largest, which beat a row a clause, and a variable for every cell that is allowed. Goals are
    packed as far as the tolerances allow, and fixed pack by pack, which beat one at a time."""
    import highspy

    begin = perf_counter()
    model = Clauses(problem)
    rows = _Rows(model)
    # A process keeps its first number of threads otherwise, and refuses any other.
    highspy.Highs.resetGlobalScheduler(True)
    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    solver.silent()
    for option, value in (("mip_rel_gap", 0.0), ("mip_abs_gap", 0.5), ("threads", 1)):
        solver.setOptionValue(option, value)
    solver.passModel(rows.program())
    every = np.arange(rows.columns, dtype=np.int32)
    true: set[int] = set()
    for pack in _packs(model, order):
        cost = np.zeros(rows.columns)
        for goal, weight in pack:
            for own, x in model.goal(goal):
                cost[x - 1] += weight * own
        solver.changeColsCost(len(every), every, cost)
        solver.setOptionValue("time_limit", max(0.01, limit_s - (perf_counter() - begin)) + solver.getRunTime())
        solver.run()
        status = solver.getModelStatus()
        if status == highspy.HighsModelStatus.kInfeasible:
            return NOTHING_FITS
        if status != highspy.HighsModelStatus.kOptimal:
            raise GaveUp(limit_s)
        values = np.array(solver.getSolution().col_value)
        true = {int(x) + 1 for x in np.flatnonzero(values[: model.count] > 0.5)}
        for goal, _ in pack:
            if terms := model.goal(goal):
                places, weights = np.array([x - 1 for _, x in terms], dtype=np.int32), [w for w, _ in terms]
                solver.addRow(-highspy.kHighsInf, model.value(goal, true), len(terms), places, np.array(weights, float))
    return _answer(model, order, true)


def _packs(model: Clauses, order: Sequence[str]) -> list[list[tuple[str, int]]]:
    """Goals with their weights, as many together as stay exact."""
    packed: list[list[str]] = []
    room = MOST_PACKED
    for goal in order:
        room *= model.most(goal) + 1
        if room >= MOST_PACKED:
            packed.append([])
            room = model.most(goal) + 1
        packed[-1].append(goal)
    weights = [[1, *accumulate((model.most(goal) + 1 for goal in pack[:0:-1]), int.__mul__)][::-1] for pack in packed]
    return [list(zip(pack, own, strict=True)) for pack, own in zip(packed, weights, strict=True)]


class _Rows:
    """The rows of a choice as a mixed-integer program: least, most, and weights by column (variable less one)."""

    def __init__(self, model: Clauses) -> None:
        self.model, self.columns = model, model.count
        self.rows: list[tuple[float, float, Mapping[int, int]]] = []
        for pick in model.pick.values():
            self.rows.append((1, 1, {x - 1: 1 for x in pick}))
        for clause in model.costing:
            self._clause(clause)
        for table in model.tables:
            offered = np.moveaxis(table.allowed & ~table.settled, table.largest, -1)
            if len(table.slots) > 2 and prod(offered.shape[:-1]) <= MOST_LIFTED:
                self._lift(table, offered)
            else:
                for clause in model.of_table(table):
                    self._clause(clause)

    def _clause(self, clause: Sequence[int]) -> None:
        negative = sum(x < 0 for x in clause)
        self.rows.append((1 - negative, np.inf, {abs(x) - 1: 1 if x > 0 else -1 for x in clause}))

    def _lift(self, table: Table, offered: Mask) -> None:
        """One variable a combination; those that go with the same options of the largest slot share a row."""
        combinations = np.argwhere(offered.any(axis=-1))
        first = self.columns
        self.columns += len(combinations)
        for axis, slot in enumerate(table.others):
            for option, x in enumerate(self.model.pick[slot]):
                its = np.flatnonzero(combinations[:, axis] == option) + first
                self.rows.append((0, 0, {x - 1: -1, **dict.fromkeys(its.tolist(), 1)}))
        alike: dict[bytes, list[int]] = {}
        for number, place in enumerate(combinations):
            alike.setdefault(offered[tuple(place)].tobytes(), []).append(number)
        support = self.model.pick[table.slots[table.largest]]
        for numbers in alike.values():
            goes = np.flatnonzero(offered[tuple(combinations[numbers[0]])])
            terms = {support[i] - 1: 1 for i in goes} | {first + number: -1 for number in numbers}
            self.rows.append((0, np.inf, terms))

    def program(self) -> Any:
        import highspy

        whole, own = highspy.HighsVarType, self.model.count
        program = highspy.HighsLp()
        program.num_col_, program.num_row_ = self.columns, len(self.rows)
        program.col_cost_ = program.col_lower_ = np.zeros(self.columns)
        program.col_upper_ = np.ones(self.columns)
        program.integrality_ = [whole.kInteger] * own + [whole.kContinuous] * (self.columns - own)
        program.row_lower_ = np.array([least for least, _, _ in self.rows], dtype=float)
        program.row_upper_ = np.array([most for _, most, _ in self.rows], dtype=float)
        matrix = program.a_matrix_
        matrix.format_ = highspy.MatrixFormat.kRowwise
        matrix.start_ = np.cumsum([0, *(len(terms) for _, _, terms in self.rows)])
        matrix.index_ = np.array([x for _, _, terms in self.rows for x in terms], dtype=np.int32)
        matrix.value_ = np.array([w for _, _, terms in self.rows for w in terms.values()], dtype=float)
        return program


def by_cp_sat(problem: Problem, order: Sequence[str], limit_s: float) -> Answer:
    """The program's own CP-SAT model, asked for these goals only, on one worker."""
    from ortools.sat.python import cp_model

    begin = perf_counter()
    model = ChoiceModel(problem, problem.constraints)
    goals = model.goals(order)[: len(order)]
    found: dict[Slot, int] = {}
    least: list[int] = []
    for pack in packs(goals):
        model.model.minimize(sum(goal.total * weight for goal, weight in pack))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.max_time_in_seconds = max(0.01, limit_s - (perf_counter() - begin))
        status = solver.solve(model.model)
        if status == cp_model.INFEASIBLE:
            return NOTHING_FITS
        if status != cp_model.OPTIMAL:
            raise GaveUp(limit_s)
        found = model.chosen(solver)
        for goal, _ in pack:
            least.append(solver.value(goal.total))
            model.model.add(goal.total <= least[-1])
    return Answer(tuple(least), found)


def by_brute_force(problem: Problem, order: Sequence[str], limit_s: float) -> Answer:
    """Every assignment, as arrays over all slots but the first few, whose options are gone through one by one."""
    begin = perf_counter()
    sizes = {slot: len(options) for slot, options in problem.options.items()}
    if prod(sizes.values()) > MOST_CELLS:
        raise GaveUp(0.0)
    best: tuple[tuple[int, ...], dict[Slot, int]] | None = None
    slots = list(sizes)
    split = next(i for i in range(len(slots) + 1) if prod(sizes[slot] for slot in slots[i:]) <= 2_000_000)
    for outer in np.ndindex(*(sizes[slot] for slot in slots[:split])):
        if perf_counter() - begin > limit_s:
            raise GaveUp(limit_s)
        found = _best_within(problem, order, dict(zip(slots, outer, strict=False)))
        best = found if best is None or (found is not None and found[0] < best[0]) else best
    return NOTHING_FITS if best is None else Answer(*best)


def _best_within(
    problem: Problem, order: Sequence[str], fixed: Mapping[Slot, int]
) -> tuple[tuple[int, ...], dict[Slot, int]] | None:
    """The best assignment with some slots' options fixed: the cells allowed, sifted by one goal after the other."""
    shape = [1 if slot in fixed else len(options) for slot, options in problem.options.items()]
    fits = np.ones(shape, dtype=bool)
    for constraint in (c for c in problem.constraints if not c.advice):
        own = sorted(constraint.slots, key=list(problem.options).index)
        table = constraint.allowed.transpose([constraint.slots.index(slot) for slot in own])
        for axis, slot in enumerate(own):
            table = table.take([fixed[slot]], axis=axis) if slot in fixed else table
        fits &= table.reshape([n if slot in own else 1 for slot, n in zip(problem.options, shape, strict=True)])
    places = np.nonzero(fits)
    cells = {s: np.full_like(at, fixed[s]) if s in fixed else at for s, at in zip(problem.options, places, strict=True)}
    least = []
    for goal in order:
        cost = _costs(problem, goal, cells)
        if not len(cost):
            return None
        least.append(int(cost.min()))
        cells = {slot: at[cost == least[-1]] for slot, at in cells.items()}
    return tuple(least), {slot: int(at[0]) for slot, at in cells.items()}


def _costs(problem: Problem, goal: str, cells: Mapping[Slot, Any]) -> Any:
    """What assignments, given as an array of options for each slot, come to in a goal."""
    cost = sum(problem.cost(slot, goal)[at] for slot, at in cells.items())
    if goal == "advice":
        for constraint in (c for c in problem.constraints if c.advice):
            cost = cost + ~constraint.allowed[tuple(cells[slot] for slot in constraint.slots)]
    if goal == "price":
        opened: dict[CarJoint, Any] = {}
        for joint, slots in openers(cells).items():
            for slot in slots:
                changed = np.array([option.changed for option in problem.options[slot]])[cells[slot]]
                opened[joint] = opened.get(joint, False) | changed
        for (_, name), is_open in opened.items():
            cost = cost + problem.gasket_price.get(name, 0) * is_open
        for slot, index, other, place, price in problem.kit_savings:
            cost = cost - price * ((cells[slot] == index) & (cells[other] == place))
    return cost


PEERS: dict[str, Peer] = {
    "clingo": by_clingo, "RC2": by_rc2, "HiGHS": by_highs, "CP-SAT": by_cp_sat, "Z3": by_z3,
    "brute force": by_brute_force,
}  # fmt: skip
