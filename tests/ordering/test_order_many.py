"""Orders for many vehicles against the model that holds every choice at once, and against a check of their own."""

from _thread import interrupt_main
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from math import inf
from threading import Event, Timer
from time import monotonic, sleep
from typing import Any

import pytest
from order_cases import faults_of_plan, workshop
from ortools.util.python.solve_interrupter import SolveInterrupter
from test_order_rules import MONDAY, article, car, market, setup
from whole_order import plan_whole, surest_whole

from configurator.ordering import answer as order_answer
from configurator.ordering import cheapest as order_cheapest
from configurator.ordering.articles import Article, Tier
from configurator.ordering.cheapest import plan_order, surest
from configurator.ordering.columns import ColumnProgram
from configurator.ordering.groups import Kinds, groups_of, least_short
from configurator.ordering.plan import Plan, PurchaseWish, Wanted
from configurator.ordering.proof import proven_least
from configurator.ordering.spare import spare_packs
from configurator.solver.solution import Unsettled
from configurator.solver.stop import watched
from configurator.views.order import order_text

EFFORT = 20.0
WISHES = (PurchaseWish(), PurchaseWish(most_suppliers=1), PurchaseWish(fewest_deliveries=True))


def short(wanted: Sequence[Wanted], plan: Plan) -> int:
    """Scenarios short of what is wanted."""
    return sum(max(0, one.enough - sum(box.covered)) for one, box in zip(wanted, plan.boxes, strict=True))


@pytest.mark.parametrize("wish", WISHES, ids=["money", "one supplier", "fewest deliveries"])
@pytest.mark.parametrize("seed", range(6))
def test_an_order_costs_what_the_whole_model_says(seed: int, wish: PurchaseWish) -> None:
    wanted, shop = workshop(4, seed)
    whole, many = plan_whole(wanted, shop, wish), plan_order(wanted, shop, wish)
    assert (many is None) == (whole is None)
    if many is None or whole is None:
        return
    assert faults_of_plan(wanted, shop, whole) == [] == faults_of_plan(wanted, shop, many)
    assert short(wanted, many) == 0
    if wish.fewest_deliveries:
        assert len(many.delivery) == len(whole.delivery)
    assert whole.proven and many.cost == whole.cost
    assert many.proven or (many.least is not None and many.least <= whole.cost)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("budget", [0, 3000, 9000])
def test_a_budget_buys_as_much_as_the_whole_model_says(seed: int, budget: int) -> None:
    wanted, shop = workshop(3, seed)
    whole, many = (plan(wanted, shop, PurchaseWish(budget=budget)) for plan in (plan_whole, plan_order))
    assert whole is not None and many is not None and many.cost <= budget
    assert faults_of_plan(wanted, shop, many) == []
    assert many.least is None or many.least <= short(wanted, whole), "what is proven holds"
    assert short(wanted, many) <= short(wanted, whole) + 1, "of boxes made one by one the best may be missing"


@pytest.mark.parametrize("seed", range(4))
def test_the_surest_order_is_as_sure_as_the_whole_model_says(seed: int) -> None:
    wanted, shop = workshop(3, seed)
    late = replace(shop, articles=[a for a in shop.articles if a.supplier == "near"])
    for there in (shop, late, replace(shop, articles=())):
        whole, many = surest_whole(wanted, there, PurchaseWish()), surest(wanted, there, PurchaseWish())
        assert faults_of_plan(wanted, there, many) == []
        assert short(wanted, many) == short(wanted, whole)


@pytest.mark.parametrize("vehicles", [40, 400])
def test_an_order_for_many_holds_and_is_near_its_bound(vehicles: int) -> None:
    wanted, shop = workshop(vehicles, 3, kinds=6)
    plan = plan_order(wanted, shop, PurchaseWish(effort=5.0))
    assert plan is not None and faults_of_plan(wanted, shop, plan) == []
    assert short(wanted, plan) == 0
    assert plan.proven or (plan.least is not None and plan.cost <= 1.01 * plan.least)


