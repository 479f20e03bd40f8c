"""Answers as data: what check, size and propose return, and what --json prints.

Frozen pydantic models, so that the documented schema is made from them. Lengths, volumes and times carry their unit in
the name; a number that does not exist is null.
"""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

SCHEMA_VERSION = 1


class Report(BaseModel):
    """A frozen answer or part of one."""

    model_config = ConfigDict(frozen=True, populate_by_name=True, allow_inf_nan=False)


class Finding(Report):
    """One rule read on one choice of parts."""

    rule: str = Field(description="id of the rule; docs/rules.md explains each")
    severity: Literal["conflict", "warning", "note"]
    circuit: str | None = Field(description="front, rear, or null for the car as a whole")
    holds: bool | None = Field(description="whether the rule holds; null where a measurement is missing")
    margin: float | None = Field(
        description="how far inside (at least 0) or outside (below 0), in `unit`; null unknown"
    )
    unit: str
    says: str
    mend: str = Field(description="what usually mends it; empty where nothing is wrong")
    basis: str
    source: str


class Totals(Report):
    """What a list of changes comes to."""

    changes: int
    price: float = Field(description="parts, work and gaskets, in the workshop's currency")
    labour_min: int


class CheckReport(Report):
    """Answer of `tipin check`."""

    schema_version: int = SCHEMA_VERSION
    vehicle: str
    ok: bool = Field(description="no conflict (warnings and notes may be there)")
    demand_factor: float
    with_changes: dict[str, str] = Field(description="slot and what was put there, for --with")
    findings: list[Finding]


class NozzleChoice(Report):
    """A nozzle as an answer."""

    code: str | None
    diameter_mm: float
    diameter_in: float
    label: str


class Candidate(Report):
    """One combination of a table of sizes."""

    code: str | None
    diameter_mm: float
    diameter_in: float
    style: str
    pump: str
    feed_screw: str
    lobe: str
    phase_deg: float
    hole_ms: float
    flood_ms: float
    volume_cc: float
    duration_ms: float
    peak_cc_s: float
    window: list[float] | None = Field(description="demand factors covered, low and high; null where it covers none")
    meets: bool = Field(description="hole and flood are within their allowed spells at the demand factor")
    breaks: list[str] = Field(description="ids of rules that this combination breaks, the demand included")
    lean_margin_percent: float | None = Field(description="how much f may rise before a hole is felt, in per cent of f")
    rich_margin_percent: float | None = Field(
        description="how much f may fall before a flood is felt, in per cent of f"
    )


class CircuitSizes(Report):
    """Sizes for one circuit. `smallest` is with the fitted pump; `smallest_by_pump` with each pump."""

    circuit: str
    smallest: NozzleChoice | None
    smallest_by_pump: dict[str, NozzleChoice | None]
    fitted: Candidate
    candidates: list[Candidate]


class SizeReport(Report):
    """Answer of `tipin size`."""

    schema_version: int = SCHEMA_VERSION
    vehicle: str
    ok: bool = Field(description="every circuit asked for has a nozzle that meets the demand with the fitted pump")
    demand_factor: float
    circuits: list[CircuitSizes]
    notes: list[str]


class Change(Report):
    """One change of a proposal."""

    slot: str
    from_: str = Field(alias="from")
    to: str
    code: str | None
    work: Literal["fit", "remove", "redrill", "rephase", "relieve"]
    reversible: bool
    price: float
    labour_min: int
    because: list[str] = Field(description="rules or demand that force the change, each verified by undoing it alone")


class ConsumableLine(Report):
    """Gaskets that the changes use up."""

    code: str
    joint: str
    quantity: int
    price: float


class Alternative(Report):
    """Another proposal, and in what it is better."""

    title: str
    changes: list[Change]
    consumables: list[ConsumableLine]
    totals: Totals


class Relaxation(Report):
    """A way out of a conflict: what to give up, and what it takes."""

    give_up: list[str]
    says: str


class ConflictReport(Report):
    """Why nothing fits: wishes and rules that cannot all hold, none of which can be left out."""

    wishes: list[str]
    rules: list[str]
    says: list[str]
    relaxations: list[Relaxation]
    more_relaxations: int = 0


class ProposeReport(Report):
    """Answer of `tipin propose`."""

    schema_version: int = SCHEMA_VERSION
    vehicle: str
    status: Literal["optimal", "feasible", "impossible"]
    symptom: str | None
    demand_factor: float
    demand_note: str
    order: list[str] = Field(description="what was made least first, then next, ...")
    bound: str | None = Field(description="where a time limit cut the proof short: what is proven so far")
    changes: list[Change]
    consumables: list[ConsumableLine]
    totals: Totals | None
    remaining: list[Finding] = Field(description="what is still to do or to look at with the proposal fitted")
    alternatives: list[Alternative]
    conflict: ConflictReport | None
