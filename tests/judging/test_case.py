"""A case answers the same from its table of all combinations as by working one out."""

from pathlib import Path

import numpy as np
import pytest

from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.judging.case import Case
from configurator.judging.findings import findings
from configurator.slots.slot import SLOTS

ROOT = Path(__file__).resolve().parents[2]
CATALOG = load_catalog(ROOT / "catalog")


@pytest.mark.parametrize("name", ["roadster", "tow-truck", "van", "hill-climber"])
def test_a_choice_looked_up_is_judged_as_one_worked_out(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    vehicle = load_vehicle(ROOT / f"catalog/examples/{name}.toml")
    fresh, tabulated = (Case.of(vehicle, CATALOG).with_linkage_set() for _ in range(2))
    for circuit in tabulated.circuit_names:
        tabulated.tabulated(circuit)
    dice, seen = np.random.default_rng(5), set()
    for _ in range(8):
        places = {slot: int(dice.integers(len(listed))) for slot, listed in fresh.options.items()}
        choices = [{slot: case.options[slot][place] for slot, place in places.items()} for case in (fresh, tabulated)]
        found = findings(fresh, choices[0])
        with monkeypatch.context() as patch:
            patch.setattr(Case, "_worked_out", None)  # whoever works something out now fails
            assert findings(tabulated, choices[1]) == found
        seen |= {f.rule for f in found if f.holds is False}
    assert len(seen) > 3


def test_an_option_of_nobodys_list_is_worked_out() -> None:
    case = Case.of(load_vehicle(ROOT / "catalog/examples/roadster.toml"), CATALOG)
    case.tabulated("front")
    odd = case.as_fitted[SLOTS["front.nozzle"]]
    listed = {slot: (option,) for slot, option in case.as_fitted.items()}
    bored = type(odd)(odd.label, odd.figures.resized(1.0), "none")  # type: ignore[union-attr]
    holes = [
        float(case.columns("front", listed | {SLOTS["front.nozzle"]: (option,)}).shot.hole_ms.item())
        for option in (odd, bored)
    ]
    assert holes[0] != holes[1]
