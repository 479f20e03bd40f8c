"""Answers as plain text: the answer first, short lines, a unit behind every number."""

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from configurator.advice.over_unknown import in_a_sentence
from configurator.advice.sensitivity import Sensitivity, SensitivityReport, SmallestOver
from configurator.judging.trade_sizes import OUT_OF_TRADE
from configurator.reports import (
    Candidate,
    CheckReport,
    CircuitSizes,
    FigureNotKnown,
    Finding,
    NotKnown,
    NozzleChoice,
    SizeReport,
)
from configurator.rules import RULES, WRONG
from configurator.units.showing import as_shown, shown_alike
from configurator.units.units import show_diameter
from configurator.views.marks import mark

WIDTH = 110
ORIFICE_MM = 0.8
"""A usual one, which says the unit of a column of them."""
MEASURED_UNITS = ("mm", "ms", "%", "deg", "m3/min/l")
"""Units of which a margin says more than the sentence does; of counted things it does not."""
CAUTIONS = (
    "Engine cold and off, battery off, fresh air, no flame or spark near; eyes protected; extinguisher at hand. Never "
    "look into or pour fuel into an open carburettor; keep the air cleaner on: a backfire burns. Test on closed ground "
    "only.",
    "The vehicle's papers, its maker's data and local emission and safety law come first: a car under emission control "
    "may not be altered against them. If in doubt, ask a licensed workshop.",
)


def wrapped(text: str, indent: str = "", first: str | None = None) -> str:
    start = indent if first is None else first
    return textwrap.fill(text, WIDTH, initial_indent=start, subsequent_indent=indent, break_on_hyphens=False)


def cautions() -> str:
    return "\n".join(wrapped(text, "  ", "! ") for text in CAUTIONS)


def finding_lines(finding: Finding) -> Iterable[str]:
    where = f"{finding.circuit}: " if finding.circuit else ""
    word = mark("OK" if finding.holds else "NO" if finding.severity == "conflict" else finding.severity.upper(), 9)
    yield f"{word} {wrapped(where + finding.says, ' ' * 10, '')}"
    if finding.mend:
        yield wrapped(finding.mend, " " * 16, " " * 10 + "mend: ")
    if finding.seen:
        yield wrapped(finding.seen, " " * 16, " " * 10)
    room = ""
    if finding.margin is not None and finding.unit in MEASURED_UNITS:
        room = f"; {_room(finding.margin)} {finding.unit}"
    basis = finding.basis + (f": {finding.source}" if finding.source else "")
    yield f"{' ' * 10}[{finding.rule}{room}; {basis}]"


def _room(margin: float) -> str:
    """How far inside or past a limit, to two figures, or whole where it is large: the model knows no better.

    >>> _room(-0.4316), _room(-276.61), _room(0.08)
    ('past the limit by 0.43', 'past the limit by 277', 'inside by 0.08')
    """
    size = f"{abs(margin):.0f}" if abs(margin) >= 10 else f"{abs(margin):.2g}"
    return f"past the limit by {size}" if margin < 0 else f"inside by {size}"


