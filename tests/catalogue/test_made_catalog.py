"""Made catalogues are valid, the same for the same seed, and as like each other as lists of the trade are."""

from collections import Counter
from pathlib import Path

import pytest
from made_catalog import SHARES, write_catalog

from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import FAMILIES, Catalog, load_catalog, shipped_catalog_dir
from configurator.judging.case import Case

EXAMPLES = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))


@pytest.fixture(scope="module")
def middling(tmp_path_factory: pytest.TempPathFactory) -> Catalog:
    return load_catalog(write_catalog(tmp_path_factory.mktemp("middling"), 2_000, seed=1))


def parts_in(catalog: Catalog) -> int:
    return sum(len(getattr(catalog, family)) for family in SHARES)


def kinds_in(catalog: Catalog) -> int:
    """Combinations of one circuit that deliver differently."""
    nozzles = {(part.diameter_mm, part.length_mm, part.orifices) for part in catalog.nozzles.values()}
    screws = {(part.passage_area_mm2, part.free_flow) for part in catalog.feed_screws.values()}
    pumps = {
        (part.capacity_cc, part.spring_preload_n, part.spring_rate_n_per_mm, part.diaphragm_area_mm2, part.lever)
        for part in catalog.pumps.values()
    }
    lobes = {
        (part.total_lift_mm, part.duration_deg, part.nose, part.table, phase, part.lever)
        for part in catalog.lobes.values()
        for phase in part.phases_deg
    }
    return len(nozzles) * len(screws) * sum(pump[-1] == lobe[-1] for pump in pumps for lobe in lobes)


@pytest.mark.parametrize("parts", [0, 100, 777])
def test_a_made_catalogue_is_in_order_and_holds_what_is_shipped(parts: int, tmp_path: Path) -> None:
    shipped, made = load_catalog(shipped_catalog_dir()), load_catalog(write_catalog(tmp_path, parts, seed=3))
    assert parts_in(made) == max(parts, parts_in(shipped))
    for family in FAMILIES:
        if family != "limits":
            assert getattr(shipped, family).items() <= getattr(made, family).items()
    assert made.limits == shipped.limits


def test_the_same_seed_gives_the_same_files_and_another_seed_others(tmp_path: Path) -> None:
    first, again, other = (
        {file.name: file.read_bytes() for file in write_catalog(tmp_path / name, 500, seed).iterdir()}
        for name, seed in (("first", 1), ("again", 1), ("other", 2))
    )
    assert first == again and set(first) == {f"{family}.csv" for family in FAMILIES}
    assert first["nozzles.csv"] != other["nozzles.csv"]


def test_the_kinds_of_part_soon_all_occur_while_the_list_grows(middling: Catalog, tmp_path: Path) -> None:
    shipped = load_catalog(shipped_catalog_dir())
    larger = load_catalog(write_catalog(tmp_path, 20_000, seed=1))
    assert kinds_in(shipped) < kinds_in(middling) < kinds_in(larger) < 45_000
    assert kinds_in(larger) < 2.5 * kinds_in(middling), "ten times the parts, but few more kinds"


def test_six_of_ten_parts_are_nozzles(middling: Catalog) -> None:
    assert 0.55 < len(middling.nozzles) / parts_in(middling) < 0.65


def test_prices_tie_and_suppliers_differ(middling: Catalog) -> None:
    sold = Counter((part.diameter_mm, part.style, part.price) for part in middling.nozzles.values())
    assert sold.most_common(1)[0][1] > 5
    assert len({part.supplier for part in middling.nozzles.values()}) == len(middling.suppliers) > 5


def test_offers_come_in_packs_and_by_quantity_and_kits_hold_several_parts(middling: Catalog) -> None:
    offers = middling.offers.values()
    assert len(offers) > 150 and len(middling.kits) > 10
    assert {offer.pack_size for offer in offers} >= {1, 5, 10} and {offer.from_packs for offer in offers} >= {1, 3, 5}
    assert max(len(kit.contents) for kit in middling.kits.values()) > 5


@pytest.mark.parametrize("vehicle", EXAMPLES, ids=lambda path: path.stem)
def test_the_example_vehicles_find_their_parts_in_it(vehicle: Path, middling: Catalog) -> None:
    fitted = Case.of(load_vehicle(vehicle), middling).car.fitted
    assert fitted == Case.of(load_vehicle(vehicle), load_catalog(shipped_catalog_dir())).car.fitted
