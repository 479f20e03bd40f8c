"""A case answers the same from its table of all combinations as by working one out."""

from pathlib import Path

import building
import numpy as np
import pytest

from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.errors import BadInput
from configurator.judging.case import Case, margins
from configurator.judging.findings import findings
from configurator.rules import RULES
from configurator.slots.slot import AXES, SLOTS, Slot

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


def test_lists_looked_up_are_judged_as_lists_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Some of each slot, in another order than they are offered in."""
    vehicle = load_vehicle(ROOT / "catalog/examples/roadster.toml")
    fresh, tabulated = (Case.of(vehicle, CATALOG) for _ in range(2))
    tabulated.tabulated("front")
    some = [{slot: case.options[slot][4::-2] for slot in case.options} for case in (fresh, tabulated)]
    worked_out = fresh.columns("front", some[0])
    monkeypatch.setattr(Case, "_worked_out", None)
    looked_up = tabulated.columns("front", some[1])
    for name in ("nozzle", "feed_screw", "pump", "lobe", "spacer", "pad_relief"):
        for figure, values in vars(getattr(worked_out, name)).items():
            np.testing.assert_array_equal(getattr(getattr(looked_up, name), figure), values)
    for figure, values in worked_out.shot.figures.items():
        np.testing.assert_allclose(getattr(looked_up.shot, figure), values, rtol=1e-4, atol=1e-3)
    assert looked_up.facts == worked_out.facts


def test_an_option_of_nobodys_list_is_worked_out() -> None:
    case = Case.of(load_vehicle(ROOT / "catalog/examples/roadster.toml"), CATALOG)
    case.tabulated("front")
    odd = case.as_fitted[SLOTS["front.nozzle"]]
    listed = {slot: (option,) for slot, option in case.as_fitted.items()}
    bored = type(odd)(odd.label, odd.figures.resized(1.0), "none")  # type: ignore[union-attr]
    delays = [
        float(case.columns("front", listed | {SLOTS["front.nozzle"]: (option,)}).shot.delay_ms.item())
        for option in (odd, bored)
    ]
    assert delays[0] != delays[1]


def test_an_assumed_figure_may_be_overruled_within_a_quarter_beyond_its_range() -> None:
    """The lag of the main circuit: 0.06 to 0.25 s, so 0.0125 to 0.2975 s are taken; what the model lacks is named."""
    for value in (0.0126, 0.06, 0.25, 0.2974):
        assert building.case(building.vehicle(assumed={"main_lag_s": value})).car.assumed.main_lag_s == value
    for value in (0.0124, 0.2976):
        with pytest.raises(BadInput, match=rf"\[assumed\] main_lag_s: found {value:g}; expected 0.0125 to 0.297 s"):
            building.case(building.vehicle(assumed={"main_lag_s": value}))


def test_every_assumed_figure_at_fault_is_named_at_once() -> None:
    with pytest.raises(BadInput) as caught:
        building.case(building.vehicle(assumed={"main_lag": 0.1, "main_lag_s": 9.0, "nonsense": 1.0, "lip_mm": 12.0}))
    said = [str(fault) for fault in caught.value.faults]
    assert len(said) == 3
    assert "[assumed] main_lag: the model has no such figure" in said[0] and "did you mean main_lag_s?" in said[0]
    assert "main_lag_s: found 9" in said[1]
    assert "nonsense: the model has no such figure" in said[2] and "the figures are " in said[2]


def test_facts_of_the_car_are_those_of_its_file() -> None:
    confirmed = {"float_level": False, "idle_mixture": True, "idle_speed": False}
    car = building.vehicle(confirmed=confirmed, carburettor={"jets_redrilled": True})
    facts = building.case(car).car.facts
    assert (facts.first_checks_open, facts.jets_redrilled, facts.bonnet_clearance_mm) == (2, True, 30.0)
    assert facts.spacer_height_mm == 0.0
    assert facts.flow_per_litre == pytest.approx(21 / 5.7), "21 m3/min of 5.7 litres"
    assert np.isnan(building.case(building.vehicle({**building.TRUCK, "manifold": {}})).car.facts.bonnet_clearance_mm)


def test_facts_of_a_circuit_are_its_own() -> None:
    case = building.case(building.two_circuits(front={"slack_mm": 0.4}))
    front, rear = case.circuit_facts("front"), case.circuit_facts("rear")
    assert (front.pad_clearance_mm, rear.pad_clearance_mm) == (22.0, 16.0)
    assert front.slack_mm == 0.4 and np.isnan(rear.slack_mm)
    assert np.isinf(front.rear_main_delivers_ms) and np.isfinite(rear.rear_main_delivers_ms)
    assert front.takes_straight and not front.linkage_disturbed and front.idle_rpm == 650


def test_slack_is_as_found_until_pump_or_lobe_changes_or_the_linkage_is_set() -> None:
    case = building.case(building.vehicle(front={"slack_mm": 0.4}))
    assert case.slack_mm("front", [False, True], [False, True]).tolist() == [[0.4, 0.0], [0.0, 0.0]]
    assert case.with_linkage_set().slack_mm("front", [False], [False]).tolist() == [[0.0]]
    preloaded = building.case(building.vehicle(front={"preload_mm": 0.3}))
    assert preloaded.slack_mm("front", [False], [False]).tolist() == [[-0.3]], "preload is slack below none"
    assert building.case().slack_mm("front", [False], [False]).tolist() == [[0.0]], "nobody measured it"


def test_margins_lie_along_the_slots_of_a_circuit_whatever_a_rule_reads() -> None:
    case = building.case()
    table = case.tabulated("front")
    counts = [len(case.on_offer[Slot.of("front", slot)]) for slot in AXES]
    assert table.shot.regions is None, "regions take the longest, and are worked out where asked for"
    assert margins(RULES["jets-are-never-redrilled"], table).shape == (1,) * 6
    assert margins(RULES["nozzle-is-not-unusually-small"], table).shape == (counts[0], 1, 1, 1, 1, 1)
    assert margins(RULES["lobe-is-made-for-the-lever"], table).shape == (1, 1, counts[2], counts[3], 1, 1)
    assert margins(RULES["spacer-fits-under-the-bonnet"], table).shape == (1, 1, 1, 1, counts[4], 1)
