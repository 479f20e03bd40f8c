"""What a choice of parts comes to: what it delivers, what changes and why, gaskets, price, labour, jobs by hand."""

from collections.abc import Sequence

from configurator.advice.aftercare import aftercare
from configurator.advice.size import felt_figures, rounded
from configurator.advice.style_change import why_another_style
from configurator.judging.case import Case
from configurator.judging.feelings import felt_words
from configurator.judging.findings import NOTHING_FELT, FeltWith, as_felt, broken, findings, in_order, problems
from configurator.judging.right import right
from configurator.judging.trade_rules import seen_of
from configurator.learning.belief import Belief
from configurator.physics.lateness import NOTHING_COVERED, Regions
from configurator.reports import Change, Combination, ConsumableLine, Finding, Shot, Totals
from configurator.slots.joints import joints_opened
from configurator.slots.options import Choice
from configurator.slots.slot import AXES, CIRCUIT_SLOTS, Slot
from configurator.slots.wishes import Wish

KeptSlots = set[tuple[str, str | None]]
"""Advice that a choice breaks anyway: rule and circuit."""


def changes_of(case: Case, choice: Choice, wishes: Sequence[Wish], aim: str) -> list[Change]:
    """The changed slots, each with what forces it: what comes back when it alone is undone; aim is the reason where
    nothing does."""
    kept = {(f.rule, f.circuit) for f in broken(case, choice)}
    changes = []
    for slot, option in choice.items():
        if option.changed:
            pump = choice[Slot(slot.circuit, "pump")] if slot.circuit else None
            in_box = option.work == "fit" and pump is not None and pump.changed and option.code in pump.comes_with
            changes.append(
                Change(
                    slot=str(slot),
                    from_=case.as_fitted[slot].label,
                    to=option.label,
                    code=option.code,
                    work=option.work if option.work != "none" else "fit",
                    reversible=not option.permanent,
                    price=0.0 if in_box else option.price / 100,
                    labour_min=option.labour_min,
                    because=_because(case, choice, slot, wishes, aim, kept)
                    + (["in the pump's box: costs nothing more"] if in_box else []),
                    style=_style(case, choice, slot),
                )
            )
    return changes


def _because(case: Case, choice: Choice, slot: Slot, wishes: Sequence[Wish], aim: str, kept: KeptSlots) -> list[str]:
    wished = [
        wish.text if wish.felt else f"you asked for it ({wish.text})"
        for wish in wishes
        if wish.slot == slot and 0 not in wish.allowed
    ]
    undone = dict(choice) | {slot: case.as_fitted[slot]}
    back = [f for f in broken(case, undone) if (f.rule, f.circuit) not in kept]
    forcing = [f for f in back if f.severity == "conflict"] or back
    forced = [_without(case, undone, slot, finding) for finding in forcing]
    return wished + forced or [f"no rule forces it; it is there for {aim}"]


def _style(case: Case, choice: Choice, slot: Slot) -> str:
    if slot.name != "nozzle" or slot.circuit is None:
        return ""
    return why_another_style(case, choice, slot.circuit, case.as_fitted[slot])


def _without(case: Case, undone: Choice, slot: Slot, finding: Finding) -> str:
    where = f"{finding.circuit}, " if finding.circuit and slot.circuit != finding.circuit else ""
    before = case.as_fitted[slot].label
    without = "without it" if before == "none" else f"with {before}"
    seen = seen_of(case, undone, finding)
    return f"{where}{without}: {finding.says}{f'; {seen}' if seen else ''} [{finding.rule}]"


def consumables_of(case: Case, choice: Choice) -> list[ConsumableLine]:
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


def totals_of(changes: Sequence[Change], consumables: Sequence[ConsumableLine], currency: str) -> Totals:
    price = sum(change.price for change in changes) + sum(line.price for line in consumables)
    return Totals(
        changes=len(changes), price=round(price, 2), currency=currency,
        labour_min=sum(change.labour_min for change in changes),
    )  # fmt: skip


def shots_of(case: Case, choice: Choice, believed: Belief | None = None) -> list[Shot]:
    """What each circuit delivers with a choice and how it is felt; how sure it is to be right where a belief is given,
    else it is there at once where the case is tabulated."""
    listed, limits = {slot: (option,) for slot, option in choice.items()}, case.catalog.limits
    shots = []
    for name in case.circuit_names:
        table = case.columns(name, listed, with_regions=believed is not None)
        shot = table.shot.at((0,) * len(AXES))
        sureness = believed.sureness(right(table)).item() if believed else None
        shots.append(
            Shot(
                circuit=name, **felt_figures(shot), felt=felt_words(shot, limits),
                volume_cc=rounded(shot.volume_cc, 3), duration_ms=rounded(shot.ends_ms),
                sureness=None if sureness is None else round(sureness, 4),
            )
        )  # fmt: skip
    return shots


def sureness_of(case: Case, choice: Choice, believed: Belief) -> float:
    """Share of a belief that all circuits of a choice are right for."""
    listed = {slot: (option,) for slot, option in choice.items()}
    bits = ~NOTHING_COVERED
    for name in case.circuit_names:
        bits = bits & right(case.columns(name, listed, with_regions=True)).bits[(0,) * len(CIRCUIT_SLOTS)]
    return float(believed.sureness(Regions(bits)))


def combination_of(
    case: Case,
    choice: Choice,
    title: str,
    wishes: Sequence[Wish] = (),
    believed: Belief | None = None,
    felt: FeltWith = NOTHING_FELT,
) -> Combination:
    """A choice judged by every rule, with the work to fit it; its linkage is judged as found, as the case has it.

    felt : what was felt with these very parts.
    """
    found = as_felt(findings(case, choice), felt)
    changes, consumables = changes_of(case, choice, wishes, "being chosen"), consumables_of(case, choice)
    return Combination(
        title=title, ok=in_order(found),
        parts={str(slot): option.label for slot, option in choice.items()},
        shots=shots_of(case, choice, believed),
        findings=[*problems(found), *(f for f in found if f.holds)], changes=changes, consumables=consumables,
        totals=totals_of(changes, consumables, case.catalog.currency), aftercare=aftercare(choice),
    )  # fmt: skip
