"""All combinations of lists of parts: what does not differ is worked out once, in blocks, and each finds its place."""

import tracemalloc
from collections.abc import Sequence
from typing import Any

import building
import numpy as np
import pytest

from configurator.arrays import Array, Mask
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging import demand
from configurator.judging.demand import judge
from configurator.physics import pump as pump_model
from configurator.physics import verdict
from configurator.slots.columns import JudgedShots, Mount

CIRCUIT = building.case().circuits["front"]
FIGURES = ("hole_ms", "flood_ms", "volume_cc", "ends_ms", "peak_cc_s", "window_low", "window_high")


def nozzle(diameter_mm: float, style: str = "straight") -> FittedNozzle:
    return FittedNozzle(diameter_mm=diameter_mm, style=style, length_mm=3.0)


NOZZLES = [nozzle(0.7), nozzle(0.9, "aimed"), nozzle(0.9), nozzle(0.7), nozzle(0.7, "aimed")]
SCREWS = [building.screw("one", 3.0), building.screw("wide", 6.5), building.screw("same", 3.0)]
PUMPS = [building.pump("first"), building.larger_pump("larger"), building.pump("second", price=1.0)]
MOUNTS = [
    Mount(building.lobe("low", 3.0), 0.0), Mount(building.lobe("high", 4.4), 0.0),
    Mount(building.lobe("also", 4.4), 0.0),
    Mount(building.lobe("high", 4.4), 8.0),
]  # fmt: skip
ALL = np.ones((len(PUMPS), len(MOUNTS)), dtype=bool)


def judged(
    goes: Mask = ALL,
    slack_mm: float | Array = 0.0,
    nozzles: Sequence[FittedNozzle] = NOZZLES,
    screws: Sequence[FeedScrewFigures] = SCREWS,
    pumps: Sequence[PumpFigures] = PUMPS,
    mounts: Sequence[Mount] = MOUNTS,
) -> JudgedShots:
    slack = np.broadcast_to(np.asarray(slack_mm, dtype=float), goes.shape)
    return judge(CIRCUIT, nozzles, screws, pumps, mounts, goes, slack, 1.0, with_windows=True)


def assert_same(one: JudgedShots, other: JudgedShots, rtol: float = 1e-9) -> None:
    for name in FIGURES:
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=rtol, err_msg=name)


@pytest.mark.long(25)
def test_every_combination_finds_its_place() -> None:
    """Each cell of the table is that combination judged alone, with its own slack."""
    goes, slack = ALL.copy(), np.zeros(ALL.shape)
    goes[1, 2], slack[0, 1], slack[2, 1] = False, 0.4, 1.1
    table = judged(goes, slack)
    for n, s, p, m in np.ndindex(5, 3, 3, 4):
        alone = judged(goes[p : p + 1, m : m + 1], slack[p, m], nozzles=[NOZZLES[n]], screws=[SCREWS[s]],
                       pumps=[PUMPS[p]], mounts=[MOUNTS[m]])  # fmt: skip
        assert_same(alone, table.at(tuple(slice(i, i + 1) for i in (n, s, p, m))))
    assert np.isinf(table.hole_ms[:, :, 1, 2]).all() and np.isfinite(table.hole_ms[:, :, 1, 3]).all()
    assert table.volume_cc[0, 0, 0, 1] != table.volume_cc[0, 0, 2, 1], "slack tells equal pumps apart"