@pytest.mark.parametrize("seed", range(6))
def test_labour_that_has_a_price_is_part_of_what_is_made_least(seed: int) -> None:
    wanted, shop = workshop(4, seed)
    dear = replace(shop, labour_per_hour=6000)
    free, whole, many = (
        plan_order(wanted, shop, PurchaseWish()),
        *(plan(wanted, dear, PurchaseWish()) for plan in (plan_whole, plan_order)),
    )
    assert (many is None) == (whole is None) == (free is None)
    if free is None or whole is None or many is None:
        return
    assert faults_of_plan(wanted, dear, many) == []
    assert whole.proven and many.cost == whole.cost > free.cost
    assert many.proven or (many.least is not None and many.least <= whole.cost)


@pytest.mark.parametrize("seed", range(6))
def test_where_nothing_is_to_fill_an_order_up_no_pack_could_be_left_out(seed: int) -> None:
    """But for the last of a quantity that is sold together."""
    wanted, shop = workshop(4, seed)
    free, plain = (plan_order(wanted, replace(shop, fill=fill), PurchaseWish()) for fill in (True, False))
    assert (free is None) <= (plain is None)
    if free is None or plain is None:
        return
    assert faults_of_plan(wanted, shop, plain) == [] and free.cost <= plain.cost
    assert plain.proven or (plain.least is not None and plain.least <= plain.cost)
    for (sold, packs), spare in zip(plain.bought, spare_packs(wanted, shop, Kinds(), plain), strict=True):
        assert not spare or packs in {tier.from_packs for tier in sold.tiers[1:]}
    for place, (_, packs) in enumerate(plain.bought):
        fewer = [(a, n - (at == place)) for at, (a, n) in enumerate(plain.bought)]
        lacking = [one for one in faults_of_plan(wanted, shop, replace(plain, bought=fewer)) if "costs" not in one]
        assert lacking or packs in {tier.from_packs for tier in plain.bought[place][0].tiers[1:]}


def test_a_fault_in_a_plan_is_seen() -> None:
    """The check of these tests itself: a part fewer, a box emptied, another sum."""
    wanted, shop = workshop(12, 1)
    plan = plan_order(wanted, shop, PurchaseWish())
    assert plan is not None and plan.bought
    for place in range(len(plan.bought)):
        fewer = [(a, n - (i == place)) for i, (a, n) in enumerate(plan.bought)]
        assert faults_of_plan(wanted, shop, replace(plan, bought=fewer))
    assert faults_of_plan(wanted, shop, replace(plan, cost=plan.cost + 1))
    box = next(box for box in plan.boxes if any(box.covered))
    emptied = replace(box, nozzles={name: [] for name in box.nozzles})
    assert faults_of_plan(wanted, shop, replace(plan, boxes=[emptied if b is box else b for b in plan.boxes]))


def test_equal_vehicles_are_one_group_and_share_their_boxes_between_them() -> None:
    wanted, shop = workshop(60, 2, kinds=2)
    renamed = [replace(one, needs=replace(one.needs, name=f"car {place}")) for place, one in enumerate(wanted)]
    groups = groups_of(renamed, shop, Kinds())
    assert sum(group.count for group in groups) == 60
    assert len(groups) == len({(one.needs.name, one.day, one.enough) for one in wanted}) < 30
    plan, named = plan_order(wanted, shop, PurchaseWish()), plan_order(renamed, shop, PurchaseWish())
    assert plan == named


@pytest.mark.parametrize("seed", range(6))
def test_the_bound_is_below_every_order(seed: int) -> None:
    wanted, shop = workshop(4, seed)
    whole = plan_whole(wanted, shop, PurchaseWish())
    relaxed = ColumnProgram(groups_of(wanted, shop, Kinds()), shop).relaxed()
    if whole is None:
        assert relaxed.lacking
        return
    assert relaxed.bound <= relaxed.value * (1 + 1e-9)
    assert 0 < relaxed.bound <= whole.cost + 1e-6
    assert [bound for bound, _ in relaxed.trace] == sorted(bound for bound, _ in relaxed.trace)


