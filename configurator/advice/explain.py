"""Why nothing fits, or nothing that fits cures: a smallest-possible clash of wishes and rules, and what would have to
give way at the least.

A clash is minimal: each wish and rule in it could be left out, and then something would fit. It comes from the tables
of the choice (`clashes`), as do the wishes to give up; by how much a rule would have to give way is solved for.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

import numpy as np

from configurator.reports import ConflictReport, Obstacle, Relaxation
from configurator.rules import RULES
from configurator.solver.blocks import Blocks
from configurator.solver.clashes import Sets, Ways, clashes, least_to_give_up, members
from configurator.solver.optimum import anything_fits
from configurator.solver.problem import Constraint, Problem
from configurator.solver.solution import EFFORT

MOST_SHOWN = 3


def explain(problem: Problem, effort: float = EFFORT) -> ConflictReport:
    """The minimal clashes, apart from each other, of a problem in which nothing fits, and the smallest ways out."""
    blocks = Blocks.of(problem)
    hard, ways = blocks.hard, Ways(blocks).out()
    apart = _apart(clashes(ways, hard))
    first, *others = (
        _obstacle(problem, members(clash, hard), _without(hard, members(sum(apart) - clash, hard)), effort)
        for clash in apart
    )
    of_wishes = _give_up_wishes(ways, hard)
    relaxations = of_wishes + _give_up_rules(problem, ways, hard, alone=bool(of_wishes), effort=effort)
    fitting = problem.of_the_fit()
    return ConflictReport(
        **dict(first),
        kind="cure" if anything_fits(fitting, effort) else "fit",
        apart=others,
        relaxations=relaxations[:MOST_SHOWN],
        more_relaxations=max(0, len(relaxations) - MOST_SHOWN),
    )


def _apart(clashes: Sequence[int]) -> list[int]:
    """The first clash to tell, and of the others those that share nothing with one told before."""
    told: list[int] = []
    for clash in clashes:
        if not any(clash & other for other in told):
            told.append(clash)
    return told


def _obstacle(problem: Problem, clash: Sequence[Constraint], hard: Sequence[Constraint], effort: float) -> Obstacle:
    """A clash in words. hard : what else holds, other clashes left out."""
    rules = [c for c in clash if c.rule]
    least = {c.name: _least_shortfall(problem, _without(hard, [c]), c, effort) for c in rules if _gives_way(c)}
    return Obstacle(
        wishes=[c.name for c in clash if not c.rule], rules=[c.name for c in rules],
        says=[_wrong(c, least.get(c.name)) for c in rules],
    )  # fmt: skip


def _gives_way(constraint: Constraint) -> bool:
    """Whether a rule can be missed by a little: parts that do not go together never do."""
    return RULES[constraint.rule].unit != "mismatch"


def _without(hard: Sequence[Constraint], those: Sequence[Constraint]) -> list[Constraint]:
    return [one for one in hard if all(one is not other for other in those)]


def _give_up_wishes(ways: Sets, hard: Sequence[Constraint]) -> list[Relaxation]:
    names = [c.name for c in hard]
    found = []
    for way in least_to_give_up(ways, hard):
        given_up = members(way, names)
        says = "give up: " if len(given_up) == 1 else "give up together: "
        found.append(Relaxation(give_up=given_up, says=says + "; ".join(given_up)))
    return sorted(found, key=lambda relaxation: relaxation.give_up)


def _give_up_rules(
    problem: Problem, ways: Sets, hard: Sequence[Constraint], *, alone: bool, effort: float
) -> list[Relaxation]:
    """The smallest sets with rules that could give way together, and by how much each has to at the least, the ones
    before it given way. alone : single rules only."""
    sets = [members(way, hard) for way in ways]
    sets = [way for way in sets if any(c.rule for c in way) and all(_gives_way(c) for c in way if c.rule)]
    fewest = 1 if alone else min(map(len, sets), default=0)
    found = []
    for way in (way for way in sets if len(way) == fewest):
        eased, says = _without(hard, way), [f"give up: {c.name}" for c in way if not c.rule]
        rules = [c for c in way if c.rule]
        for constraint in rules:
            amount = _least_shortfall(problem, eased, constraint, effort)
            if amount is None:
                break
            eased.append(replace(constraint, allowed=constraint.shortfall <= amount))
            says.append(_put_up_with(constraint, amount))
        else:
            found.append(Relaxation(give_up=[c.name for c in way], says="; and ".join(says)))
    return found


def _put_up_with(constraint: Constraint, amount: float) -> str:
    """A rule given way, by an amount; of sureness what is left of it is told, and what else to look at where that is
    little."""
    rule = RULES[constraint.rule]
    more = f"{_rounded_up(amount)} {rule.unit} {'more than allowed' if rule.at_most else 'less than wanted'}"
    left = constraint.limit - amount
    if rule.id == SURE and np.isfinite(left):
        first = "look at the figures of the car again first; else " if left < WORTH_TRYING_PERCENT else ""
        return f"{first}put up with {more}: right to {left:.0f} %"
    return f"put up with {more} ({_where(constraint)}{rule.wrong})"


SURE = "right-for-enough-engines"
WORTH_TRYING_PERCENT = 20.0
"""Below it the figures of the car are doubted first (assumed)."""


def _wrong(constraint: Constraint, least: float | None) -> str:
    """What is wrong by a rule with the parts that miss it least, all else being in order, so far as it can be told."""
    rule = RULES[constraint.rule]
    if least is None or not np.isfinite(constraint.limit):
        return _where(constraint) + rule.wrong
    found = constraint.limit + (least if rule.at_most else -least)
    return _where(constraint) + rule.told(found, constraint.limit)


def _where(constraint: Constraint) -> str:
    circuit = constraint.slots[0].circuit if constraint.slots else None
    return f"{circuit}: " if circuit else ""


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
        return anything_fits(replace(problem, constraints=(*others, eased)), effort)

    if not len(values) or not fits(float(values[-1])):
        return None
    low, high = 0, len(values) - 1
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if fits(float(values[middle])) else (middle + 1, high)
    return float(values[high])
