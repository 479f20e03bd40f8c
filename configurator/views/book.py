"""The workshop book as plain text: runs, what is fitted, and what is on the shelf."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import partial

from tabulate import tabulate

from configurator.book.fitted_told import FittedReport, FittedStep
from configurator.book.records import Trial
from configurator.book.shelf import StockReport
from configurator.book.soundness import BookReport
from configurator.book.stock import StockMove
from configurator.catalogue.settings import price_text
from configurator.errors import one_line
from configurator.judging.feelings import MOMENT_SAYS
from configurator.learning.pulled import told_of
from configurator.learning.trial_entry import TrialReport
from configurator.slots.slot import SLOTS
from configurator.views.marks import mark
from configurator.views.tables import counted, wrapped

LONGEST_NAME, LONGEST_NOTE = 24, 40
_NOTHING_THERE = "none"


def trial_text(report: TrialReport, *, of_all: bool) -> str:
    """What was done with runs; of_all: whether a list is of all vehicles, and so names them."""
    if report.did == "recorded":
        return "\n".join(_recorded_lines(report))
    if report.did == "undone" and report.set_aside:
        (unread,) = report.set_aside
        what = f"run {unread.number} undone, which could not be read"
        return f"{mark('OK')}  {what}: {_shown(unread.vehicle)}; it stays, marked"
    if report.did == "undone":
        (trial,) = report.trials
        return f"{mark('OK')}  run {trial.number} undone: {_shown(trial.vehicle)}, {felt_text(trial)}; it stays, marked"
    if report.did == "imported":
        known = f"; {report.known} left out, as the book holds them already" if report.known else ""
        return f"{mark('OK')}  {counted(len(report.trials), 'run')} recorded in {report.book}{known}"
    aside = [wrapped(one.says, "    ", "  ! ") for one in report.set_aside if not one.undone]
    if not report.trials:
        return "\n".join([f"No runs of that in {report.book} yet: `tipin trial add` records one", *aside])
    return "\n".join([_table_of(report.trials, of_all), *aside])


def exported_text(trials: Sequence[Trial]) -> str:
    return f"{mark('OK')}  {counted(len(trials), 'run')} written"


def _recorded_lines(report: TrialReport) -> Iterable[str]:
    (trial,) = report.trials
    did = "was in the book already, nothing is entered twice" if report.known else f"recorded in {report.book}"
    yield f"{mark('OK')}  run {trial.number} {did}: {_shown(trial.vehicle)}, {felt_text(trial)}"
    fitted = {slot: label for slot, label in trial.codes.items() if label != _NOTHING_THERE}
    wide = max(map(len, fitted))
    yield from (f"    {slot.ljust(wide)}  {label}" for slot, label in fitted.items())
    if said := day_text(trial):
        yield f"    {'on the day'.ljust(wide)}  {said}"
    if measured := measured_text(trial):
        yield f"    {'measured'.ljust(wide)}  {measured}"
    if report.pull is not None:
        yield from (wrapped(one, "    ", "    ") for one in report.pull.says)
    yield from (wrapped(one, "    ", "  * ") for one in report.taken)
    for note in report.notes:
        yield wrapped(note, "  ", "! ")


def _shown(text: str, longest: int = 200) -> str:
    """Text of a user's on one line of a terminal."""
    text = one_line(text)
    return text if len(text) <= longest else text[: longest - 3] + "..."


def felt_text(trial: Trial) -> str:
    """What was felt, how strongly and when, in words."""
    if trial.felt is None:
        return "a recorded pull" if trial.trace is None else "a trace" if trial.pull is None else "a trace and a pull"
    when = f", {MOMENT_SAYS[trial.felt.moment]}" if trial.felt.moment else ""
    return f"{trial.felt.word} ({trial.felt.strength}{when})"


def day_text(trial: Trial) -> str:
    """The conditions of a run, as far as they were said."""
    day = trial.conditions
    said = [
        f"{value:g} {unit}"
        for value, unit in ((day.air_temperature_c, "deg C"), (day.altitude_m, "m"), (day.air_pressure_kpa, "kPa"))
        if value is not None
    ]
    said += [_shown(day.fuel, LONGEST_NOTE)] if day.fuel else []
    return ", ".join(said + ([] if day.warm else ["engine cold"]))


def measured_text(trial: Trial) -> str:
    said = []
    if trial.clean_after_ms is not None:
        said.append(f"clean after {trial.clean_after_ms:.0f} ms")
    if trial.trace is not None:
        trace = trial.trace
        said.append(f"lean {trace.hole_ms:.0f} ms, rich {trace.flood_ms:.0f} ms, give or take {trace.doubt_ms:.0f} ms")
    if trial.pull is not None:
        pull = told_of(trial.pull)
        of = counted(len(trial.pull.tip_ins), "tip-in")
        said.append(f"pull there {pull.rise_ms:.0f} ms after it begins, falls by {pull.sag_percent:.0f} % ({of})")
    return "; ".join(said)


def _table_of(trials: Sequence[Trial], of_all: bool) -> str:
    rows = []
    for trial in trials:
        said = (day_text(trial), measured_text(trial), _shown(trial.note, LONGEST_NOTE))
        row = {"run": str(trial.number), "at": when(trial.at)}
        row |= {"vehicle": _shown(trial.vehicle, LONGEST_NAME)} if of_all else {}
        row |= {"felt": felt_text(trial), "fitted": "\n".join(_fitted(trial))}
        row |= {"besides": "\n".join(filter(None, said))}
        rows.append(row | {"counts": "undone" if trial.undone else "yes" if trial.conditions.warm else "no, cold"})
    return tabulate(rows, headers="keys", disable_numparse=True)


