"""Spells of many combinations at once are those of each by itself; windows are those that every level of f gives."""

from collections.abc import Callable
from functools import cache
from typing import Any

import building
import numpy as np
import pytest

from configurator.arrays import Array
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.demand import Circuit
from configurator.physics import verdict
from configurator.physics.spells import Level, Levels, ShotFlows, longest_spells, mixture, mixtures
from configurator.physics.verdict import FACTOR_RANGE, JUMP_S, LEVELS
from configurator.slots.slot import Slot

EXAMPLES = (("roadster", "front"), ("tow-truck", "front"), ("van", "front"), ("hill-climber", "front"),
            ("hill-climber", "rear"))  # fmt: skip
FACTORS = np.geomspace(*FACTOR_RANGE, LEVELS)
RANDOM_CARS, SAMPLE, WITHOUT = 6, 60, 120
Figures = dict[str, Any]


def random_car(seed: int) -> tuple[Circuit, Case, str]:
    """A car of any weight, gearing, height, manifold and opening, with one circuit or two."""
    chance = np.random.default_rng(seed)
    tables: Figures = {
        "engine": {"idle_rpm": chance.uniform(600, 1200), "altitude_m": chance.uniform(0, 2500)},
        "driveline": {"mass_kg": chance.uniform(500, 3000), "overall_ratio": chance.uniform(3.5, 12)},
        "manifold": {"distance_to_valves_mm": chance.uniform(50, 600)},
        "tip_in": {"opening_time_s": chance.uniform(0.08, 0.6), "opens_to": chance.uniform(0.7, 1.0)},
    }
    car = building.two_circuits(**tables) if seed % 2 else building.vehicle(**tables)
    sizes = [building.nozzle(round(size, 2)) for size in np.arange(0.5, 1.3, 0.05)]
    case = building.case(car, building.catalog(nozzles=sizes, operations=[], spacers=[]))
    name = case.circuit_names[-1]
    return case.circuits[name], case, name


def example(vehicle: str, name: str) -> tuple[Circuit, Case, str]:
    catalog = load_catalog(shipped_catalog_dir())
    case = Case.of(load_vehicle(shipped_catalog_dir() / f"examples/{vehicle}.toml"), catalog)
    return case.circuits[name], case, name


CARS: dict[str, Callable[[], tuple[Circuit, Case, str]]] = {
    **{f"{vehicle}, {name}": lambda v=vehicle, n=name: example(v, n) for vehicle, name in EXAMPLES},  # type: ignore[misc]
    **{f"random car {seed}": lambda s=seed: random_car(s) for seed in range(RANDOM_CARS)},  # type: ignore[misc]
}
each_car = pytest.mark.parametrize("name", CARS)


@cache
def everything(name: str) -> tuple[Circuit, ShotFlows]:
    """A car's circuit with the shots of random combinations of its parts."""
    circuit, case, own = CARS[name]()
    chance = np.random.default_rng(20)
    lists: list[Any] = [case.options[Slot(own, slot)] for slot in ("nozzle", "feed_screw", "pump", "lobe")]
    parts: list[list[Any]] = [[], [], [], []]
    while len(parts[0]) < 1500:
        picked: list[Any] = [options[int(chance.integers(len(options)))].figures for options in lists]
        if picked[2].lever == picked[3].lobe.lever:
            for column, part in zip(parts, picked, strict=True):
                column.append(part)
    nozzles, screws, pumps, mounts = parts
    shot = circuit.deliver(nozzles, screws, pumps, mounts, np.zeros(len(nozzles)))
    return circuit, ShotFlows(circuit.flow_kg_s(shot), circuit.film_share(nozzles))


# --- many at once -----------------------------------------------------------------------------------------------------


def test_several_levels_at_once_are_each_by_itself() -> None:
    circuit, shots = everything("roadster, front")
    few, levels = shots.take(slice(0, 40)), Levels.of(circuit.event, FACTORS[::32])
    own = np.arange(40) % 9
    at: list[Level] = [3, 5, own]
    together = longest_spells(circuit.event, levels, few, at, circuit.allowed.limits)
    for row, level in enumerate(at):
        alone = longest_spells(circuit.event, levels, few, [level], circuit.allowed.limits)
        for spell, of_all in zip(alone, together, strict=True):
            np.testing.assert_array_equal(spell[0], of_all[row])
    for index in (0, 7, 39):
        by_factor = verdict.spells(
            circuit.event, few.take(np.array([index])), FACTORS[32 * own[index]], circuit.allowed
        )
        for spell, of_all in zip(by_factor, together, strict=True):
            assert spell[0] == pytest.approx(of_all[2, index], rel=1e-9, abs=1e-12)
    assert any(np.any(spell > 0.01) for spell in together)


def test_combinations_that_share_a_flow_are_as_with_copies_of_it() -> None:
    circuit, shots = everything("roadster, front")
    column = np.array([3, 3, 0, 17])
    share = np.array([0.80, 0.86, 0.86, 0.90])
    shared = ShotFlows(shots.flow_kg_s[:, :20], share, column)
    copied = ShotFlows(shots.flow_kg_s[:, column], share)
    for one, other in ((shared, copied), (shared.take(np.array([3, 1])), copied.take(np.array([3, 1])))):
        assert one.count == other.count
        for spell, same in zip(
            *(verdict.spells(circuit.event, s, 1.4, circuit.allowed) for s in (one, other)), strict=True
        ):
            np.testing.assert_array_equal(spell, same)