@pytest.mark.parametrize("seed", range(6))
def test_no_more_is_proven_than_the_whole_model_costs(seed: int) -> None:
    """Told of a dearer order than the best, the proof finds that there may be a cheaper one, and claims no more."""
    wanted, shop = workshop(4, seed)
    whole = plan_whole(wanted, shop, PurchaseWish())
    program = ColumnProgram(groups_of(wanted, shop, Kinds()), shop)
    relaxed = program.relaxed()
    if whole is None:
        return
    least, cheaper = proven_least(program, relaxed.bound, whole.cost + 1000, EFFORT)
    assert relaxed.bound - 1e-6 <= least <= whole.cost and cheaper
    assert proven_least(program, relaxed.bound, whole.cost, EFFORT)[0] <= whole.cost


@pytest.mark.parametrize("seed", range(15, 20))
def test_a_proof_leaves_nothing_held_behind(seed: int) -> None:
    wanted, shop = workshop(4, seed)
    program = ColumnProgram(groups_of(wanted, shop, Kinds()), shop)
    bound = program.relaxed().bound
    proven_least(program, bound, int(1.25 * bound) + 1500, EFFORT)
    ranges = {(x.lower_bound, x.upper_bound) for x in [*program.bought.values(), *sum(program.deliveries.values(), ())]}
    assert ranges == {(0.0, inf)}
    afresh = ColumnProgram(groups_of(wanted, shop, Kinds()), shop)
    asked = int(1.02 * afresh.relaxed().bound) + 50
    assert proven_least(program, bound, asked, EFFORT)[0] == proven_least(afresh, bound, asked, EFFORT)[0]


def test_what_stays_short_is_counted_for_each_day_by_itself() -> None:
    """Equal vehicles of two days: what arrives in between is there for the later ones only."""
    wanted, shop = workshop(1, 3)
    slow = {code: supplier.model_copy(update={"lead_time_days": 3}) for code, supplier in shop.suppliers.items()}
    bare = replace(shop, suppliers=slow, shelf={})
    early, late = (replace(wanted[0], day=MONDAY + timedelta(days=days), sureness=0.75) for days in (1, 9))
    apart = [least_short(groups_of([one], bare, Kinds()), bare) for one in (early, late)]
    assert apart[0] > apart[1]
    assert least_short(groups_of([early, late, early], bare, Kinds()), bare) == 2 * apart[0] + apart[1]
    assert least_short(groups_of([late, early, early], bare, Kinds()), bare) == 2 * apart[0] + apart[1]


@pytest.mark.parametrize(("second_day", "cost"), [(date(2026, 5, 8), 8000), (date(2026, 5, 7), 12000)])
def test_the_bound_knows_when_a_part_is_set_free(second_day: date, cost: int) -> None:
    first = car("first", date(2026, 5, 7), [setup(), setup("large", frees=("small",))], [[], [0, 1]])
    second = car("second", second_day, [setup(), setup("small")], [[], [0, 1]])
    shop = market(article("large", 8000), article("small", 4000))
    relaxed = ColumnProgram(groups_of([first, second], shop, Kinds()), shop).relaxed()
    assert relaxed.value == pytest.approx(cost)


def test_a_part_is_not_there_before_it_is_set_free() -> None:
    """Two want a part, one before and one after the day on which two are set free."""
    frees = [car(f"frees {n}", date(2026, 5, 6), [setup("large", frees=("small",))], [[0, 1]]) for n in range(2)]
    wants = [car(f"wants {day}", date(2026, 5, day), [setup("small")], [[0, 1]]) for day in (5, 7)]
    shop = market(article("large", 8000), article("small", 4000))
    for plan in (
        plan_order([*frees, *wants], shop, PurchaseWish()),
        plan_whole([*frees, *wants], shop, PurchaseWish()),
    ):
        assert plan is not None and plan.proven and plan.cost == 20000


def test_the_same_order_twice() -> None:
    wanted, shop = workshop(7, 4)
    first, second = (plan_order(wanted, shop, PurchaseWish()) for _ in range(2))
    assert first is not None and first == second


