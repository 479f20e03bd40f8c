"""Every nozzle size with its window, and the share of the belief inside."""

from pathlib import Path

import building
import pytest

from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.learning.belief import prior
from configurator.learning.nozzle_windows import nozzle_windows
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import choose, read_wishes


def example(name: str) -> Case:
    folder = shipped_catalog_dir()
    return Case.of(load_vehicle(Path(folder) / "examples" / f"{name}.toml"), load_catalog(folder))


def test_every_size_stands_with_its_window_and_its_share_of_the_belief() -> None:
    case = example("roadster")
    choice, belief = choose(case.options, read_wishes(case.options, [], ["front.nozzle=0.80mm"], [])), prior(1.2, 0.2)
    windows = nozzle_windows(case, "front", choice, belief)
    sizes = [size.diameter_mm for size in windows.sizes]
    kept = [option.figures for option in case.options[SLOTS["front.nozzle"]] if option.work != "redrill"]
    assert sizes == sorted({n.diameter_mm for n in kept if isinstance(n, FittedNozzle) and n.style == "straight"})
    (marked,) = [size for size in windows.sizes if size.chosen]
    shot = case.columns("front", {slot: (option,) for slot, option in choice.items()}, with_windows=True).shot
    assert marked.diameter_mm == 0.80 and marked.window == (shot.window_low.item(), shot.window_high.item())
    assert all(size.sureness == belief.sureness(size.window) for size in windows.sizes)
    assert windows.belief is belief and windows.factor == case.factor
    before = nozzle_windows(case, "front", choice, None).belief
    assert before.runs == 0 and before.median == pytest.approx(case.vehicle.demand_factor, rel=1e-6)


def test_a_redrilled_nozzle_stands_among_the_sizes_if_it_is_chosen() -> None:
    case = example("tow-truck")
    redrilled = next(option for option in case.options[SLOTS["front.nozzle"]] if option.work == "redrill")
    windows = nozzle_windows(case, "front", {**case.as_fitted, SLOTS["front.nozzle"]: redrilled}, None)
    (marked,) = [size for size in windows.sizes if size.chosen]
    assert isinstance(redrilled.figures, FittedNozzle) and marked.diameter_mm == redrilled.figures.diameter_mm
    others = nozzle_windows(case, "front", case.as_fitted, None).sizes
    assert marked.diameter_mm not in [size.diameter_mm for size in others]


def test_sizes_are_of_one_kind_and_one_that_covers_nothing_has_no_window() -> None:
    """Aimed nozzles and those of one orifice are other kinds; where every hole and flood counts nothing is covered."""
    stock = building.catalog((*building.NOZZLES, building.nozzle(0.85, "aimed"), building.nozzle(0.95, orifices=1)))
    case = building.case(stock=stock)
    shown = nozzle_windows(case, "front", case.as_fitted, prior(1.0, 0.3))
    assert [size.diameter_mm for size in shown.sizes] == [0.70, 0.80, 0.90, 1.00, 1.10, 1.20]
    assert (shown.vehicle, shown.circuit, shown.kind, len(shown.parts)) == ("test truck", "front", "straight", 3)
    assert all(size.window is not None and size.window[0] < size.window[1] for size in shown.sizes)
    assert [size.chosen for size in shown.sizes].index(True) == 1
    strict = building.with_limits(case, rich_phi=0.02, lean_phi=0.01, flood_most_ms=0.0)
    none = nozzle_windows(strict, "front", case.as_fitted, prior(1.0, 0.3)).sizes
    assert [(size.window, size.sureness) for size in none] == [(None, 0.0)] * 6