def test_a_table_says_what_pump_and_verdict_say() -> None:
    """Straight and aimed nozzles, a slack linkage: delivered and judged without a plan."""
    slack = np.zeros(ALL.shape)
    slack[0, 1] = 0.4
    table = judged(ALL, slack)
    for n, s, p, m in ((2, 0, 0, 1), (1, 0, 0, 1), (4, 1, 1, 3), (0, 2, 2, 0)):
        shot = CIRCUIT.deliver([NOZZLES[n]], [SCREWS[s]], [PUMPS[p]], [MOUNTS[m]], slack[p : p + 1, m])
        alone = verdict.ShotFlows(CIRCUIT.flow_kg_s(shot), CIRCUIT.film_share([NOZZLES[n]]))
        hole, flood = verdict.spells(CIRCUIT.event, alone, 1.0, CIRCUIT.allowed)
        window = verdict.windows(CIRCUIT.event, alone, CIRCUIT.allowed)
        volume, fastest = shot.delivered_m3.sum() * 1e6, np.max(shot.delivered_m3[:, 0] / np.diff(CIRCUIT.event.time_s))
        expected = (hole[0] * 1e3, flood[0] * 1e3, volume, fastest * 1e6, window.low[0], window.high[0])
        place = (n, s, p, m)
        found = (
            table.hole_ms, table.flood_ms, table.volume_cc, table.peak_cc_s, table.window_low, table.window_high,
        )  # fmt: skip
        np.testing.assert_allclose([column[place] for column in found], expected, rtol=1e-9)
    assert table.window_high[1, 0, 0, 1] != table.window_high[2, 0, 0, 1], "style tells equal orifices apart"


def counted(monkeypatch: pytest.MonkeyPatch) -> tuple[list[int], list[int]]:
    """Combinations pumped, and combinations whose windows are looked for."""
    pumped: list[int] = []
    searched: list[int] = []
    deliver, windows = pump_model.deliver, verdict.windows

    def count_pumped(time_s: Any, follower_m: Any, *rest: Any) -> Any:
        pumped.append(follower_m.shape[1])
        return deliver(time_s, follower_m, *rest)

    def count_searched(event: Any, shots: Any, *rest: Any) -> Any:
        searched.append(shots.count)
        return windows(event, shots, *rest)

    monkeypatch.setattr(demand, "deliver", count_pumped)
    monkeypatch.setattr(verdict, "windows", count_searched)
    return pumped, searched


def test_what_does_not_differ_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Orifices 2, with style 4; passages 2; pumps 2; lobes 3 of which one in two phases: 2 x 2 x 2 x 3 shots."""
    pumped, searched = counted(monkeypatch)
    judged()
    assert sum(pumped) == 2 * 2 * 2 * 3
    assert sum(searched) == 4 * 2 * 2 * 3


def test_blocks_do_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = judged()
    pumped, searched = counted(monkeypatch)
    monkeypatch.setattr(verdict, "BLOCK", 7)
    assert_same(judged(), whole)
    assert len(searched) == 7 and max(searched) == 7 and sum(pumped) <= 24 + 7


def test_nothing_goes_together() -> None:
    table = judged(np.zeros(ALL.shape, dtype=bool))
    assert np.isinf(table.hole_ms).all() and np.isnan(table.window_low).all()


def test_memory_does_not_grow_with_the_combinations(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three times the combinations, by more lobes: hardly more than what is returned. All flows of 6,000 take 19 MB."""
    monkeypatch.setattr(verdict, "BLOCK", 500)

    def peak(lobes: int) -> int:
        mounts = [Mount(building.lobe("made", 3.0 + 0.01 * index), 0.0) for index in range(lobes)]
        nozzles = [nozzle(0.6 + 0.01 * index) for index in range(50)]
        tracemalloc.start()
        judge(
            CIRCUIT, nozzles, SCREWS[:2], PUMPS[:1], mounts, np.ones((1, lobes), dtype=bool), np.zeros((1, lobes)), 1.0
        )
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    small, large = peak(20), peak(60)
    assert large - small < 4_000 * 8 * 25


def test_a_shot_that_is_out_is_left_out_and_nothing_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    def delivered() -> pump_model.PumpedFuel:
        return CIRCUIT.deliver(NOZZLES, SCREWS[:1] * 5, PUMPS[:1] * 5, MOUNTS[:1] * 5, np.zeros(5))

    left_out = delivered()
    monkeypatch.setattr(pump_model, "LOOK_EVERY", 10_000)
    kept_in = delivered()
    np.testing.assert_array_equal(left_out.delivered_m3, kept_in.delivered_m3)
    np.testing.assert_array_equal(left_out.compression_m, kept_in.compression_m)
    assert np.all(kept_in.delivered_m3[-1] == 0.0) and np.all(kept_in.compression_m == 0.0)
