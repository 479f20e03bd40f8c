"""Orders from a large list, where the same part stands many times: one choice for the box, and the cheapest to buy."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from itertools import product
from pathlib import Path
from typing import Any

import building
import numpy as np
import pytest
from many_alike import case_of_many, catalog_of_many
from order_cases import needs_of
from test_options import kind_by_hand
from whole_order import plan_whole

from configurator.book.book import open_book
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.catalogue.supply import DrillBit, Kit, Offer, Supplier
from configurator.files.declared import Record
from configurator.judging.case import Case, FeltSizes
from configurator.learning.belief import prior
from configurator.ordering import job as order_job
from configurator.ordering.answer import OrderJob, answer
from configurator.ordering.articles import Article, Tier, articles, by_codes, worth_a_look
from configurator.ordering.cheapest import plan_order
from configurator.ordering.job import job_of
from configurator.ordering.meeting import Meeting
from configurator.ordering.needs import Choices, VehicleNeeds, diameter_mm, regions_of
from configurator.ordering.plan import PurchaseWish, Wanted
from configurator.ordering.purchase import Market
from configurator.physics.lateness import AS_MODELLED, Regions
from configurator.slots.columns import Mount
from configurator.slots.offered import stocks_of
from configurator.slots.options import Option
from configurator.slots.slot import CIRCUIT_SLOTS, Slot

each_seed = pytest.mark.parametrize("seed", range(4))
DELAY_MOST_MS = 60.0
"""So little that no car does with what is fitted."""
MONDAY = date(2026, 5, 4)
FAMILIES = ("nozzles", "feed_screws", "pumps", "lobes", "spacers")
SHOPS = {code: Supplier(code=code, name=code, delivery_charge=charge, lead_time_days=days)
         for code, charge, days in (("shelf", 0.0, 0), ("near", 4.0, 0), ("far", 7.0, 3))}  # fmt: skip


def sold_all_over(seed: int, *, drills: bool = False) -> Catalog:
    """A catalogue of many alike, sold by three suppliers; some in packs, and kits of a few parts; drills if wanted."""
    dice = np.random.default_rng(seed + 50)
    stock = catalog_of_many(seed)
    tables: dict[str, Any] = {
        family: {code: part.model_copy(update={"supplier": str(dice.choice(list(SHOPS)))})
                 for code, part in getattr(stock, family).items()}
        for family in FAMILIES
    }  # fmt: skip
    codes = sorted(code for table in tables.values() for code in table)
    offers = [
        Offer(code=f"pack-{n}", part=str(dice.choice(codes)), supplier=str(dice.choice(list(SHOPS))),
              pack_size=2 + n, from_packs=int(dice.choice((1, 2))),
              price=float(dice.integers(4, 30)))
        for n in range(12)
    ]  # fmt: skip
    kits = [
        Kit(code=f"kit-{n}", supplier=str(dice.choice(list(SHOPS))), price=float(dice.integers(15, 60)),
            contents=tuple(str(code) for code in dice.choice(codes, 4)))
        for n in range(4)
    ]  # fmt: skip
    rows: dict[str, Any] = {"offers": {one.code: one for one in offers}, "kits": {one.code: one for one in kits}}
    sizes = {f"drill-{size:g}": size for size in (0.85, 0.9, 0.95, 1.0) if drills}
    rows["drill_bits"] = {
        code: DrillBit(code=code, supplier="near", price=2.0, diameter_mm=size) for code, size in sizes.items()
    }
    limits = stock.limits.model_copy(update={"delay_most_ms": DELAY_MOST_MS})
    return replace(stock, suppliers=SHOPS, limits=limits, **rows, **tables)


def said_once(stock: Catalog) -> Catalog:
    """The same goods, every kind of part one row, of a part that is fitted if there is one: the other rows of it are
    offers of that, and kits where more is in the box."""
    fitted = building.vehicle().fitted.front
    now = {fitted.nozzle, fitted.feed_screw, fitted.pump, fitted.lobe}
    first: dict[str, str] = {}
    stands_for: dict[str, str] = {}
    rows = [(family, code, part) for family in FAMILIES for code, part in getattr(stock, family).items()]
    bare_first = sorted(rows, key=lambda row: (row[1] not in now, bool(getattr(row[2], "comes_with", ()))))
    for family, code, part in bare_first:
        stands_for[code] = first.setdefault(f"{family} {figures(part)}", code)
    tables: dict[str, Any] = {family: {} for family in FAMILIES}
    offers = {code: one.model_copy(update={"part": stands_for[one.part]}) for code, one in stock.offers.items()}
    kits = {code: one.model_copy(update={"contents": tuple(stands_for[part] for part in one.contents)})
            for code, one in stock.kits.items()}  # fmt: skip
    singly: dict[tuple[str, str], Offer] = {}
    for family, code, part in rows:
        contents = tuple(stands_for[one] for one in (code, *getattr(part, "comes_with", ())))
        if stands_for[code] == code:
            assert contents == (code,)
            tables[family][code] = part
        elif len(contents) > 1:
            kits[f"was-{code}"] = Kit(code=f"was-{code}", supplier=part.supplier, price=part.price, contents=contents)
        else:
            row = Offer(code=f"{code}-at", part=contents[0], supplier=part.supplier, price=part.price)
            held = singly.setdefault((row.part, row.supplier), row)
            if row.price < held.price:
                singly[row.part, row.supplier] = row
    for (code, supplier), row in singly.items():
        [family] = (family for family in FAMILIES if code in tables[family])
        first_row = tables[family][code]
        if first_row.supplier != supplier:
            offers[row.code] = row
        elif row.price < first_row.price:
            tables[family][code] = first_row.model_copy(update={"price": row.price})
    return replace(stock, offers=offers, kits=kits, **tables)


def figures(part: Record) -> str:
    """All that decides how a part works."""
    return repr(part.model_dump(exclude={"code", "price", "labour_min", "supplier", "comes_with", "note"}))


def job(stock: Catalog, shelf: Mapping[str, int] | None = None, place: Path | None = None) -> OrderJob:
    engines = [{"idle_rpm": 650 + 100 * n, "displacement_cc": 7000} for n in range(3)]
    cars = [building.vehicle(name=f"car {n}", engine=engine) for n, engine in enumerate(engines)]
    days = [{"file": "x.toml", "day": date(2026, 5, 8 + n)} for n in range(3)]
    meeting = Meeting.model_validate({"name": "x", "today": MONDAY, "sureness": 0.9, "vehicle": days})
    book = None
    if place is not None:
        book = open_book(place / "book.sqlite")
        book.add_stock(dict(shelf or {}), "counted")
    return job_of(meeting, cars, stock, book, PurchaseWish(), redrill=True)


def shape(option: Option) -> object:
    """All that a part is, wherever on the shaft it is put."""
    kind = kind_by_hand(replace(option, work="fit"))
    return kind[:-1] if isinstance(kind, tuple) and isinstance(option.figures, Mount) else kind


@each_seed
def test_a_box_chooses_among_one_option_a_kind_and_not_among_the_like_of_what_is_fitted(seed: int) -> None:
    left_out = 0
    for offered in case_of_many(seed).options.values():
        expected: dict[object, Option] = {}
        for option in offered:
            if option.work == "fit" and shape(option) == shape(offered[0]):
                left_out += 1
            else:
                expected.setdefault(kind_by_hand(option), option)
        assert offered.first_of_kinds == tuple(expected.values())
    assert left_out


@each_seed
def test_one_code_stands_for_all_that_are_alike(seed: int) -> None:
    stock = catalog_of_many(seed)
    stands_for = stocks_of(stock).stands_for
    assert stands_for
    for family in FAMILIES:
        groups: dict[str, list[str]] = {}
        for code, part in getattr(stock, family).items():
            groups.setdefault(figures(part), []).append(code)
        for first, *others in groups.values():
            assert first not in stands_for
            assert all(stands_for[code] == first for code in others)


def test_the_shipped_catalogue_has_no_part_twice() -> None:
    assert stocks_of(load_catalog(shipped_catalog_dir())).stands_for == {}


@each_seed
def test_an_order_costs_what_it_does_where_rows_of_one_part_are_offers_of_it(seed: int) -> None:
    stock = sold_all_over(seed)
    many, few = job(stock), job(said_once(stock))
    plans = [plan_order(one.wanted, one.market, one.wish) for one in (many, few)]
    assert plans[0] is not None and plans[1] is not None
    assert plans[0].proven and plans[1].proven
    assert plans[0].cost == plans[1].cost > 0


@each_seed
def test_the_shelf_counts_whichever_of_them_lies_there(seed: int, tmp_path: Path) -> None:
    stock = sold_all_over(seed)
    stands_for = stocks_of(by_codes(stock)).stands_for
    shelf = {code: 2 for code in stands_for}
    laid = job(stock, shelf, tmp_path)
    first = {stands_for[code] for code in stands_for}
    assert set(laid.market.shelf) == first and sum(laid.market.shelf.values()) == 2 * len(stands_for)
    plan, bare = (plan_order(one.wanted, one.market, one.wish) for one in (laid, job(stock)))
    assert plan is not None and bare is not None and plan.cost <= bare.cost
    of_use = any(code in first for article, _ in bare.bought for code in article.brings)
    assert plan.cost < bare.cost or not of_use


@each_seed
def test_what_is_fitted_comes_free_under_the_code_that_stands_for_it(seed: int) -> None:
    case = case_of_many(seed)
    stands_for = stocks_of(case.catalog).stands_for
    found = needs_of(case, prior(AS_MODELLED, 0.35), (2, 4), redrill=False)
    freed = {code for circuit in found.circuits for setup in circuit.setups for code in setup.frees}
    fitted = {option.code for slot, option in case.as_fitted.items() if option.code}
    assert freed and freed <= {stands_for.get(code, code) for code in fitted}


@each_seed
def test_leaving_out_what_is_of_no_use_makes_no_order_dearer(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    stock = sold_all_over(seed, drills=True)
    whole = job(stock)
    monkeypatch.setattr(order_job, "MOST_ARTICLES", 0)
    some = job(stock)
    assert 0 < len(some.market.articles) < len(whole.market.articles)
    assert any(article.code.startswith("drill-") for article in some.market.articles)
    assert some.market.left_out == len(whole.market.articles) - len(some.market.articles)
    plans = [plan_order(one.wanted, one.market, one.wish) for one in (whole, some)]
    assert plans[0] is not None and plans[1] is not None
    assert plans[0].cost == plans[1].cost
    notes = answer(some, curve=False).notes
    assert any(f"{some.market.left_out} parts, packs and kits" in note for note in notes)
    assert not any("Left out" in note for note in answer(whole, curve=False).notes)


def test_a_line_tells_the_code_to_order_by_and_the_one_that_boxes_name() -> None:
    reports = [answer(job(sold_all_over(seed)), curve=False) for seed in range(4)]
    lines = [line for report in reports for line in report.lines]
    other = [line for line in lines if line.part is not None and line.part != line.code]
    own = [line for line in lines if line.part == line.code]
    assert other and own
    assert all(line.part in line.brings for line in [*other, *own])
    assert any(len(line.brings) > 1 for line in other), "a pump with more in its box"
    assert all(line.called == f"{line.code} ({line.part})" for line in other)
    assert all(line.called == line.code for line in own)
    named = {name for report in reports for car in report.vehicles for own in car.nozzles.values() for name in own}
    nozzles = [line for line in other if line.part and line.part.startswith(("straight", "aimed")) and line.wanted_for]
    assert nozzles and all(any(name.startswith(line.part or "-") for name in named) for line in nozzles)


def article(code: str, supplier: str, brings: Mapping[str, int], *tiers: tuple[int, int]) -> Article:
    return Article(code, supplier, brings, tuple(Tier(*tier) for tier in tiers))


def test_no_proof_is_claimed_of_goods_that_were_left_out_and_could_fill_an_order_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Delivery is dear, and free from a small sum: what is of no use makes up that sum."""
    dearer = 0
    for seed in range(4):
        stock = sold_all_over(seed)
        terms = {
            code: shop.model_copy(
                update={"free_delivery_from": 30.0, "delivery_charge": 20.0 if shop.delivery_charge else 0.0}
            )
            for code, shop in SHOPS.items()
        }
        stock = replace(stock, suppliers=terms)
        monkeypatch.setattr(order_job, "MOST_ARTICLES", 1000)
        best = plan_order((whole := job(stock)).wanted, whole.market, PurchaseWish())
        monkeypatch.setattr(order_job, "MOST_ARTICLES", 0)
        found = plan_order((some := job(stock)).wanted, some.market, PurchaseWish())
        assert best is not None and found is not None and best.proven
        assert best.cost <= found.cost
        assert found.proven == (found.least is None)
        assert best.cost == found.cost if found.least is None else found.least <= best.cost
        dearer += best.cost < found.cost
        least = plan_order(some.wanted, some.market, PurchaseWish(budget=found.cost))
        assert least is not None and least.proven, "all are as sure as wanted, so none could be surer"
        assert all(sum(box.covered) >= one.enough for one, box in zip(some.wanted, least.boxes, strict=True))
    assert dearer


