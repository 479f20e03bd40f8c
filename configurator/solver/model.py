"""The choice as a CP-SAT model: one Boolean for each option of each slot, exactly one a slot, rules as clauses.

A rule over k slots says, for every combination of all but its largest slot, which options of that one may go with it:
plain clauses, which did better than index variables or tables in trials. Goals are made least one after the other in
the user's order; as many as fit are packed into one objective far below 2^53 (a larger one loses digits where it is
read as a float), and the order of codes comes last, so that the answer is one and the same on any number of cores.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from ortools.sat.python import cp_model

from configurator.slots.joints import openers
from configurator.slots.wishes import GOALS
from configurator.solver.problem import Constraint, Problem
from configurator.solver.solution import EFFORT, Assignment, Solution, Unsettled
from configurator.solver.stop import solved

__all__ = ["EFFORT", "EXACT_AS_FLOAT", "Assignment", "ChoiceModel", "Goal", "Solution", "Unsettled", "best", "packs"]
EXACT_AS_FLOAT = 2**50


@dataclass(frozen=True)
class Goal:
    """A sum to make least, and what it cannot exceed."""

    name: str
    total: cp_model.LinearExprT
    most: int


class ChoiceModel:
    """A CP-SAT model of a problem under some of its constraints."""

    def __init__(self, problem: Problem, constraints: Iterable[Constraint]) -> None:
        self.problem = problem
        self.model = cp_model.CpModel()
        self.pick = {
            slot: [self.model.new_bool_var(f"{slot}:{index}") for index in range(len(options))]
            for slot, options in problem.options.items()
        }
        for variables in self.pick.values():
            self.model.add_exactly_one(variables)
        self._broken_advice: list[cp_model.IntVar] = []
        for constraint in constraints:
            self.require(constraint)

    def require(self, constraint: Constraint, unless: cp_model.IntVar | None = None) -> None:
        """Clauses of one constraint; advice may be broken at the cost of the goal "advice", others if `unless`."""
        escape = unless
        if constraint.advice:
            escape = self.model.new_bool_var(f"not followed: {constraint.name}")
            self._broken_advice.append(escape)
        shape = constraint.allowed.shape
        support = int(np.argmax(shape))
        others = [axis for axis in range(len(shape)) if axis != support]
        rows = np.moveaxis(constraint.allowed, support, -1)
        for place in np.argwhere(~rows.all(axis=-1)):
            clause = [
                self.pick[constraint.slots[axis]][index].negated() for axis, index in zip(others, place, strict=True)
            ]
            clause += [self.pick[constraint.slots[support]][index] for index in np.flatnonzero(rows[tuple(place)])]
            self.model.add_bool_or(clause if escape is None else [*clause, escape])

    def forbid_work(self, chosen: Assignment) -> None:
        """Rule out every assignment that does all of this one's work, and perhaps more."""
        differs = []
        for slot, index in chosen.items():
            done = self.problem.options[slot][index]
            if done.changed:
                pairs = zip(self.pick[slot], self.problem.options[slot], strict=True)
                differs += [x for x, option in pairs if option.work != done.work]
        self.model.add_bool_or(differs)

    def goals(self, order: Sequence[str]) -> list[Goal]:
        """Goals in the user's order, the rest of them behind, and one rank a slot at the end."""
        named = [self._goal(name) for name in (*order, *(goal for goal in GOALS if goal not in order))]
        ranks = [
            Goal(f"rank of {slot}", cp_model.LinearExpr.weighted_sum(self.pick[slot], rank.tolist()), int(rank.max()))
            for slot in self.problem.options if (rank := self.problem.rank(slot)).any()
        ]  # fmt: skip
        return named + ranks

    def _goal(self, name: str) -> Goal:
        terms: list[cp_model.IntVar] = []
        weights: list[int] = []
        most = 0
        for slot, variables in self.pick.items():
            cost = self.problem.cost(slot, name)
            terms += variables
            weights += cost.tolist()
            most += int(cost.max())
        if name == "advice":
            terms, weights, most = self._broken_advice, [1] * len(self._broken_advice), len(self._broken_advice)
        if name == "price":
            for joint, price in self._joints():
                terms, weights, most = [*terms, joint], [*weights, price], most + price
            for saving, price in self._savings():
                terms, weights = [*terms, saving], [*weights, -price]
        return Goal(name, cp_model.LinearExpr.weighted_sum(terms, weights), max(most, 0))

    def _joints(self) -> list[tuple[cp_model.IntVar, int]]:
        """A Boolean for each joint that is opened, with the price of its gaskets."""
        joints = []
        for (circuit, joint), slots in openers(self.problem.options).items():
            opened = self.model.new_bool_var(f"{circuit}.{joint}")
            for slot in slots:
                for x, option in zip(self.pick[slot], self.problem.options[slot], strict=True):
                    if option.changed:
                        self.model.add_implication(x, opened)
            joints.append((opened, self.problem.gasket_price.get(joint, 0)))
        return joints

    def _savings(self) -> list[tuple[cp_model.IntVar, int]]:
        """A Boolean, never true without both, for each part that comes in a chosen pump's box."""
        savings = []
        for pump, pump_place, other, place, price in self.problem.kit_savings:
            both = self.model.new_bool_var(f"{other}:{place} in the box of {pump}:{pump_place}")
            self.model.add_implication(both, self.pick[pump][pump_place])
            self.model.add_implication(both, self.pick[other][place])
            savings.append((both, price))
        return savings

    def solve(self, effort: float = EFFORT, workers: int = 1) -> tuple[cp_model.CpSolver, cp_model.CpSolverStatus]:
        """The solver with what it found, and its status. Raises Stopped if it was stopped from outside."""
        solver = cp_model.CpSolver()
        solver.parameters.random_seed = 1
        solver.parameters.num_workers = workers
        solver.parameters.max_deterministic_time = effort
        return solver, solved(solver, self.model)

    def chosen(self, solver: cp_model.CpSolver) -> Assignment:
        return {slot: next(i for i, x in enumerate(xs) if solver.value(x)) for slot, xs in self.pick.items()}

    def is_feasible(self, effort: float = EFFORT) -> bool:
        """Whether anything satisfies the model; raises Unsettled if that took more than the effort."""
        _, status = self.solve(effort)
        if status == cp_model.UNKNOWN:
            raise Unsettled(effort)
        return status in (cp_model.OPTIMAL, cp_model.FEASIBLE)


