"""Two combinations side by side: what differs stands there, what does not is left out, figures are each one's own."""

from typing import Any

from configurator.advice.comparison import CompareReport, compare
from configurator.physics.lateness import Lateness
from configurator.reports import Combination, Finding, Shot, Totals


def finding(rule: str, margin: float | None, severity: str = "conflict", circuit: str | None = "front") -> Finding:
    holds = None if margin is None else margin >= 0
    return Finding.model_validate({
        "rule": rule, "kind": "cure", "severity": severity,
        "circuit": circuit, "holds": holds, "margin": margin, "unit": "mm",
        "says": "", "mend": "", "basis": "", "source": "",
    })  # fmt: skip


def combination(
    findings: list[Finding], sureness: float | None = None, parts: dict[str, str] | None = None, **shot: Any
) -> Combination:
    figures = {
        "delay_ms": 10.0, "lean_sag_percent": 2.5, "rich_sag_percent": 1.5, "smoke_ms": 20.0, "volume_cc": 2.0,
        "duration_ms": 300.0, "felt": "pulls cleanly",
    } | shot  # fmt: skip
    return Combination(
        title="x", ok=True, parts=parts or {"front.nozzle": "a", "spacer": "none"},
        shots=[Shot(circuit="front", sureness=sureness, **figures)], findings=findings, changes=[], consumables=[],
        totals=Totals(changes=len(findings), price=10.0 * len(findings), labour_min=5 * len(findings)), aftercare=[],
    )  # fmt: skip


def compared(first: Combination, second: Combination) -> CompareReport:
    return compare("the car", Lateness(1.25, 0.8), first, second)


def test_only_slots_that_differ_are_shown() -> None:
    other = combination([], parts={"front.nozzle": "b", "spacer": "none"})
    report = compared(combination([]), other)
    assert (report.vehicle, report.engine.late_first_fuel, report.engine.late_main_circuit) == ("the car", 1.25, 0.8)
    assert [(row.what, row.first, row.second) for row in report.parts] == [("front.nozzle", "a", "b")]
    assert report.first.parts["front.nozzle"] == "a" and report.second.parts["front.nozzle"] == "b"


def test_each_figure_stands_with_its_unit_under_its_own_combination() -> None:
    other = combination(
        [], 0.826, delay_ms=11.0, lean_sag_percent=3.5, rich_sag_percent=0.5, smoke_ms=21.0, volume_cc=3.0,
        duration_ms=301.0,
    )  # fmt: skip
    rows = {row.what: (row.first, row.second, row.unit) for row in compared(combination([]), other).figures}
    assert rows == {
        "front: pull late by": (10.0, 11.0, "ms"), "front: goes flat by": (2.5, 3.5, "%"),
        "front: noses over by": (1.5, 0.5, "%"), "front: black smoke": (20.0, 21.0, "ms"),
        "front: shot": (2.0, 3.0, "cc"), "front: shot lasts": (300.0, 301.0, "ms"),
        "front: right for engines like it": (None, 83, "%"),
    }  # fmt: skip


def test_margins_are_shown_that_differ_or_are_broken() -> None:
    first = [finding("same", 1.0), finding("moves", 1.0), finding("broken in both", -1.0), finding("only here", 2.0)]
    second = [finding("same", 1.0), finding("moves", 2.0), finding("broken in both", -1.0), finding("only there", 3.0)]
    rows = compared(combination(first), combination(second)).margins
    assert [(row.what, row.first, row.second) for row in rows] == [
        ("front: moves", 1.0, 2.0),
        ("front: broken in both", -1.0, -1.0),
        ("front: only here", 2.0, None),
        ("front: only there", None, 3.0),
    ]
    assert {row.unit for row in rows} == {"mm"}


def test_notes_are_no_margins_and_the_car_has_no_circuit() -> None:
    notes = [finding("measure it", None, "note"), finding("remember", -1.0, "note")]
    car = [finding("whole car", 1.0, circuit=None)]
    rows = compared(combination([*notes, *car]), combination([finding("whole car", 4.0, circuit=None)])).margins
    assert [(row.what, row.first, row.second) for row in rows] == [("whole car", 1.0, 4.0)]
    half = compared(
        combination([finding("known here", 1.0)]), combination([finding("known here", None, "note")])
    ).margins
    assert [(row.first, row.second) for row in half] == [(1.0, None)]


def test_the_work_of_both_is_told() -> None:
    work = compared(combination([finding("a", 1.0)]), combination([finding("a", 1.0), finding("b", 1.0)])).work
    assert [(row.what, row.first, row.second, row.unit) for row in work] == [
        ("changes", 1, 2, ""), ("price", 10.0, 20.0, ""), ("labour", 5, 10, "min"),
    ]  # fmt: skip