def counted(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def check_text(report: CheckReport, *, everything: bool) -> str:
    lines = [f"{mark('OK' if report.ok else 'NO')}  {report.vehicle}: {verdict_words(report.findings, report.clean)}"]
    lines += [wrapped(note, "  ", "  ") for note in [*report.notes, *map(in_a_sentence, report.not_known)]]
    lines += [f"  with {slot} = {what}" for slot, what in report.with_changes.items()]
    lines.append("")
    for heading, found in by_kind(report.findings):
        if found and (everything or heading != HOLDING):
            lines += [f"{heading}:", "", *findings_lines(found)]
    return "\n".join(lines).rstrip()


HOLDING = "In order"
BY_HAND = "To put right by hand"


def by_kind(findings: Iterable[Finding]) -> list[tuple[str, list[Finding]]]:
    """Findings under headings: what no part mends, what does not fit, what will not cure, what else to keep in mind,
    and what holds."""
    found = list(findings)
    amiss = [f for f in found if f.holds is False and f.severity == "conflict"]
    by_hand = [f for f in amiss if not RULES[f.rule].is_choosable]
    return [
        (BY_HAND, by_hand),
        *(
            (says.capitalize(), [f for f in amiss if f.kind == kind and f not in by_hand])
            for kind, says in WRONG.items()
        ),
        ("To keep in mind", [f for f in found if not f.holds and f not in amiss]),
        (HOLDING, [f for f in found if f.holds]),
    ]  # fmt: skip


def verdict_words(findings: Iterable[Finding], clean: str = "") -> str:
    """What findings come to, in a few words. clean : what says that it pulls cleanly; empty where nothing does."""
    groups = dict(by_kind(findings))
    amiss = [says for says in WRONG.values() if groups[says.capitalize()]]
    says = [clean] if clean else []
    if amiss:
        says.append(f"fits, but {WRONG['cure']}" if amiss == [WRONG["cure"]] else " and ".join(amiss))
    if groups[BY_HAND]:
        says.append(f"{counted(len(groups[BY_HAND]), 'fault')} to put right by hand")
    says += [
        counted(n, severity) for severity in ("warning", "note")
        if (n := sum(f.severity == severity for f in groups["To keep in mind"]))
    ]  # fmt: skip
    return "; ".join(says) or "nothing to report"


def not_known_text(not_known: Sequence[NotKnown]) -> str:
    """What is not known of a car, a circuit each: what is taken, its range, and the smallest nozzle at either end."""
    lines: list[str] = []
    for circuit in not_known:
        rows = [
            (
                one.says.removeprefix("the "),
                *_taken_and_range(one),
                _nozzle_mm(one.at_low_mm),
                _nozzle_mm(one.at_high_mm),
            )
            for one in circuit.figures
        ]
        now = _nozzle_mm(circuit.smallest_mm)
        lines += ["", f"Not known of the car; smallest nozzle, {circuit.circuit}, as taken: {now}", ""]
        lines += _upright(rows, ["figure", "taken", "it may be", "nozzle then", "to"]).splitlines()
    return "\n".join(lines) if lines else "\nAll that could be told of the car is known."


def _taken_and_range(one: FigureNotKnown) -> tuple[str, str]:
    (taken, low, high), unit = shown_alike([one.taken, one.low, one.high], one.unit)
    return f"{taken} {unit}".rstrip(), f"{low} to {high} {unit}".rstrip()


def _nozzle_mm(diameter_mm: float | None) -> str:
    return "none does" if diameter_mm is None else show_diameter(diameter_mm)


def size_text(report: SizeReport, *, everything: bool) -> str:
    lines: list[str] = []
    for circuit in report.circuits:
        lines += [*_sizes_text(report.vehicle, circuit, everything=everything), ""]
    lines += [wrapped(note, "  ", "* ") for note in [*map(in_a_sentence, report.not_known), *report.notes]]
    return "\n".join(lines)


def _sizes_text(vehicle: str, sizes: CircuitSizes, *, everything: bool) -> Iterable[str]:
    from configurator.advice.sure_sizes import SureCircuitSizes  # a check does without the book

    now = sizes.fitted
    enough = sizes.enough if isinstance(sizes, SureCircuitSizes) else sizes.smallest is not None
    answer = mark("YES" if enough else "NO")
    yield f"{answer}  {vehicle}, {sizes.circuit} circuit, smallest nozzle:"
    as_fitted = f"with {now.pump} and {now.lobe} at {now.phase_deg:g} deg, as fitted"
    yield wrapped(f"{as_fitted}: {_found(sizes, now.pump)}", " " * 7, " " * 5)
    for pump in sizes.smallest_by_pump:
        if pump != now.pump:
            yield wrapped(f"with {pump}: {_found(sizes, pump)}", " " * 7, " " * 5)
    yield ""
    rows = list(sizes.candidates) if everything else _around(sizes)
    yield _upright([_candidate_row(row) for row in rows], _HEADINGS)
    if any(row.odd_size for row in rows):
        yield f"  *: {OUT_OF_TRADE}"
    broken = dict.fromkeys(rule for row in rows if row.meets for rule in row.breaks)
    if broken:
        yield wrapped(f"yes (!): pulls cleanly, but {_breaks(broken)}", "  ", "")
    if not everything:
        yield f"({len(rows)} of {len(sizes.candidates)} combinations around the answer; ask for all to see every one)"


def _found(sizes: CircuitSizes, pump: str) -> str:
    choice = sizes.smallest_by_pump[pump]
    if choice is None:
        none = "none pulls cleanly and keeps every other rule"
        return f"{none}; `tipin propose` turns and changes the lobe, too" if pump == sizes.fitted.pump else none
    row = next(row for row in sizes.candidates if _nozzle(row) == _nozzle(choice) and row.pump == pump)
    others = [f"{row.lobe} at {row.phase_deg:g} deg"] if pump != sizes.fitted.pump else []
    others += [row.feed_screw] if row.feed_screw != sizes.fitted.feed_screw else []
    taken = f" with {', '.join(others)}" if others else ""
    odd = f"; {choice.odd_size}" if choice.odd_size else ""
    return choice.label + taken + (f"; but {_breaks(row.breaks)}" if row.breaks else "") + odd


def _breaks(rules: Iterable[str]) -> str:
    """What is wrong by some rules, those of the fit ahead."""
    broken = [RULES[rule] for rule in rules]
    told = [(WRONG[kind], [rule.wrong for rule in broken if rule.kind == kind]) for kind in WRONG]
    return "; ".join(f"{says}: {', '.join(wrong)}" for says, wrong in told if wrong)


_HEADINGS = (
    "nozzle, mm (thou)", "pump", "screw", "lobe, deg", "late\nms", "flat\n%", "nose\n%", "smoke\nms", "shot\ncc",
    "sure", "clean",
)  # fmt: skip


def _candidate_row(row: Candidate) -> list[str]:
    from configurator.advice.belief_told import sure_percent

    size = f"{row.diameter_mm:.2f} ({1e3 * row.diameter_in:.1f}) {row.style}{' *' if row.odd_size else ''}"
    return [
        size, row.pump, row.feed_screw, f"{row.lobe} {row.phase_deg:g}", _number(row.delay_ms),
        _number(row.lean_sag_percent), _number(row.rich_sag_percent), _number(row.smoke_ms),
        _number(row.volume_cc, 2), sure_percent(row.sureness),
        "yes" if row.meets and not row.breaks else "yes (!)" if row.meets else "no",
    ]  # fmt: skip


def _nozzle(row: Candidate | NozzleChoice) -> tuple[str | None, float, str]:
    return row.code, row.diameter_mm, row.style


def _number(value: float | None, digits: int = 0) -> str:
    return "-" if value is None else f"{value:.{digits}f}"


def _around(sizes: CircuitSizes) -> list[Candidate]:
    """For each pump the sizes next to its answer (or next to the fitted size), in the fitted style."""
    rows: list[Candidate] = []
    for pump, choice in sizes.smallest_by_pump.items():
        style = choice.style if choice else sizes.fitted.style
        own = [row for row in sizes.candidates if row.pump == pump and row.style == style]
        centre = choice.diameter_mm if choice else sizes.fitted.diameter_mm
        near = min(range(len(own)), key=lambda i: abs(own[i].diameter_mm - centre)) if own else 0
        rows += own[max(0, near - 2) : near + 3]
    return rows


def findings_lines(found: Iterable[Finding]) -> Iterable[str]:
    for finding in found:
        yield from finding_lines(finding)
        yield ""


def parts_text(family: str, rows: Sequence[Mapping[str, str]], nearest: str = "") -> str:
    """Rows under code, price and what tells them apart; what is the same in all of three or more in a line below."""
    if not rows:
        return f"{family}: none" + (f"; {nearest}" if nearest else "")
    same = _same_in_all(rows) if len(rows) > 2 else {}
    told = [name for name in _in_reading_order(rows[0]) if name not in same]
    lines = [f"{family}: {len(rows)}", _narrow_table(told, [[row[name] for name in told] for row in rows])]
    if same:
        lines += ["", wrapped("all: " + ", ".join(f"{name} {cell}" for name, cell in same.items()))]
    return "\n".join(lines)


def _same_in_all(rows: Sequence[Mapping[str, str]]) -> dict[str, str]:
    """Cells that every row has alike, prices left out."""
    return {name: cell for name, cell in rows[0].items() if name != "price" and all(row[name] == cell for row in rows)}


def _in_reading_order(columns: Iterable[str]) -> list[str]:
    """Code and price first, labour and supplier last."""
    rank = {"code": 0, "price": 1, "labour_min": 3, "supplier": 4}
    return sorted(columns, key=lambda name: rank.get(name, 2))


def _narrow_table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """The first layout that fits the page, else the last: upright, few rows on their side, upright and wrapped."""
    folded = ["\n".join(textwrap.wrap(name.replace("_", "_ "), 9)).replace(" ", "") for name in columns]
    heading, *on_side = ([name, *cells] for name, *cells in zip(columns, *rows, strict=True))
    on_its_side = [(heading, on_side, most) for most in (24, 14)] if len(rows) < 8 else []
    text = ""
    for layout in [(columns, rows, 44), *on_its_side, (folded, rows, 30), (folded, rows, 12)]:
        text = _table(*layout)
        if max(map(len, text.splitlines())) <= WIDTH:
            break
    return text


def _table(headings: Sequence[str], rows: Sequence[Sequence[str]], most: int) -> str:
    """Cells wrapped between words, at the width given or that of the column's longest word."""
    columns = zip(*rows, strict=True)
    widths = [max([most, *(len(word) for cell in column for word in cell.split())]) for column in columns]
    return _upright(rows, headings, maxcolwidths=widths)


def _upright(rows: Sequence[Sequence[str]], headings: Sequence[str], **layout: Any) -> str:
    from tabulate import tabulate  # takes a while, and most checks find too little to need a table

    cells = [[as_shown(cell) for cell in row] for row in rows]  # before the columns get their widths
    return tabulate(cells, list(headings), disable_numparse=True, **layout)


def sensitivity_text(report: SensitivityReport) -> str:
    first, two = report.rows[0], report.rows[0].proposed is not None
    lines = [f"{report.vehicle}, {report.circuit} circuit: smallest orifice whose pull comes at once"]
    lines.append(f"  as fitted: {_mm_or_none(first.fitted)}")
    if first.proposed:
        lines.append(f"  with the feed screw, pump and lobe proposed: {_mm_or_none(first.proposed)}")
    rows = [
        [row.figure, *_alike(row), *_ends(row.fitted), *(_ends(row.proposed) if row.proposed else ()), row.basis]
        for row in report.rows
    ]  # fmt: skip
    unit = shown_alike([ORIFICE_MM], "mm")[1]
    ends = [
        f"{whose}\nat {end}, {unit}" for whose in (["fitted", "proposed"] if two else ["fitted"])
        for end in ("low", "high")
    ]  # fmt: skip
    return "\n".join([*lines, "", _upright(rows, ["figure", "value", "low", "high", "unit", *ends, "basis"])])


def _alike(row: Sensitivity) -> tuple[str, ...]:
    figures, unit = shown_alike([row.value, row.low, row.high], row.unit, "g")
    return *figures, unit


def _ends(over: SmallestOver) -> tuple[str, str]:
    return _mm(over.at_low_mm), _mm(over.at_high_mm)


def _mm_or_none(over: SmallestOver) -> str:
    return "none up to 1.8 mm" if over.smallest_mm is None else f"{over.smallest_mm:.2f} mm"


def _mm(value: float | None) -> str:
    return "none" if value is None else shown_alike([value], "mm", ".2f")[0][0]
