"""Windows of all combinations of one vehicle: `python tests/benchmarks/windows.py [--rounds 5] [--sample 10]`.

Delivery, hole and flood, and the window of demand factors, on two example vehicles with made parts between the
catalogue's sizes: how long 7,000 combinations take, how time and memory grow up to 700,000, how long scipy's solve_ivp
takes for one combination at a time at the same accuracy, and how near to the arithmetic it comes. Times are processor
time: the machine may be shared.
"""

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from statistics import median
from time import process_time
from typing import Any

import numpy as np
from tabulate import tabulate

sys.path.append(str(Path(__file__).resolve().parent))
from one_at_a_time import CANDIDATES, TIGHT, OneAtATime

from configurator.arrays import Array, Mask
from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.catalogue.parts import FeedScrewFigures, LobeFigures, PumpFigures
from configurator.judging.case import Case
from configurator.judging.demand import Circuit, judge
from configurator.physics.verdict import BLOCK, COARSE_STEP, FACTOR_RANGE, LEVELS
from configurator.slots.columns import JudgedShots, Mount

ROOT = Path(__file__).resolve().parents[2]
CIRCUITS = (("roadster", "front"), ("hill-climber", "front"), ("hill-climber", "rear"))
SIZES = {700: (7, 25), 7_000: (25, 70), 70_000: (100, 175), 700_000: (250, 700)}
"""Combinations: orifices (each in both styles, with both screws) and lobes (each with the pump it is made for)."""
VOLUME_WITHIN, HOLE_WITHIN_S, END_WITHIN = 0.005, 0.0005, 0.02
TRIED_AT = (0.7, 1.0, 1.4)
NEAR_ENOUGH = 0.9
SEED = 20


@dataclass(frozen=True)
class Parts:
    nozzles: list[FittedNozzle]
    screws: Sequence[FeedScrewFigures]
    pumps: Sequence[PumpFigures]
    mounts: list[Mount]
    goes: Mask

    def judged(self, circuit: Circuit, factor: float = 1.0) -> JudgedShots:
        none = np.zeros(self.goes.shape)
        return judge(
            circuit, self.nozzles, self.screws, self.pumps, self.mounts, self.goes, none, factor, with_windows=True
        )

    def places(self) -> list[tuple[int, ...]]:
        return [(n, s, int(p), int(m)) for n in range(len(self.nozzles)) for s in range(len(self.screws))
                for p, m in np.argwhere(self.goes)]  # fmt: skip


def circuit_of(vehicle: str, name: str) -> Circuit:
    return Case.of(load_vehicle(ROOT / f"catalog/examples/{vehicle}.toml"), load_catalog(ROOT / "catalog")).circuits[
        name
    ]


def made(count: int) -> Parts:
    """Parts for a number of combinations, no two alike, between the catalogue's smallest and largest sizes."""
    stock = load_catalog(ROOT / "catalog")
    orifices, lobes = SIZES[count]
    sizes = [part.diameter_mm for part in stock.nozzles.values()]
    nozzles = [
        FittedNozzle(diameter_mm=round(float(size), 5), style=style, length_mm=3.0)
        for size in np.linspace(min(sizes), max(sizes), orifices) for style in ("straight", "aimed")
    ]  # fmt: skip
    screws = sorted(stock.feed_screws.values(), key=lambda screw: screw.passage_area_mm2)
    pumps = list(stock.pumps.values())
    lifts = [part.total_lift_mm for part in stock.lobes.values()]
    mounts = []
    for index, lift in enumerate(np.linspace(min(lifts), max(lifts), lobes)):
        figures = {"total_lift_mm": float(lift), "duration_deg": 55.0, "nose": 1.2 + index % 7 / 10.0, "lever": "any"}
        mounts.append(Mount(LobeFigures(**figures, phases_deg=(0.0,)), 0.0))
    goes = np.arange(len(pumps))[:, None] == np.arange(lobes) % len(pumps)
    return Parts(nozzles, [screws[0], screws[-1]], pumps, mounts, goes)


def seconds(work: Callable[[], Any], rounds: int) -> float:
    taken = []
    for _ in range(rounds):
        begin = process_time()
        work()
        taken.append(process_time() - begin)
    return median(taken)


