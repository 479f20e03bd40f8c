"""All combinations of lists of parts: what does not differ is worked out once, in blocks, and each finds its place."""

import tracemalloc
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import building
import numpy as np
import pytest

from configurator.arrays import Array, Mask
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures, PumpFigures
from configurator.judging import demand
from configurator.judging.demand import delivered_in, judge
from configurator.physics import pump as pump_model
from configurator.physics.lateness import POINTS, Lateness
from configurator.physics.verdict import Complaints, Verdict
from configurator.slots.columns import JudgedShots, Mount

CIRCUIT = building.easy_case().circuits["front"]
ENGINE = Lateness(1.1, 0.9)
DELIVERED = ("volume_cc", "ends_ms", "peak_cc_s")


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


@pytest.fixture(autouse=True)
def _nothing_kept() -> None:
    demand._kept.cache_clear()


def judged(
    goes: Mask = ALL,
    slack_mm: float | Array = 0.0,
    nozzles: Sequence[FittedNozzle] = NOZZLES,
    screws: Sequence[FeedScrewFigures] = SCREWS,
    pumps: Sequence[PumpFigures] = PUMPS,
    mounts: Sequence[Mount] = MOUNTS,
) -> JudgedShots:
    slack = np.broadcast_to(np.asarray(slack_mm, dtype=float), goes.shape)
    return judge(CIRCUIT, nozzles, screws, pumps, mounts, goes, slack, ENGINE, with_regions=True)


def assert_same(one: JudgedShots, other: JudgedShots) -> None:
    """Figures to the last digits of single precision; regions but for a point in a thousand, at their edges: what is
    worked out at few engines depends on the styles that are judged together."""
    for name, figure in one.figures.items():
        rtol, atol = (1e-9, 0.0) if name in DELIVERED else (2e-5, 1e-3)
        np.testing.assert_allclose(figure, other.figures[name], rtol=rtol, atol=atol, err_msg=name)
    assert one.regions is not None and other.regions is not None
    assert np.mean(one.regions.covers != other.regions.covers, axis=-1).max() <= 2e-3


def test_every_combination_finds_its_place() -> None:
    """Each cell of the table is that combination judged alone, with its own slack: one in seven, of every part."""
    goes, slack = ALL.copy(), np.zeros(ALL.shape)
    goes[1, 2], slack[0, 1], slack[2, 1] = False, 0.4, 1.1
    table = judged(goes, slack)
    for n, s, p, m in list(np.ndindex(5, 3, 3, 4))[::7]:
        alone = judged(goes[p : p + 1, m : m + 1], slack[p, m], nozzles=[NOZZLES[n]], screws=[SCREWS[s]],
                       pumps=[PUMPS[p]], mounts=[MOUNTS[m]])  # fmt: skip
        assert_same(alone, table.at(tuple(slice(i, i + 1) for i in (n, s, p, m))))
    assert np.isinf(table.delay_ms[:, :, 1, 2]).all() and np.isfinite(table.delay_ms[:, :, 1, 3]).all()
    assert table.regions is not None and not table.regions.covers[:, :, 1, 2].any()
    assert 0.02 < table.regions.covers[:, :, goes].mean() < 0.98
    assert table.volume_cc[0, 0, 0, 1] != table.volume_cc[0, 0, 2, 1], "slack tells equal pumps apart"


