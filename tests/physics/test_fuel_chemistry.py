"""The stoichiometric ratio, balanced from a fuel's composition with chempy's atomic masses."""

import pytest
from chempy import Substance, balance_stoichiometry

from configurator.car.vehicle import FuelTable

OXYGEN_IN_AIR = 0.20946
"""By volume, dry air of 28.9647 g/mol (US Standard Atmosphere, 1976): 23.14 % by mass."""
AIR_G_MOL = 28.9647
HYDROGEN, CARBON, OXYGEN = 1, 6, 8


def air_for(fuel_g: float, oxygen_mol: float) -> float:
    return oxygen_mol / OXYGEN_IN_AIR * AIR_G_MOL / fuel_g


def stoichiometric_ratio(formula: str) -> float:
    """Air to fuel by mass for C_c H_h O_o + (c + h/4 - o/2) O2 -> c CO2 + h/2 H2O."""
    fuel = Substance.from_formula(formula)
    atoms = fuel.composition
    oxygen_mol = atoms[CARBON] + atoms[HYDROGEN] / 4.0 - atoms.get(OXYGEN, 0) / 2.0
    return air_for(fuel.mass, oxygen_mol)


@pytest.mark.parametrize(
    ("formula", "ratio"),
    [
        ("CH1.85", 14.575), ("C8H18", 15.132), ("C7H16", 15.180), ("C7H8", 13.507), ("C2H6O", 9.005), ("CH4O", 6.474),
        ("CH1.94", 14.703),
    ],
)  # fmt: skip
def test_ratio_from_composition(formula: str, ratio: float) -> None:
    # Computed by hand from atomic masses 12.011, 1.008 and 15.999 and the air above
    assert stoichiometric_ratio(formula) == pytest.approx(ratio, abs=1e-3)


@pytest.mark.parametrize("formula", ["C8H18", "C7H16", "C7H8", "C2H6O", "CH4O"])
def test_the_balance_is_the_one_a_chemist_makes(formula: str) -> None:
    burnt, _ = balance_stoichiometry({formula, "O2"}, {"CO2", "H2O"})
    ratio = air_for(Substance.from_formula(formula).mass, float(burnt["O2"]) / float(burnt[formula]))
    assert stoichiometric_ratio(formula) == pytest.approx(ratio, rel=1e-12)


def test_petrol_unless_the_owner_knows_better_burns_as_petrol_does() -> None:
    """Pump petrol is written CH1.85 to CH1.94; iso-octane and a tenth of ethanol are out of its range."""
    default = FuelTable().stoichiometric_ratio
    assert stoichiometric_ratio("CH1.85") < default < stoichiometric_ratio("CH1.94")
    # By mass, ethanol at 789 and petrol at 740 kg/m3 [from memory]
    ethanol = 0.1 * 789.0 / (0.1 * 789.0 + 0.9 * 740.0)
    tenth = ethanol * stoichiometric_ratio("C2H6O") + (1.0 - ethanol) * stoichiometric_ratio("CH1.85")
    assert tenth == pytest.approx(13.986, abs=0.03)
    assert tenth < default < stoichiometric_ratio("C8H18")
