"""The parts order against brute force, against HiGHS (scipy.optimize.milp) and against engines drawn at random."""

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import building
import numpy as np
import pytest
from order_cases import circuit_needs, needs_of, vehicle_needs
from scipy.optimize import LinearConstraint, milp
from scipy.stats import norm
from scipy.stats.qmc import Halton

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import Consumable, FeedScrewFigures, PumpFigures
from configurator.catalogue.supply import Supplier
from configurator.judging.case import Case
from configurator.judging.findings import broken
from configurator.judging.right import DEMAND
from configurator.learning.belief import CUT_AT, prior
from configurator.ordering.articles import Article, Tier, arrival
from configurator.ordering.cheapest import plan_order, surest
from configurator.ordering.needs import Setup, VehicleNeeds
from configurator.ordering.plan import Plan, PurchaseWish, Wanted
from configurator.ordering.purchase import Market
from configurator.physics.lateness import AS_MODELLED
from configurator.physics.pull import Pulling
from configurator.slots.columns import Mount
from configurator.slots.options import Option
from configurator.slots.slot import SLOTS, Slot

MONDAY = date(2026, 5, 4)
OWN = [SLOTS[f"front.{slot}"] for slot in ("nozzle", "feed_screw", "pump", "lobe")]
KINDS: tuple[Any, ...] = (FittedNozzle, FeedScrewFigures, PumpFigures, Mount)
NO_STACK = (Option("none", 0.0, "none"), Option("none", 0.0, "none"))


def nozzle(code: str, size: float, *, fitted: bool = False) -> Option:
    figures = FittedNozzle(code=code, diameter_mm=size, style="straight")
    return Option(code, figures, "none" if fitted else "fit", code)


def setup(*codes: str, frees: tuple[str, ...] = ()) -> Setup:
    return Setup(
        " ".join(codes) or "as fitted", codes, frees, (), np.array([True]), dict.fromkeys(codes, 10), not codes
    )


def vehicle(name: str, covers: np.ndarray, setups: Sequence[Setup], nozzles: Sequence[Option]) -> VehicleNeeds:
    return vehicle_needs(name, [circuit_needs("front", setups, nozzles, covers)], [NO_STACK])