def packs(goals: Sequence[Goal]) -> list[list[tuple[Goal, int]]]:
    """Goals in order, as many together as stay exact, each with its weight in the pack."""
    packed: list[list[Goal]] = []
    room = 0
    for goal in goals:
        if packed and room * (goal.most + 1) < EXACT_AS_FLOAT:
            packed[-1].append(goal)
            room *= goal.most + 1
        else:
            packed.append([goal])
            room = goal.most + 1
    weighted = []
    for pack in packed:
        weight, entries = 1, []
        for goal in reversed(pack):
            entries.append((goal, weight))
            weight *= goal.most + 1
        weighted.append(entries[::-1])
    return weighted


def best(model: ChoiceModel, order: Sequence[str], effort: float = EFFORT, workers: int = 1) -> Solution | None:
    """The best choice by goals in this order, or None if it is proven that there is none.

    Where the effort runs out the best choice found so far comes back unproven, with the bound of the goals at work;
    raises Unsettled if there is none yet.
    """
    found: Assignment | None = None
    for pack in packs(model.goals(order)):
        model.model.minimize(sum(goal.total * weight for goal, weight in pack))
        solver, status = model.solve(effort, workers)
        if status == cp_model.INFEASIBLE and found is None:
            return None
        if status == cp_model.UNKNOWN and found is not None:
            return Solution(found, False, f"{pack[0][0].name} and what comes after it are not proven least")
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            raise Unsettled(effort)
        found = model.chosen(solver)
        if status == cp_model.FEASIBLE:
            first, weight = pack[0]
            least = max(0, int(solver.best_objective_bound // weight))
            says = f"{first.name}: at least {least} is proven, {solver.value(first.total)} found"
            return Solution(found, False, says)
        for goal, _ in pack:
            model.model.add(goal.total == solver.value(goal.total))
    assert found is not None
    return Solution(found, True, None)
