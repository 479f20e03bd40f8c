"""General-purpose solvers for where every part stands: its fewest further changes, and why it is impossible.

A further change is one in a slot besides the part's own and those pinned; a slot's own pin is lifted when another of
its parts is looked at. The program weighs advice, permanent work, price and labour besides; peers are let off that.
Clashes and ways out are told as sets of places among the hard constraints, with pins behind them in their order.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from time import perf_counter
from typing import Any

import numpy as np
from peers_choice import GaveUp
from peers_clauses import Clauses, Table

from configurator.slots.slot import Slot
from configurator.solver.model import ChoiceModel
from configurator.solver.problem import Constraint, Problem

Pins = Mapping[Slot, frozenset[int]]
Least = dict[Slot, list[int | None]]
"""Fewest further changes for every option of every slot; None where it is impossible."""
Sets = frozenset[frozenset[int]]
Peer = Callable[[Problem, Pins, float], Least]
"""Problem, pins, limit in seconds. Raises GaveUp."""
Reasons = Callable[[Problem, Pins, Sequence[tuple[Slot, int]]], list[tuple[Sets, Sets]]]
"""Minimal clashes and minimal ways out for each of some impossible options (slot and place)."""


def _questions(problem: Problem, pins: Pins) -> Iterator[tuple[list[Slot], list[Slot]]]:
    """Slots that can be answered together, and the slots whose pins hold meanwhile."""
    yield [slot for slot in problem.options if slot not in pins], list(pins)
    yield from (([slot], [other for other in pins if other != slot]) for slot in pins)


def _changed(model: Clauses, pins: Pins) -> tuple[list[int], list[list[int]]]:
    """A variable for each slot without a pin, true where its option is a change, and the clauses that make it so."""
    variables, clauses = [], []
    for slot in (slot for slot in model.pick if slot not in pins):
        variables.append(model.new())
        options = zip(model.pick[slot], model.problem.options[slot], strict=True)
        clauses.append([*(x for x, option in options if not option.changed), variables[-1]])
    return variables, clauses


def _further(problem: Problem, pins: Pins, total: Mapping[int, int], model: Clauses) -> Least:
    """From the fewest changes with each option's variable, its own among them, to further ones."""
    return {
        slot: [
            None if x not in total else total[x] - (option.changed and slot not in pins)
            for x, option in zip(model.pick[slot], options, strict=True)
        ]
        for slot, options in problem.options.items()
    }


def by_sat(problem: Problem, pins: Pins, limit_s: float) -> Least:
    """Incremental SAT: pins, the option and a bound on a totalizer of changes are assumptions. Whatever else an
    assignment found shows to be possible is not asked for again."""
    from pysat.card import ITotalizer
    from pysat.solvers import Solver

    begin, model = perf_counter(), Clauses(problem)
    changed, clauses = _changed(model, pins)
    held = {slot: model.new() for slot in pins}
    clauses += [[-held[slot], *(model.pick[slot][i] for i in allowed)] for slot, allowed in pins.items()]
    total: dict[int, int] = {}
    with Solver("g4", bootstrap_with=[*model.hard, *clauses, *_one_each(model)]) as solver:
        counter = ITotalizer(lits=changed, ubound=len(changed), top_id=model.count) if changed else None
        for clause in counter.cnf.clauses if counter else []:
            solver.add_clause(clause)
        for slots, holding in _questions(problem, pins):
            asked = [x for slot in slots for x in model.pick[slot]]
            pinned = [held[slot] for slot in holding]
            for bound in (len(changed), *range(len(changed))):
                at_most = [-counter.rhs[bound]] if counter and bound < len(changed) else []
                for x in asked:
                    if perf_counter() - begin > limit_s:
                        raise GaveUp(limit_s)
                    if total.get(x, bound + 1) > bound and solver.solve([*pinned, *at_most, x]):
                        true = {y for y in solver.get_model() if y > 0}
                        changes = sum(y in true for slot in problem.options if slot not in pins
                                      for y, option in zip(model.pick[slot], problem.options[slot], strict=True)
                                      if option.changed)  # fmt: skip
                        total |= {y: min(changes, total.get(y, changes)) for y in asked if y in true}
                asked = [x for x in asked if x in total]
    return _further(problem, pins, total, model)


def _one_each(model: Clauses) -> Iterator[list[int]]:
    from pysat.card import CardEnc, EncType

    for pick in model.pick.values():
        encoding = EncType.pairwise if len(pick) <= 6 else EncType.ladder
        one = CardEnc.equals(pick, 1, top_id=model.count, encoding=encoding)
        model.count = max(model.count, one.nv)
        yield from one.clauses