def test_what_is_worth_a_look() -> None:
    a = article("a", "near", {"part": 1}, (1, 100))
    sold = [
        a,
        article("a-dear", "near", {"part": 1}, (1, 110)),  # dearer than a at every quantity
        break_ := article("a-many", "near", {"part": 1}, (1, 120), (5, 80)),  # dearer, but not from five on
        far := article("a-far", "far", {"part": 1}, (1, 130)),  # another supplier
        article("ten", "near", {"part": 10}, (1, 600)),  # of ten six are of use at most, and cost 600 one by one
        eight := article("eight", "near", {"part": 8}, (1, 599)),
        article("kit", "near", {"part": 1, "useless": 1}, (1, 100)),
        pair := article("pair", "near", {"part": 1, "other": 1}, (1, 150)),  # nobody else sells the other one
        article("useless", "near", {"useless": 1}, (1, 1)),
        rising := article("rising", "near", {"third": 1}, (1, 100), (2, 300)),  # dearer by quantity
        six := article("six", "near", {"third": 6}, (1, 700)),
    ]
    assert worth_a_look(sold, {"part": 6, "other": 1, "third": 6}) == sorted(
        (a, break_, far, eight, pair, rising, six), key=lambda one: one.code
    )


def likeliest(needs: VehicleNeeds, count: int) -> VehicleNeeds:
    """The needs with so many setups of each circuit: what is fitted, and those that cover most."""
    circuits = []
    for circuit in needs.circuits:
        reach = circuit.covers.any(axis=1).sum(axis=1)
        best = sorted(range(len(reach)), key=lambda i: (not circuit.setups[i].is_fitted, -reach[i]))[:count]
        setups = tuple(circuit.setups[i] for i in best)
        circuits.append(
            replace(circuit, setups=setups, covers=circuit.covers[best], regions=Regions(circuit.regions.bits[best]))
        )
    return replace(needs, circuits=tuple(circuits))


