"""What is fitted on a car now, since when and by whose word, as data; and where book and vehicle file differ."""

from collections.abc import Sequence
from datetime import datetime
from typing import Literal

from pydantic import Field

from configurator.book.car_now import CarNow, car_now
from configurator.book.car_records import CarRecords, RunOrFitting, SetAside
from configurator.book.fitting import Fitting
from configurator.book.stock import StockMove
from configurator.judging.case import Case
from configurator.reports import Answer, Report
from configurator.slots.options import Offered, short_label
from configurator.slots.slot import Slot


class FittedPart(Report):
    """What sits in one slot."""

    slot: str = Field(description="front.nozzle, ..., spacer, pad_relief")
    what: str = Field(description="the part")
    by: str = Field(description="run 3, entry 2, or the vehicle file: what it was told by first")
    since: datetime | None = Field(description="when that was, UTC; null by the vehicle file")
    in_file: str = Field(description="what the vehicle file says")


class FittedStep(Report):
    """One run or one entry that changed what is fitted, or was undone."""

    by: str = Field(description="run 3, or entry 2")
    at: datetime = Field(description="when, UTC")
    put_in: dict[str, str] = Field(description="slot and part, where it is another than before")
    note: str = Field(description="what was noted with an entry")
    undone: bool = Field(description="taken back: it counts no more")


class FittedReport(Answer):
    """Answer of `tipin fit`."""

    book: str = Field(description="the book: a file, or the URL of a database without its password")
    vehicle: str = Field(description="name in the vehicle file")
    did: Literal["shown", "recorded", "undone"] = Field(description="what was done")
    entry: int | None = Field(description="number of the entry that it was done with")
    parts: list[FittedPart] = Field(description="what is fitted now, every slot")
    history: list[FittedStep] = Field(description="how it came to that, oldest first")
    moved: list[StockMove] = Field(description="what was booked onto the shelf and off it")
    notes: list[str] = Field(description="what to keep in mind")


def fitted_report(
    book: str,
    filed: Case,
    records: CarRecords,
    *,
    did: Fitting | SetAside | None = None,
    moved: Sequence[StockMove] = (),
    notes: Sequence[str] = (),
) -> FittedReport:
    """What is fitted by the book. did : the entry that was just made or undone."""
    now = car_now(filed, records)
    own = [*notes, *(note for note in told_otherwise(now, records) if now.gone)]
    own += [one.says for one in records.set_aside if not one.undone]
    if did is not None and not did.undone and now.by is not None and now.by != did:
        own.append(f"{called(now.by)} is later and says what is fitted now")
    return FittedReport(
        book=book, vehicle=filed.vehicle.name, did="shown" if did is None else "undone" if did.undone else "recorded",
        entry=did.number if did else None, parts=fitted_parts(now, records), history=history(records, now),
        moved=list(moved), notes=own,
    )  # fmt: skip


def fitted_parts(now: CarNow, records: CarRecords) -> list[FittedPart]:
    """What sits in every slot, with the first of the entries at a stretch that tell of it."""
    filed = now.filed.as_fitted
    parts = []
    for slot, option in now.case.as_fitted.items():
        first = None if slot in now.gone else _first_to_tell(slot, records.standing, filed[slot].label)
        parts.append(
            FittedPart(
                slot=str(slot), what=option.label, by=called(first) if first else "the vehicle file",
                since=first.at if first else None, in_file=filed[slot].label,
            )
        )  # fmt: skip
    return parts


def _first_to_tell(slot: Slot, entries: Sequence[RunOrFitting], filed: str) -> RunOrFitting | None:
    """The first of those entries that have the part which the last has, at a stretch; None: the file has it before."""
    if not entries:
        return None
    last, first = _part(entries[-1], slot, filed), None
    for entry in reversed(entries):
        if _part(entry, slot, filed) != last:
            return first
        first = entry
    return None if last == filed else first


def _part(entry: RunOrFitting, slot: Slot, filed: str) -> str:
    """What tells one part from another: its name, with its figures where it has no code."""
    label = entry.codes.get(str(slot), filed)
    if slot.circuit is None or label == filed or Offered.code_in(label):
        return label
    figures = entry.car["fitted"][slot.circuit]
    return repr((figures[slot.name], figures.get("phase_deg") if slot.name == "lobe" else ""))


def history(records: CarRecords, now: CarNow) -> list[FittedStep]:
    """Runs and entries, each with what it has other than the one before it that counts; runs that changed nothing left
    out."""
    before = {slot: option.label for slot, option in now.filed.as_fitted.items()}
    filed, steps = dict(before), []
    for entry in records.in_order:
        there = {slot: _part(entry, slot, filed[slot]) for slot in filed}
        put_in = {str(slot): entry.codes.get(str(slot), filed[slot]) for slot in filed if there[slot] != before[slot]}
        if put_in or isinstance(entry, Fitting):
            note = entry.note if isinstance(entry, Fitting) else ""
            steps.append(FittedStep(by=called(entry), at=entry.at, put_in=put_in, note=note, undone=entry.undone))
        if not entry.undone:
            before = there
    return steps


def called(entry: RunOrFitting) -> str:
    """An entry by its number.

    A run is a run; what was told without one is an entry.
    """
    return f"{'entry' if isinstance(entry, Fitting) else 'run'} {entry.number}"


def told_otherwise(now: CarNow, records: CarRecords) -> list[str]:
    """Where book and vehicle file differ, a sentence for each run or entry that says so; and parts that the catalogue
    has no more."""
    differing: dict[tuple[str, datetime | None], list[FittedPart]] = {}
    for part in fitted_parts(now, records):
        if part.what != part.in_file:
            differing.setdefault((part.by, part.since), []).append(part)
    notes = []
    for (by, since), parts in differing.items():
        book = ", ".join(f"{part.slot} {short_label(part.what)}" for part in parts)
        file = ", ".join(short_label(part.in_file) for part in parts)
        day = f" of {since.day} {since:%B %Y}" if since else ""
        notes.append(f"fitted now by {by}{day}: {book}; the vehicle file says {file}")
    assert now.by is not None or not now.gone
    notes += [
        f"{slot}: the catalogue has no {label} any more, which {called(now.by)} speaks of; taken as in the vehicle file"
        for slot, label in now.gone.items() if now.by is not None
    ]  # fmt: skip
    return notes