def by_clingo(problem: Problem, pins: Pins, limit_s: float) -> Least:
    """Brave consequences: all options that occur in any answer with at most so many changes, for growing bounds."""
    import clingo

    begin, model = perf_counter(), Clauses(problem)
    changed, clauses = _changed(model, pins)
    control = clingo.Control(["--enum-mode=brave", "--warn=none", "--models=0"])
    with control.backend() as backend:
        picks = {x: clingo.Function("pick", [clingo.Number(x)]) for pick in model.pick.values() for x in pick}
        atom = [0, *(backend.add_atom(picks[x]) if x in picks else backend.add_atom()
                     for x in range(1, model.count + 1))]  # fmt: skip
        model.tell_clingo(backend, atom, [*model.hard, *clauses])
        more_than = [backend.add_atom() for _ in changed]
        for bound, more in enumerate(more_than):
            backend.add_weight_rule([more], bound + 1, [(atom[x], 1) for x in changed])
    total: dict[int, int] = {}
    for slots, holding in _questions(problem, pins):
        barred = [atom[x] for slot in holding for i, x in enumerate(model.pick[slot]) if i not in pins[slot]]
        asked = {x for slot in slots for x in model.pick[slot]}

        def occurring(bars: Sequence[int], asked: set[int] = asked) -> set[int]:
            seen: set[int] = set()
            keep = partial(_note_occurring, seen)
            with control.solve([-bar for bar in bars], on_model=keep, async_=True) as handle:
                if not handle.wait(max(0.0, limit_s - (perf_counter() - begin))):
                    handle.cancel()
                    raise GaveUp(limit_s)
            return seen & asked

        possible = occurring(barred)
        for bound, more in enumerate(more_than):
            if possible <= total.keys():
                break
            total |= {x: bound for x in occurring([*barred, more]) if x not in total}
        total |= {x: len(changed) for x in possible if x not in total}
    return _further(problem, pins, total, model)


def _note_occurring(seen: set[int], found: Any) -> None:
    seen.update(symbol.arguments[0].number for symbol in found.symbols(atoms=True))


def by_cp_sat(problem: Problem, pins: Pins, limit_s: float) -> Least:
    """One solve a part, for the fewest changes with it, which stands in the model as an assumption."""
    from ortools.sat.python import cp_model

    begin = perf_counter()
    least: Least = {slot: [] for slot in problem.options}
    built = ChoiceModel(problem, [c for c in problem.constraints if not c.advice])
    free = [slot for slot in problem.options if slot not in pins]
    changed = {
        slot: [x for x, option in zip(built.pick[slot], problem.options[slot], strict=True) if option.changed]
        for slot in free
    }
    built.model.minimize(sum(x for xs in changed.values() for x in xs))
    held = {slot: built.model.new_bool_var("") for slot in pins}
    for slot, allowed in pins.items():
        built.model.add_bool_or([built.pick[slot][i] for i in allowed]).only_enforce_if(held[slot])
    for slot, variables in built.pick.items():
        for x in variables:
            built.model.clear_assumptions()
            built.model.add_assumptions([x, *(held[other] for other in pins if other != slot)])
            solver = cp_model.CpSolver()
            solver.parameters.num_workers = 1
            solver.parameters.max_time_in_seconds = max(0.01, limit_s - (perf_counter() - begin))
            status = solver.solve(built.model)
            if status not in (cp_model.OPTIMAL, cp_model.INFEASIBLE):
                raise GaveUp(limit_s)
            own = slot in changed and any(x is one for one in changed[slot])
            least[slot].append(round(solver.objective_value) - own if status == cp_model.OPTIMAL else None)
    return least


PEERS: dict[str, Peer] = {"incremental SAT": by_sat, "clingo, brave": by_clingo, "CP-SAT, one solve a part": by_cp_sat}


class Selected:
    """Hard constraints and pins, each switched on by a selector, in an incremental SAT solver."""

    def __init__(self, problem: Problem, pins: Pins, solver: Any) -> None:
        self.model, self.solver = Clauses(problem), solver
        self.constraints = [*(c for c in problem.constraints if not c.advice), *_as_constraints(problem, pins)]
        self.selector = [self.model.new() for _ in self.constraints]
        self.clauses = list(_one_each(self.model))
        for constraint, selector in zip(self.constraints, self.selector, strict=True):
            table = Table(constraint.slots, constraint.allowed, np.zeros_like(constraint.allowed))
            self.clauses += [[-selector, *clause] for clause in self.model.of_table(table)]
        solver.append_formula(self.clauses)

    def fits(self, option: int, places: set[int]) -> bool:
        return bool(self.solver.solve([option, *(self.selector[i] for i in places)]))

    def core(self) -> set[int]:
        places = {selector: i for i, selector in enumerate(self.selector)}
        return {places[x] for x in self.solver.get_core() or [] if x in places}

    def kept(self) -> set[int]:
        """Constraints that the assignment just found keeps."""
        chosen = self.model.chosen({x for x in self.solver.get_model() if x > 0})
        return {i for i, c in enumerate(self.constraints) if c.allowed[tuple(chosen[slot] for slot in c.slots)]}