def random_case(seed: int) -> tuple[list[Wanted], Market]:
    """Two vehicles, two setups, three nozzles, four scenarios; a break, a kit, a delivery charge, a late supplier."""
    rng = np.random.default_rng(seed)
    sizes = ("a", "b", "c")
    wanted = []
    for index in range(2):
        covers = rng.random((2, 3, 4)) < 0.45
        parts = [nozzle("a", 0.6, fitted=True), nozzle("b", 0.7), nozzle("c", 0.8)]
        needs = vehicle(f"car {index}", covers, [setup(), setup("lobe", frees=("old",))], parts)
        wanted.append(Wanted(needs, date(2026, 5, 5 + 3 * index), float(rng.choice([0.5, 0.75, 1.0]))))
    suppliers = {
        "near": Supplier(code="near", name="near"),
        "far": Supplier(
            code="far", name="far", delivery_charge=3.0, free_delivery_from=20.0, minimum_order=4.0, lead_time_days=2
        ),
    }
    price = {code: int(rng.integers(3, 12)) * 100 for code in (*sizes, "lobe", "kit")}
    articles = [
        Article("b", "near", {"b": 1}, (Tier(1, price["b"]),)),
        Article("c", "far", {"c": 1}, (Tier(1, price["c"]), Tier(2, price["c"] // 2))),
        Article("lobe", "near", {"lobe": 1}, (Tier(1, price["lobe"]),)),
        Article("kit", "far", {"b": 1, "c": 1, "lobe": 1}, (Tier(1, price["kit"] + 500),)),
    ]
    shelf = {code: 1 for code in ("b", "lobe") if rng.random() < 0.3}
    return wanted, Market(articles, suppliers, shelf, [], [], MONDAY)


def purchases(market: Market, most: int = 2) -> Iterator[tuple[int, ...]]:
    return itertools.product(range(most + 1), repeat=len(market.articles))


def money(market: Market, packs: Sequence[int]) -> int | None:
    """What an order costs, worked out without the solver; None where a supplier would not take it."""
    total = 0
    for code, supplier in market.suppliers.items():
        goods = sum(a.cost(n) for a, n in zip(market.articles, packs, strict=True) if a.supplier == code)
        bought = any(n for a, n in zip(market.articles, packs, strict=True) if a.supplier == code)
        if bought and goods < 100 * supplier.minimum_order:
            return None
        free = supplier.free_delivery_from is not None and goods >= 100 * supplier.free_delivery_from
        total += goods + (round(100 * supplier.delivery_charge) if bought and not free else 0)
    return total


def boxes(one: Wanted) -> Iterator[tuple[Mapping[str, int], int]]:
    """Every box of a vehicle: what it asks for, and scenarios it covers."""
    (circuit,) = one.needs.circuits
    places = range(len(circuit.setups)), range(len(circuit.nozzles))
    for setups in (s for n in range(3) for s in itertools.combinations(places[0], n)):
        for nozzles in (s for n in range(4) for s in itertools.combinations(places[1], n)):
            asked: dict[str, int] = {}
            for code in {code for s in setups for code in circuit.setups[s].codes}:
                asked[code] = 1
            for option in (circuit.nozzles[n] for n in nozzles):
                if option.changed and option.code:
                    asked[option.code] = asked.get(option.code, 0) + 1
            covered = circuit.covers[list(setups)][:, list(nozzles)].any(axis=(0, 1)).sum() if setups and nozzles else 0
            yield asked, int(covered)


def reachable(wanted: Sequence[Wanted], market: Market, packs: Sequence[int]) -> bool:
    """Whether some boxes reach every sureness with what was bought, each day by itself and all days before it."""
    choices = [[asked for asked, covered in boxes(one) if covered >= one.enough] for one in wanted]
    for chosen in itertools.product(*choices):
        if all(_supplied(wanted, chosen, market, packs, one.day) for one in wanted):
            return True
    return False


def _supplied(
    wanted: Sequence[Wanted], chosen: Sequence[Mapping[str, int]], market: Market, packs: Sequence[int], day: date
) -> bool:
    there = dict(market.shelf)
    for article, count in zip(market.articles, packs, strict=True):
        if arrival(market.suppliers[article.supplier], market.ordered) <= day:
            for code, number in article.brings.items():
                there[code] = there.get(code, 0) + number * count
    asked: dict[str, int] = {}
    for one, box in zip(wanted, chosen, strict=True):
        if one.day <= day:
            for code, number in box.items():
                asked[code] = asked.get(code, 0) + number
    return all(there.get(code, 0) >= number for code, number in asked.items())


@pytest.mark.parametrize("seed", range(25))
def test_the_cheapest_order_is_that_of_trying_every_purchase(seed: int) -> None:
    wanted, market = random_case(seed)
    costs = sorted((cost, packs) for packs in purchases(market) if (cost := money(market, packs)) is not None)
    expected = next((cost for cost, packs in costs if reachable(wanted, market, packs)), None)
    plan = plan_order(wanted, market, PurchaseWish())
    if expected is None:
        assert plan is None
        return
    assert plan is not None and plan.proven and plan.cost == expected
    packs = [dict((a.code, n) for a, n in plan.bought).get(article.code, 0) for article in market.articles]
    assert money(market, packs) == expected and reachable(wanted, market, packs)


def test_some_of_those_cases_buy_and_some_cannot() -> None:
    plans = [plan_order(*random_case(seed), PurchaseWish()) for seed in range(25)]
    assert sum(plan is None for plan in plans) >= 2
    assert sum(plan is not None and bool(plan.bought) for plan in plans) >= 5


def test_a_budget_buys_the_most_sureness_there_is() -> None:
    for seed in range(12):
        wanted, market = random_case(seed)
        best = surest(wanted, market, PurchaseWish())
        short = [max(0, one.enough - sum(box.covered)) for one, box in zip(wanted, best.boxes, strict=True)]
        within = plan_order(wanted, market, PurchaseWish(budget=best.cost))
        assert within is not None and within.cost <= best.cost
        assert [max(0, o.enough - sum(b.covered)) for o, b in zip(wanted, within.boxes, strict=True)] == pytest.approx(
            short, abs=9
        )
        nothing = plan_order(wanted, market, PurchaseWish(budget=0))
        assert nothing is not None and nothing.cost == 0 and not nothing.bought


def thirsty(flow_m3_min: float = 18.0) -> Case:
    """A truck that must be bought for, with smoke that few would mind."""
    car = building.vehicle(carburettor={"rated_flow_m3_min": flow_m3_min})
    return building.case(car, building.catalog(smoke_most_ms=400.0))


@cache
def real_case(flow_m3_min: float = 18.0) -> tuple[list[Wanted], Market]:
    """A vehicle of the tests' own catalogue, worked out by the model, with gaskets; as sure as can be is wanted."""
    case = thirsty(flow_m3_min)
    needs = needs_of(case, prior(AS_MODELLED, 0.35), (4, 5), redrill=False)
    articles = [
        Article(part.code, "shelf", {part.code: 1}, (Tier(1, round(100 * part.price)),))
        for family in ("nozzles", "feed_screws", "pumps", "lobes", "spacers", "consumables")
        for part in getattr(case.catalog, family).values()
    ]
    market = Market(
        articles, {"shelf": Supplier(code="shelf", name="shelf", delivery_charge=2.5)}, {}, _gaskets(case), [], MONDAY
    )
    most = sum(surest([Wanted(needs, MONDAY, 0.999)], market, PurchaseWish()).boxes[0].covered)
    return [Wanted(needs, MONDAY, most / len(needs.scenarios))], market


def _gaskets(case: Case) -> list[Consumable]:
    return list(case.catalog.consumables.values())


@pytest.mark.parametrize("flow_m3_min", [15.0, 18.0, 22.0])
def test_a_middling_order_costs_what_highs_says(flow_m3_min: float) -> None:
    wanted, market = real_case(flow_m3_min)
    plan = plan_order(wanted, market, PurchaseWish())
    assert plan is not None and plan.proven and plan.bought
    assert plan.cost == _by_highs(wanted, market)


def _by_highs(wanted: Sequence[Wanted], market: Market) -> int:
    """The cheapest order of one vehicle and one supplier as a mixed-integer program of its own, solved by HiGHS."""
    (one,) = wanted
    (circuit,) = one.needs.circuits
    program = Program()
    packs = {article.code: program.variable(article.tiers[0].price, 20) for article in market.articles}
    used = program.variable(round(100 * next(iter(market.suppliers.values())).delivery_charge))
    for count in packs.values():
        program.add({count: 1, used: -20}, most=0)
    stack = [program.variable() for _ in one.needs.shared]
    program.add(dict.fromkeys(stack, 1), 1, 1)
    setups = [program.variable() for _ in circuit.setups]
    nozzles = [program.variable() for _ in circuit.nozzles]
    covered = [program.variable() for _ in range(one.scenarios)]
    pair = {place: program.variable() for place in zip(*np.nonzero(np.any(circuit.covers, axis=2)), strict=True)}
    for (s, n), both in pair.items():
        program.add({both: 1, setups[s]: -1}, most=0)
        program.add({both: 1, nozzles[n]: -1}, most=0)
    for scenario, seen in enumerate(covered):
        ways = {both: -1 for (s, n), both in pair.items() if circuit.covers[s, n, scenario]}
        program.add({seen: 1, **ways}, most=0)
    program.add(dict.fromkeys(covered, 1), least=one.enough)
    gaskets: dict[str, list[int]] = {"nozzle_seat": [program.variable(0, 99)], "pump_cover": [program.variable()]}
    for place, has in enumerate(setups):
        goes = {x: -1 for x, fits in zip(stack, circuit.setups[place].goes_with, strict=True) if fits}
        program.add({has: 1, **goes}, most=0)
        for code in circuit.setups[place].codes:
            program.add({has: 1, packs[code]: -1}, most=0)
        for joint in circuit.setups[place].joints:
            program.add({has: 1, gaskets[joint][0]: -1}, most=0)
    new = [x for option, x in zip(circuit.nozzles, nozzles, strict=True) if option.changed]
    any_new = program.variable()
    for option, has in zip(circuit.nozzles, nozzles, strict=True):
        if option.changed and option.code:
            program.add({has: 1, packs[option.code]: -1}, most=0)
            program.add({has: 1, any_new: -1}, most=0)
    program.add({gaskets["nozzle_seat"][0]: 2, any_new: -1, **dict.fromkeys(new, -1)}, least=0)
    gaskets["carburettor_flange"] = [
        x for x, o in zip(stack, one.needs.shared, strict=True) if any(p.changed for p in o)
    ]
    for (spacer, _), x in zip(one.needs.shared, stack, strict=True):
        if spacer.work == "fit" and spacer.code:
            program.add({x: 1, packs[spacer.code]: -1}, most=0)
    for part in market.consumables:
        opened = gaskets.get(part.joint, [])
        program.add({packs[part.code]: 1, **{x: -part.quantity for x in opened}}, least=0)
    return program.least()


class Program:
    """A mixed-integer program for scipy's HiGHS, built a row at a time."""

    def __init__(self) -> None:
        self.prices: list[float] = []
        self.most: list[float] = []
        self.rows: list[tuple[Mapping[int, float], float, float]] = []

    def variable(self, price: float = 0.0, most: float = 1.0) -> int:
        self.prices.append(price)
        self.most.append(most)
        return len(self.prices) - 1

    def add(self, terms: Mapping[int, float], least: float = -np.inf, most: float = np.inf) -> None:
        self.rows.append((terms, least, most))

    def least(self) -> int:
        table = np.zeros((len(self.rows), len(self.prices)))
        for row, (terms, _, _) in enumerate(self.rows):
            for place, weight in terms.items():
                table[row, place] = weight
        limits = LinearConstraint(table, [row[1] for row in self.rows], [row[2] for row in self.rows])
        found = milp(
            self.prices, constraints=limits, integrality=np.ones(len(self.prices)), bounds=(0, np.array(self.most)),
            options={"mip_rel_gap": 0.0},
        )  # fmt: skip
        assert found.success, found.message
        cost: int = round(found.fun)
        return cost


def test_sureness_is_the_share_of_engines_that_the_box_is_right_for() -> None:
    """Engines drawn from the prior, off its grid, each judged by itself with all that the box holds, apart from regions
    and scenarios: what is felt of it in that engine. What no engine can mend is not in the box."""
    wanted, market = real_case()
    plan = plan_order(wanted, market, PurchaseWish())
    assert plan is not None
    (circuit,), (box,) = wanted[0].needs.circuits, plan.boxes
    case = thirsty().with_linkage_set()
    setups = {circuit.setups[place].label for place in box.setups["front"]}
    nozzles = {circuit.nozzles[place].label for place in box.nozzles["front"]}
    stack = dict(zip((SLOTS["spacer"], SLOTS["pad_relief"]), wanted[0].needs.shared[box.shared], strict=True))
    parts: list[dict[Slot, Option]] = [
        dict(zip(OWN, together, strict=True)) for together in itertools.product(*(case.options[slot] for slot in OWN))
        if together[0].label in nozzles and ", ".join(option.label for option in together[1:]) in setups
    ]  # fmt: skip
    fit = [own for own in parts if not hard(case, {**case.as_fitted, **own, **stack}) - set(DEMAND)]
    assert fit
    judged, limits = case.circuits["front"], case.catalog.limits
    sizes, screws, pumps, lobes = ([own[slot].read(kind) for own in fit] for slot, kind in zip(OWN, KINDS, strict=True))
    shots = judged.verdict.supply.responses(
        judged.flow_kg_s(judged.deliver(sizes, screws, pumps, lobes, np.zeros(len(fit))))
    )
    end = norm.cdf(CUT_AT)
    first, main = np.exp(0.35 * norm.ppf(1 - end + (2 * end - 1) * Halton(2, rng=7).random(1000))).T
    felt = Pulling(judged.event, lag_s=case.car.assumed.pull_lag_s).felt(
        shots.filmed[:, :, None], shots.sooner[:, :, None], (1 - judged.film_share(sizes))[:, None] / first,
        judged.event.base_phi(main)[:, None, :],
    )  # fmt: skip
    sag = np.maximum(felt.lean_sag_percent, felt.rich_sag_percent)
    meets = (felt.delay_ms <= limits.delay_most_ms) & (sag <= limits.sag_most_percent)
    right = (meets & (felt.smoke_ms <= limits.smoke_most_ms)).any(axis=0)
    assert right.mean() == pytest.approx(box.sureness, abs=0.02)


def hard(case: Case, choice: Mapping[Slot, Option]) -> set[str]:
    """Hard rules of the circuit that a choice breaks."""
    return {one.rule for one in broken(case, choice) if one.severity == "conflict" and one.circuit == "front"}


def test_what_lies_on_the_shelf_is_not_bought() -> None:
    wanted, market = real_case()
    first = plan_order(wanted, market, PurchaseWish())
    assert first is not None
    shelf = {code: count * packs for article, packs in first.bought for code, count in article.brings.items()}
    again = plan_order(wanted, replace(market, shelf=shelf), PurchaseWish())
    assert again is not None and again.cost == 0 and not again.bought


def test_the_same_order_twice() -> None:
    wanted, market = real_case()
    first, second = (plan_order(wanted, market, PurchaseWish()) for _ in range(2))
    assert isinstance(first, Plan) and first == second
