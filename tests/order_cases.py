"""Workshops made up for the order's tests, and the check of a plan that reads nothing but its boxes and its packs."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, timedelta

import numpy as np

from configurator.arrays import Mask
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import Consumable
from configurator.catalogue.supply import DrillBit, Supplier
from configurator.judging.case import Case, FeltSizes
from configurator.learning.belief import Belief
from configurator.ordering.articles import Article, Tier
from configurator.ordering.needs import Choices, CircuitNeeds, Setup, VehicleNeeds, diameter_mm, regions_of
from configurator.ordering.plan import Plan, Wanted
from configurator.ordering.purchase import Market
from configurator.physics.lateness import FIRST_FUEL, Regions
from configurator.slots.options import Option

MONDAY = date(2026, 5, 4)
SIZES = (0.60, 0.65, 0.70, 0.75, 0.80, 0.85)
SCENARIOS = 8
NOTHING = Option("none", 0.0, "none")
SPACER = Option("spacer", 0.0, "fit", "spacer", 2000, 50)
RELIEF = Option("relieved", 1.0, "relieve", "relieve", 0, 60)


def needs_of(
    case: Case, belief: Belief, cut: tuple[int, int], felt: Mapping[str, FeltSizes] | None = None, *, redrill: bool
) -> VehicleNeeds:
    """The needs of a vehicle with its belief cut into scenarios, with its linkage set."""
    return Choices(case, regions_of(case, redrill=redrill), redrill=redrill).needs(belief, cut, felt or {})


def circuit_needs(name: str, setups: Sequence[Setup], nozzles: Sequence[Option], covers: Mask) -> CircuitNeeds:
    """A circuit of a vehicle of which no more is believed than its scenarios."""
    points = np.zeros((*covers.shape[:2], len(FIRST_FUEL)), dtype=bool)
    points[..., : covers.shape[2]] = covers
    return CircuitNeeds(name, tuple(setups), tuple(nozzles), covers, Regions.of(points))


def vehicle_needs(name: str, circuits: Sequence[CircuitNeeds], shared: Sequence[tuple[Option, Option]]) -> VehicleNeeds:
    """The vehicle: its scenarios are the first engines of the grid."""
    count = circuits[0].covers.shape[2]
    cells = np.eye(count, len(FIRST_FUEL))
    return VehicleNeeds(name, tuple(circuits), tuple(shared), cells, cells.mean(axis=0))


def _circuit(name: str, rng: np.random.Generator) -> CircuitNeeds:
    """Three setups (as fitted, another lobe, another pump and lobe), six sizes new or drilled, scenarios in a row."""
    setups = (
        Setup("as fitted", (), (), (), np.array([True, True, True]), {}, True),
        Setup("lobe", ("lobe-b",), ("lobe-a",), (), np.array([True, True, True]), {"lobe-b": 15}, False),
        Setup("pump", ("pump", "lobe-c"), ("small-pump", "lobe-a"), ("pump_cover", "nozzle_seat"),
              np.array([False, True, True]), {"pump": 40, "lobe-c": 15}, False),
    )  # fmt: skip
    fitted = FittedNozzle(code="size-0", diameter_mm=SIZES[0], style="straight")
    nozzles = [Option("fitted", fitted, "none", "size-0")]
    for place, size in enumerate(SIZES[1:], 1):
        figures = FittedNozzle(code=f"size-{place}", diameter_mm=size, style="straight")
        nozzles.append(Option(f"size-{place}", figures, "fit", f"size-{place}", 1200, 15))
        if size <= SIZES[3]:
            drilled = FittedNozzle(diameter_mm=size, style="straight", redrilled=True, measured=True)
            nozzles.append(Option(f"drilled {size}", drilled, "redrill", "redrill", 30, 25, permanent=True))
    covers = np.zeros((len(setups), len(nozzles), SCENARIOS), dtype=bool)
    for s in range(len(setups)):
        start, width = rng.integers(-2, 3), rng.integers(2, 5)
        for n, option in enumerate(nozzles):
            first = start + 2 * SIZES.index(diameter_mm(option)) - 2
            covers[s, n, max(0, first) : max(0, first + width)] = True
    return circuit_needs(name, setups, nozzles, covers)


def workshop(vehicles: int, seed: int, kinds: int = 4) -> tuple[list[Wanted], Market]:
    """Vehicles of a few kinds, one with two circuits; kits, breaks, drills, gaskets, a late supplier with terms."""
    rng = np.random.default_rng(seed)
    stacks = ((NOTHING, NOTHING), (SPACER, NOTHING), (NOTHING, RELIEF))
    needs = [
        vehicle_needs(f"kind {kind}", [_circuit(name, rng) for name in ("front", "rear")[: 1 + (kind == 0)]], stacks)
        for kind in range(kinds)
    ]  # fmt: skip
    wanted = [
        Wanted(
            needs[rng.integers(kinds)], MONDAY + timedelta(days=int(rng.integers(3, 9))), float(rng.choice([0.5, 0.75]))
        )
        for _ in range(vehicles)
    ]  # fmt: skip
    suppliers = {
        "near": Supplier(code="near", name="near"),
        "far": Supplier(
            code="far", name="far", delivery_charge=6.0, free_delivery_from=90.0, minimum_order=12.0, lead_time_days=2
        ),
    }

    def price(low: int, high: int) -> int:
        return 10 * int(rng.integers(low, high))

    articles = [Article(f"size-{n}", "near", {f"size-{n}": 1}, (Tier(1, price(90, 140)),)) for n in range(1, 6)]
    articles += [
        Article("size-2", "far", {"size-2": 1}, (Tier(1, price(80, 120)), Tier(3, price(50, 80)))),
        Article("kit-sizes", "far", {f"size-{n}": 1 for n in range(2, 6)}, (Tier(1, price(240, 340)),)),
        Article("lobe-b", "near", {"lobe-b": 1}, (Tier(1, price(40, 90)),)),
        Article("lobe-c", "near", {"lobe-c": 1}, (Tier(1, price(40, 90)),)),
        Article("pump", "far", {"pump": 1}, (Tier(1, price(300, 600)),)),
        Article("kit-pump", "far", {"pump": 1, "lobe-c": 1, "seal-cover": 1}, (Tier(1, price(340, 620)),)),
        Article("small-pump", "near", {"small-pump": 1}, (Tier(1, 3000),)),
        Article("spacer", "near", {"spacer": 1}, (Tier(1, price(150, 250)),)),
        Article("seal-cover", "near", {"seal-cover": 1}, (Tier(1, 240),)),
        Article("seal-seat", "near", {"seal-seat": 1}, (Tier(1, 60),)),
        Article("seals-seat", "far", {"seal-seat": 10}, (Tier(1, 390), Tier(5, 320))),
        Article("seal-flange", "near", {"seal-flange": 1}, (Tier(1, 160),)),
        *(Article(f"drill-{size}", "near", {f"drill-{size}": 1}, (Tier(1, 240),)) for size in SIZES[1:4]),
    ]
    gaskets = [
        Consumable(code=code, supplier="near", price=1.0, joint=joint, quantity=quantity)
        for code, joint, quantity in (("seal-seat", "nozzle_seat", 2), ("seal-cover", "pump_cover", 1),
                                      ("seal-flange", "carburettor_flange", 1))
    ]  # fmt: skip
    drills = [DrillBit(code=f"drill-{size}", supplier="near", price=2.4, diameter_mm=size) for size in SIZES[1:4]]
    shelf = {"size-3": int(rng.integers(0, 3)), "lobe-b": int(rng.integers(0, 2)), "drill-0.65": 1}
    return wanted, Market(articles, suppliers, shelf, gaskets, drills, MONDAY)


def faults_of_plan(wanted: Sequence[Wanted], market: Market, plan: Plan) -> list[str]:
    """What does not hold of a plan: coverage as told, parts there on each day, and the money."""
    faults = []
    bought = {(article.code, article.supplier): (article, packs) for article, packs in plan.bought}
    asked: list[tuple[date, Counter[str]]] = []
    freed: list[tuple[date, Counter[str]]] = []
    work = 0
    for place, (one, box) in enumerate(zip(wanted, plan.boxes, strict=True)):
        takes: Counter[str] = Counter()
        frees: Counter[str] = Counter()
        seen = np.ones(one.scenarios, dtype=bool)
        for circuit in one.needs.circuits:
            setups = [circuit.setups[s] for s in box.setups[circuit.circuit]]
            nozzles = [circuit.nozzles[n] for n in box.nozzles[circuit.circuit]]
            covers = circuit.covers[box.setups[circuit.circuit]][:, box.nozzles[circuit.circuit]]
            seen &= covers.any(axis=(0, 1)) if covers.size else False
            takes.update({code for setup in setups for code in setup.codes})
            takes.update(option.code for option in nozzles if option.work == "fit" and option.code)
            for code in {code for setup in setups for code in setup.frees}:
                frees[code] += all(code in setup.frees for setup in setups)
            new = sum(option.changed for option in nozzles)
            screwed = any("nozzle_seat" in setup.joints for setup in setups)
            opened = {"nozzle_seat": max((new + 2) // 2 if new else 0, int(screwed)),
                      "pump_cover": int(any("pump_cover" in setup.joints for setup in setups))}  # fmt: skip
            takes.update(_gaskets(market, opened))
            work += sum(option.price for option in nozzles if option.work == "redrill")
            jobs = {what: minutes for setup in setups for what, minutes in setup.labour_min.items()}
            minutes = [*jobs.values(), *(option.labour_min for option in nozzles)]
            work += sum(round(one * market.labour_per_hour / 60) for one in minutes)
            unfit = [setup.label for setup in setups if not setup.goes_with[box.shared]]
            faults += [f"vehicle {place}: {label} does not go with the stack" for label in unfit]
            for option in nozzles:
                if option.work == "redrill" and not _has_drill(market, plan, diameter_mm(option), one.day):
                    faults.append(f"vehicle {place}: no drill for {option.label} by {one.day}")
        spacer, relief = one.needs.shared[box.shared]
        takes.update({spacer.code} if spacer.work == "fit" and spacer.code else set())
        takes.update(_gaskets(market, {"carburettor_flange": int(spacer.changed or relief.changed)}))
        work += relief.price
        work += sum(round(one.labour_min * market.labour_per_hour / 60) for one in (spacer, relief))
        if any(told and not covered for told, covered in zip(box.covered, seen.tolist(), strict=True)):
            faults.append(f"vehicle {place}: told to cover what it does not")
        asked.append((one.day, takes))
        freed.append((one.day, frees))
    for day in sorted({one.day for one in wanted}):
        there: Counter[str] = Counter(market.shelf)
        for article, packs in bought.values():
            if arrives(market.suppliers[article.supplier], market.ordered) <= day:
                there.update({code: count * packs for code, count in article.brings.items()})
        for when, frees in freed:
            there.update(frees if when < day else {})
        needed = sum((takes for when, takes in asked if when <= day), Counter())
        faults += [f"{day}: {needed[c]} of {c} needed, {there[c]} there" for c in needed if needed[c] > there[c]]
    total = work
    for code, supplier in market.suppliers.items():
        goods = [article.cost(packs) for article, packs in bought.values() if article.supplier == code]
        if goods and sum(goods) < 100 * supplier.minimum_order:
            faults.append(f"{code} takes no order of {sum(goods)}")
        free = supplier.free_delivery_from is not None and sum(goods) >= 100 * supplier.free_delivery_from
        total += sum(goods) + (round(100 * supplier.delivery_charge) if goods and not free else 0)
    if total != plan.cost:
        faults.append(f"costs {total}, said to cost {plan.cost}")
    return faults


def arrives(supplier: Supplier, ordered: date) -> date:
    """Day a delivery is there, by the calendar: an order of a weekend is taken on the Monday, and so many working days
    later it is there; over the counter there are no such days, and a weekend is as good as any day. No day on which the
    supplier is closed counts."""
    open_days = range(1, 6) if supplier.lead_time_days else range(1, 8)

    def on(day: date) -> date:
        while day.isoweekday() not in open_days or day in supplier.closed_on:
            day += timedelta(days=1)
        return day

    day = on(ordered)
    for _ in range(supplier.lead_time_days):
        day = on(day + timedelta(days=1))
    return day


def _gaskets(market: Market, opened: dict[str, int]) -> dict[str, int]:
    return {part.code: part.quantity * opened.get(part.joint, 0) for part in market.consumables}


def _has_drill(market: Market, plan: Plan, orifice_mm: float, day: date) -> bool:
    codes = [bit.code for bit in market.drill_bits if abs(bit.diameter_mm - orifice_mm) < 0.001]
    return any(
        market.shelf.get(code, 0) or any(
            code in article.brings and packs and arrives(market.suppliers[article.supplier], market.ordered) <= day
            for article, packs in plan.bought
        )
        for code in codes
    )  # fmt: skip
