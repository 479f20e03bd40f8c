"""What may be tried next, on random cars: never a nozzle that differs by no more than orifices of one size scatter."""

from itertools import product

import numpy as np
import pytest
from random_cars import FRONT, case_with, random_car

from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.learning.belief import belief_of
from configurator.learning.candidates import candidates, minutes_between
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS

NOZZLE = SLOTS["front.nozzle"]
STOCK = load_catalog(shipped_catalog_dir())
SCATTER_MM = 0.02


def differs_by_scatter(one: Choice, other: Choice) -> bool:
    """Whether a nozzle would be taken out for one of its style and nearly its size."""
    before, after = (choice[NOZZLE].read(FittedNozzle) for choice in (one, other))
    apart_mm = abs(before.diameter_mm - after.diameter_mm)
    return one[NOZZLE].label != other[NOZZLE].label and before.style == after.style and apart_mm < SCATTER_MM + 0.005


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("nozzle", ["straight-0.80", "aimed-0.85"])
def test_no_step_is_within_the_scatter_of_orifices(seed: int, nozzle: str) -> None:
    """Neither the next, nor any after it; a nozzle of the other style and the same size is one."""
    case = case_with(random_car(seed), STOCK, FRONT | {"nozzle": nozzle})
    found = candidates(case, belief_of(case, []), case.as_fitted)
    now = found.choices[found.now]
    assert not any(differs_by_scatter(now, choice) for choice in found.choices)
    size_mm = now[NOZZLE].read(FittedNozzle).diameter_mm
    alike = [choice[NOZZLE].read(FittedNozzle) for choice in found.choices]
    assert len({one.style for one in alike if one.diameter_mm == size_mm}) == 2
    nozzles = list({choice[NOZZLE].label: {**now, NOZZLE: choice[NOZZLE]} for choice in found.choices}.values())
    minutes = minutes_between(case, nozzles)
    pairs = [
        (minutes[a, b], differs_by_scatter(nozzles[a], nozzles[b])) for a, b in product(range(len(nozzles)), repeat=2)
    ]
    assert any(scatter for _, scatter in pairs) and any(not scatter for _, scatter in pairs)
    assert all(np.isinf(one) == scatter for one, scatter in pairs)
