"""What the page of a car shows, as plain data: one sentence, what is fitted, the runs."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from configurator.advice.belief_told import summary
from configurator.advice.next_step import AT_A_LOSS
from configurator.advice.over_unknown import in_a_sentence, unknown_of
from configurator.advice.sure_proposal import ELSEWHERE
from configurator.book.fitted_told import fitted_parts
from configurator.book.fitting import Fitting
from configurator.book.records import Trial
from configurator.car.unknown import TAKEN
from configurator.car.vehicle import Vehicle
from configurator.judging.feelings import MOMENT_SAYS
from configurator.learning.as_known import Known
from configurator.learning.belief import newest_first
from configurator.slots.slot import SLOT_WORDS, SLOTS
from configurator.views.belief import belief_lines, is_worth_having
from configurator.views.book import day_text, day_words, measured_text
from configurator.views.felt_signs import SideFelt, felt_sign
from configurator.web.judged import Judged
from configurator.web.pages import car_path
from configurator.web.state import CarState, state_by_last_run, state_of
from configurator.web.step_words import step_told, sure_told
from configurator.web.workshop import OPEN, Setting, Workshop

RUNS_SHOWN = 8
CLEAN_FELT = "pulls cleanly"


@dataclass(frozen=True)
class Sentence:
    """How it pulls, how that looks, and what is next; empty as long as that is not worked out. below : what it costs
    and how sure it is."""

    feels: str
    side: SideFelt
    next: str
    below: str


@dataclass(frozen=True)
class FittedRow:
    """A slot, what is in it, by whose word, and where the parts that can go there are shown."""

    slot: str
    what: str
    by: str
    address: str


@dataclass(frozen=True)
class RunRow:
    """A run in the book. day : said of it besides."""

    number: int
    sign: str
    side: SideFelt
    felt: str
    when: str
    parts: str
    day: str
    note: str


def shown_of_car(workshop: Workshop, setting: Setting, judged: Judged | None) -> dict[str, Any]:
    """What the template of a car takes; judged : None as long as it is not worked out."""
    known = setting.known
    last = setting.records.standing[-1] if setting.records.standing else None
    return {
        "setting": setting, "vehicle": setting.filed.vehicle, "built": built(setting.filed.vehicle),
        "sentence": _sentence(workshop, setting, judged), "judged": judged, "state": _state(setting, judged),
        "why": _why(known, judged) if judged else [], "fitted": _fitted(setting),
        "undo": last if isinstance(last, Fitting) else None,
        "runs": run_rows(setting, RUNS_SHOWN), "more_runs": max(0, len(setting.runs) - RUNS_SHOWN),
        "unknown": [TAKEN[place].says for place, _ in unknown_of(setting.filed.vehicle)],
    }  # fmt: skip


def built(vehicle: Vehicle) -> str:
    """A car in a line: engine, gearbox, weight."""
    litres, drive = vehicle.engine.displacement_cc / 1000, vehicle.driveline
    gearbox = {"manual": "manual", "converter": "automatic", "free": "no load"}[drive.transmission]
    said = [f"{litres:.1f} l", f"{vehicle.carburettor.barrels} barrels", gearbox]
    return ", ".join([*said, f"{drive.mass_kg:.0f} kg"] if drive.mass_kg else said)


def _state(setting: Setting, judged: Judged | None) -> CarState:
    if judged is not None:
        return state_of(setting.known, setting.runs, judged.report)
    return state_by_last_run(next(iter(newest_first(setting.runs)), None))


def _sentence(workshop: Workshop, setting: Setting, judged: Judged | None) -> Sentence:
    known = setting.known
    feels, side = _feels(workshop, setting)
    if judged is None:
        return Sentence(feels, side, "", "")
    report, totals = judged.report, judged.totals
    told = {
        "stop": "Leave it as it is." if known.pulls_cleanly else "By its figures it is right: drive it.",
        "nothing": "No part that may be tried is likely to help.",
        "try": "Run it once more as it is.",
    }[report.do]
    if report.changes:
        told = f"Next: {step_told(setting.case, report.changes, 'a ')}."
    if report.why.startswith(AT_A_LOSS):
        elsewhere = ELSEWHERE.removesuffix(", which may feel the same")
        told = f"{elsewhere[0].upper()}{elsewhere[1:]}. {told.replace('Next:', 'Then:')}"
    cost = [f"{workshop.price(totals.price)} · {totals.labour_min} min"] if report.changes else []
    sure = [] if report.sureness is None or not (report.changes or known.belief) else [sure_told(report.sureness)]
    return Sentence(feels, side, told, " · ".join([*cost, *sure]))


def _feels(workshop: Workshop, setting: Setting) -> tuple[str, SideFelt]:
    """As the last run with these parts felt; else by what is known of the car."""
    known = setting.known
    if known.last_felt is not None:
        sign = felt_sign(known.last_felt.word)
        return f"{sign.was.capitalize()} in run {known.last_run}.", sign.side
    by = "by its figures" if known.belief is None else "by its runs"
    shots = workshop.combination(setting, OPEN).shots
    amiss = [shot for shot in shots if shot.felt != CLEAN_FELT]
    if not amiss:
        return f"Pulls cleanly, {by}.", "right"
    lean = any("hesitates" in shot.felt or "run out" in shot.felt for shot in amiss)
    told = [
        f"{one} in the {shot.circuit}" if len(shots) > 1 else one for shot in amiss for one in shot.felt.split("; ")
    ]
    more = " and more" if len(told) > 1 else ""
    return f"{told[0][0].upper()}{told[0][1:]}{more}, {by}.", "lean" if lean else "rich"


def _why(known: Known, judged: Judged) -> list[str]:
    """What stands behind a step: its reason first, then what is behind it and what to keep in mind."""
    report = judged.report
    end = [
        "Expected in the end: " + ", ".join(f"{change.slot} {change.to}" for change in report.destination)
        + (f", {sure_told(report.destination_sureness)}" if report.destination_sureness else "")
        + (": have that at hand." if is_worth_having(report) else ": nothing to buy for that yet.")
    ] if report.destination else []  # fmt: skip
    behind = [" ".join(line.split()).lstrip("! ") for line in belief_lines(summary(known.believed))]
    reason = f"{report.why[0].upper()}{report.why[1:]}."
    return [reason, *end, *behind, *map(in_a_sentence, report.not_known), *report.notes]


def _fitted(setting: Setting) -> list[FittedRow]:
    """Every slot; that nothing is in one of the shared ones is left out of the words."""
    several = len(setting.case.circuit_names) > 1
    rows = []
    for part in fitted_parts(setting.now, setting.records):
        slot = SLOTS[part.slot]
        name = f"{slot.circuit} {SLOT_WORDS[slot.name]}" if several and slot.circuit else SLOT_WORDS[slot.name]
        by = "" if part.since is None else f"{part.by}, {day_words(part.since, datetime.now(UTC), clock=False)}"
        rows.append(
            FittedRow(name, part.what, by, f"{car_path(setting.name, 'parts')}?open={part.slot}#slot-{part.slot}")
        )
    return rows


def run_rows(setting: Setting, most: int | None = None) -> list[RunRow]:
    """Runs, the newest first, those that do not count too; as many as said."""
    newest = sorted(setting.runs, key=lambda run: (run.at, run.number or 0), reverse=True)
    return [_run_row(setting, run) for run in newest[:most]]


def _run_row(setting: Setting, run: Trial) -> RunRow:
    """One run; of its parts those that are not in the car now."""
    fitted = {str(slot): option.label for slot, option in setting.case.as_fitted.items()}
    other = [label for slot, label in run.codes.items() if slot in fitted and fitted[slot] != label]
    sign = felt_sign(run.felt.word if run.felt else None)
    said = [sign.was] if run.felt is None else [f"{sign.was}, {run.felt.strength}"]
    said += [MOMENT_SAYS[run.felt.moment]] if run.felt and run.felt.moment else []
    day = ", ".join(filter(None, [day_text(run), measured_text(run)]))
    return RunRow(
        run.number or 0, sign.sign, sign.side, ", ".join(said), day_words(run.at, datetime.now(UTC)),
        "with " + ", ".join(other) if other else "with these parts", day, run.note,
    )  # fmt: skip
