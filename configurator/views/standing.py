"""Where parts stand, and two combinations side by side, as plain text."""

from collections.abc import Iterable, Sequence

from tabulate import tabulate

from configurator.advice.comparison import Compared, CompareReport
from configurator.advice.standing import AvailabilityReport, Clash, Standing, State
from configurator.catalogue.settings import price_text
from configurator.rules import WRONG
from configurator.views.marks import mark
from configurator.views.tables import MEASURED_UNITS, cautions, counted, verdict_words, wrapped

STATE_WORDS: dict[State, str] = {
    "fits": "fits", "with_changes": "fits with", "will_not_cure": WRONG["cure"], "impossible": WRONG["fit"],
}  # fmt: skip
WILL_DO: tuple[State, ...] = ("fits", "with_changes")
LEAVE_ALONE = "a run pulled cleanly: leave the fuel side alone. Only what fits is told here, not how it would pull"


def why_text(report: AvailabilityReport) -> str:
    """One part in full, or a table of several."""
    told = [(slot.slot, option) for slot in report.slots for option in slot.options]
    lines = [
        wrapped(_head(report, told), " " * 5, ""),
        *(wrapped(f"First: {one}", " " * 7, " " * 5) for one in report.first),
        *_pinned(report),
        *([wrapped(LEAVE_ALONE, " " * 5)] if report.clean else []),
        "",
    ]
    if len(told) == 1:
        lines += _one(report, *told[0])
    else:
        if report.clash is not None:
            nothing = "Nothing at all fits as pinned." if report.clash.kind == "fit" else "Nothing cures it as pinned."
            lines += [nothing, *_clash_lines(report.clash, report), ""]
        for slot in report.slots:
            rows = [[option.label, STATE_WORDS[option.state], _briefly(option)] for option in slot.options]
            lines += [tabulate(rows, headers=[slot.slot, "", ""], disable_numparse=True, maxcolwidths=[38, 13, 56]), ""]
    return "\n".join([*lines, cautions()])


def _head(report: AvailabilityReport, told: Sequence[tuple[str, Standing]]) -> str:
    will_do = [option for _, option in told if option.state in WILL_DO]
    answer = f"{mark('YES' if will_do else 'NO')}  {report.vehicle}: "
    if len(told) != 1:
        states = [option.state for _, option in told]
        uncured, unfit = states.count("will_not_cure"), states.count("impossible")
        says = [f"{len(will_do)} of {len(told)} {'fit' if report.clean else 'will do'}"]
        says += [f"{uncured} fit{'s' if uncured == 1 else ''}, but {WRONG['cure']}"] if uncured else []
        says += [f"{unfit} do{'es' if unfit == 1 else ''} not fit"] if unfit else []
        return answer + "; ".join(says)
    slot, option = told[0]
    changes = counted(len(option.with_changes), "further change")
    fits = f"fits with {changes}" if option.with_changes else "fits as it is"
    wrong = "; ".join(option.wrong)
    how = {
        "fits": fits, "with_changes": fits, "impossible": f"{WRONG['fit']}: {wrong}",
        "will_not_cure": f"{fits if option.with_changes else 'fits'}, but {WRONG['cure']}: {wrong}",
    }  # fmt: skip
    return f"{answer}{slot} {option.label} {how[option.state]}"


def _pinned(report: AvailabilityReport) -> Iterable[str]:
    if report.pins:
        yield wrapped(f"pinned: {'; '.join(report.pins)}", " " * 5)
    yield "     judged with the linkage set"


def _one(report: AvailabilityReport, slot: str, option: Standing) -> Iterable[str]:
    if option.clash is not None:
        yield from _clash_lines(option.clash, report)
    if option.with_changes:
        yield (
            "The least that has to change with it:" if option.clash is None else "The least to change so that it fits:"
        )
        yield from (f"  - {one.slot}: {one.to}" for one in option.with_changes)
    if option.price is not None:
        yield f"In all {price_text(option.price, report.currency)} with gaskets, about {option.labour_min} min"
    yield ""


def _clash_lines(clash: Clash, report: AvailabilityReport) -> Iterable[str]:
    several = len(clash.pins) + len(clash.rules) > 1
    yield f"Whatever else is fitted, {'one of these' if several else 'this'} is left:"
    yield from (f"  - {pin}" if pin in report.felt else f"  - you asked for {pin}" for pin in clash.pins)
    for place, (rule, says) in enumerate(zip(clash.rules, clash.says, strict=True)):
        yield wrapped(f"{(clash.found and clash.found[place]) or says} [{rule}]", "    ", "  - ")
    if clash.others:
        yield f"  {counted(clash.others, 'other reason')} would do as well."
    if clash.give_up:
        yield f"To make room for it give up{' one of these' if len(clash.give_up) > 1 else ''}:"
        for way in clash.give_up:
            named = [f"the symptom ({pin})" if pin in report.felt else pin for pin in way]
            yield wrapped(" and ".join(named), "    ", "  - ")
    elif report.pins:
        yield "Nothing you pinned makes the difference."


def _briefly(option: Standing) -> str:
    return "; ".join(option.wrong or [f"{one.slot}: {one.to}" for one in option.with_changes])


def compare_text(report: CompareReport) -> str:
    """Both combinations, figure by figure, the verdict first."""
    both = (report.first, report.second)
    lines = [f"{report.vehicle}:"]
    for one in both:
        lines.append(f"  {mark('OK' if one.ok else 'NO', 9)} {one.title}: {verdict_words(one.findings)}")
        amiss = (f for f in one.findings if f.holds is False and f.severity == "conflict")
        lines += [wrapped(f"{f.circuit}: {f.says}" if f.circuit else f.says, " " * 14, " " * 12) for f in amiss]
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
