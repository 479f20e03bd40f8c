"""Two combinations side by side."""

from pydantic import Field

from configurator.judging.engine_told import told_engine
from configurator.physics.lateness import Lateness
from configurator.reports import Answer, Combination, EngineTold, Report


class Compared(Report):
    """One thing that can be told of both."""

    what: str = Field(description="slot, circuit and figure, or rule")
    unit: str = Field(description="unit of the figures; empty where there is none")
    first: str | float | None = Field(description="of the first; null where it has none, or need not")
    second: str | float | None = Field(description="of the second")


class CompareReport(Answer):
    """Answer of `tipin compare`."""

    vehicle: str = Field(description="name in the vehicle file")
    engine: EngineTold = Field(description="the engine both were judged in")
    first: Combination = Field(description="the first")
    second: Combination = Field(description="the second")
    parts: list[Compared] = Field(description="slots in which they differ")
    figures: list[Compared] = Field(description="what each circuit delivers")
    margins: list[Compared] = Field(
        description="rules whose margin differs, or that one of them breaks: how far inside (at least 0) or outside"
    )
    work: list[Compared] = Field(description="changes, price and labour against what is fitted")


def compare(vehicle: str, engine: Lateness, first: Combination, second: Combination) -> CompareReport:
    """Both combinations of one vehicle, and where they differ."""
    return CompareReport(
        vehicle=vehicle, engine=told_engine(engine), first=first, second=second, parts=_parts(first, second),
        figures=_figures(first, second), margins=_margins(first, second), work=_work(first, second),
    )  # fmt: skip


def _parts(first: Combination, second: Combination) -> list[Compared]:
    return [
        Compared(what=slot, unit="", first=label, second=second.parts[slot])
        for slot, label in first.parts.items() if label != second.parts[slot]
    ]  # fmt: skip


def _figures(first: Combination, second: Combination) -> list[Compared]:
    rows = []
    for one, other in zip(first.shots, second.shots, strict=True):
        for key, says, unit in (
            ("delay_ms", "pull late by", "ms"), ("lean_sag_percent", "goes flat by", "%"),
            ("rich_sag_percent", "noses over by", "%"), ("smoke_ms", "black smoke", "ms"),
            ("volume_cc", "shot", "cc"), ("duration_ms", "shot lasts", "ms"),
        ):  # fmt: skip
            what = f"{one.circuit}: {says}"
            rows.append(Compared(what=what, unit=unit, first=getattr(one, key), second=getattr(other, key)))
        sure = [None if shot.sureness is None else round(100.0 * shot.sureness) for shot in (one, other)]
        if sure != [None, None]:
            what = f"{one.circuit}: right for engines like it"
            rows.append(Compared(what=what, unit="%", first=sure[0], second=sure[1]))
    return rows


def _margins(first: Combination, second: Combination) -> list[Compared]:
    found = [{(f.circuit, f.rule): f for f in one.findings} for one in (first, second)]
    rows = []
    for key in dict.fromkeys([*found[0], *found[1]]):
        pair = [one.get(key) for one in found]
        margins = [f.margin if f else None for f in pair]
        if all(f is None or f.severity == "note" for f in pair):
            continue
        if margins[0] != margins[1] or any(f is not None and f.holds is False for f in pair):
            some = next(f for f in pair if f is not None)
            what = f"{some.circuit}: {some.rule}" if some.circuit else some.rule
            rows.append(Compared(what=what, unit=some.unit, first=margins[0], second=margins[1]))
    return rows


def _work(first: Combination, second: Combination) -> list[Compared]:
    return [
        Compared(what="changes", unit="", first=first.totals.changes, second=second.totals.changes),
        Compared(what="price", unit=first.totals.currency, first=first.totals.price, second=second.totals.price),
        Compared(what="labour", unit="min", first=first.totals.labour_min, second=second.totals.labour_min),
    ]