@each_car
def test_single_precision_is_enough(name: str) -> None:
    """The mixture to 1e-5, over the whole event, at both edges of f and in the middle."""
    circuit, shots = everything(name)
    levels, few = Levels.of(circuit.event, FACTORS), shots.take(np.arange(0, shots.count, 37))
    for level in (0, LEVELS // 2, LEVELS - 1):
        pairs = zip(mixture(levels, few, level), mixture(levels.single(), few.single(), level), strict=True)
        for judged, (double, single) in zip(circuit.event.judged, pairs, strict=True):
            assert single.dtype == np.float32
            if judged:
                np.testing.assert_allclose(single, double, rtol=1e-5)


def test_the_mixture_of_one_level_is_a_row_of_several() -> None:
    circuit, shots = everything("van, front")
    levels, few = Levels.of(circuit.event, FACTORS[::64]), shots.take(slice(0, 5))
    for rows, row in zip(mixtures(levels, few, [0, 3]), mixture(levels, few, 3), strict=True):
        np.testing.assert_array_equal(rows[1], row)


# --- windows ----------------------------------------------------------------------------------------------------------


@cache
def windows_and_every_level(name: str) -> tuple[verdict.Windows, Array, Array]:
    """Windows of a sample that holds many combinations without one, and how far beyond what is allowed their hole and
    flood lie at every level, in double precision, shape (n, levels)."""
    circuit, shots = everything(name)
    allowed, found = circuit.allowed, verdict.windows(circuit.event, shots, circuit.allowed)
    without = np.flatnonzero(np.isnan(found.low))[:WITHOUT]
    sample = np.unique(np.concatenate([np.arange(0, shots.count, shots.count // SAMPLE), without]))
    hole, flood = verdict.spells_at(circuit.event, shots.take(sample), FACTORS, allowed)
    some = verdict.Windows(found.low[sample], found.high[sample])
    return some, hole - allowed.hole_s, flood - allowed.flood_s


@each_car
def test_where_there_is_no_window_no_level_meets(name: str) -> None:
    found, hole, flood = windows_and_every_level(name)
    meets = (hole <= 0.0) & (flood <= 0.0)
    np.testing.assert_array_equal(np.isnan(found.low), np.isnan(found.high))
    for index in np.flatnonzero(np.isnan(found.low)):
        assert not meets[index].any(), (index, FACTORS[meets[index]])


@each_car
def test_a_window_is_a_run_of_levels_that_meet(name: str) -> None:
    """From the level inside one end to that inside the other all meet, the next ones out do not; and no other run of
    levels lies nearer to f = 1 than the window, but narrower than the search can see."""
    found, hole, flood = windows_and_every_level(name)
    meets, step = (hole <= 0.0) & (flood <= 0.0), np.log(FACTORS[1] / FACTORS[0])
    for index in np.flatnonzero(~np.isnan(found.low)):
        low, high = (np.log(end[index] / FACTOR_RANGE[0]) / step for end in (found.low, found.high))
        first, last = int(np.ceil(low - 1e-3)), int(np.floor(high + 1e-3))
        assert 0 <= first <= last < LEVELS and meets[index, first : last + 1].all(), (index, low, high)
        assert first == 0 or not meets[index, first - 1], (index, low)
        assert last == LEVELS - 1 or not meets[index, last + 1], (index, high)


@each_car
def test_an_end_is_where_a_straight_line_between_two_levels_reaches_the_limit(name: str) -> None:
    found, hole, flood = windows_and_every_level(name)
    step, checked = np.log(FACTORS[1] / FACTORS[0]), 0
    for ends, way in ((found.low, -1), (found.high, 1)):
        for index in np.flatnonzero(~np.isnan(ends)):
            place = np.log(ends[index] / FACTOR_RANGE[0]) / step
            inside = int(np.floor(place + 1e-3)) if way > 0 else int(np.ceil(place - 1e-3))
            outside = inside + way
            if not 0 <= outside < LEVELS:
                continue
            shares = [1.0]
            for spell in (hole[index], flood[index]):
                rise = spell[outside] - spell[inside]
                if abs(rise - JUMP_S) < 1e-4:
                    break
                if spell[outside] > 0.0:
                    shares.append(-spell[inside] / rise if rise < JUMP_S else 0.0)
            else:
                checked += 1
                assert abs(place - inside) == pytest.approx(min(shares), abs=0.01), (index, place)
    assert checked > 0 or name.startswith("random")


def test_blocks_do_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    """A combination's window does not hang on which others it is worked out with."""
    circuit, shots = everything("van, front")
    some = shots.take(slice(0, 300))
    whole = verdict.windows(circuit.event, some, circuit.allowed)
    monkeypatch.setattr(verdict, "BLOCK", 71)
    monkeypatch.setattr(verdict, "FEW_CELLS", 0)
    pieces = verdict.windows(circuit.event, some, circuit.allowed)
    np.testing.assert_array_equal(whole.low, pieces.low)
    np.testing.assert_array_equal(whole.high, pieces.high)
    assert 20 < np.isnan(whole.low).sum() < 280