def test_a_table_says_what_pump_and_verdict_say() -> None:
    """Straight and aimed nozzles, a slack linkage: delivered and judged without a plan."""
    slack = np.zeros(ALL.shape)
    slack[0, 1] = 0.4
    table = judged(ALL, slack)
    for place in ((2, 0, 0, 1), (1, 0, 0, 1), (4, 1, 1, 3), (0, 2, 2, 0)):
        n, s, p, m = place
        shot = CIRCUIT.deliver([NOZZLES[n]], [SCREWS[s]], [PUMPS[p]], [MOUNTS[m]], slack[p : p + 1, m])
        flow, missed = CIRCUIT.flow_kg_s(shot), 1.0 - CIRCUIT.film_share([NOZZLES[n]])
        felt = CIRCUIT.verdict.felt_in(CIRCUIT.verdict.supply.responses(flow), missed, ENGINE)
        for name, figure in vars(felt).items():
            np.testing.assert_allclose(table.figures[name][place], figure[0], rtol=1e-3, atol=0.02, err_msg=name)
        fastest = np.max(shot.delivered_m3[:, 0] / np.diff(CIRCUIT.event.time_s))
        found = [table.figures[name][place] for name in ("volume_cc", "peak_cc_s")]
        np.testing.assert_allclose(found, [shot.delivered_m3.sum() * 1e6, fastest * 1e6], rtol=1e-9)
    assert table.delay_ms[1, 0, 0, 1] != table.delay_ms[2, 0, 0, 1], "style tells equal orifices apart"
    assert np.isnan(table.sure_percent).all(), "nothing is believed here"


def test_events_side_by_side_deliver_what_each_does_alone() -> None:
    """Another pressure at idle opens the throttle from elsewhere, at another depression: some shots end sooner."""
    engines: list[dict[str, Any]] = [{}, {"idle_pressure_kpa": 58.0}, {"idle_rpm": 1100.0}]
    circuits = [building.easy_case(building.vehicle(engine=engine)).circuits["front"] for engine in engines]
    parts = (NOZZLES, SCREWS[:1] * 5, PUMPS[:1] * 5, MOUNTS[:1] * 5, np.linspace(0.0, 0.4, 5))
    for circuit, shot in zip(circuits, delivered_in(circuits, *parts), strict=True):
        alone = circuit.deliver(*parts)
        np.testing.assert_allclose(shot.delivered_m3, alone.delivered_m3, rtol=1e-9, atol=1e-18)
        np.testing.assert_allclose(shot.compression_m, alone.compression_m, rtol=1e-9, atol=1e-15)


def counted(monkeypatch: pytest.MonkeyPatch) -> tuple[list[int], list[int]]:
    """Combinations pumped, and combinations whose regions are looked for."""
    pumped: list[int] = []
    searched: list[int] = []
    deliver, felt_by = pump_model.deliver, Verdict.felt_by

    def count_pumped(time_s: Any, follower_m: Any, *rest: Any) -> Any:
        pumped.append(follower_m.shape[1])
        return deliver(time_s, follower_m, *rest)

    def count_searched(self: Verdict, shots: Any, column: Any, missed: Any) -> Complaints:
        searched.append(len(column))
        return felt_by(self, shots, column, missed)

    monkeypatch.setattr(demand, "deliver", count_pumped)
    monkeypatch.setattr(Verdict, "felt_by", count_searched)
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
    monkeypatch.setattr(demand, "BLOCK", 7)
    assert_same(judged(), whole)
    assert len(searched) == 7 and max(searched) == 7 and sum(pumped) <= 24 + 7


def test_regions_are_worked_out_where_asked_for() -> None:
    table = judge(CIRCUIT, NOZZLES, SCREWS, PUMPS, MOUNTS, ALL, np.zeros(ALL.shape), ENGINE)
    assert table.regions is None
    with_regions = judged().regions
    assert with_regions is not None and with_regions.covers.shape == (5, 3, 3, 4, POINTS * POINTS)


