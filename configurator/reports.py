"""Answers as data: what check, size and propose return, and what is printed as JSON.

Frozen pydantic models, so that the documented schema is made from them. Lengths, volumes and times carry their unit in
the name; a number that does not exist is null.
"""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

SCHEMA_VERSION = 2
CURRENCY_TOLD = "what stands behind every price; empty where the catalogue names none"


class Report(BaseModel):
    """A frozen answer or part of one."""

    model_config = ConfigDict(frozen=True, populate_by_name=True, allow_inf_nan=False)


class Answer(Report):
    """A whole answer."""

    schema_version: int = Field(SCHEMA_VERSION, description="raised when a key changes its meaning or goes")


class FigureNotKnown(Report):
    """A figure of a car that nobody told, and how far it moves the smallest nozzle."""

    figure: str = Field(description="table and key of the vehicle file")
    says: str = Field(description="what it is, in words")
    unit: str = Field(description="unit of its key; empty where it has none")
    taken: float = Field(description="what is taken in its place")
    low: float = Field(description="low end of its range")
    high: float = Field(description="high end")
    at_low_mm: float | None = Field(description="smallest nozzle there, mm; null where none from 0.35 to 1.8 mm does")
    at_high_mm: float | None = Field(description="the same at the high end")


class NotKnown(Report):
    """The smallest nozzle of one circuit over what is not known of the car, with screw, pump and lobe as fitted."""

    circuit: str = Field(description="front or rear")
    smallest_mm: float | None = Field(description="with every figure as it is taken, mm; null where none does")
    from_mm: float | None = Field(description="smallest of its range, mm; null where none does as taken")
    to_mm: float | None = Field(description="largest of its range, mm")
    figures: list[FigureNotKnown] = Field(description="what is not known, what moves it most first")


class AnswerOnCar(Answer):
    """An answer on one car, some figures of which nobody may know."""

    not_known: list[NotKnown] = Field(
        default=[],
        description="how far the smallest nozzle may lie off, one entry a circuit; empty where all that "
        "could be told is known, or where the car pulls cleanly",
    )
    set_aside: list[str] = Field(
        default=[], description="runs in the book that cannot be read and count for nothing: why, and what to do"
    )


class EngineTold(Report):
    """The two unknowns of an engine."""

    late_first_fuel: float = Field(description="how late the first fuel is, times the model's own")
    late_main_circuit: float = Field(description="how late the main circuit comes, times the model's own")


class Finding(Report):
    """One rule read on one choice of parts."""

    rule: str = Field(description="id of the rule; docs/rules.md explains each")
    kind: Literal["fit", "cure"] = Field(
        description="what is amiss where it does not hold: it does not fit, or it fits and will not cure what is felt"
    )
    severity: Literal["conflict", "warning", "note"] = Field(description="how much it matters where it does not hold")
    circuit: str | None = Field(description="front, rear, or null for the car as a whole")
    holds: bool | None = Field(description="whether the rule holds; null where a measurement is missing")
    margin: float | None = Field(
        description="how far inside (at least 0) or outside (below 0), in `unit`; null unknown"
    )
    unit: str = Field(description="unit of the margin")
    says: str = Field(
        description="what is wrong, with the figure found and the one allowed; where it holds, what is right"
    )
    mend: str = Field(description="what usually mends it; empty where nothing is wrong")
    seen: str = Field(
        "",
        description="what the model itself sees in this car by what a rule of the trade asks for; empty elsewhere",
    )
    basis: str = Field(description="what the rule's figure rests on")
    source: str = Field(description="where a published figure stands; empty where there is none")


class Totals(Report):
    """What a list of changes comes to."""

    changes: int = Field(description="slots that change")
    price: float = Field(description="parts, work and gaskets, in the workshop's currency")
    currency: str = Field("", description=CURRENCY_TOLD)
    labour_min: int = Field(description="labour, minutes")


class CheckReport(AnswerOnCar):
    """Answer of `tipin check`."""

    vehicle: str = Field(description="name in the vehicle file")
    ok: bool = Field(description="no conflict (warnings and notes may be there)")
    clean: str = Field(
        description="what says that it pulls cleanly with these very parts, such as a run; empty where nothing does. "
        "What the rules find on the fuel side is a note then"
    )
    engine: EngineTold = Field(description="the engine it was judged in")
    with_changes: dict[str, str] = Field(description="slot and what was put there, as asked for")
    findings: list[Finding] = Field(description="what does not hold, conflicts first; if asked for, all that holds")
    notes: list[str] = Field([], description="where the workshop book has other parts in the car than the vehicle file")


