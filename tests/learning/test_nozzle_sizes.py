"""Every nozzle size with the shares of the belief that it is right for, hesitates, goes flat or is too much."""

from pathlib import Path

import building
import numpy as np
import pytest

from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.learning.belief import belief_of, felt_with, prior
from configurator.learning.nozzle_sizes import NozzleSizes, nozzle_sizes
from configurator.physics.lateness import Lateness
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import choose, read_wishes

NOZZLE = SLOTS["front.nozzle"]


def example(name: str) -> Case:
    folder = shipped_catalog_dir()
    return Case.of(load_vehicle(Path(folder) / "examples" / f"{name}.toml"), load_catalog(folder))


def by_hand(case: Case, found: NozzleSizes, place: int) -> list[float]:
    """Shares of one size, an engine of the grid at a time."""
    size = found.sizes[place].diameter_mm
    option = next(
        o for o in case.options[NOZZLE]
        if o.work != "redrill" and o.read(FittedNozzle).diameter_mm == size
        and o.read(FittedNozzle).style == found.kind
    )  # fmt: skip
    felt = felt_with(case, "front", [case.as_fitted | {NOZZLE: option}])
    shares = [0.0] * 4
    for point, mass in enumerate(found.belief.masses):
        complaints = [float(one[0, point]) for one in (felt.hesitates, felt.flat, felt.rich)]
        right = max(float(felt.late[0, point]), *complaints[1:]) <= 0
        shares[0 if right else 1 + complaints.index(max(complaints))] += mass
    return shares


def test_every_size_stands_with_its_shares_of_the_belief() -> None:
    case = example("roadster")
    choice = choose(case.options, read_wishes(case.options, [], ["front.nozzle=0.80mm"], []))
    belief = prior(Lateness(1.2, 0.9), 0.2)
    found = nozzle_sizes(case, "front", choice, belief)
    sizes = [size.diameter_mm for size in found.sizes]
    kept = [option.figures for option in case.options[NOZZLE] if option.work != "redrill"]
    assert sizes == sorted({n.diameter_mm for n in kept if isinstance(n, FittedNozzle) and n.style == "straight"})
    assert [size.diameter_mm for size in found.sizes if size.chosen] == [0.80]
    for size in found.sizes:
        shares = (size.right, size.hesitates, size.flat, size.rich)
        assert sum(shares) == pytest.approx(1.0) and min(shares) >= 0
    assert found.belief is belief
    places = sorted({0, len(sizes) // 2, len(sizes) - 1, sizes.index(0.80)})
    for place in places:
        one = found.sizes[place]
        by_size = by_hand(case, found, place)
        assert (one.right, one.hesitates, one.flat, one.rich) == pytest.approx(by_size, abs=1e-4)
    assert found.sizes[0].hesitates >= found.sizes[-1].hesitates and found.sizes[0].rich <= found.sizes[-1].rich


def test_a_size_is_as_sure_as_a_choice_with_it() -> None:
    """To the share of belief in the region that the columns of a choice have."""
    case = building.case(building.vehicle(carburettor={"rated_flow_m3_min": 15}, front={"lobe": "lobe-low"}))
    found = nozzle_sizes(case, "front", case.as_fitted, None)
    listed = {slot: (option,) for slot, option in case.as_fitted.items()}
    regions = case.columns("front", listed, with_regions=True).shot.regions
    assert regions is not None
    (chosen,) = [size for size in found.sizes if size.chosen]
    assert chosen.right == pytest.approx(found.belief.sureness(regions).item(), abs=0.01) and chosen.right > 0.1


def test_before_any_run_the_belief_is_the_one_about_the_vehicles_engine() -> None:
    case = building.case(building.vehicle(late_first_fuel=1.3))
    found = nozzle_sizes(case, "front", case.as_fitted, None)
    assert np.array_equal(found.belief.masses, belief_of(case, []).masses) and found.belief.runs == 0


def test_a_redrilled_nozzle_stands_among_the_sizes_if_it_is_chosen() -> None:
    case = example("tow-truck")
    redrilled = next(option for option in case.options[NOZZLE] if option.work == "redrill")
    found = nozzle_sizes(case, "front", {**case.as_fitted, NOZZLE: redrilled}, None)
    (marked,) = [size for size in found.sizes if size.chosen]
    assert isinstance(redrilled.figures, FittedNozzle) and marked.diameter_mm == redrilled.figures.diameter_mm
    others = nozzle_sizes(case, "front", case.as_fitted, None).sizes
    assert marked.diameter_mm not in [size.diameter_mm for size in others]


def test_sizes_are_of_one_kind_and_where_nothing_is_allowed_none_is_right() -> None:
    """Aimed nozzles and those of one orifice are other kinds."""
    stock = building.catalog((*building.NOZZLES, building.nozzle(0.85, "aimed"), building.nozzle(0.95, orifices=1)))
    case = building.case(stock=stock)
    shown = nozzle_sizes(case, "front", case.as_fitted, prior(Lateness(), 0.3))
    assert [size.diameter_mm for size in shown.sizes] == [0.70, 0.80, 0.90, 1.00, 1.10, 1.20]
    assert (shown.vehicle, shown.circuit, shown.kind, len(shown.parts)) == ("test truck", "front", "straight", 3)
    assert [size.chosen for size in shown.sizes].index(True) == 1
    strict = building.with_limits(case, delay_most_ms=-24.0, sag_most_percent=-2.9, smoke_most_ms=-59.0)
    none = nozzle_sizes(strict, "front", case.as_fitted, prior(Lateness(), 0.3)).sizes
    assert all(size.right == 0.0 for size in none)
    assert [size.hesitates + size.flat + size.rich for size in none] == pytest.approx([1.0] * 6)