def test_what_is_settled_first_stays_near_the_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    """With many groups, those that the linear program gives whole boxes keep them."""
    wanted, shop = workshop(80, 5, kinds=5)
    free = plan_order(wanted, shop, PurchaseWish(effort=5.0))
    monkeypatch.setattr(order_cheapest, "FEW_GROUPS", 0)
    settled = plan_order(wanted, shop, PurchaseWish(effort=5.0))
    assert free is not None and settled is not None
    assert faults_of_plan(wanted, shop, settled) == []
    assert free.cost <= settled.cost <= 1.02 * free.cost


def test_the_fewest_deliveries_come_after_sureness() -> None:
    """Within a budget, and where not all can be sure enough, nothing is bought less for fewer deliveries."""
    wanted, shop = workshop(8, 3)
    for budget in (4000, 9000):
        free = plan_order(wanted, shop, PurchaseWish(budget=budget))
        fewest = plan_order(wanted, shop, PurchaseWish(budget=budget, fewest_deliveries=True))
        assert free is not None and fewest is not None
        assert short(wanted, fewest) == short(wanted, free)
        assert len(fewest.delivery) <= len(free.delivery)


@pytest.mark.parametrize("seed", range(4))
def test_what_cannot_be_reached_is_not_claimed_beyond_the_truth_however_dear_parts_are(seed: int) -> None:
    wanted, shop = workshop(3, seed)
    dear = [replace(a, tiers=tuple(replace(t, price=1000 * t.price) for t in a.tiers))
            for a in shop.articles if a.supplier == "near"]  # fmt: skip
    there = replace(shop, articles=dear)
    whole, many = surest_whole(wanted, there, PurchaseWish()), surest(wanted, there, PurchaseWish())
    assert short(wanted, many) == short(wanted, whole)
    assert many.proven or (many.least is not None and many.least <= short(wanted, whole))


def test_a_delivery_however_dear_is_paid_where_nothing_else_helps() -> None:
    one = car("one", MONDAY, [setup("lobe")], [[0, 1]])
    shop = market(article("lobe", 600), delivery_charge=9_000.0)
    plan = plan_order([one], shop, PurchaseWish())
    assert plan is not None and plan.proven and plan.cost == 900_600


def test_a_quantity_that_is_more_than_is_needed_is_bought_where_nothing_less_is_sold() -> None:
    one = car("one", MONDAY, [setup("lobe")], [[0, 1]])
    five = Article("lobe", "shop", {"lobe": 1}, (Tier(5, 200),))
    shop = market(five, delivery_charge=3.0)
    for plan in (plan_order([one], shop, PurchaseWish()), plan_whole([one], shop, PurchaseWish())):
        assert plan is not None and plan.proven and plan.cost == 1300 and plan.bought == [(five, 5)]


