"""What the rules find on one choice of parts."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import isinf

import numpy as np

from configurator.car.facts import JobFacts
from configurator.errors import OutOfRange
from configurator.judging.case import Case
from configurator.judging.engine_told import told_engine
from configurator.judging.trade_rules import seen_of
from configurator.reports import CheckReport, Finding
from configurator.rules import RULES, WRONG, Kind, Rule
from configurator.rules.figures import JudgedFigures
from configurator.slots.joints import joints_opened
from configurator.slots.options import Choice
from configurator.slots.wishes import Wish, choose

RuleReading = tuple[Rule, str | None, float, float, float]
"""A rule, its circuit, the quantity it reads, its limit, and the margin between them."""


def findings(case: Case, choice: Choice) -> list[Finding]:
    """Every rule's finding on a choice, those that hold too, circuit by circuit and then the car as a whole."""
    found = (finding(case, *reading) for reading in _readings(case, choice))
    return [f.model_copy(update={"seen": seen}) if (seen := seen_of(case, choice, f)) else f for f in found]


def broken(case: Case, choice: Choice) -> list[Finding]:
    """What a choice breaks, advice included, that another choice could mend; conflicts first."""
    return problems(
        finding(case, *reading) for reading in _readings(case, choice)
        if reading[4] < 0 and reading[0].is_choosable and reading[0].severity != "note"
    )  # fmt: skip


def conflicts(case: Case, choice: Choice, kind: Kind) -> Iterator[tuple[Rule, str, str]]:
    """What a choice of catalogue parts breaks of one kind that another choice could mend, advice left out: the rule,
    its circuit (none for one of the car) and what is wrong. Looked up in the tables of all kinds."""
    for name in case.circuit_names:
        kinds = case.kinds_of(name, choice)
        for rule in _CONFLICTS[kind]:
            of_car = rule.scope == "car"
            if of_car and name != case.circuit_names[0]:
                continue
            value, limit = (float(column[kinds]) for column in case.readings(name, rule))
            if not isinf(limit) and not isinf(value) and rule.between(value, limit) < 0:
                yield rule, "" if of_car else name, rule.told(value, limit)


def _readings(case: Case, choice: Choice) -> Iterator[RuleReading]:
    listed = {slot: (option,) for slot, option in choice.items()}
    tables = {name: case.columns(name, listed) for name in case.circuit_names}
    for name, table in tables.items():
        yield from _of_rules(table, _BY_SCOPE["circuit"], name)
    opened = joints_opened(choice)
    covered = {consumable.joint for consumable in case.catalog.consumables.values()}
    job = JobFacts(len(opened), sum(joint in covered for _, joint in opened))
    of_car = replace(tables[case.circuit_names[-1]], job=job)
    yield from _of_rules(of_car, _BY_SCOPE["car"], None)
    yield from _of_rules(of_car, _BY_SCOPE["job"], None)


def _of_rules(table: JudgedFigures, rules: Iterable[Rule], circuit: str | None) -> Iterator[RuleReading]:
    for rule in rules:
        value, limit = (float(np.squeeze(x)) for x in rule.readings(table))
        if not isinf(limit) and not isinf(value):
            yield rule, circuit, value, limit, rule.between(value, limit)


_BY_SCOPE = {scope: [rule for rule in RULES.values() if rule.scope == scope] for scope in ("circuit", "car", "job")}
_CONFLICTS = {
    kind: [r for r in RULES.values() if r.severity == "conflict" and r.is_choosable and r.kind == kind]
    for kind in WRONG
}


def finding(case: Case, rule: Rule, circuit: str | None, value: float, limit: float, margin: float) -> Finding:
    """A rule's finding in words; a margin that is not a number becomes a note to measure."""
    row = case.catalog.limit_rows.get(rule.limit)
    holds = None if np.isnan(margin) else margin >= 0
    if holds is None:
        if not rule.unknown:
            raise OutOfRange(f"{rule.id} ({circuit or 'car'})", margin, -np.inf, np.inf, rule.unit)
        says, mend = "not measured yet", rule.unknown
    elif holds:
        says, mend = rule.statement, ""
    else:
        says, mend = rule.told(value, limit), rule.mend
    return Finding(
        rule=rule.id, kind=rule.kind, severity="note" if holds is None else rule.severity, circuit=circuit, holds=holds,
        margin=_finite(margin), unit=rule.unit, says=says, mend=mend, basis=row.basis if row else rule.basis,
        source=row.source if row else rule.source,
    )  # fmt: skip


def _finite(value: float) -> float | None:
    return round(value, 4) if np.isfinite(value) else None


def problems(found: Iterable[Finding]) -> list[Finding]:
    """Findings that do not hold: conflicts first, of those what can be measured before what is modelled."""
    order = {"conflict": 0, "warning": 1, "note": 2}
    wrong = [f for f in found if f.holds is not True]
    return sorted(wrong, key=lambda f: (order[f.severity], "shot" in RULES[f.rule].slots))


