"""Two recorded pulls of a car, set side by side, as plain text."""

from configurator.learning.pull_told import PullsCompared
from configurator.views.marks import mark
from configurator.views.tables import wrapped


def compared_text(report: PullsCompared) -> str:
    """Whether the two differ by more than chance, by how much, and what was changed."""
    first, second = report.runs
    differs = report.delay_differs or report.sag_differs
    says = "differ by more than chance" if differs else "differ by no more than chance"
    lines = [f"{mark('OK' if differs else 'NO')}  {report.vehicle}: runs {first} and {second} {says}"]
    less = "less" if report.delay_change_ms < 0 else "more"
    one, other = report.delay_ms
    lines.append(
        f"    hesitates {max(one, 0.0):.0f} ms, then {max(other, 0.0):.0f} ms: {abs(report.delay_change_ms):.0f} ms"
        f" {less}, give or take {report.delay_doubt_ms:.0f}{_chance(report.delay_differs)}"
    )
    less = "less" if report.sag_change_percent < 0 else "more"
    one, other = report.sag_percent
    lines.append(
        f"    falls by {one:.0f} %, then by {other:.0f} %: {abs(report.sag_change_percent):.0f} {less},"
        f" give or take {report.sag_doubt_percent:.0f}{_chance(report.sag_differs)}"
    )
    changed = "; ".join(report.changed) or "no part"
    return "\n".join([*lines, wrapped(f"changed between them: {changed}", "    ", "    ")])


def _chance(differs: bool) -> str:
    return "" if differs else ", so it may be chance"