def test_nothing_is_proven_of_suppliers_that_were_not_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two suppliers, one at a time, one is planned to the end and the other is not."""
    wanted, shop = workshop(4, 1)
    shop = replace(shop, articles=[replace(a, supplier=s) for a in shop.articles for s in ("near", "far")])
    assert (plan := plan_order(wanted, shop, PurchaseWish(most_suppliers=1))) is not None and plan.proven
    found, first = order_cheapest._found, []

    def half(*arguments: Any) -> Any:
        first.append(arguments)
        if len(first) == 1:
            raise Unsettled(1.0)
        return found(*arguments)

    monkeypatch.setattr(order_cheapest, "_found", half)
    plan = plan_order(wanted, shop, PurchaseWish(most_suppliers=1))
    assert plan is not None and not plan.proven and len(first) == 2


@pytest.mark.parametrize("where", ["proof", "first round", "third round"])
def test_ctrl_c_keeps_what_was_found_wherever_it_comes(where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    wanted, shop = workshop(8, 1)
    rounds = iter(range(1000))
    improved = ColumnProgram._improved

    def interrupted(program: ColumnProgram, *prices: Any) -> tuple[float, int]:
        if next(rounds) == (0 if where == "first round" else 2):
            raise KeyboardInterrupt
        return improved(program, *prices)

    def pressed(*_: object) -> None:
        raise KeyboardInterrupt

    if where == "proof":
        monkeypatch.setattr(order_cheapest, "proven_least", pressed)
    else:
        monkeypatch.setattr(ColumnProgram, "_improved", interrupted)
    try:
        plan = plan_order(wanted, shop, PurchaseWish())
    except Unsettled:
        assert where == "first round", "before there is a box for each"
        return
    assert plan is not None and plan.stopped and not plan.proven
    assert faults_of_plan(wanted, shop, plan) == [] and short(wanted, plan) == 0


def test_who_stops_a_long_search_waits_for_nothing_more(monkeypatch: pytest.MonkeyPatch) -> None:
    wanted, shop = workshop(8, 1)

    def pressed(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(order_cheapest, "proven_least", pressed)
    monkeypatch.setattr(order_answer, "surest", pressed)
    report = order_answer.answer(order_answer.OrderJob("eight", wanted, shop, PurchaseWish(), {}))
    assert report.ok and not report.proven and not report.curve
    assert [vehicle.before for vehicle in report.vehicles] == [None] * 8
    table = order_text(report)
    assert "there may be a better one; at least" in table and "75 %" in table
    assert all(row.split("%")[1].split()[0] == "?" for row in table.splitlines() if row.startswith("kind "))


def test_the_nearest_order_is_not_sought_in_another_way_after_ctrl_c(monkeypatch: pytest.MonkeyPatch) -> None:
    wanted, shop = workshop(12, 1)
    presses: list[ColumnProgram] = []

    def pressed(program: ColumnProgram, *_: object) -> None:
        presses.append(program)
        raise KeyboardInterrupt

    monkeypatch.setattr(ColumnProgram, "_start", lambda program: None)  # so that no vehicle has a box yet
    monkeypatch.setattr(ColumnProgram, "_improved", pressed)
    with pytest.raises(Unsettled) as unsettled:
        surest(wanted, shop, PurchaseWish())
    assert unsettled.value.stopped and len(presses) == 1


@pytest.mark.usefixtures("heeds_ctrl_c")
def test_work_that_does_not_look_up_is_cut_short_by_ctrl_c() -> None:
    told: list[float] = []
    enough = Event()

    def stop() -> None:
        told.append(monotonic())
        if len(told) > 2:  # the first ones come too early to be heeded
            enough.set()

    Timer(0.2, interrupt_main).start()
    assert watched(lambda: enough.wait(20.0), stop) == (True, True)
    assert len(told) >= 3
    assert watched(lambda: 7, stop) == (7, False)
    with pytest.raises(ZeroDivisionError):
        watched(lambda: 1 / 0, stop)

    def late() -> None:
        raise TimeoutError("its own")

    with pytest.raises(TimeoutError, match="its own"):
        watched(late, stop)


@pytest.mark.usefixtures("heeds_ctrl_c")
def test_ctrl_c_in_the_linear_program_leaves_what_was_found_before(monkeypatch: pytest.MonkeyPatch) -> None:
    wanted, shop = workshop(30, 3, kinds=6)
    program = ColumnProgram(groups_of(wanted, shop, Kinds()), shop)
    solves = []
    solve = program._solver.solve

    def pressed(*, interrupter: SolveInterrupter, **settings: Any) -> Any:
        solves.append(interrupter)
        if len(solves) == 3:
            interrupt_main()
            assert wait_until(lambda: interrupter.interrupted)
        return solve(interrupter=interrupter, **settings)

    monkeypatch.setattr(program._solver, "solve", pressed)
    relaxed = program.relaxed(close=0.0)
    assert relaxed.stopped and len(solves) == 3
    monkeypatch.undo()
    whole = ColumnProgram(groups_of(wanted, shop, Kinds()), shop).relaxed(close=0.0)
    assert not whole.stopped and relaxed.bound <= whole.value + 1e-6 and relaxed.value >= whole.value - 1e-6


def wait_until(holds: Callable[[], bool]) -> bool:
    begin = monotonic()
    while not holds() and monotonic() < begin + 20.0:
        sleep(0.01)
    return holds()
