"""A proposal as plain text: what changes, why, and what to do first; or why nothing does."""

from collections.abc import Iterable, Sequence

from configurator.advice.over_unknown import in_a_sentence
from configurator.advice.sure_proposal import LIKELY, SureProposeReport
from configurator.catalogue.settings import price_text
from configurator.reports import (
    Alternative,
    Change,
    ConflictReport,
    ConsumableLine,
    Finding,
    Obstacle,
    ProposeReport,
    Totals,
)
from configurator.rules import WRONG
from configurator.views.marks import mark
from configurator.views.tables import cautions, counted, findings_lines, wrapped


def propose_text(report: ProposeReport) -> str:
    lines = [f"{mark('NO')}  {report.vehicle}: {nothing_does(report.conflict)}"]
    if report.totals is not None:
        as_it_is = _as_it_is(report)
        left = "TRY" if as_it_is == RUN_ONCE_MORE else "OK"
        verdict = mark("NO" if report.is_hopeless else _verdict(report) if report.changes else left)
        lines = [f"{verdict}  {report.vehicle}: {_totals_text(report.totals, as_it_is)}"]
        if report.first:
            lines[0] += f"; but first {_first_words(report.first)}"
    runs_told_above = isinstance(report, SureProposeReport) and report.belief.runs > 0
    if not (runs_told_above and report.engine_note.startswith("by ")):
        lines.append(wrapped(report.engine_note, " " * 5))
    if report.hint:
        lines.append(wrapped(report.hint, " " * 5))
    lines += [wrapped(in_a_sentence(one), " " * 5) for one in report.not_known]
    if report.bound:
        lines.append(f"     the search was cut short, this may not be the best ({report.bound})")
    lines.append("")
    if report.conflict:
        return "\n".join([*lines, *_conflict_lines(report.conflict)])
    if report.first:
        lines += ["First, by hand:", ""]
        lines += findings_lines(report.first)
    lines += _changes_lines(report.changes, report.consumables, report.totals.currency if report.totals else "")
    lines += [*_pull_lines(report), ""]
    lines += findings_lines(f for f in report.remaining if f.severity != "note")
    lines += _jobs_lines(report)
    if report.alternatives:
        lines.append("Other ways:")
        for other in report.alternatives:
            lines += _alternative_lines(other)
        lines.append("")
    return "\n".join([*lines, cautions()])


def _verdict(report: ProposeReport) -> str:
    """Changes that are not likely to be right, or come after another run only, are worth a try and no more."""
    if not isinstance(report, SureProposeReport) or report.sureness is None:
        return "YES"
    return "TRY" if report.once_more or report.sureness < LIKELY else "YES"


def _first_words(first: Sequence[Finding]) -> str:
    """How much comes before anything is bought: faults, and what is to be measured."""
    lacking = sum(finding.holds is None for finding in first)
    faults = f"put {counted(len(first) - lacking, 'fault')} right" if lacking < len(first) else ""
    return " and ".join(filter(None, [faults, "measure" if lacking else ""]))


def nothing_does(conflict: ConflictReport | None) -> str:
    """That there is nothing to propose, and whether it is the fit or the cure that is wanting."""
    return (
        f"what fits in the catalogue {WRONG['cure']}"
        if conflict and conflict.kind == "cure"
        else "nothing in the catalogue fits"
    )


def _pull_lines(report: ProposeReport) -> Iterable[str]:
    """What is felt with it, and for how many engines like this one it is right."""
    from configurator.advice.belief_told import sure_percent

    for shot in report.pulls:
        yield wrapped(f"{shot.circuit}, with it: {shot.felt}", "  ")
    if report.sureness is not None and not isinstance(report, SureProposeReport):  # there it stands at the top
        yield f"  right for {sure_percent(report.sureness)} of {report.engines}"


def _jobs_lines(report: ProposeReport) -> Iterable[str]:
    notes = dict.fromkeys(
        f"{f.circuit + ': ' if f.circuit else ''}{f.mend}" for f in report.remaining if f.severity == "note"
    )
    jobs = [*notes, *report.aftercare]
    if jobs:
        yield "Still to do:"
        yield from (wrapped(job, "    ", "  - ") for job in jobs)
        yield ""


def _as_it_is(report: ProposeReport) -> str:
    """What is said where nothing changes: clean by a run, by the model, or complained of and still the likeliest."""
    if report.sureness is None:
        return f"stop, it is right as it is: {report.engine_note.partition(':')[0]}"
    if "no run" in report.engine_note:
        return "leave it as it is: by the model it pulls cleanly"
    return RUN_ONCE_MORE


RUN_ONCE_MORE = "run it once more as it is: the model would let these parts pass, and nothing else is much likelier"


def _totals_text(totals: Totals, unchanged: str = "nothing changes") -> str:
    if not totals.changes:
        return unchanged
    price = price_text(totals.price, totals.currency)
    return f"{counted(totals.changes, 'change')}, price {price}, about {totals.labour_min} min"


def _changes_lines(changes: Sequence[Change], consumables: Sequence[ConsumableLine], currency: str) -> Iterable[str]:
    for number, change in enumerate(changes, 1):
        yield f"{number}. {change.slot}: {change.to}"
        once = "" if change.reversible else "; cannot be undone"
        price = price_text(change.price, currency)
        yield f"   in place of {change.from_}; price {price}, {change.labour_min} min{once}"
        for reason in change.because:
            yield wrapped(reason, "     ", "   because ")
        if change.style:
            yield wrapped(change.style, "     ", "   ")
        yield ""
    if consumables:
        listed = "; ".join(f"{line.quantity} x {line.code} {price_text(line.price, currency)}" for line in consumables)
        yield f"Gaskets: {listed}"
        yield ""


def _alternative_lines(other: Alternative) -> Iterable[str]:
    yield f"  {other.title}: {_totals_text(other.totals)}"
    yield from (wrapped(f"First: {one}", " " * 7, " " * 5) for one in other.first)
    for change in other.changes:
        yield f"     {change.slot}: {change.to}{'' if change.reversible else '; cannot be undone'}"
        if change.style:
            yield wrapped(change.style, " " * 9, " " * 7)
    yield from (wrapped(says, " " * 7, " " * 5 + "! ") for says in other.odd_sizes)


def _obstacle_lines(obstacle: Obstacle) -> Iterable[str]:
    if obstacle.wishes:
        yield "You asked for:"
        yield from (f"  - {wish}" for wish in obstacle.wishes)
    if obstacle.rules:
        several = "one of these is left" if len(obstacle.rules) > 1 else "this is left"
        yield f"{'With that' if obstacle.wishes else 'Whatever is fitted,'} {several}, at the least:"
    yield from (
        wrapped(f"{says} [{rule}]", "    ", "  - ") for rule, says in zip(obstacle.rules, obstacle.says, strict=True)
    )


def _conflict_lines(conflict: ConflictReport) -> Iterable[str]:
    yield from _obstacle_lines(conflict)
    for other in conflict.apart:
        yield "Apart from that:"
        yield from _obstacle_lines(other)
    if conflict.relaxations:
        yield "Ways out:"
        yield from (wrapped(way.says, "    ", "  - ") for way in conflict.relaxations)
        if conflict.more_relaxations:
            yield f"    and {conflict.more_relaxations} more"
    if conflict.would_do:
        yield "A part that the catalogue lacks would do (ask a supplier), any one of:"
        yield from (wrapped(part, "    ", "  - ") for part in conflict.would_do)
    elif not conflict.relaxations:
        yield "Nothing in this catalogue mends that; a larger catalogue might."
