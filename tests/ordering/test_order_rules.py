"""What an order may count on, case by case: parts set free, terms of suppliers, drills, stopping, many cores."""

import time
from concurrent.futures import Future
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from order_cases import circuit_needs, vehicle_needs
from whole_order import plan_whole

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import Consumable, Joint
from configurator.catalogue.supply import DrillBit, Supplier
from configurator.ordering import purchase as order_purchase
from configurator.ordering.answer import OrderJob, answer
from configurator.ordering.articles import Article, Tier, arrival
from configurator.ordering.cheapest import plan_order
from configurator.ordering.needs import Setup
from configurator.ordering.plan import Plan, PurchaseWish, Wanted
from configurator.ordering.purchase import Market
from configurator.slots.options import Option
from configurator.solver import stop as stop_module
from configurator.views.order import order_text

MONDAY = date(2026, 5, 4)
NO_STACK = (Option("none", 0.0, "none"), Option("none", 0.0, "none"))
FITTED = Option("fitted", FittedNozzle(diameter_mm=0.7, style="straight"), "none")


def car(
    name: str, day: date, setups: list[Setup], covers: list[list[int]], nozzles: tuple[Option, ...] = (FITTED,)
) -> Wanted:
    """A vehicle with two scenarios; covers[setup] lists those that it covers with every nozzle."""
    table = np.zeros((len(setups), len(nozzles), 2), dtype=bool)
    for place, scenarios in enumerate(covers):
        table[place, :, scenarios] = True
    return Wanted(vehicle_needs(name, [circuit_needs("front", setups, nozzles, table)], [NO_STACK]), day, 1.0)


def setup(*codes: str, frees: tuple[str, ...] = (), joints: tuple[Joint, ...] = ()) -> Setup:
    return Setup(" ".join(codes) or "as fitted", codes, frees, joints, np.array([True]), {}, not codes)


def market(*articles: Article, shelf: dict[str, int] | None = None, **terms: float) -> Market:
    supplier = Supplier.model_validate({"code": "shop", "name": "shop", **terms})
    return Market(articles, {"shop": supplier}, shelf or {}, [], [], MONDAY)


def article(code: str, *prices: int) -> Article:
    return Article(code, "shop", {code: 1}, tuple(Tier(place + 1, price) for place, price in enumerate(prices)))


def bought(plan: Plan | None) -> dict[str, int]:
    assert plan is not None and plan.proven
    return {item.code: packs for item, packs in plan.bought}


@pytest.mark.parametrize(("second_day", "small_pumps"), [(date(2026, 5, 8), 0), (date(2026, 5, 7), 1)])
def test_a_pump_set_free_serves_another_car_on_a_later_day_only(second_day: date, small_pumps: int) -> None:
    first = car("first", date(2026, 5, 7), [setup(), setup("large", frees=("small",))], [[], [0, 1]])
    second = car("second", second_day, [setup(), setup("small")], [[], [0, 1]])
    plan = plan_order([first, second], market(article("large", 8000), article("small", 4000)), PurchaseWish())
    assert bought(plan) == {"large": 1} | ({"small": small_pumps} if small_pumps else {})


def test_each_amount_of_money_is_told_the_most_sureness_that_it_buys() -> None:
    """A lobe makes one car sure and the other by half, which a pump makes sure."""
    cars = [
        car("first", MONDAY, [setup(), setup("lobe")], [[0], [0, 1]]),
        car("second", MONDAY, [setup(), setup("lobe"), setup("pump")], [[], [0], [0, 1]]),
    ]
    shop, wish = market(article("lobe", 600), article("pump", 4000)), PurchaseWish()
    curve = answer(OrderJob("x", cars, shop, wish, {})).curve
    assert [(point.budget, point.spent) for point in curve] == [
        (0.0, 0.0), (11.5, 6.0), (23.0, 12.0), (34.5, 12.0), (46.0, 46.0), (57.5, 46.0), (69.0, 46.0),
    ]  # fmt: skip
    for point in curve:
        plan = plan_whole(cars, shop, replace(wish, budget=round(100 * point.budget)))
        assert plan is not None and point.spent == plan.cost / 100 and point.proven == plan.proven
        assert point.sureness == sum(sum(box.covered) / 2 for box in plan.boxes) / 2
        assert point.least == (1.0 if point.sureness == 1.0 else 0.5 if point.sureness == 0.75 else point.least)


