"""The stoichiometric ratio, against cantera's chemistry: atoms, their masses and what equilibrium needs."""

import cantera
import pytest

from configurator.car.vehicle import FuelTable

OXYGEN_IN_AIR = 0.20946
"""By volume, dry air of 28.9647 g/mol (US Standard Atmosphere, 1976): 23.14 % by mass."""
AIR_G_MOL = 28.9647
Atoms = dict[str, float]
FUELS: dict[str, tuple[Atoms, float]] = {
    "CH1.85": ({"C": 1, "H": 1.85}, 14.575), "CH1.94": ({"C": 1, "H": 1.94}, 14.703),
    "iso-octane": ({"C": 8, "H": 18}, 15.132), "n-heptane": ({"C": 7, "H": 16}, 15.180),
    "toluene": ({"C": 7, "H": 8}, 13.507), "ethanol": ({"C": 2, "H": 6, "O": 1}, 9.005),
    "methanol": ({"C": 1, "H": 4, "O": 1}, 6.474),
}  # fmt: skip
"""Air to fuel by mass as computed by hand from atomic masses 12.011, 1.008 and 15.999 and the air above."""


def stoichiometric_ratio(atoms: Atoms) -> float:
    """Air to fuel by mass with which nothing is left over: oxygen to fuel by mass is cantera's; no heat matters."""
    burns: dict[str, Atoms] = {"fuel": atoms, "O2": {"O": 2}, "CO2": {"C": 1, "O": 2}, "H2O": {"H": 2, "O": 1}}
    species = []
    for name, composition in burns.items():
        one = cantera.Species(name, composition)
        one.thermo = cantera.ConstantCp(300.0, 3000.0, 101_325.0, (298.15, 0.0, 0.0, 0.0))
        species.append(one)
    gas = cantera.Solution(thermo="ideal-gas", species=species)
    oxygen_g_mol = gas.molecular_weights[gas.species_index("O2")]
    return float(gas.stoich_air_fuel_ratio("fuel:1", "O2:1") / (OXYGEN_IN_AIR * oxygen_g_mol / AIR_G_MOL))


@pytest.mark.parametrize("name", FUELS)
def test_ratio_from_composition(name: str) -> None:
    atoms, ratio = FUELS[name]
    assert stoichiometric_ratio(atoms) == pytest.approx(ratio, abs=1e-3)


def test_petrol_unless_the_owner_knows_better_burns_as_petrol_does() -> None:
    """Pump petrol is written CH1.85 to CH1.94; iso-octane and a tenth of ethanol are out of its range."""
    default = FuelTable().stoichiometric_ratio
    petrol, heavier, octane = (stoichiometric_ratio(FUELS[name][0]) for name in ("CH1.85", "CH1.94", "iso-octane"))
    assert petrol < default < heavier
    # By mass, ethanol at 789 and petrol at 740 kg/m3 [from memory]
    ethanol = 0.1 * 789.0 / (0.1 * 789.0 + 0.9 * 740.0)
    tenth = ethanol * stoichiometric_ratio(FUELS["ethanol"][0]) + (1.0 - ethanol) * petrol
    assert tenth == pytest.approx(13.986, abs=0.03)
    assert tenth < default < octane