class NozzleChoice(Report):
    """A nozzle as an answer."""

    code: str | None = Field(description="code; null for a nozzle that has none")
    diameter_mm: float = Field(description="orifice diameter, mm")
    diameter_in: float = Field(description="the same, inch")
    style: str = Field(description="straight or aimed")
    label: str = Field(description="as text for people")
    odd_size: str = Field(description="what is wrong with a size out of the trade's; empty for one in use")


class Candidate(Report):
    """One combination of a table of sizes; figures are null where lobe and pump do not go together."""

    code: str | None = Field(description="code of the nozzle; null for one that has none")
    diameter_mm: float = Field(description="orifice diameter, mm")
    diameter_in: float = Field(description="the same, inch")
    style: str = Field(description="straight or aimed")
    odd_size: str = Field(description="what is wrong with a size out of the trade's; empty for one in use")
    pump: str = Field(description="code of the pump, its class, or what ten strokes gave")
    feed_screw: str = Field(description="code of the feed screw, its class, or as measured")
    lobe: str = Field(description="code of the lobe, or the measured lobe")
    phase_deg: float = Field(description="its mounting phase, degrees")
    delay_ms: float | None = Field(description="how much later than the best of the same air the pull comes, ms")
    lean_sag_percent: float | None = Field(
        description="deepest later fall of the pull for want of fuel, per cent of the best"
    )
    rich_sag_percent: float | None = Field(description="the same for too much fuel")
    smoke_ms: float | None = Field(description="time of black smoke, ms")
    volume_cc: float | None = Field(description="shot, cc")
    duration_ms: float | None = Field(description="tip-in until 95 % of the shot is out, ms")
    peak_cc_s: float | None = Field(description="greatest flow, cc/s")
    sureness: float = Field(description="share of what is believed of the engine that it is right for, 0 to 1")
    meets: bool = Field(description="delay, sag and smoke are within what goes unfelt, in the engine it was judged in")
    breaks: list[str] = Field(description="ids of rules that this combination breaks, the demand included")


class CircuitSizes(Report):
    """Sizes for one circuit."""

    circuit: str = Field(description="front or rear")
    smallest: NozzleChoice | None = Field(
        description="smallest nozzle that meets the demand and keeps every other rule, with the fitted pump"
    )
    smallest_by_pump: dict[str, NozzleChoice | None] = Field(description="the same with each pump, by its code")
    fitted: Candidate = Field(description="what is fitted")
    candidates: list[Candidate] = Field(description="every nozzle with every pump, each with its best screw and lobe")


class SizeReport(AnswerOnCar):
    """Answer of `tipin size`."""

    vehicle: str = Field(description="name in the vehicle file")
    ok: bool = Field(description="every circuit asked for has a smallest nozzle with the fitted pump")
    engine: EngineTold = Field(description="the engine it was judged in")
    circuits: list[CircuitSizes] = Field(description="one entry a circuit")
    notes: list[str] = Field(description="what to keep in mind")


class Change(Report):
    """One change of a proposal."""

    slot: str = Field(description="front.nozzle, ..., spacer, pad_relief")
    from_: str = Field(alias="from", description="what is fitted")
    to: str = Field(description="what takes its place")
    code: str | None = Field(description="code of the part or of the work; null for a removal")
    work: Literal["fit", "remove", "redrill", "rephase", "relieve"] = Field(description="what is done")
    reversible: bool = Field(description="whether it can be undone")
    price: float = Field(description="price of the part or the work; 0 for a part that comes in the pump's box")
    labour_min: int = Field(description="labour, minutes")
    because: list[str] = Field(description="rules or demand that force the change, each verified by undoing it alone")
    style: str = Field("", description="why a nozzle of another style than the fitted one; empty where it stays")


class ConsumableLine(Report):
    """Gaskets that the changes use up."""

    code: str = Field(description="code of the consumable")
    joint: str = Field(description="joint that uses it up")
    quantity: int = Field(description="number needed")
    price: float = Field(description="price of them all")


class Shot(Report):
    """What one circuit delivers with a combination; figures are null where lobe and pump do not go together."""

    circuit: str = Field(description="front or rear")
    delay_ms: float | None = Field(description="how much later than the best of the same air the pull comes, ms")
    lean_sag_percent: float | None = Field(
        description="deepest later fall of the pull for want of fuel, per cent of the best"
    )
    rich_sag_percent: float | None = Field(description="the same for too much fuel")
    smoke_ms: float | None = Field(description="time of black smoke, ms")
    felt: str = Field(description="the same as a driver would say it")
    volume_cc: float | None = Field(description="shot, cc")
    duration_ms: float | None = Field(description="tip-in until 95 % of the shot is out, ms")
    sureness: float | None = Field(
        description="share of what is believed of the engine that it is right for, 0 to 1; null where it was not asked"
    )