def test_a_pump_that_a_box_still_keeps_in_play_is_not_set_free() -> None:
    first = car("first", date(2026, 5, 7), [setup(), setup("large", frees=("small",))], [[0], [1]])
    second = car("second", date(2026, 5, 8), [setup(), setup("small")], [[], [0, 1]])
    plan = plan_order([first, second], market(article("large", 8000), article("small", 4000)), PurchaseWish())
    assert bought(plan) == {"large": 1, "small": 1}


def test_free_delivery_and_least_order_make_one_buy_more_or_not() -> None:
    one = car("one", MONDAY, [setup("lobe")], [[0, 1]])
    goods = (article("lobe", 600), article("spare", 300))
    plan = plan_order([one], market(*goods, delivery_charge=5.0, free_delivery_from=9.0), PurchaseWish())
    assert bought(plan) == {"lobe": 1, "spare": 1} and plan is not None and plan.cost == 900, "9.00 beats 6.00 and 5.00"
    plan = plan_order([one], market(*goods, delivery_charge=2.0, free_delivery_from=9.0), PurchaseWish())
    assert bought(plan) == {"lobe": 1} and plan is not None and plan.cost == 800
    plan = plan_order([one], market(*goods, minimum_order=9.0), PurchaseWish())
    assert plan is not None and plan.cost == 900


def test_what_only_makes_up_a_sum_is_told_and_can_be_refused() -> None:
    one = car("one", MONDAY, [setup("lobe")], [[0, 1]])
    shop = market(article("lobe", 600), article("spare", 300), delivery_charge=5.0, free_delivery_from=9.0)
    report = answer(OrderJob("x", [one], shop, PurchaseWish(), {}), curve=False)
    assert {line.code: line.spare for line in report.lines} == {"lobe": 0, "spare": 1}
    assert report.suppliers[0].fill == "the 9.00 from which delivery is free, which saves 5.00"
    told = order_text(report)
    assert "What no box needs makes up the 9.00 from which delivery is free" in told
    refused = answer(OrderJob("x", [one], replace(shop, fill=False), PurchaseWish(), {}), curve=False)
    assert [line.code for line in refused.lines] == ["lobe"] and refused.total == 11.0 and refused.proven
    assert refused.suppliers[0].fill is None and "What no box needs" not in order_text(refused)
    least = replace(market(article("lobe", 600), article("spare", 300), minimum_order=9.0), fill=False)
    assert plan_order([one], least, PurchaseWish()) is None, "six pounds' worth is no order that it takes"


def test_a_cheaper_quantity_is_bought_though_nothing_is_to_fill_an_order_up() -> None:
    cars = [car(f"car {index}", MONDAY, [setup("lobe")], [[0, 1]]) for index in range(2)]
    three = Article("lobe", "shop", {"lobe": 1}, (Tier(1, 600), Tier(3, 100)))
    assert bought(plan_order(cars, replace(market(three), fill=False), PurchaseWish())) == {"lobe": 3}


def test_the_price_of_a_quantity_holds_for_all_of_it() -> None:
    cars = [car(f"car {index}", MONDAY, [setup("lobe")], [[0, 1]]) for index in range(3)]
    plan = plan_order(cars, market(article("lobe", 600, 500, 400)), PurchaseWish())
    assert bought(plan) == {"lobe": 3} and plan is not None and plan.cost == 1200


def test_one_drill_serves_every_car_and_an_owned_one_costs_nothing() -> None:
    drilled = Option("redrilled", FittedNozzle(diameter_mm=0.8, style="straight"), "redrill", price=0)
    cars = []
    for index in range(2):
        one = car(f"car {index}", MONDAY, [setup()], [[]], (FITTED, drilled))
        (circuit,) = one.needs.circuits
        covers = circuit.covers.copy()
        covers[0, 1, :] = True
        drilling = circuit_needs("front", circuit.setups, circuit.nozzles, covers)
        cars.append(replace(one, needs=replace(one.needs, circuits=(drilling,))))
    bit = DrillBit(code="drill", supplier="shop", price=2.5, diameter_mm=0.8)
    shop = replace(market(article("drill", 250)), drill_bits=[bit])
    assert bought(plan_order(cars, shop, PurchaseWish())) == {"drill": 1}
    assert bought(plan_order(cars, replace(shop, shelf={"drill": 1}), PurchaseWish())) == {}


def test_gaskets_are_for_the_joints_that_are_opened() -> None:
    gasket = Consumable(code="cover", supplier="shop", price=1.0, joint="pump_cover", quantity=2)
    shop = replace(market(article("large", 8000), article("cover", 100)), consumables=[gasket])
    opened = car("one", MONDAY, [setup("large", joints=("pump_cover",))], [[0, 1]])
    assert bought(plan_order([opened], shop, PurchaseWish())) == {"large": 1, "cover": 2}