def table(title: str, headings: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    align = ["left"] + ["right"] * (len(headings) - 1)
    print(f"\n{title}\n{tabulate(rows, headers=headings, disable_numparse=True, colalign=align)}", flush=True)


def seven_thousand(rounds: int) -> float:
    rows, parts, first = [], made(7_000), 0.0
    for vehicle, name in CIRCUITS:
        circuit = circuit_of(vehicle, name)
        found = parts.judged(circuit)
        taken = seconds(partial(parts.judged, circuit), rounds)
        first = first or taken
        with_window = np.isfinite(found.window_low[:, :, parts.goes]).sum()
        rows.append([f"{vehicle}, {name}", f"{with_window:,}", f"{taken:.2f} s", f"{taken / 7_000 * 1e6:.0f} us"])
    table("7,000 combinations", ["circuit", "with a window", "time", "one combination"], rows)
    return first / 7_000


def one_size(count: int) -> None:
    """In a process of its own, for its memory."""
    circuit, parts = circuit_of(*CIRCUITS[0]), made(count)
    made(700).judged(circuit)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    taken = seconds(lambda: parts.judged(circuit), 5 if count < 70_000 else 1)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(json.dumps([taken, after / 1024, (after - before) / 1024]))


def growth(largest: int) -> None:
    rows, sizes, times = [], [size for size in SIZES if size <= largest], []
    for count in sizes:
        alone = [sys.executable, __file__, "--only", str(count)]
        done = subprocess.run(alone, check=True, capture_output=True, text=True)
        taken, peak, more = json.loads(done.stdout)
        times.append(taken)
        each = f"{taken / count * 1e6:.0f} us"
        rows.append([f"{count:,}", f"{taken:.2f} s", each, f"{peak:.0f} MB", f"{more:.0f} MB"])
    table("growth, roadster", ["combinations", "time", "one combination", "peak memory", "of it for them"], rows)
    if len(sizes) > 2:
        exponent = np.polyfit(np.log(sizes[1:]), np.log(times[1:]), 1)[0]
        print(f"from {sizes[1]:,} up, time grows with the combinations to the power of {exponent:.2f}")


def against_scipy(each: float, sample: int) -> None:
    circuit, parts = circuit_of(*CIRCUITS[0]), made(7_000)
    found, chance = parts.judged(circuit), np.random.default_rng(SEED)
    good = [place for place in parts.places() if found.window_low[place] > FACTOR_RANGE[0] * 1.01]
    places = [good[index] for index in chance.choice(len(good), sample, replace=False)]
    without_a_shot: dict[float, Array] = {}
    ones = [OneAtATime(circuit, parts.nozzles[n], parts.screws[s], parts.pumps[p], parts.mounts[m], without_a_shot)
            for n, s, p, m in places]  # fmt: skip
    exact = [one.at(factor, TIGHT)[:2] for factor in TRIED_AT for one in ones]
    tables = [parts.judged(circuit, factor) for factor in TRIED_AT]
    ours = [(own.volume_cc[place] / 1e6, own.hole_ms[place] / 1e3) for own in tables for place in places]
    assert accurate(ours, exact)
    good_enough = [
        tolerance
        for tolerance in CANDIDATES
        if accurate([one.at(factor, tolerance)[:2] for factor in TRIED_AT for one in ones], exact)
    ]
    quickest = min(good_enough, key=lambda tolerance: seconds(lambda: [one.at(1.0, tolerance) for one in ones], 1))
    rows = []
    for title, shared in (("each combination by itself", False), ("mixture without a shot shared", True)):
        if shared:
            _ = [one.window(quickest, shared=True) for one in ones]
        begin = process_time()
        ends = [one.window(quickest, shared=shared) for one in ones]
        taken = (process_time() - begin) / sample
        for place, (low, high) in zip(places, ends, strict=True):
            for ours, theirs in ((found.window_low[place], low), (found.window_high[place], high)):
                assert abs(np.log(ours / theirs)) < END_WITHIN, (place, ours, theirs)
        tries = sum(one.tries for one in ones) / sample
        rows.append([title, f"{taken * 1e3:.0f} ms", f"{tries:.0f}", f"{taken / each:,.0f}"])
    rows.append(["this program", f"{each * 1e6:.0f} us", "", "1"])
    table(f"against solve_ivp ({quickest}), {sample} combinations", ["", "one combination", "factors", "ratio"], rows)
    near = f"nine holes in ten within {HOLE_WITHIN_S * 1e3:g} ms, ends within {END_WITHIN:.1%}"
    print(f"both: volume within {VOLUME_WITHIN:.1%}, {near}")


def accurate(found: Sequence[tuple[float, float]], exact: Sequence[tuple[float, float]]) -> bool:
    """Whether volumes and holes are as near as is asked for: all volumes, and nine holes in ten; where the mixture runs
    along a limit nobody's hole is exact to a step."""
    volume, hole = (np.array(figures) for figures in zip(*found, strict=True))
    right_volume, right_hole = (np.array(figures) for figures in zip(*exact, strict=True))
    near = np.abs(hole - right_hole) < HOLE_WITHIN_S
    return bool(np.all(np.abs(volume / right_volume - 1.0) < VOLUME_WITHIN) and np.mean(near) >= NEAR_ENOUGH)


def share_of_the_limit(each: float) -> None:
    """What one combination's arithmetic would take if numpy did nothing else, on rows that stay in the cache."""
    circuit, parts = circuit_of(*CIRCUITS[0]), made(7_000)
    found = parts.judged(circuit)
    low, high = found.window_low[:, :, parts.goes], found.window_high[:, :, parts.goes]
    ends = float(np.mean((low > FACTOR_RANGE[0] * 1.0001) & ~np.isnan(low)) + np.mean(high < FACTOR_RANGE[1] * 0.9999))
    levels = (LEVELS - 1) // COARSE_STEP + 1
    halvings = int(np.log2(COARSE_STEP))
    passes = 2.0 + halvings * ends
    trials = 1.0 + levels + halvings * ends
    steps = len(circuit.event.time_s) - 1
    under_way = float(np.nanmean(np.searchsorted(circuit.event.time_s * 1e3, found.ends_ms[:, :, parts.goes]))) / 2.0
    a, b = np.random.default_rng(SEED).random((2, BLOCK))
    single, other = a.astype(np.float32), b.astype(np.float32)
    out, out_single, mask = np.empty_like(a), np.empty_like(single), np.empty(BLOCK, dtype=bool)

    def ns(work: Callable[[], Any], parts_of_it: int = 1) -> float:
        def many() -> None:
            for _ in range(2000):
                work()

        return min(seconds(many, 1) for _ in range(7)) / 2000 / BLOCK / parts_of_it * 1e9

    def multiply_add() -> None:
        np.multiply(single, 1.1, out=out_single)
        np.add(out_single, other, out=out_single)

    def multiply_add_double() -> None:
        np.multiply(a, 1.1, out=out)
        np.add(out, b, out=out)

    speed = {
        "multiply, add, single": ns(multiply_add, 2), "compare": ns(lambda: np.greater(single, 0.5, out=mask)),
        "multiply, add, double": ns(multiply_add_double, 2), "divide, root": ns(lambda: np.divide(a, b, out=out)),
        "logarithm": ns(lambda: np.log10(a, out=out)),
    }  # fmt: skip
    work = {
        "multiply, add, single": steps * (5.0 * trials + 4.0 * passes), "compare": steps * 2.0 * trials,
        "multiply, add, double": under_way * 2.0 * 26.0, "divide, root": under_way * 2.0 * 9.0,
        "logarithm": under_way * 2.0,
    }  # fmt: skip
    rows = [
        [kind, f"{times:,.0f}", f"{speed[kind]:.2f} ns", f"{times * speed[kind] / 1e3:.1f} us"]
        for kind, times in work.items()
    ]
    least = sum(work[kind] * speed[kind] for kind in work) / 1e9
    rows.append(["together", f"{sum(work.values()):,.0f}", "", f"{least * 1e6:.1f} us"])
    table(
        f"arithmetic of one combination: {steps} steps, {trials:.1f} factors", ["", "operations", "one", "time"], rows
    )
    print(
        f"measured {each * 1e6:.1f} us: {least / each:.0%} of it is arithmetic; the rest picks levels and flows for\n"
        "each combination, notes where limits are crossed, and waits for memory and the interpreter"
    )


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--rounds", type=int, default=5)
    words.add_argument("--sample", type=int, default=10)
    words.add_argument("--largest", type=int, default=700_000)
    words.add_argument("--only", type=int, help=argparse.SUPPRESS)
    given = words.parse_args()
    if given.only:
        one_size(given.only)
        return
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, numpy {np.__version__}; "
          f"median of {given.rounds}")  # fmt: skip
    each = seven_thousand(given.rounds)
    against_scipy(each, given.sample)
    share_of_the_limit(each)
    growth(given.largest)


if __name__ == "__main__":
    main()