class Combination(Report):
    """One choice of parts for every slot, judged, with the work to fit it."""

    title: str = Field(description="what it is called")
    ok: bool = Field(description="no conflict")
    parts: dict[str, str] = Field(description="slot and what sits in it, every slot")
    shots: list[Shot] = Field(description="one entry a circuit")
    findings: list[Finding] = Field(description="every rule read on it, those that hold too; what does not hold first")
    changes: list[Change] = Field(description="what changes against what is fitted")
    consumables: list[ConsumableLine] = Field(description="gaskets for the joints opened")
    totals: Totals = Field(description="what it comes to")
    aftercare: list[str] = Field(description="jobs by hand that the changes bring with them")


class Alternative(Report):
    """Another proposal."""

    title: str = Field(description="in what it is better, or different")
    first: list[str] = Field(description="what to measure before any of it is bought or fitted")
    changes: list[Change] = Field(description="what changes")
    consumables: list[ConsumableLine] = Field(description="gaskets for the joints it opens")
    totals: Totals = Field(description="what it comes to")
    odd_sizes: list[str] = Field(description="nozzles it puts in that are out of the trade's sizes, and by what")


class Relaxation(Report):
    """A way out of a conflict."""

    give_up: list[str] = Field(description="wishes or rules that would have to give way")
    says: str = Field(description="the same in words, with the amount where it is one")


class Obstacle(Report):
    """Wishes and rules that cannot all hold, none of which can be left out."""

    wishes: list[str] = Field(description="the user's wishes among them")
    rules: list[str] = Field(description="ids of the rules among them, with their circuit")
    says: list[str] = Field(
        description="what is wrong by each of those rules, in the same order: with the parts that miss it least"
    )


class ConflictReport(Obstacle):
    """Why nothing fits, or nothing that fits cures: the first obstacle, and those that stand apart from it."""

    kind: Literal["fit", "cure"] = Field(description="whether nothing fits, or nothing that fits cures")
    apart: list[Obstacle] = Field(default=[], description="obstacles that share nothing with the first or another")
    relaxations: list[Relaxation] = Field(description="the smallest ways out, three at most")
    more_relaxations: int = Field(0, description="how many more there are")
    would_do: list[str] = Field(
        default=[],
        description="what a part that the catalogue lacks would have to be like; empty where no single one "
        "would do, or what was asked for is in the way",
    )


class ProposeReport(AnswerOnCar):
    """Answer of `tipin propose`."""

    vehicle: str = Field(description="name in the vehicle file")
    status: Literal["optimal", "feasible", "impossible"] = Field(
        description="proven best; found but cut short (see bound); nothing fits (see conflict)"
    )
    symptom: str | None = Field(description="word of the symptom, if one was named")
    moment: str | None = Field(description="when it is felt: at-once, later or both; null if that was not said")
    hint: str = Field(description="what a driver who feels that should know; may be empty")
    engine: EngineTold = Field(description="the engine it was solved for")
    engine_note: str = Field(description="where that comes from")
    order: list[str] = Field(description="what was made least first, then next, ...")
    bound: str | None = Field(description="where the effort cut the proof short: what is proven so far")
    changes: list[Change] = Field(description="what changes; empty if nothing need")
    consumables: list[ConsumableLine] = Field(description="gaskets for the joints opened")
    totals: Totals | None = Field(description="what it comes to; null if nothing fits")
    sureness: float | None = Field(
        description="share of what is believed of the engine that it is right for, 0 to 1; null if nothing fits"
    )
    engines: str = Field(description="what that is a share of, in words")
    pulls: list[Shot] = Field(description="what is felt with it, one entry a circuit; empty if nothing fits")
    first: list[Finding] = Field(
        description="what comes before anything is bought or fitted: faults that no part mends, and what is to be "
        "measured (holds is null)"
    )
    remaining: list[Finding] = Field(description="what is still to look at with the proposal fitted")
    aftercare: list[str] = Field(description="jobs by hand that the changes bring with them")
    alternatives: list[Alternative] = Field(description="other ways, each proven in its own way")
    conflict: ConflictReport | None = Field(description="why nothing fits")

    @property
    def is_hopeless(self) -> bool:
        """Whether nobody is sent for what it lists: only runs can say so."""
        return False