@pytest.mark.parametrize(("file", "cut", "sureness"), [("roadster.toml", (2, 4), 0.6), ("van.toml", (4, 6), 0.6)])
def test_no_setup_is_left_out_and_the_cheapest_of_all_is_found(
    file: str, cut: tuple[int, int], sureness: float
) -> None:
    """As the model of every choice at once says; eight setups of each circuit make a dearer order, or none."""
    stock = load_catalog(shipped_catalog_dir())
    case = Case.of(load_vehicle(shipped_catalog_dir() / "examples" / file), stock)
    found = needs_of(case, prior(AS_MODELLED, 0.35), cut, redrill=True)
    [circuit] = found.circuits
    assert len(circuit.setups) > 20
    market = Market(articles(stock), stock.suppliers, {}, list(stock.consumables.values()),
                    list(stock.drill_bits.values()), MONDAY)  # fmt: skip
    wanted = Wanted(found, date(2026, 6, 1), sureness)
    plan, judged = (planned([wanted], market, PurchaseWish()) for planned in (plan_order, plan_whole))
    assert plan is not None and judged is not None
    assert plan.proven and judged.proven and plan.cost == judged.cost
    of_eight = plan_order([replace(wanted, needs=likeliest(found, 8))], market, PurchaseWish())
    assert of_eight is None or of_eight.cost > plan.cost


