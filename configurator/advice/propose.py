"""The fewest changes that make everything fit and meet the demand, each with the rules that force it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from configurator.advice.aftercare import aftercare
from configurator.advice.explain import explain
from configurator.advice.work import changes_of, consumables_of, shots_of, sureness_of, totals_of
from configurator.judging.case import Case
from configurator.judging.engine_told import told_engine
from configurator.judging.feelings import Symptom
from configurator.judging.findings import findings, problems
from configurator.judging.trade_sizes import odd_sizes
from configurator.judging.unmeasured import measure_first, unmeasured
from configurator.learning.as_known import Known
from configurator.reports import Alternative, ProposeReport
from configurator.rules import RULES
from configurator.slots.options import Choice
from configurator.slots.wishes import GOALS, Wish
from configurator.solver.classes import worth_choosing
from configurator.solver.optimum import Chooser
from configurator.solver.problem import Problem
from configurator.solver.solution import EFFORT, Assignment, Solution

ALTERNATIVES = (
    ("nozzles nearest to what is fitted", "changes,step"),
    ("smallest nozzle", "nozzle"),
    ("cheapest", "price"),
    ("next best of another kind", ""),
)
"""Title, and the goals put first; none puts other work first than what was proposed already."""


@dataclass(frozen=True)
class ProposalRequest:
    """What is asked for: wishes, goals in order, a symptom if one was named, and how hard to try."""

    wishes: Sequence[Wish] = ()
    order: Sequence[str] = GOALS
    symptom: Symptom | None = None
    effort: float = EFFORT


def propose(case: Case, request: ProposalRequest, known: Known) -> ProposeReport:
    """The best change list for a case, or why there is none. case : as parts are chosen by, of what is known."""
    full = worth_choosing(case, request.wishes)
    chooser = Chooser(full, request.effort)
    solution = chooser.best(request.order)
    shared = {
        "vehicle": case.vehicle.name, "symptom": request.symptom.word if request.symptom else None,
        "moment": request.symptom.moment if request.symptom else None,
        "hint": request.symptom.hint if request.symptom else "", "engine": told_engine(case.engine),
        "engine_note": known.says, "engines": known.believed.engines, "order": list(request.order),
    }  # fmt: skip
    if solution is None:
        conflict = explain(full, request.effort)
        return ProposeReport(
            **shared, status="impossible", bound=None, changes=[], consumables=[], totals=None, sureness=None,
            pulls=[], first=[], remaining=[], aftercare=[], alternatives=[], conflict=conflict,
        )  # fmt: skip
    choice = _choice(chooser.problem, solution.chosen)
    changes = changes_of(case, choice, request.wishes, f"the goal put first: {request.order[0]}")
    consumables = consumables_of(case, choice)
    # Where runs stand behind it, how sure it is says what one engine in the middle would say once more, or against it.
    remaining = [
        one for one in problems(findings(case.content_with(inf) if case.asked else case, choice))
        if known.belief is None or one.kind != "cure" or one.severity != "conflict"
    ]  # fmt: skip
    lacking = unmeasured(case, choice)
    first = [
        f for f in remaining
        if (f.rule, f.circuit) in lacking or (not RULES[f.rule].is_choosable and f.severity != "note")
    ]  # fmt: skip
    return ProposeReport(
        **shared, status="optimal" if solution.proven else "feasible", bound=solution.bound, changes=changes,
        consumables=consumables, totals=totals_of(changes, consumables, case.catalog.currency),
        sureness=round(sureness_of(known.looked_up_in, choice, known.believed), 4),
        pulls=shots_of(known.looked_up_in, choice, known.believed),
        first=first, remaining=[finding for finding in remaining if finding not in first],
        aftercare=aftercare(choice),
        alternatives=_alternatives(case, chooser, solution, request), conflict=None,
    )  # fmt: skip


def _choice(problem: Problem, chosen: Assignment) -> Choice:
    return {slot: problem.options[slot][index] for slot, index in chosen.items()}


def _alternatives(case: Case, chooser: Chooser, first: Solution, request: ProposalRequest) -> list[Alternative]:
    """Proposals that are best in another way: by another goal first, and the next best that works differently."""
    found: list[Alternative] = []
    seen = [first.chosen]
    for title, goals in ALTERNATIVES:
        put_first = goals.split(",") if goals else []
        order = [*put_first, *(goal for goal in request.order if goal not in put_first)]
        solution = chooser.best(order) if goals else chooser.best_of_another_kind(order, seen)
        if solution is None or solution.chosen in seen:
            continue
        seen.append(solution.chosen)
        aim = f"the goal put first: {order[0]}" if goals else "being of another kind"
        found.append(alternative_of(case, _choice(chooser.problem, solution.chosen), title, request.wishes, aim))
    return found


def alternative_of(case: Case, choice: Choice, title: str, wishes: Sequence[Wish], aim: str) -> Alternative:
    """A choice as another way than what is proposed. aim : what speaks for it where no rule does."""
    changes, consumables = changes_of(case, choice, wishes, aim), consumables_of(case, choice)
    return Alternative(
        title=title, first=measure_first(case, choice), changes=changes, consumables=consumables,
        totals=totals_of(changes, consumables, case.catalog.currency), odd_sizes=odd_sizes(choice, case.catalog.limits),
    )  # fmt: skip
