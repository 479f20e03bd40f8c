"""Why nothing fits: a smallest-possible clash of wishes and rules, and the least that would have to give way.

A clash is minimal: each wish and rule in it was left out once, and then something fitted. It is found by leaving out
one after the other and solving again, wishes first, so that a clash that needs no wish names none.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

import numpy as np
from ortools.sat.python import cp_model

from configurator.reports import ConflictReport, Relaxation
from configurator.rules import RULES
from configurator.solver.model import EFFORT, ChoiceModel
from configurator.solver.problem import Constraint, Problem

MOST_SHOWN = 3


def explain(problem: Problem, effort: float = EFFORT) -> ConflictReport:
    """A minimal clash of a problem in which nothing fits, and the smallest ways out."""
    hard = [c for c in problem.constraints if not c.advice]
    clash = minimal_clash(problem, hard, effort)
    wishes, rules = [c for c in clash if not c.rule], [c for c in clash if c.rule]
    relaxations = give_up_wishes(problem, hard, effort) + give_up_rules(problem, hard, clash, effort)
    return ConflictReport(
        wishes=[c.name for c in wishes],
        rules=[c.name for c in rules],
        says=[f"{RULES[c.rule].statement}" for c in rules],
        relaxations=relaxations[:MOST_SHOWN],
        more_relaxations=max(0, len(relaxations) - MOST_SHOWN),
    )


def minimal_clash(problem: Problem, constraints: Sequence[Constraint], effort: float = EFFORT) -> list[Constraint]:
    """Constraints that cannot all hold, none of which can be left out; empty if they can all hold."""
    if ChoiceModel(problem, constraints).is_feasible(effort):
        return []
    clash = list(constraints)
    for constraint in sorted(constraints, key=lambda c: bool(c.rule)):
        fewer = [other for other in clash if other is not constraint]
        if not ChoiceModel(problem, fewer).is_feasible(effort):
            clash = fewer
    return clash


def give_up_wishes(problem: Problem, constraints: Sequence[Constraint], effort: float = EFFORT) -> list[Relaxation]:
    """Every smallest set of wishes whose giving up lets something fit; empty where the rules clash by themselves."""
    wishes = [c for c in constraints if not c.rule]
    model = ChoiceModel(problem, [c for c in constraints if c.rule])
    given_up = [model.model.new_bool_var(c.name) for c in wishes]
    for wish, escape in zip(wishes, given_up, strict=True):
        model.require(wish, unless=escape)
    if not wishes:
        return []
    model.model.minimize(cp_model.LinearExpr.sum(given_up))
    found: list[Relaxation] = []
    fewest: int | None = None
    while True:
        solver, status = model.solve(effort)
        if status != cp_model.OPTIMAL or (fewest is not None and solver.objective_value > fewest):
            return sorted(found, key=lambda relaxation: relaxation.give_up)
        names = [wish.name for wish, escape in zip(wishes, given_up, strict=True) if solver.value(escape)]
        fewest = len(names)
        says = "give up: " if len(names) == 1 else "give up together: "
        found.append(Relaxation(give_up=names, says=says + "; ".join(names)))
        model.model.add_bool_or([x.negated() for x in given_up if solver.value(x)])


def give_up_rules(
    problem: Problem, constraints: Sequence[Constraint], clash: Sequence[Constraint], effort: float = EFFORT
) -> list[Relaxation]:
    """For each rule of the clash that could give way by some amount: the least by which it would have to."""
    found = []
    for constraint in clash:
        if constraint.rule and RULES[constraint.rule].unit != "mismatch":
            others = [c for c in constraints if c is not constraint]
            least = _least_shortfall(problem, others, constraint, effort)
            if least is not None:
                unit = RULES[constraint.rule].unit
                says = f"{constraint.name} would have to give way by {_rounded_up(least)} {unit}"
                found.append(Relaxation(give_up=[constraint.name], says=says))
    return found


def _rounded_up(amount: float) -> str:
    """An amount to two places below 10, else whole, never less than it is.

    >>> _rounded_up(1061.2), _rounded_up(0.281), _rounded_up(3.0)
    ('1062', '0.29', '3.00')
    """
    return f"{ceil(amount - 1e-9):d}" if amount >= 10 else f"{ceil(100 * amount - 1e-9) / 100:.2f}"


def _least_shortfall(
    problem: Problem, others: Sequence[Constraint], constraint: Constraint, effort: float
) -> float | None:
    """The least by which a rule is missed while the others hold; None if nothing helps. Bisected over its values."""
    values = np.unique(constraint.shortfall[np.isfinite(constraint.shortfall)])

    def fits(most: float) -> bool:
        eased = replace(constraint, allowed=constraint.shortfall <= most)
        return ChoiceModel(problem, [*others, eased]).is_feasible(effort)

    if not len(values) or not fits(float(values[-1])):
        return None
    low, high = 0, len(values) - 1
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if fits(float(values[middle])) else (middle + 1, high)
    return float(values[high])