@pytest.mark.parametrize("seed", range(8))
def test_every_setup_that_covers_a_sort_of_engine_may_be_in_a_box(seed: int) -> None:
    """Of a car drawn at random, each by itself."""
    car = building.vehicle(engine={"displacement_cc": 3000 + 700 * seed, "idle_rpm": 620 + 60 * seed})
    case, belief = Case.of(car, sold_all_over(seed)), prior(AS_MODELLED, 0.35)
    found, cells = needs_of(case, belief, (2, 3), redrill=False), belief.cells(2, 3)
    for circuit, (name, regions) in zip(found.circuits, regions_of(case, redrill=False).items(), strict=True):
        covers = np.asarray((Regions(regions.bits).covers @ cells.T >= 0.5).any(axis=(0, 4)))
        covers &= np.asarray(regions.goes_with.any(axis=1))[:, None]
        listed = (case.options[Slot(name, slot)].first_of_kinds for slot in CIRCUIT_SLOTS[1:])
        chosen = [parts for parts, covered in zip(product(*listed), covers.ravel(), strict=True) if covered]
        assert [one.label for one in circuit.setups] == [", ".join(part.label for part in parts) for parts in chosen]


def test_sizes_felt_wrong_are_left_out_with_what_is_fitted_alone() -> None:
    stock = load_catalog(shipped_catalog_dir())
    case = Case.of(load_vehicle(shipped_catalog_dir() / "examples" / "tow-truck.toml"), stock)
    choices, belief = Choices(case, regions_of(case, redrill=False), redrill=False), prior(AS_MODELLED, 0.35)

    def covered_mm(felt: FeltSizes, *, fitted: bool) -> set[float]:
        [circuit] = choices.needs(belief, (4, 5), {"front": felt}).circuits
        own = np.flatnonzero([setup.is_fitted is fitted for setup in circuit.setups])
        covers = np.any(circuit.regions.covers[own], axis=(0, 2))
        return {diameter_mm(circuit.nozzles[place]) for place in np.flatnonzero(covers)}

    before, others = (covered_mm(FeltSizes(), fitted=fitted) for fitted in (True, False))
    lean_mm = sorted(before)[1]
    rich_mm = sorted(before)[-2]
    assert covered_mm(FeltSizes(lean_mm=lean_mm), fitted=True) == {mm for mm in before if mm >= lean_mm}
    assert covered_mm(FeltSizes(rich_mm=rich_mm), fitted=True) == {mm for mm in before if mm <= rich_mm}
    assert covered_mm(FeltSizes(lean_mm=9.0), fitted=False) >= others
