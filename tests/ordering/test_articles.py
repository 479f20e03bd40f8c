"""What is sold: when it is there, what so many packs cost, what comes in a box, and what is not worth a look."""

from datetime import date, timedelta

import pytest
from order_cases import arrives

from configurator.catalogue.supply import Supplier
from configurator.ordering.articles import Article, Tier, arrival, worth_a_look

FRIDAY, SATURDAY, SUNDAY, MONDAY = (date(2026, 5, day) for day in (8, 9, 10, 11))


def supplier(days: int) -> Supplier:
    return Supplier(code="far", name="far", lead_time_days=days)


@pytest.mark.parametrize(
    ("ordered", "days", "there"),
    [
        (FRIDAY, 1, MONDAY), (FRIDAY, 2, date(2026, 5, 12)), (FRIDAY, 5, date(2026, 5, 15)),
        (SATURDAY, 1, date(2026, 5, 12)), (SUNDAY, 1, date(2026, 5, 12)), (MONDAY, 1, date(2026, 5, 12)),
        (SATURDAY, 5, date(2026, 5, 18)), (MONDAY, 10, date(2026, 5, 25)),
        (SATURDAY, 0, SATURDAY), (SUNDAY, 0, SUNDAY), (FRIDAY, 0, FRIDAY),
    ],
)  # fmt: skip
def test_a_delivery_is_there_so_many_working_days_later(ordered: date, days: int, there: date) -> None:
    """May 2026 by the calendar on the wall: the 8th is a Friday. Nobody takes a weekend's order before Monday."""
    assert FRIDAY.strftime("%A") == "Friday"
    assert arrival(supplier(days), ordered) == there


def test_every_day_of_three_weeks_arrives_as_the_calendar_says() -> None:
    for day in range(21):
        for days in range(12):
            ordered = FRIDAY + timedelta(days=day)
            assert arrival(supplier(days), ordered) == arrives(supplier(days), ordered)


CLOSED = (date(2026, 5, 11), date(2026, 5, 14), SATURDAY)


@pytest.mark.parametrize(
    ("ordered", "days", "there"),
    [
        (FRIDAY, 1, date(2026, 5, 12)), (MONDAY, 1, date(2026, 5, 13)), (FRIDAY, 3, date(2026, 5, 15)),
        (SATURDAY, 0, SUNDAY), (FRIDAY, 0, FRIDAY), (MONDAY, 0, date(2026, 5, 12)),
    ],
)  # fmt: skip
def test_no_day_counts_on_which_the_supplier_is_closed(ordered: date, days: int, there: date) -> None:
    closed = Supplier(code="far", name="far", lead_time_days=days, closed_on=CLOSED)
    assert arrival(closed, ordered) == arrives(closed, ordered) == there


def article(code: str, brings: dict[str, int], *tiers: tuple[int, int], by: str = "near") -> Article:
    return Article(code, by, brings, tuple(Tier(*tier) for tier in tiers))


@pytest.mark.parametrize(("packs", "cost"), [(0, 0), (1, 1000), (4, 4000), (5, 4500), (9, 8100), (10, 7000)])
def test_the_last_break_reached_holds_for_all_packs(packs: int, cost: int) -> None:
    """10.00 each, 9.00 each from five, 7.00 each from ten."""
    assert article("a", {"a": 1}, (1, 1000), (5, 900), (10, 700)).cost(packs) == cost


def test_fewer_than_are_sold_cost_as_much_as_the_fewest_that_are() -> None:
    sold_in_threes = article("a", {"a": 1}, (3, 500))
    assert [sold_in_threes.cost(packs) for packs in (0, 1, 2, 3, 4)] == [0, 1500, 1500, 1500, 2000]


def test_a_pack_that_saves_nothing_is_not_looked_at() -> None:
    """One costs 2.00. A pack of three costs 6.00, or 5.99; of a pack of ten only two are of use; a kit's other part is
    of none."""
    single = article("one", {"one": 1}, (1, 200))
    dear, cheap = article("dear", {"one": 3}, (1, 600)), article("cheap", {"one": 3}, (1, 599))
    ten, kit = article("ten", {"one": 10}, (1, 401)), article("kit", {"one": 1, "other": 4}, (1, 201))
    elsewhere = article("useless", {"other": 1}, (1, 1))
    found = worth_a_look([single, dear, cheap, kit, elsewhere], {"one": 5})
    assert [one.code for one in found] == ["cheap", "one"]
    assert [one.code for one in worth_a_look([single, ten], {"one": 2})] == ["one"]
    assert [one.code for one in worth_a_look([single, ten], {"one": 3})] == ["one", "ten"]
    from_another = article("dear", {"one": 3}, (1, 600), by="far")
    assert [one.code for one in worth_a_look([single, from_another], {"one": 5})] == ["dear", "one"]


def test_of_two_that_bring_the_same_the_one_that_is_never_cheaper_goes() -> None:
    plain = article("plain", {"one": 1}, (1, 200))
    by_five = article("by-five", {"one": 1}, (1, 210), (5, 150))
    worse = article("worse", {"one": 1}, (1, 205), (5, 205))
    assert [one.code for one in worth_a_look([plain, by_five, worse], {"one": 9})] == ["by-five", "plain"]