def _fitted(trial: Trial) -> Iterable[str]:
    """What was fitted: the nozzle of each circuit, below it what goes with it, and what is fitted besides."""
    fitted = [(slot, trial.codes[written]) for written, slot in SLOTS.items() if written in trial.codes]
    several = any(slot.circuit == "rear" for slot, _ in fitted)
    for circuit in ("front", "rear"):
        labels = [label for slot, label in fitted if slot.circuit == circuit]
        if labels:
            yield (f"{circuit} " if several else "") + labels[0]
            yield "  " + ", ".join(labels[1:])
    yield from (f"{slot} {label}" for slot, label in fitted if not slot.circuit and label != _NOTHING_THERE)


def when(at: datetime) -> str:
    """A time as the workshop's clock has it, which is the machine's."""
    return f"{at.astimezone():%Y-%m-%d %H:%M}"


def day_words(at: datetime, now: datetime, *, clock: bool = True) -> str:
    """A day as one says it, by the machine's own clock; today with the time."""
    there, here = at.astimezone(), now.astimezone()
    if there.date() == here.date():
        return f"today {there:%H:%M}" if clock else "today"
    return f"{there.day} {there:%b}" + (f" {there.year}" if there.year != here.year else "")


def fitted_text(report: FittedReport) -> str:
    """What is fitted now, below what was just done; by what that is known, and how it came to it."""
    lines = []
    if report.did != "shown":
        lines.append(f"{mark('OK')}  entry {report.entry} {report.did} in {report.book}: {_shown(report.vehicle)}")
        lines += [f"{mark('OK')}  {move_text(move)}" for move in report.moved]
        lines += [wrapped(note, "  ", "! ") for note in report.notes]
        lines.append("")
    lines.append(f"Fitted now on {_shown(report.vehicle)}:")
    slot_wide, what_wide = (max(len(getattr(part, name)) for part in report.parts) for name in ("slot", "what"))
    for part in report.parts:
        by = f"{part.by}, {when(part.since)}" if part.since else part.by
        lines.append(f"    {part.slot.ljust(slot_wide)}  {part.what.ljust(what_wide)}  {by}")
        if part.in_file != part.what:
            lines.append(f"    {''.ljust(slot_wide)}  {part.in_file} in the vehicle file")
    if report.did == "shown":
        lines += [wrapped(note, "  ", "! ") for note in report.notes]
        lines += ["", "How it came to that:", *map(_step_text, report.history)] if report.history else []
    return "\n".join(lines)


def _step_text(step: FittedStep) -> str:
    put_in = ", ".join(f"{slot} {label}" for slot, label in step.put_in.items()) or "no part changed"
    note = f" ({_shown(step.note, LONGEST_NOTE)})" if step.note else ""
    return wrapped(f"{when(step.at)}  {step.by}{', undone' if step.undone else ''}: {put_in}{note}", "      ", "  ")


def book_text(report: BookReport) -> str:
    """Whether a book is sound, what it holds, and what is wrong with it."""
    ok = f"{mark('OK')}  {report.book} is sound" if not report.faults else f"{mark('NO')}  {report.book} is not sound"
    holds = (
        counted(report.runs, "run"),
        f"{report.entries} entries of what is fitted",
        f"{report.movements} movements",
    )
    lines = [ok, f"    {', '.join(holds)}", *(wrapped(one, "    ", "  ! ") for one in report.faults)]
    return "\n".join(lines)


def stock_text(report: StockReport) -> str:
    """The shelf, below what was just moved."""
    lines = [f"{mark('OK')}  {move_text(move)}" for move in report.moved]
    if not report.rows:
        return "\n".join([*lines, f"Nothing on the shelf of {report.book}: `tipin stock add CODE NUMBER` books parts"])
    money = partial(_money, currency=report.currency)
    rows = [
        (row.code, row.family or "not in this catalogue", str(row.quantity), money(row.price), money(row.value))
        for row in report.rows
    ]
    rows.append(("", "", str(sum(row.quantity for row in report.rows)), "", money(report.value)))
    table = tabulate(
        rows, headers=["code", "family", "number", "price", "value"], disable_numparse=True,
        colalign=("left", "left", "right", "right", "right"),
    )  # fmt: skip
    return "\n".join([*lines, *([""] if lines else []), table])


def history_text(report: StockReport) -> str:
    """Every movement, oldest first."""
    if not report.moved:
        return f"No movement in {report.book} yet: `tipin stock add CODE NUMBER` books one"
    rows = [(when(move.at), move.code, f"{move.change:+d}", _shown(move.why, 60)) for move in report.moved]
    return tabulate(
        rows, headers=["at", "code", "change", "why"], disable_numparse=True,
        colalign=("left", "left", "right", "left"),
    )  # fmt: skip


def move_text(move: StockMove) -> str:
    return f"{move.change:+d} {move.code}: {_shown(move.why, 60)}"


def _money(amount: float | None, currency: str) -> str:
    return "-" if amount is None else price_text(amount, currency)