def _as_constraints(problem: Problem, pins: Pins) -> Iterator[Constraint]:
    for slot, allowed in pins.items():
        mask = np.isin(np.arange(len(problem.options[slot])), list(allowed))
        yield Constraint(f"{slot} pinned", "", (slot,), mask, (~mask).astype(float))


def by_marco(problem: Problem, pins: Pins, asked: Sequence[tuple[Slot, int]]) -> list[tuple[Sets, Sets]]:
    """MARCO over one incremental SAT solver: unexplored sets from a map, grown where they fit, shrunk where not."""
    from pysat.solvers import Solver

    hard = sum(not c.advice for c in problem.constraints)
    pinned = list(pins)
    with Solver("g4") as solver:
        under = Selected(problem, pins, solver)
        every = range(len(under.constraints))
        return [
            _explore(under, under.model.pick[slot][place],
                     [i for i in every if i < hard or pinned[i - hard] != slot])
            for slot, place in asked
        ]  # fmt: skip


def _explore(under: Selected, option: int, every: Sequence[int]) -> tuple[Sets, Sets]:
    from pysat.solvers import Solver

    clashes, ways = set(), set()
    with Solver("g4") as unexplored:
        unexplored.set_phases([i + 1 for i in every])
        while unexplored.solve():
            barred = {-x - 1 for x in unexplored.get_model() or [] if x < 0}
            seed = set(every) - barred
            if under.fits(option, seed):
                seed |= under.kept() & set(every)
                for other in set(every) - seed:
                    if other not in seed and under.fits(option, seed | {other}):
                        seed |= under.kept() & set(every)
                ways.add(frozenset(every) - seed)
                if len(seed) == len(every):
                    break
                unexplored.add_clause([i + 1 for i in every if i not in seed])
            else:
                seed = under.core()
                for one in sorted(seed):
                    if one in seed and not under.fits(option, seed - {one}):
                        seed = under.core()
                clashes.add(frozenset(seed))
                if not seed:
                    break
                unexplored.add_clause([-i - 1 for i in seed])
    return frozenset(clashes), frozenset(ways)


def by_optux(problem: Problem, pins: Pins, asked: Sequence[tuple[Slot, int]]) -> list[tuple[Sets, Sets]]:
    """python-sat's own tools, one formula a part: OptUx enumerates minimal clashes, MCSls minimal ways out."""
    from pysat.examples.mcsls import MCSls
    from pysat.examples.optux import OptUx
    from pysat.formula import WCNF
    from pysat.solvers import Solver

    hard, pinned = sum(not c.advice for c in problem.constraints), list(pins)
    with Solver("g4") as solver:
        under = Selected(problem, pins, solver)
    found = []
    for slot, place in asked:
        formula = WCNF()
        formula.extend([*under.clauses, [under.model.pick[slot][place]]])
        every = [i for i in range(len(under.constraints)) if i < hard or pinned[i - hard] != slot]
        for i in every:
            formula.append([under.selector[i]], weight=1)
        with OptUx(formula, solver="g4", unsorted=True) as finder:
            clashes = frozenset(frozenset(every[i - 1] for i in clash) for clash in finder.enumerate())
        ways = set()
        with MCSls(formula, use_cld=True, solver_name="g4") as finder:
            while (way := finder.compute()) is not None:
                finder.block(way)
                ways.add(frozenset(every[i - 1] for i in way))
        found.append((clashes, frozenset(ways)))
    return found


def by_cp_sat_core(problem: Problem, pins: Pins, asked: Sequence[tuple[Slot, int]]) -> list[tuple[Sets, Sets]]:
    """CP-SAT's core of assumptions: one clash a part, which need not be minimal, and no way out."""
    from ortools.sat.python import cp_model

    built = ChoiceModel(problem, [])
    pinned = _as_constraints(problem, pins)
    on: list[cp_model.IntVar] = []
    for constraint in [*(c for c in problem.constraints if not c.advice), *pinned]:
        on.append(built.model.new_bool_var(constraint.name))
        built.require(constraint, unless=on[-1].negated())  # type: ignore[arg-type]
    place_of = {x.index: place for place, x in enumerate(on)}
    own = dict(zip(pins, range(len(on) - len(pins), len(on)), strict=True))
    found: list[tuple[Sets, Sets]] = []
    for slot, place in asked:
        held = [x for number, x in enumerate(on) if number != own.get(slot)]
        built.model.clear_assumptions()
        built.model.add_assumptions([built.pick[slot][place], *held])
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.solve(built.model)
        core = {place_of[i] for i in solver.sufficient_assumptions_for_infeasibility() if i in place_of}
        found.append((frozenset({frozenset(core)}), frozenset()))
    return found


REASONS: dict[str, Reasons] = {"MARCO": by_marco, "OptUx and MCSls": by_optux, "CP-SAT's core": by_cp_sat_core}
"""The last tells less than is asked for: one core, not minimal."""
