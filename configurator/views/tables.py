"""Answers as plain text: the answer first, short lines, a unit behind every number."""

import textwrap
from collections.abc import Iterable, Mapping, Sequence

from tabulate import tabulate

from configurator.reports import (
    Alternative,
    Candidate,
    Change,
    CheckReport,
    CircuitSizes,
    ConflictReport,
    ConsumableLine,
    Finding,
    NozzleChoice,
    ProposeReport,
    SizeReport,
    Totals,
)
from configurator.sensitivity import SensitivityReport
from configurator.views.marks import mark

WIDTH = 110
CAUTIONS = (
    "Engine cold and off, battery off, fresh air, no flame or spark near; eyes protected; extinguisher at hand. Never "
    "look into or pour fuel into an open carburettor; keep the air cleaner on: a backfire burns. Test on closed ground "
    "only.",
    "The vehicle's papers, its maker's data and local emission and safety law come first: a car under emission control "
    "may not be altered against them. If in doubt, ask a licensed workshop.",
)


def wrapped(text: str, indent: str = "", first: str | None = None) -> str:
    return textwrap.fill(text, WIDTH, initial_indent=indent if first is None else first, subsequent_indent=indent)


def cautions() -> str:
    return "\n".join(wrapped(text, "  ", "! ") for text in CAUTIONS)


def finding_lines(finding: Finding) -> Iterable[str]:
    where = f"{finding.circuit}: " if finding.circuit else ""
    word = mark("OK" if finding.holds else finding.severity.upper(), 9)
    yield f"{word} {wrapped(where + finding.says, ' ' * 10, '')}"
    if finding.mend:
        yield wrapped(finding.mend, " " * 16, " " * 10 + "mend: ")
    margin = "not measured" if finding.margin is None else f"margin {finding.margin:+.4g} {finding.unit}"
    basis = finding.basis + (f": {finding.source}" if finding.source else "")
    yield f"{' ' * 10}[{finding.rule}; {margin}; {basis}]"


