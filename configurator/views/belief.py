"""Belief, sureness and the next run as plain text."""

from collections.abc import Iterable, Sequence

from configurator.advice.belief_told import BeliefSummary, RunInDoubt, sure_percent
from configurator.advice.next_step import CLEAN_NOW, NextReport
from configurator.advice.over_unknown import in_a_sentence
from configurator.advice.sure_proposal import ELSEWHERE, UNLIKELY, SureProposeReport
from configurator.advice.sure_sizes import SureSizeReport
from configurator.reports import ProposeReport
from configurator.views.marks import mark
from configurator.views.proposal import propose_text
from configurator.views.tables import cautions, counted, size_text, wrapped


def next_text(report: NextReport) -> str:
    """The next run, or that there is none, with what stands behind it."""
    lines = [*_head(report), *(wrapped(f"First: {one}", " " * 7, " " * 5) for one in report.first)]
    for change in report.changes:
        lines.append(f"     {change.slot}: {change.to}")
        lines.append(f"       in place of {change.from_}; {change.labour_min:.0f} min")
    lines += [wrapped(report.why, "     ")]
    if report.do == "nothing" and not report.destination:
        lines.append("     `tipin propose` tells what is in the way, and what a part would have to be like")
    if report.destination:
        sure = f" ({sure_percent(report.destination_sureness)})" if report.destination_sureness else ""
        parts = ", ".join(f"{change.slot} {change.to}" for change in report.destination)
        at_hand = "have those at hand" if is_worth_having(report) else "nothing to buy for that yet"
        lines.append(wrapped(f"in the end the model expects {parts}{sure}: {at_hand}", "     "))
    lines.append("")
    if report.outcomes:
        lines.append("If it is felt (parts that are right are not always felt clean)")
        for outcome in report.outcomes:
            # Of parts that were complained of against the model, its chances would be believed by nobody.
            chance = f" ({100 * outcome.chance:3.0f} %)" if report.changes else ""
            first = f"  {outcome.felt:13}{chance}: "
            lines.append(wrapped(outcome.then, " " * len(first), first))
        lines.append("")
    lines += [*belief_lines(report.belief)]
    lines += [wrapped(note, "  ", "* ") for note in [*map(in_a_sentence, report.not_known), *report.notes]]
    return "\n".join([*lines, "", cautions()])


def is_worth_having(report: NextReport) -> bool:
    """Whether the parts of the destination are likely enough to be had before it comes to them."""
    return (report.destination_sureness or 0.0) >= UNLIKELY


def _head(report: NextReport) -> Iterable[str]:
    once_more = report.do == "try" and not report.changes
    sure = "" if report.sureness is None or once_more else f", sure to be right to {sure_percent(report.sureness)}"
    if report.do == "nothing":
        yield f"{mark('NO')}  {report.vehicle}: nothing to try"
    elif report.why == CLEAN_NOW:
        yield f"{mark('OK')}  {report.vehicle}: stop, it is right as it is"
    elif report.do == "stop":
        yield f"{mark('OK')}  {report.vehicle}: leave it as it is{sure}"
    elif not report.changes:
        yield f"{mark('TRY')}  {report.vehicle}: run it once more as it is{sure}"
    else:
        long_shot = report.by_practice or (report.sureness is not None and report.sureness < UNLIKELY)
        yield (
            f"{mark('TRY')}  {report.vehicle}: {'if all else is in order' if long_shot else 'this next'}, "
            f"about {report.labour_min:.0f} min{sure}"
        )


def belief_lines(belief: BeliefSummary) -> Iterable[str]:
    """How many runs stand behind an answer, what they say of the engine, and which do not go together."""
    behind = counted(belief.runs, "run") if belief.runs else ""
    if belief.felt_now:
        behind = f"{behind} and what is felt now" if behind else "what is felt now"
    stand = "stands" if not (belief.runs and belief.felt_now) and belief.runs < 2 else "stand"
    runs = f"{behind} {stand} behind this" if behind else "no run stands behind this yet"
    runs += f", {belief.left_out} more left out (cold engine)" if belief.left_out else ""
    yield wrapped(runs, "     ", "  ")
    yield from _doubted_lines(belief.doubted)


def _doubted_lines(doubted: Sequence[RunInDoubt]) -> Iterable[str]:
    """Which runs do not go with the others, each with the chance that it is right all the same."""
    if not doubted:
        return
    named = [f"run {one.run}" if one.run else "what is felt now" for one in doubted]
    why = "misjudged, or a figure of the car or of its parts is not as written down, or something else has changed "
    why += "(linkage, float)"
    says = f"{' and '.join(named)} do not go with this car" if len(doubted) > 1 else f"{named[0]} is in doubt"
    chances = " and ".join(_chance(one.chance) for one in doubted)
    again = "it" if len(doubted) == 1 else "one of them"
    yield wrapped(f"{says}, with {chances} to be right: {why}. Make {again} again, or take it back", "    ", "  ! ")


def _chance(share: float) -> str:
    """A chance in words.

    >>> _chance(0.44), _chance(0.013), _chance(0.0001)
    ('44 %', '1 chance in 77', 'less than 1 chance in 1,000')
    """
    if share < 0.001:
        return "less than 1 chance in 1,000"
    return f"{100 * share:.0f} %" if share >= 0.095 else f"1 chance in {1 / share:.0f}"


def sure_size_text(report: SureSizeReport, *, everything: bool) -> str:
    """Sizes with the sureness of each, the next step and the runs behind them first."""
    lines = [f"next: {report.next_step}; `tipin next` says why"]
    for sizes in report.circuits:
        if sizes.smallest is None or sizes.sureness is None:
            lines.append(f"  {sizes.circuit}: no nozzle alone is likely to be right with the fitted pump")
        elif sizes.clean:
            lines.append(f"  {sizes.circuit}: {sizes.smallest.label}; {sizes.clean}")
        else:
            short = f"; none reaches {100 * report.sureness_wanted:g} %, and none is much surer"
            lines.append(
                f"  {sizes.circuit}: {sizes.smallest.label}, sure to be right to {sure_percent(sizes.sureness)}"
                f"{'' if sizes.enough else short}"
            )
    return "\n".join([*lines, *belief_lines(report.belief), "", size_text(report, everything=everything)])


def sure_propose_text(report: SureProposeReport) -> str:
    """A proposal with its sureness and the runs behind it."""
    lines = []
    if report.sureness is not None and report.changes:
        short = (
            ""
            if report.sureness >= report.sureness_wanted
            else f"; none reaches {100 * report.sureness_wanted:g} %, and none is much surer"
        )
        lines.append(f"  sure to be right to {sure_percent(report.sureness)}{short}")
        if report.sureness < UNLIKELY and report.changes:
            lines.append(wrapped(f"unlikely to be right: {ELSEWHERE}", "     ", "  "))
    if report.first_step:
        parts = ", ".join(f"{change.slot} {change.to}" for change in report.first_step)
        how = "the trade would try" if report.conflict else "not all at once: first"
        lines.append(wrapped(f"{how} {parts} (tipin next says more)", "     ", "  "))
    first, _, rest = propose_text(report).partition("\n")
    return "\n".join([first, *lines, *belief_lines(report.belief), rest])


def proposal_text(report: ProposeReport) -> str:
    """A proposal, with its sureness and the runs behind it where there are any."""
    return sure_propose_text(report) if isinstance(report, SureProposeReport) else propose_text(report)
