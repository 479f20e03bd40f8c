"""Where parts stand, and two combinations side by side, as plain text."""

from collections.abc import Iterable, Sequence

from tabulate import tabulate

from configurator.advice.comparison import Compared, CompareReport
from configurator.advice.standing import AvailabilityReport, Clash, Standing
from configurator.views.marks import mark
from configurator.views.tables import MEASURED_UNITS, cautions, counted, wrapped

STATE_WORDS = {"fits": "fits", "with_changes": "fits with", "impossible": "impossible"}


def why_text(report: AvailabilityReport) -> str:
    """One part in full, or a table of several."""
    told = [(slot.slot, option) for slot in report.slots for option in slot.options]
    lines = [
        _head(report, told),
        *(wrapped(f"First: {one}", " " * 7, " " * 5) for one in report.first),
        *_pinned(report),
        "",
    ]
    if len(told) == 1:
        lines += _one(report, *told[0])
    else:
        if report.clash is not None:
            lines += [*_clash_lines(report.clash, "Nothing at all fits as pinned.", report), ""]
        for slot in report.slots:
            rows = [[option.label, STATE_WORDS[option.state], _briefly(option, report)] for option in slot.options]
            lines += [tabulate(rows, headers=[slot.slot, "", ""], disable_numparse=True, maxcolwidths=[40, 12, 56]), ""]
    return "\n".join([*lines, cautions()])


def _head(report: AvailabilityReport, told: Sequence[tuple[str, Standing]]) -> str:
    possible = [option for _, option in told if option.state != "impossible"]
    if len(told) != 1:
        return f"{mark('YES' if possible else 'NO')}  {report.vehicle}: {len(possible)} of {len(told)} can be fitted"
    slot, option = told[0]
    name = f"{slot} {option.label}"
    if option.state == "impossible":
        return f"{mark('NO')}  {report.vehicle}: {name} is impossible"
    further = counted(len(option.with_changes), "further change")
    how = f"fits with {further}" if option.with_changes else "fits as it is"
    return f"{mark('YES')}  {report.vehicle}: {name} {how}"


def _pinned(report: AvailabilityReport) -> Iterable[str]:
    if report.pins:
        yield wrapped(f"pinned: {'; '.join(report.pins)}", " " * 5)
    yield "     judged with the linkage set"


def _one(report: AvailabilityReport, slot: str, option: Standing) -> Iterable[str]:
    if option.clash is not None:
        yield from _clash_lines(option.clash, f"{option.label} cannot go with:", report)
    if option.with_changes:
        yield "The least that has to change with it:"
        yield from (f"  - {one.slot}: {one.to}" for one in option.with_changes)
    if option.price is not None:
        yield f"In all {option.price:.2f} with gaskets, about {option.labour_min} min"
    yield ""


def _clash_lines(clash: Clash, first: str, report: AvailabilityReport) -> Iterable[str]:
    yield first
    yield from (f"  - {pin}" if pin in report.felt else f"  - you asked for {pin}" for pin in clash.pins)
    for place, (rule, says) in enumerate(zip(clash.rules, clash.says, strict=True)):
        yield wrapped(f"{says} [{rule}]", "    ", "  - ")
        if clash.found and clash.found[place]:
            yield wrapped(f"here: {clash.found[place]}", "    ")
    yield "  None of these can be left out." if len(clash.pins) + len(clash.rules) > 1 else "  That alone forbids it."
    if clash.others:
        yield f"  {counted(clash.others, 'other reason')} would do as well."
    if clash.give_up:
        yield f"To make room for it give up{' one of these' if len(clash.give_up) > 1 else ''}:"
        for way in clash.give_up:
            named = [f"the symptom ({pin})" if pin in report.felt else pin for pin in way]
            yield wrapped(" and ".join(named), "    ", "  - ")
    elif report.pins:
        yield "Nothing you pinned makes the difference: the rules alone forbid it."


def _briefly(option: Standing, report: AvailabilityReport) -> str:
    if option.with_changes:
        return "; ".join(f"{one.slot}: {one.to}" for one in option.with_changes)
    if option.clash is None or option.clash == report.clash:
        return "" if option.clash is None else "as said above"
    return "; ".join([*option.clash.pins, *option.clash.rules])


def compare_text(report: CompareReport) -> str:
    """Both combinations, figure by figure, the verdict first."""
    both = (report.first, report.second)
    lines = [f"{report.vehicle}:"]
    for one in both:
        wrong = sum(f.severity == "conflict" and f.holds is False for f in one.findings)
        lines.append(f"  {mark('OK' if one.ok else 'CONFLICT', 9)} {one.title}: "
                     f"{'no conflict' if not wrong else counted(wrong, 'conflict')}")  # fmt: skip
    titles = [one.title for one in both]
    for heading, rows in (
        ("parts that differ", report.parts), ("delivered", report.figures),
        ("margin (below 0 it fails)", report.margins), ("work", report.work),
    ):  # fmt: skip
        if rows:
            show = _margin_cell if rows is report.margins else _figure_cell if rows is report.figures else _cell
            cells = [[row.what, show(row, row.first), show(row, row.second)] for row in rows]
            lines += ["", tabulate(cells, headers=[heading, *titles], disable_numparse=True, maxcolwidths=[46, 30, 30])]
    return "\n".join([*lines, "", cautions()])


def _cell(row: Compared, value: str | float | None) -> str:
    if value is None:
        return "-"
    if isinstance(value, str):
        return value
    digits = 2 if row.unit in ("cc", "mm") or row.what == "price" else 0
    return f"{value:.{digits}f} {row.unit}".strip()


def _figure_cell(row: Compared, value: str | float | None) -> str:
    """A figure of a shot; none where lobe and lever do not meet."""
    if value is None:
        return "-" if "right for" in row.what else "nothing comes"
    return _cell(row, value)


def _margin_cell(row: Compared, value: str | float | None) -> str:
    """A measured margin; of counted things only whether the rule holds."""
    if isinstance(value, float) and row.unit not in MEASURED_UNITS:
        return "fails" if value < 0 else "holds"
    return _cell(row, value)