def counted(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def check_text(report: CheckReport, *, everything: bool) -> str:
    wrong = [f for f in report.findings if f.holds is not True]
    counts = ", ".join(
        counted(n, kind) for kind in ("conflict", "warning", "note") if (n := sum(f.severity == kind for f in wrong))
    )
    lines = [f"{mark('OK' if report.ok else 'CONFLICT')}  {report.vehicle}: {counts or 'nothing to report'}"]
    lines += [f"  with {slot} = {what}" for slot, what in report.with_changes.items()]
    lines.append("")
    for finding in report.findings if everything else wrong:
        lines += [*finding_lines(finding), ""]
    return "\n".join(lines).rstrip()


def size_text(report: SizeReport, *, everything: bool) -> str:
    lines: list[str] = []
    for circuit in report.circuits:
        lines += [*_sizes_text(report.vehicle, circuit, everything=everything), ""]
    lines += [wrapped(note, "  ", "* ") for note in report.notes]
    return "\n".join(lines)


def _sizes_text(vehicle: str, sizes: CircuitSizes, *, everything: bool) -> Iterable[str]:
    fitted_pump = sizes.fitted.pump
    found = sizes.smallest.label if sizes.smallest else "none in the catalogue meets the demand"
    answer = mark("YES" if sizes.smallest else "NO")
    yield f"{answer}  {vehicle}, {sizes.circuit} circuit: smallest nozzle with {fitted_pump}: {found}"
    for pump, choice in sizes.smallest_by_pump.items():
        if pump != fitted_pump:
            yield f"     with {pump}: {_found(choice)}"
    yield ""
    rows = list(sizes.candidates) if everything else _around(sizes)
    yield tabulate([_candidate_row(row) for row in rows], headers=list(_HEADINGS), disable_numparse=True)
    if not everything:
        yield f"({len(rows)} of {len(sizes.candidates)} combinations around the answer; --all shows every one)"


def _found(choice: NozzleChoice | None) -> str:
    return choice.label if choice else "none meets the demand"


_HEADINGS = (
    "nozzle", "pump", "screw", "lobe", "phase\ndeg", "lean\nms", "rich\nms", "volume\ncc", "lasts\nms", "covers f",
    "meets",
)  # fmt: skip


def _candidate_row(row: Candidate) -> list[str]:
    window = f"{row.window[0]:.2f} to {row.window[1]:.2f}" if row.window else "none"
    size = f"{row.diameter_mm:.2f} mm ({row.diameter_in * 1000:.1f} thou) {row.style}"
    return [
        size, row.pump, row.feed_screw, row.lobe, f"{row.phase_deg:g}", f"{row.hole_ms:.0f}", f"{row.flood_ms:.0f}",
        f"{row.volume_cc:.2f}", f"{row.duration_ms:.0f}", window,
        "yes" if row.meets and not row.breaks else "demand only" if row.meets else "no",
    ]  # fmt: skip


def _around(sizes: CircuitSizes) -> list[Candidate]:
    """For each pump the sizes next to its answer (or next to the fitted size), in the fitted style."""
    rows: list[Candidate] = []
    for pump, choice in sizes.smallest_by_pump.items():
        style = choice.label.split("-")[0] if choice else sizes.fitted.style
        own = [
            row
            for row in sizes.candidates
            if row.pump == pump and (row.style == style or row.code == (choice and choice.code))
        ]
        centre = choice.diameter_mm if choice else sizes.fitted.diameter_mm
        near = min(range(len(own)), key=lambda i: abs(own[i].diameter_mm - centre)) if own else 0
        rows += own[max(0, near - 2) : near + 3]
    return rows


def propose_text(report: ProposeReport) -> str:
    lines = [f"{mark('NO')}  {report.vehicle}: nothing in the catalogue fits"]
    if report.totals is not None:
        lines = [f"{mark('YES')}  {report.vehicle}: {_totals_text(report.totals)}"]
    lines.append(f"     {report.demand_note}")
    if report.bound:
        lines.append(f"     the search was cut short, this may not be the best ({report.bound})")
    lines.append("")
    if report.conflict:
        return "\n".join([*lines, *_conflict_lines(report.conflict)])
    lines += _changes_lines(report.changes, report.consumables)
    if report.remaining:
        lines += ["With that fitted:", ""]
        for finding in report.remaining:
            lines += finding_lines(finding)
        lines.append("")
    if report.alternatives:
        lines.append("Other ways:")
        for other in report.alternatives:
            lines += _alternative_lines(other)
        lines.append("")
    return "\n".join([*lines, cautions()])


def _totals_text(totals: Totals) -> str:
    if not totals.changes:
        return "leave it as it is: what is fitted meets the demand"
    return f"{counted(totals.changes, 'change')}, price {totals.price:.2f}, about {totals.labour_min} min"


def _changes_lines(changes: Sequence[Change], consumables: Sequence[ConsumableLine]) -> Iterable[str]:
    for number, change in enumerate(changes, 1):
        yield f"{number}. {change.slot}: {change.to}"
        once = "" if change.reversible else "; cannot be undone"
        yield f"   in place of {change.from_}; price {change.price:.2f}, {change.labour_min} min{once}"
        for reason in change.because:
            yield wrapped(reason, "     ", "   because ")
        yield ""
    if consumables:
        listed = "; ".join(f"{line.quantity} x {line.code} {line.price:.2f}" for line in consumables)
        yield f"Gaskets: {listed}"
        yield ""


def _alternative_lines(other: Alternative) -> Iterable[str]:
    yield f"  {other.title}: {_totals_text(other.totals)}"
    for change in other.changes:
        yield f"     {change.slot}: {change.to}"


def _conflict_lines(conflict: ConflictReport) -> Iterable[str]:
    if conflict.wishes:
        yield "You asked for:"
        yield from (f"  - {wish}" for wish in conflict.wishes)
    yield "That cannot all hold together with:" if conflict.wishes else "These cannot all hold together:"
    yield from (
        wrapped(f"{says} [{rule}]", "    ", "  - ") for rule, says in zip(conflict.rules, conflict.says, strict=True)
    )
    if conflict.relaxations:
        yield "Ways out:"
        yield from (wrapped(way.says, "    ", "  - ") for way in conflict.relaxations)
        if conflict.more_relaxations:
            yield f"    and {conflict.more_relaxations} more"
    else:
        yield "Nothing in this catalogue mends that; a larger catalogue might."


def parts_text(family: str, rows: Sequence[Mapping[str, str]]) -> str:
    if not rows:
        return f"{family}: none"
    return f"{family}: {len(rows)}\n" + tabulate(
        [list(row.values()) for row in rows], headers=list(rows[0]), disable_numparse=True
    )


def sensitivity_text(report: SensitivityReport) -> str:
    now = report.rows[0].smallest_mm
    answer = "none up to 1.6 mm meets the demand" if now is None else f"{now:.2f} mm"
    head = f"{report.vehicle}, {report.circuit} circuit: smallest orifice as assumed: {answer}"
    rows = [
        [row.figure, f"{row.value:g}", f"{row.low:g}", f"{row.high:g}", row.unit, _mm(row.smallest_at_low_mm),
         _mm(row.smallest_at_high_mm), row.basis]
        for row in report.rows
    ]  # fmt: skip
    headings = ["figure", "value", "low", "high", "unit", "orifice mm\nat low", "orifice mm\nat high", "basis"]
    return f"{head}\n\n" + tabulate(rows, headers=headings, disable_numparse=True)


def _mm(value: float | None) -> str:
    return "none" if value is None else f"{value:.2f}"
