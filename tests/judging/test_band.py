"""Data of the pictures against what the rules read: demand band, mixture and pull."""

from pathlib import Path

import building
import numpy as np
import pytest

from configurator.arrays import Array, Mask
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.band import band_of
from configurator.judging.case import Case
from configurator.judging.feelings import felt_words
from configurator.judging.mixture import mixture_of
from configurator.judging.pull import pull_of
from configurator.physics.lateness import Lateness
from configurator.physics.spells import POOR_PHI, RICH_PHI
from configurator.physics.tip_in import UNTIL_S
from configurator.slots.columns import JudgedShots
from configurator.slots.options import Choice
from configurator.slots.wishes import choose, read_wishes

EXAMPLES = ("roadster", "tow-truck", "van", "hill-climber")


def example(name: str) -> Case:
    folder = shipped_catalog_dir()
    return Case.of(load_vehicle(Path(folder) / "examples" / f"{name}.toml"), load_catalog(folder))


def judged(case: Case, choice: Choice, name: str = "front") -> JudgedShots:
    listed = {slot: (option,) for slot, option in choice.items()}
    shots: JudgedShots = case.columns(name, listed).shot
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
    assert {name: figure.item() for name, figure in band.shot.figures.items() if name != "sure_percent"} == {
        name: figure.item() for name, figure in shot.figures.items() if name != "sure_percent"
    }
    assert band.ends_ms == shot.ends_ms.item() and band.felt == felt_words(shot.at((0,) * 6), case.catalog.limits)


def test_a_lobe_that_does_not_meet_the_lever_delivers_nothing() -> None:
    case = building.case(building.vehicle())
    choice = chosen(case, "front.lobe=lobe-long")
    band, mix = band_of(case, "front", choice), mixture_of(case, "front", choice)
    assert not band.pumps and np.all(band.delivered_cc_s == 0.0) and band.volume_cc == 0.0 and band.ends_ms == 0.0
    assert np.array_equal(mix.phi, mix.phi_without)
    assert band_of(case, "front", case.as_fitted).pumps


ENGINES = [Lateness(), Lateness(0.6, 1.4), Lateness(1.7, 0.8)]


def longest(beyond: Mask, excess: Array, time_ms: Array) -> float:
    """The longest stretch [ms] of a line through points that lies above 0, crossing by crossing."""
    most = began = 0.0
    for step in range(len(time_ms)):
        if beyond[step] and (step == 0 or not beyond[step - 1]):
            share = -excess[step - 1] / (excess[step] - excess[step - 1]) if step else 0.0
            began = time_ms[step - 1] + share * (time_ms[step] - time_ms[step - 1]) if step else time_ms[0]
        if beyond[step] and (step + 1 == len(time_ms) or not beyond[step + 1]):
            ends = time_ms[step]
            if step + 1 < len(time_ms):
                ends += excess[step] / (excess[step] - excess[step + 1]) * (time_ms[step + 1] - time_ms[step])
            most = max(most, ends - began)
    return most


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_spans_of_a_mixture_are_its_longest_spells(name: str, engine: Lateness) -> None:
    case = example(name).at(engine)
    for circuit in case.circuit_names:
        mix = mixture_of(case, circuit, case.as_fitted)
        counts = mix.counts
        for span, excess in ((mix.poor_span_ms, POOR_PHI - mix.phi), (mix.rich_span_ms, mix.phi - RICH_PHI)):
            expected = longest((excess > 0)[counts], excess[counts], mix.time_ms[counts])
            assert (span[1] - span[0] if span else 0.0) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_pull_drawn_is_the_pull_judged(name: str, engine: Lateness) -> None:
    """The delay again from the drawn curves: the times at which each comes to levels of the best's rise, averaged."""
    case = example(name).at(engine)
    for circuit in case.circuit_names:
        pull, shot = pull_of(case, circuit, case.as_fitted), judged(case, case.as_fitted, circuit)
        levels = np.linspace(50.0, 85.0, 701)
        reached = [_reached(curve, pull.mixture.time_ms, levels) for curve in (pull.best_percent, pull.given_percent)]
        assert pull.best_percent.max() == pytest.approx(100.0)
        assert np.mean(reached[1] - reached[0]) == pytest.approx(shot.delay_ms.item(), abs=2.5)
        assert np.all(pull.given_percent <= pull.best_percent + 1e-6), "nothing pulls better than the best"


def _reached(pull: Array, time_ms: Array, levels: Array) -> Array:
    """When each level is first reached; the end where it is not."""
    highest = np.maximum.accumulate(pull)
    after = np.searchsorted(highest, levels)
    there = np.clip(after, 1, len(pull) - 1)
    share = (levels - highest[there - 1]) / np.maximum(highest[there] - highest[there - 1], 1e-12)
    times = time_ms[there - 1] + share * (time_ms[there] - time_ms[there - 1])
    return np.asarray(np.where(after < len(pull), times, time_ms[-1]))


def test_a_rear_circuits_mixture_counts_once_its_throttle_opens() -> None:
    case = example("hill-climber")
    mix = mixture_of(case, "rear", case.as_fitted)
    assert not mix.counts[0] and mix.counts[-1]
    assert mix.phi[~mix.counts].min() < POOR_PHI, "what is not counted would be a spell"
    assert mix.poor_span_ms is None or mix.poor_span_ms[0] >= mix.time_ms[mix.counts][0]
    assert mixture_of(case, "front", case.as_fitted).counts.all()
