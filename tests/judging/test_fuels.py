"""The shipped roadster on other fuels, its carburettor jetted for them: alcohol wants more of the same."""

from functools import cache
from typing import Any

import numpy as np
import pytest

from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import vehicle_of
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.files.reading import read_toml
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.slots.options import Option
from configurator.slots.slot import Slot

FUELS = {
    "petrol": {"density_kg_m3": 740.0, "stoichiometric_ratio": 14.6, "viscosity_mpa_s": 0.45},
    "E85": {"density_kg_m3": 782.0, "stoichiometric_ratio": 9.8, "viscosity_mpa_s": 0.9},
    "methanol": {"density_kg_m3": 792.0, "stoichiometric_ratio": 6.47, "viscosity_mpa_s": 0.59},
}
"""Ratios computed from composition; density and viscosity of the alcohols from memory, rounded."""
SWEEP_MM = np.arange(0.60, 1.801, 0.005)


def roadster(fuel: str, nozzle_mm: float = 0.92) -> Case:
    """The example with the larger pump, a lobe of its own and a screw that passes alcohol's flow."""
    tables: dict[str, Any] = read_toml(shipped_catalog_dir() / "examples/roadster.toml")
    tables["fuel"] = {"name": fuel} | FUELS[fuel]
    tables["fitted"]["front"] = {
        "nozzle": {"diameter": nozzle_mm, "style": "straight"}, "pump": "pump-5cc", "lobe": "lobe-ridge",
        "feed_screw": {"passage_area_mm2": 20.0, "free_flow": True}, "phase_deg": 4,
    }  # fmt: skip
    return Case.of(vehicle_of(tables, "roadster"), load_catalog(shipped_catalog_dir()))


@cache
def smallest_mm(fuel: str) -> float:
    case = roadster(fuel)
    listed: dict[Slot, tuple[Option, ...]] = {slot: (option,) for slot, option in case.as_fitted.items()}
    listed[Slot("front", "nozzle")] = tuple(
        Option("", FittedNozzle(diameter_mm=size, style="straight", length_mm=3.0 * size), "none")
        for size in SWEEP_MM.tolist()
    )
    meets = case.columns("front", listed).shot.delay_ms.ravel() <= case.catalog.limits.delay_most_ms
    assert meets.any() and not meets[0]
    return float(SWEEP_MM[np.argmax(meets)])


@pytest.mark.parametrize("fuel", ["E85", "methanol"])
def test_without_a_shot_the_mixture_is_the_same(fuel: str) -> None:
    """Idle and main circuits are jetted by equivalence ratio; only the weight that stands against the lip differs."""
    petrol, other = (roadster(name).circuits["front"].event.base_phi(np.ones(1))[:, 0] for name in ("petrol", fuel))
    np.testing.assert_allclose(other, petrol, rtol=0.03)


@pytest.mark.parametrize("fuel", ["E85", "methanol"])
def test_it_wants_as_much_more_orifice_as_the_air_wants_fuel(fuel: str) -> None:
    """By hand: the same air takes 14.6 x 740 / (ratio x density) times the volume, the orifice's area about as much."""
    volume = 14.6 * 740.0 / (FUELS[fuel]["stoichiometric_ratio"] * FUELS[fuel]["density_kg_m3"])
    assert (smallest_mm(fuel) / smallest_mm("petrol")) ** 2 == pytest.approx(volume, rel=0.12)


@pytest.mark.parametrize("fuel", FUELS)
def test_with_that_orifice_the_pull_comes_at_once(fuel: str) -> None:
    """Methanol was too lean for two seconds whatever was fitted, when the main circuit was jetted for petrol."""
    case = roadster(fuel, smallest_mm(fuel) + 0.02)
    (at_once,) = [found for found in findings(case, case.as_fitted) if found.rule == "pull-comes-at-once"]
    assert at_once.holds