def test_regions_are_kept_for_another_run_and_for_other_parts_of_the_catalogue(monkeypatch: pytest.MonkeyPatch) -> None:
    """What runs move is the engine; what is fitted comes first in its list: the regions are those of before. Another
    size, another pump or another limit is worked out."""
    asked: list[int] = []
    felt_by = Verdict.felt_by

    def counted(*of: Any) -> Complaints:
        asked.append(1)
        return felt_by(*of)

    monkeypatch.setattr(Verdict, "felt_by", counted)
    before = judged()
    blocks = len(asked)
    assert blocks
    turned = [*NOZZLES[::-1]], [*SCREWS[::-1]], [*PUMPS[::-1]], [*MOUNTS[::-1]]
    slack = np.zeros((len(PUMPS), len(MOUNTS)))
    kept = judge(CIRCUIT, *turned, ALL, slack, Lateness(0.8, 1.2), with_regions=True)
    assert len(asked) == blocks and kept.regions is not None and before.regions is not None
    np.testing.assert_array_equal(kept.regions.bits[::-1, ::-1, ::-1, ::-1], before.regions.bits)
    assert not np.allclose(kept.delay_ms[::-1, ::-1, ::-1, ::-1], before.delay_ms), "judged in another engine"
    others: tuple[dict[str, Any], ...] = (
        {"nozzles": [*NOZZLES[1:], nozzle(0.95)]}, {"screws": [*SCREWS[1:], building.screw("other", 5.0)]},
        {"pumps": [*PUMPS[:-1], building.pump("other", spring_preload_n=5.0)]},
        {"mounts": [*MOUNTS[:-1], Mount(building.lobe("high", 4.4), 6.0)]}, {"slack_mm": 0.1},
    )  # fmt: skip
    for count, other in enumerate(others, 1):
        changed = judged(**other)
        assert len(asked) == (count + 1) * blocks, other
        demand._kept.cache_clear()
        fresh = judged(**other)
        assert changed.regions is not None and fresh.regions is not None
        np.testing.assert_array_equal(changed.regions.bits, fresh.regions.bits)
        asked[:] = asked[: (count + 1) * blocks]
    strict = replace(CIRCUIT, allowed=replace(CIRCUIT.allowed, delay_ms=5.0))
    judge(strict, NOZZLES, SCREWS, PUMPS, MOUNTS, ALL, slack, ENGINE, with_regions=True)
    assert len(asked) == (len(others) + 2) * blocks


def test_nothing_goes_together() -> None:
    table = judged(np.zeros(ALL.shape, dtype=bool))
    assert np.isinf(table.delay_ms).all() and np.isnan(table.volume_cc).all() and not table.pumps.any()
    assert table.regions is not None and not table.regions.covers.any()


@pytest.mark.parametrize("with_regions", [False, True])
def test_memory_does_not_grow_with_the_combinations(with_regions: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twice the combinations, by more lobes: hardly more than what is returned, 12 figures and 137 bytes of region
    each. All flows of 200 more would take 0.6 MB, and what is felt of them in every engine 3 MB."""
    monkeypatch.setattr(demand, "BLOCK", 50)
    monkeypatch.setattr(demand, "MOST_COMBINATIONS", 0)

    def peak(lobes: int) -> int:
        mounts = [Mount(building.lobe("made", 3.0 + 0.01 * index), 0.0) for index in range(lobes)]
        nozzles = [nozzle(0.6 + 0.01 * index) for index in range(10)]
        goes = np.ones((1, lobes), dtype=bool)
        tracemalloc.start()
        judge(
            CIRCUIT, nozzles, SCREWS[:1], PUMPS[:1], mounts, goes, np.zeros(goes.shape), ENGINE,
            with_regions=with_regions,
        )  # fmt: skip
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    small, large = peak(20), peak(40)
    assert large - small < 200 * (12 * 8 + 137) * 3


def test_a_shot_that_is_out_is_left_out_and_nothing_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    def delivered() -> pump_model.PumpedFuel:
        return CIRCUIT.deliver(NOZZLES, SCREWS[:1] * 5, PUMPS[:1] * 5, MOUNTS[:1] * 5, np.zeros(5))

    left_out = delivered()
    monkeypatch.setattr(pump_model, "LOOK_EVERY", 10_000)
    kept_in = delivered()
    np.testing.assert_array_equal(left_out.delivered_m3, kept_in.delivered_m3)
    np.testing.assert_array_equal(left_out.compression_m, kept_in.compression_m)
    assert np.all(kept_in.delivered_m3[-1] == 0.0) and np.all(kept_in.compression_m == 0.0)
