"""The fewest changes that make everything fit and meet the demand, each with the rules that force it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from configurator.aftercare import aftercare
from configurator.case import Case
from configurator.findings import findings, joints_opened, problems
from configurator.options import Option
from configurator.reports import Alternative, Change, ConsumableLine, Finding, ProposeReport, Totals
from configurator.rules import RULES
from configurator.solver.explain import explain
from configurator.solver.model import EFFORT, Assignment, ChoiceModel, Solution, best
from configurator.solver.problem import Problem, problem_of, undominated
from configurator.symptoms import Symptom, moved
from configurator.wishes import GOALS, Wish

ALTERNATIVES = (
    ("nozzles nearest to what is fitted", "changes,step"),
    ("smallest nozzle", "nozzle"),
    ("cheapest", "price"),
    ("next best of another kind", ""),
)
"""Title, and the goals put first; none puts other work first than what was proposed already."""


Kept = set[tuple[str, str | None]]
"""Advice that a choice breaks anyway: rule and circuit."""


@dataclass(frozen=True)
class Request:
    """What is asked for: wishes, goals in order, a symptom if one was named, and how hard to try."""

    wishes: Sequence[Wish] = ()
    order: Sequence[str] = GOALS
    symptom: Symptom | None = None
    effort: float = EFFORT


def propose(case: Case, request: Request) -> ProposeReport:
    """The best change list for a case, or why there is none."""
    note = f"demand factor {case.factor:.2f}: " + (
        "no correction for this engine" if case.factor == 1.0 else "this engine's own, from the vehicle file"
    )
    if request.symptom is not None:
        move = moved(case, request.symptom)  # of the car as the driver felt it, its linkage as found
        case, note = case.at(move.factor), move.says
        if move.wish is not None:
            request = replace(request, wishes=[*request.wishes, move.wish])
    case = case.with_linkage_set()
    full = problem_of(case, request.wishes)
    problem = undominated(full)
    solution = best(ChoiceModel(problem, problem.constraints), request.order, request.effort)
    shared = {
        "vehicle": case.vehicle.name, "symptom": request.symptom.word if request.symptom else None,
        "hint": request.symptom.hint if request.symptom else "", "demand_factor": case.factor, "demand_note": note,
        "order": list(request.order),
    }  # fmt: skip
    if solution is None:
        conflict = explain(full, request.effort)
        return ProposeReport(
            **shared, status="impossible", bound=None, changes=[], consumables=[], totals=None, covers={}, first=[],
            remaining=[], aftercare=[], alternatives=[], conflict=conflict,
        )  # fmt: skip
    choice = _choice(problem, solution.chosen)
    changes = _changes(case, choice, request, f"the goal put first: {request.order[0]}")
    consumables = _consumables(case, choice)
    remaining = problems(findings(case, choice))
    return ProposeReport(
        **shared, status="optimal" if solution.proven else "feasible", bound=solution.bound, changes=changes,
        consumables=consumables, totals=_totals(changes, consumables), covers=_covers(case, choice),
        first=[f for f in remaining if not RULES[f.rule].is_choosable and f.severity != "note"],
        remaining=[f for f in remaining if RULES[f.rule].is_choosable or f.severity == "note"],
        aftercare=aftercare(choice),
        alternatives=_alternatives(case, problem, solution, request), conflict=None,
    )  # fmt: skip


def _choice(problem: Problem, chosen: Assignment) -> dict[str, Option]:
    return {slot: problem.options[slot][index] for slot, index in chosen.items()}


def _changes(case: Case, choice: dict[str, Option], request: Request, aim: str) -> list[Change]:
    """The changed slots, each with what forces it: what comes back when it alone is undone; aim is the reason where
    nothing does."""
    kept = {(f.rule, f.circuit) for f in _broken(case, choice)}
    changes = []
    for slot, option in choice.items():
        if option.changed:
            pump = choice.get(f"{slot.partition('.')[0]}.pump")
            in_box = option.work == "fit" and pump is not None and pump.changed and option.code in pump.comes_with
            changes.append(
                Change(
                    slot=slot,
                    from_=case.as_fitted[slot].label,
                    to=option.label,
                    code=option.code,
                    work=option.work if option.work != "none" else "fit",
                    reversible=not option.permanent,
                    price=0.0 if in_box else option.price / 100,
                    labour_min=option.labour_min,
                    because=_because(case, choice, slot, request, aim, kept)
                    + (["in the pump's box: costs nothing more"] if in_box else []),
                )
            )
    return changes


def _because(case: Case, choice: dict[str, Option], slot: str, request: Request, aim: str, kept: Kept) -> list[str]:
    wished = [
        wish.text if wish.felt else f"you asked for it ({wish.text})"
        for wish in request.wishes
        if wish.slot == slot and 0 not in wish.allowed
    ]
    undone = choice | {slot: case.as_fitted[slot]}
    back = [f for f in _broken(case, undone) if (f.rule, f.circuit) not in kept]
    forcing = [f for f in back if f.severity == "conflict"] or back
    forced = [_without(case, slot, finding) for finding in forcing]
    return wished + forced or [f"no rule forces it; it is there for {aim}"]


def _broken(case: Case, choice: dict[str, Option]) -> list[Finding]:
    """What a choice breaks, advice included, that another choice could mend; conflicts first."""
    return [
        f for f in problems(findings(case, choice))
        if f.severity != "note" and f.holds is False and RULES[f.rule].is_choosable
    ]  # fmt: skip


def _without(case: Case, slot: str, finding: Finding) -> str:
    where = f"{finding.circuit}, " if finding.circuit and not slot.startswith(finding.circuit) else ""
    before = case.as_fitted[slot].label
    undone = "without it" if before == "none" else f"with {before}"
    return f"{where}{undone}: {finding.says} [{finding.rule}]"


def _consumables(case: Case, choice: dict[str, Option]) -> list[ConsumableLine]:
    """Gaskets for every joint opened, one line a code."""
    lines: dict[str, ConsumableLine] = {}
    for _, joint in sorted(joints_opened(choice)):
        for part in case.catalog.consumables.values():
            if part.joint == joint:
                before = lines[part.code].quantity if part.code in lines else 0
                quantity = before + part.quantity
                lines[part.code] = ConsumableLine(
                    code=part.code, joint=joint, quantity=quantity, price=round(quantity * part.price, 2)
                )
    return list(lines.values())


def _totals(changes: Sequence[Change], consumables: Sequence[ConsumableLine]) -> Totals:
    price = sum(change.price for change in changes) + sum(line.price for line in consumables)
    return Totals(changes=len(changes), price=round(price, 2), labour_min=sum(change.labour_min for change in changes))


def _alternatives(case: Case, problem: Problem, first: Solution, request: Request) -> list[Alternative]:
    """Proposals that are best in another way: by another goal first, and the next best that works differently."""
    found: list[Alternative] = []
    seen = [first.chosen]
    for title, goals in ALTERNATIVES:
        model = ChoiceModel(problem, problem.constraints)
        if not goals:
            for chosen in seen:
                model.forbid_work(chosen)
        put_first = goals.split(",") if goals else []
        order = [*put_first, *(goal for goal in request.order if goal not in put_first)]
        solution = best(model, order, request.effort)
        if solution is None or solution.chosen in seen:
            continue
        seen.append(solution.chosen)
        choice = _choice(problem, solution.chosen)
        aim = f"the goal put first: {order[0]}" if goals else "being of another kind"
        changes, consumables = _changes(case, choice, request, aim), _consumables(case, choice)
        found.append(
            Alternative(title=title, changes=changes, consumables=consumables, totals=_totals(changes, consumables))
        )
    return found


def _covers(case: Case, choice: dict[str, Option]) -> dict[str, list[float] | None]:
    """The demand factors that each circuit covers with a choice; None where it covers none."""
    listed = {slot: (option,) for slot, option in choice.items()}
    covers: dict[str, list[float] | None] = {}
    for name in case.circuit_names:
        shot = case.columns(name, listed, with_windows=True)["shot"]
        low, high = float(shot.window_low.item()), float(shot.window_high.item())
        covers[name] = [round(low, 3), round(high, 3)] if low <= high else None
    return covers
