"""Minimal clashes and smallest ways out by a SAT library (python-sat): the judge of the program's own, no code shared.

A constraint becomes clauses that its selector switches on; one option a slot is always on. OptUx enumerates minimal
unsatisfiable sets of selectors, MCSls minimal sets to switch off.
"""

from collections.abc import Sequence

import numpy as np
from pysat.card import CardEnc, EncType
from pysat.examples.mcsls import MCSls
from pysat.examples.optux import OptUx
from pysat.formula import WCNF, IDPool

from configurator.slots.slot import Slot
from configurator.solver.problem import Constraint, Problem


def as_formula(problem: Problem, constraints: Sequence[Constraint], fixed: dict[Slot, int]) -> tuple[WCNF, list[int]]:
    """Hard clauses, and one soft selector a constraint, in their order; fixed options are hard."""
    names, formula = IDPool(), WCNF()
    pick = {slot: [names.id((slot, i)) for i in range(len(options))] for slot, options in problem.options.items()}
    for literals in pick.values():
        for clause in CardEnc.equals(literals, bound=1, encoding=EncType.pairwise).clauses:
            formula.append(clause)
    for slot, place in fixed.items():
        formula.append([pick[slot][place]])
    selectors = []
    for number, constraint in enumerate(constraints):
        selector = names.id(f"constraint {number}")
        selectors.append(selector)
        longest = int(np.argmax(constraint.allowed.shape))
        rows = np.moveaxis(constraint.allowed, longest, -1)
        slots = [slot for axis, slot in enumerate(constraint.slots) if axis != longest]
        for cell in np.argwhere(~rows.all(axis=-1)):
            clause = [-selector, *(-pick[slot][i] for slot, i in zip(slots, cell, strict=True))]
            clause += [pick[constraint.slots[longest]][i] for i in np.flatnonzero(rows[tuple(cell)])]
            formula.append([int(literal) for literal in clause])
        formula.append([selector], weight=1)
    return formula, selectors


def all_clashes(problem: Problem, constraints: Sequence[Constraint], fixed: dict[Slot, int]) -> set[frozenset[int]]:
    """Every minimal set of constraints (by place) that cannot hold together."""
    formula, _ = as_formula(problem, constraints, fixed)
    with OptUx(formula, solver="g4", unsorted=True) as finder:
        return {frozenset(place - 1 for place in clash) for clash in finder.enumerate()}


def all_ways_out(problem: Problem, constraints: Sequence[Constraint], fixed: dict[Slot, int]) -> set[frozenset[int]]:
    """Every minimal set of constraints (by place) without which something fits."""
    formula, _ = as_formula(problem, constraints, fixed)
    with MCSls(formula, use_cld=True, solver_name="g4") as finder:
        found = set()
        while (way := finder.compute()) is not None:
            finder.block(way)
            found.add(frozenset(place - 1 for place in way))
        return found