def jets_first(case: Case) -> list[str]:
    """What is said before anything of the pump circuit: main jets chosen for another height."""
    found = (finding(case, *one) for one in _readings(case, case.as_fitted) if one[0].id == JETS)
    return [f"{f.says}: {f.mend}" for f in found if f.holds is False]


JETS = "main-jets-suit-the-altitude"


def _with_slack_judged(case: Case, choice: Choice, found: list[Finding]) -> list[Finding]:
    """The findings, a slack linkage's with what taking it up does to the hesitation."""
    slack = [f for f in found if f.rule == "linkage-has-no-slack" and f.holds is False]
    if not slack:
        return found
    adjusted = {f.circuit: f for f in findings(case.with_linkage_set(), choice) if f.rule == "pull-comes-at-once"}
    now = {f.circuit: f for f in found if f.rule == "pull-comes-at-once"}
    judged = []
    for f in found:
        lean, then = now.get(f.circuit), adjusted.get(f.circuit)
        if f in slack and lean is not None and then is not None and lean.holds is False:
            cure = "that alone mends the hesitation" if then.holds else f"with that done, {then.says}"
            f = f.model_copy(update={"mend": f"{f.mend}; {cure}"})
        judged.append(f)
    return judged


@dataclass(frozen=True)
class FeltWith:
    """What was felt with very these parts: what says that they pull cleanly, or what was complained of; each empty
    where nothing says so."""

    clean: str = ""
    complaint: str = ""
    side: int = 0
    """Of what was complained of: want of fuel (+1), or too much (-1)."""


NOTHING_FELT = FeltWith()


def as_felt(found: Sequence[Finding], felt: FeltWith) -> list[Finding]:
    """The findings with nothing amiss on the fuel side where it pulls cleanly, and something amiss where it was
    complained of: what is felt comes before any model."""
    amiss = [f.kind == "cure" and f.holds is False for f in found]
    if felt.clean:
        return [
            _by_model_alone(f, felt.clean, FUEL_LEFT_ALONE) if one else f for one, f in zip(amiss, found, strict=True)
        ]
    if not felt.complaint:
        return list(found)
    against = [one and f.rule in _AGAINST[felt.side] for one, f in zip(amiss, found, strict=True)]
    told = [_by_model_alone(f, felt.complaint, "") if one else f for one, f in zip(against, found, strict=True)]
    if any(one and f.severity == "conflict" for one, f in zip(amiss, told, strict=True)):
        return told
    return [*told, _complained(felt.complaint if any(against) else f"{felt.complaint}; {LET_PASS}")]


def _by_model_alone(one: Finding, felt: str, mend: str) -> Finding:
    """What the model finds against what was felt: no more than a note."""
    return one.model_copy(update={
        "severity": "note", "says": f"{felt}; the model alone would say: {one.says}", "mend": mend,
    })  # fmt: skip


def _complained(complaint: str) -> Finding:
    """What a driver complains of, and no rule finds in the middle of what is believed."""
    rule = RULES["right-for-enough-engines"]
    return Finding(
        rule=rule.id, kind=rule.kind, severity=rule.severity, circuit=None, holds=False, margin=None, unit="",
        says=complaint, mend="take the next step, and log what is felt then",
        basis=rule.basis, source="",
    )  # fmt: skip


LET_PASS = "the model alone would let it pass"
FUEL_LEFT_ALONE = "leave the fuel side alone"
_OF_WANT, _OF_TOO_MUCH = {"pull-comes-at-once", "pull-does-not-go-flat", "mixture-does-not-pop-back"}, {
    "pull-is-not-drowned", "pull-does-not-nose-over", "mixture-does-not-smoke"
}  # fmt: skip
_AGAINST: Mapping[int, set[str]] = {1: _OF_TOO_MUCH, -1: _OF_WANT, 0: set()}
"""Rules whose finding goes against what was felt."""


def in_order(found: Iterable[Finding]) -> bool:
    """Whether nothing found is a conflict."""
    return not any(f.severity == "conflict" and f.holds is False for f in found)


def check(
    case: Case,
    wishes: Sequence[Wish],
    *,
    everything: bool = False,
    notes: Sequence[str] = (),
    felt: FeltWith = NOTHING_FELT,
) -> CheckReport:
    """Findings on what is fitted, or on what it would be with the wishes fitted; those that hold only if asked for.

    notes : what to keep in mind besides. felt : what was felt with these very parts.
    """
    choice = choose(case.options, wishes)
    found = as_felt(_with_slack_judged(case, choice, findings(case, choice)), felt)
    return CheckReport(
        vehicle=case.vehicle.name,
        ok=in_order(found),
        clean=felt.clean,
        engine=told_engine(case.engine),
        with_changes={str(slot): option.label for slot, option in choice.items() if option.changed},
        findings=problems(found) + [f for f in found if everything and f.holds],
        notes=list(notes),
    )