def test_a_feed_screw_opens_the_seat_of_the_nozzle_too() -> None:
    """Once, and not again where a nozzle is changed."""
    gasket = Consumable(code="seat", supplier="shop", price=1.0, joint="nozzle_seat", quantity=2)
    shop = replace(market(article("screw", 900), article("larger", 1200), article("seat", 100)), consumables=[gasket])
    larger = Option("larger", FittedNozzle(diameter_mm=0.8, style="straight"), "fit", "larger")
    screw = setup("screw", joints=("nozzle_seat",))
    alone = car("one", MONDAY, [screw], [[0, 1]])
    both = car("two", MONDAY, [screw], [[0, 1]], (larger,))
    for planned in (plan_order, plan_whole):
        assert bought(planned([alone], shop, PurchaseWish())) == {"screw": 1, "seat": 2}
        assert bought(planned([both], shop, PurchaseWish())) == {"screw": 1, "larger": 1, "seat": 2}


def test_the_post_takes_working_days() -> None:
    by_post = Supplier(code="far", name="far", lead_time_days=3)
    assert arrival(by_post, date(2026, 5, 4)) == date(2026, 5, 7)
    assert arrival(by_post, date(2026, 5, 7)) == date(2026, 5, 12), "over a weekend"
    assert arrival(Supplier(code="near", name="near"), date(2026, 5, 9)) == date(2026, 5, 9)
    late = car("late", date(2026, 5, 6), [setup("lobe")], [[0, 1]])
    assert plan_order([late], market(article("lobe", 600), lead_time_days=3), PurchaseWish()) is None
    in_time = replace(late, day=date(2026, 5, 7))
    assert bought(plan_order([in_time], market(article("lobe", 600), lead_time_days=3), PurchaseWish())) == {"lobe": 1}


@pytest.mark.parametrize("workers", [1, 4])
def test_the_order_is_the_same_on_any_number_of_cores(workers: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ties everywhere: three lobes at one price, each as good as the other."""
    setups = [setup("lobe-a"), setup("lobe-b"), setup("lobe-c")]
    cars = [car(f"car {index}", MONDAY, setups, [[0, 1]] * 3) for index in range(3)]
    shop = market(*(article(code, 600) for code in ("lobe-a", "lobe-b", "lobe-c")))
    here = plan_order(cars, shop, PurchaseWish())
    monkeypatch.setattr(order_purchase, "WORKERS", workers)
    assert plan_order(cars, shop, PurchaseWish()) == here and here is not None


def hard_case() -> tuple[list[Wanted], Market]:
    """Forty cars, each with a choice among many lobes that come one by one or in kits: proven only after long."""
    rng = np.random.default_rng(5)
    codes = [f"lobe-{place}" for place in range(40)]
    cars = []
    for index in range(40):
        chosen = [setup(*(codes[i] for i in rng.choice(40, 3, replace=False))) for _ in range(8)]
        cars.append(car(f"car {index}", MONDAY, chosen, [list(rng.choice(2, 1)) for _ in chosen]))
    kits = [
        Article(
            f"kit-{k}",
            "shop",
            {codes[i]: 1 for i in rng.choice(40, 6, replace=False)},
            (Tier(1, int(rng.integers(900, 2000))),),
        )
        for k in range(40)
    ]
    return cars, market(*(article(code, int(rng.integers(300, 900))) for code in codes), *kits)


class PressedOnce(Future[Any]):
    """Work in a thread whose waiter is interrupted once, as by Ctrl-C, after four seconds of waiting."""

    def __init__(self) -> None:
        super().__init__()
        self.began = time.monotonic()
        self.pressed = False

    def result(self, timeout: float | None = None) -> Any:
        try:
            return super().result(timeout)
        except TimeoutError:
            if not self.pressed and time.monotonic() - self.began > 4.0:
                self.pressed = True
                raise KeyboardInterrupt from None
            raise


def test_ctrl_c_stops_the_search_and_keeps_the_best_found_with_its_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    """No real signal: whether one reaches a process depends on how its parent was started."""
    monkeypatch.setattr(stop_module, "Future", PressedOnce)
    cars, shop = hard_case()
    plan = plan_order(cars, shop, PurchaseWish(effort=200.0))
    assert plan is not None and plan.stopped and not plan.proven
    assert plan.least is not None and 0 < plan.least < plan.cost
    assert all(sum(box.covered) >= one.enough for one, box in zip(cars, plan.boxes, strict=True))
