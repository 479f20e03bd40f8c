"""Data of the pictures against what the rules read: demand band and mixture."""

from pathlib import Path

import building
import numpy as np
import pytest

from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.band import band_of
from configurator.judging.case import Case
from configurator.judging.mixture import mixture_of
from configurator.physics.tip_in import UNTIL_S
from configurator.slots.columns import JudgedShots
from configurator.slots.options import Choice
from configurator.slots.slot import Slot
from configurator.slots.wishes import choose, read_wishes

EXAMPLES = ("roadster", "tow-truck", "van", "hill-climber")


def example(name: str) -> Case:
    folder = shipped_catalog_dir()
    return Case.of(load_vehicle(Path(folder) / "examples" / f"{name}.toml"), load_catalog(folder))


def judged(case: Case, choice: Choice, name: str = "front", *, with_windows: bool = False) -> JudgedShots:
    listed = {slot: (option,) for slot, option in choice.items()}
    shots: JudgedShots = case.columns(name, listed, with_windows=with_windows).shot
    return shots


def chosen(case: Case, *words: str) -> Choice:
    return choose(case.options, read_wishes(case.options, [], list(words), []))


def test_the_drawn_shot_holds_the_volume_that_is_reported() -> None:
    case = building.case(building.vehicle())
    band = band_of(case, "front", case.as_fitted)
    shot = judged(case, case.as_fitted)
    assert band.time_ms[0] == 0.0 and band.time_ms[-1] == pytest.approx(1000 * UNTIL_S)
    volume = float(np.sum(band.delivered_cc_s[:-1] * np.diff(band.time_ms) / 1000))
    assert volume == pytest.approx(shot.volume_cc.item(), rel=1e-9) and band.volume_cc == shot.volume_cc.item()
    assert (band.hole_ms, band.flood_ms) == (shot.hole_ms.item(), shot.flood_ms.item())
    assert band.ends_ms == shot.ends_ms.item()


def test_a_lobe_that_does_not_meet_the_lever_delivers_nothing() -> None:
    case = building.case(building.vehicle())
    choice = chosen(case, "front.lobe=lobe-long")
    band, mix = band_of(case, "front", choice), mixture_of(case, "front", choice)
    assert not band.pumps and np.all(band.delivered_cc_s == 0.0) and band.volume_cc == 0.0 and band.ends_ms == 0.0
    assert np.array_equal(mix.phi, mix.phi_without)
    assert band_of(case, "front", case.as_fitted).pumps


@pytest.mark.parametrize("factor", [0.5, 1.0, 1.7])
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_spells_seen_in_a_mixture_are_those_the_rules_count(name: str, factor: float) -> None:
    case = example(name).at(factor)
    seen = 0
    for circuit in case.circuit_names:
        for option in case.options[Slot(circuit, "nozzle")][::16]:
            choice = {**case.as_fitted, Slot(circuit, "nozzle"): option}
            mix, shot = mixture_of(case, circuit, choice), judged(case, choice, circuit)
            for span, spell in ((mix.hole_span_ms, shot.hole_ms), (mix.flood_span_ms, shot.flood_ms)):
                assert (span[1] - span[0] if span else 0.0) == pytest.approx(spell.item(), abs=1e-6)
                seen += span is not None
            assert (mix.hole_ms, mix.flood_ms) == (shot.hole_ms.item(), shot.flood_ms.item())
    assert seen


def test_a_rear_circuits_mixture_counts_once_its_throttle_opens() -> None:
    case = example("hill-climber")
    mix = mixture_of(case, "rear", case.as_fitted)
    assert not mix.counts[0] and mix.counts[-1]
    assert mix.phi[~mix.counts].min() < mix.lean_phi, "what is not counted would be a hole"
    assert mix.hole_span_ms is None and mix.hole_ms == 0.0
    assert mixture_of(case, "front", case.as_fitted).counts.all()
