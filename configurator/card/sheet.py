"""What stands on a job card: sections of steps to tick, figures to measure, parts to fit, and what to try next."""

import datetime
from typing import Literal

from pydantic import Field

from configurator.reports import Answer, ConsumableLine, Report, Totals


class CardStep(Report):
    """One thing to do, with room for what was found."""

    text: str = Field(description="what to do")
    kind: Literal["tick", "measure", "write"] = Field(
        "tick", description="tick it off; measure and write figures; write words"
    )
    boxes: list[str] = Field([], description="what is written into each box; empty words where one box says enough")
    unit: str = Field("", description="unit of the figures")
    expected: str = Field("", description="what the figures ought to be, with units")
    how: str = Field("", description="how it is done, or what to mind")


class Section(Report):
    """Steps that belong together, in the order of work."""

    title: str = Field(description="heading")
    cautions: list[str] = Field([], description="what can hurt here")
    steps: list[CardStep] = Field(description="what to do, first to last")


class PartRow(Report):
    """One part to fit, or one piece of work on a part."""

    slot: str = Field(description="where, in plain words")
    part: str = Field(description="code of the part, or the work")
    size: str = Field(description="its size in mm, with inch or thou beside; empty where the part says it")
    in_place_of: str = Field(description="what is fitted now")
    price: float = Field(description="price; 0 for a part that comes in the pump's box")
    labour_min: int = Field(description="labour, minutes")
    in_box: bool = Field(description="whether it comes in the pump's box")
    reversible: bool = Field(description="whether it can be undone")


class Swap(Report):
    """One part of a next step."""

    slot: str = Field(description="where, in plain words")
    to: str = Field(description="part to fit, with its size")
    code: str | None = Field(description="its code; null where it has none")
    in_place_of: str = Field(description="what it replaces")


class NextMove(Report):
    """What changes on one circuit, or why nothing does."""

    circuit: str = Field(description="front or rear; empty where nothing changes")
    swaps: list[Swap] = Field(description="what to fit, the nozzle first; empty where there is nothing to fit")
    says: str = Field(description="what else is to be said of it; why there is none, if there is none")


class AfterFeeling(Report):
    """What to do after one feeling on the road test."""

    word: str = Field(description="word of the feeling, as a run is recorded with it")
    says: str = Field(description="the feeling in words")
    hint: str = Field(description="what a driver who feels that should know; may be empty")
    moves: list[NextMove] = Field(description="the next step, circuit by circuit; empty: leave it as it is")


class Card(Answer):
    """A job card, as `tipin card` writes it."""

    vehicle: str = Field(description="name in the vehicle file")
    title: str = Field(description="which choice of parts it is")
    on: datetime.date = Field(description="date on the card")
    felt: str = Field(description="what was felt with the old parts; empty if nobody said")
    ok: bool = Field(description="no conflict but faults that are put right on the card")
    against: list[str] = Field(description="why these parts do not fit, each with what mends it")
    uncured: list[str] = Field(description="why they fit, but will not cure, each with what mends it")
    parts: list[PartRow] = Field(description="what to fit; empty if nothing changes")
    gaskets: list[ConsumableLine] = Field(description="gaskets for the joints opened")
    totals: Totals = Field(description="what it comes to")
    torques: list[str] = Field(description="fastenings to tighten by the maker's data")
    before: Section = Field(description="before anything is touched")
    sections: list[Section] = Field(description="the work, in its order")
    after_feelings: list[AfterFeeling] = Field(description="what to try next, by what is felt then")
    felt_then: list[str] = Field(description="what to expect of each circuit, and how sure it is to be right")
    mind: list[str] = Field(description="what else to keep in mind")
    record: str = Field(description="how the test run is kept in the workshop book; empty where nothing is said")
