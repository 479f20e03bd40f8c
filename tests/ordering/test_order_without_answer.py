"""An order for a car that nothing in the catalogue is right for: what would do is told, and no empty table."""

from datetime import date, timedelta

from random_cars import case_with, changed, few_parts, random_car

from configurator.judging.table import most_together
from configurator.learning.as_known import known_by
from configurator.ordering.answer import answer
from configurator.ordering.articles import by_codes
from configurator.ordering.job import job_of
from configurator.ordering.meeting import Meeting
from configurator.ordering.plan import PurchaseWish
from configurator.ordering.report import OrderReport
from configurator.views.order import order_text

MONDAY = date(2026, 5, 4)


def ordered(seed: int, sureness: float) -> tuple[OrderReport, float]:
    """An order out of few parts, and how sure the surest single choice of them is."""
    case = case_with(changed(random_car(seed), "manifold", pad_clearance_mm=20.0), few_parts())
    wanted = {"file": "x.toml", "day": MONDAY + timedelta(days=60)}
    meeting = Meeting.model_validate({"name": "x", "today": MONDAY, "sureness": sureness, "vehicle": [wanted]})
    job = job_of(meeting, [case.vehicle], by_codes(few_parts()), None, PurchaseWish(), redrill=False)
    return answer(job), most_together(known_by(case, []).tables, []).share


def test_what_a_part_would_have_to_be_like_stands_below_what_cannot_be_reached() -> None:
    report, most = ordered(5, 0.6)
    (failing,) = report.failing
    assert most < 0.6 and failing.best <= most + 0.02
    assert failing.would_do[0].startswith("front: a lobe with a lift of ")
    text = order_text(report)
    assert f"      - {failing.would_do[0]}" in text


def test_a_car_that_parts_are_there_for_is_told_of_none_nor_of_what_more_money_would_buy_for_nothing() -> None:
    report, most = ordered(0, 0.5)
    assert most > 0.5 and report.ok and not report.failing
    text = order_text(report)
    assert ("What more or less money would buy" in text) == bool(report.total)
    empty, _ = ordered(3, 0.6)
    assert not empty.total and empty.failing[0].would_do == []
    assert "What more or less money would buy" not in order_text(empty) and "Box for" not in order_text(empty)
