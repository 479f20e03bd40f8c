"""Regions of all combinations of one vehicle: `python tests/benchmarks/regions.py [--rounds 5] [--sample 10]`.

Delivery, what is felt, and the engines that each is right for, on two example vehicles with made parts between the
catalogue's sizes: how long 7,000 combinations take, how time and memory grow up to 700,000, how long scipy's solve_ivp
takes for one combination and one engine at a time, and how near it comes. Times are processor time: the machine may be
shared.
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
from one_at_a_time import CANDIDATES, TIGHT, OneAtATime, Tolerance

from configurator.arrays import Array, Mask
from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.catalogue.parts import FeedScrewFigures, LobeFigures, PumpFigures
from configurator.judging.case import Case
from configurator.judging.demand import Circuit, judge
from configurator.physics.lateness import AS_MODELLED, FIRST_FUEL, Lateness
from configurator.slots.columns import JudgedShots, Mount

ROOT = Path(__file__).resolve().parents[2]
CIRCUITS = (("roadster", "front"), ("hill-climber", "front"), ("hill-climber", "rear"))
SIZES = {700: (7, 25), 7_000: (25, 70), 70_000: (100, 175), 700_000: (250, 700)}
"""Combinations: orifices (each in both styles, with both screws) and lobes (each with the pump it is made for)."""
WITHIN = (0.03, 1.0, 0.5, 4.0)
"""Volume [cc], delay [ms], fall [%] and smoke [ms] that count as the same."""
TRIED_IN = (Lateness(0.7, 1.3), AS_MODELLED, Lateness(1.4, 0.8))
NEAR_ENOUGH = 0.9
SEED = 20


@dataclass(frozen=True)
class Parts:
    nozzles: list[FittedNozzle]
    screws: Sequence[FeedScrewFigures]
    pumps: Sequence[PumpFigures]
    mounts: list[Mount]
    goes: Mask

    def judged(self, circuit: Circuit, engine: Lateness = AS_MODELLED) -> JudgedShots:
        none = np.zeros(self.goes.shape)
        return judge(
            circuit, self.nozzles, self.screws, self.pumps, self.mounts, self.goes, none, engine, with_regions=True
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
        assert found.regions is not None
        some = int(found.regions.bits[:, :, parts.goes].any(axis=-1).sum())
        rows.append([f"{vehicle}, {name}", f"{some:,}", f"{taken:.2f} s", f"{taken / 7_000 * 1e6:.0f} us"])
    table("7,000 combinations", ["circuit", "right for some engine", "time", "one combination"], rows)
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
    chance, every = np.random.default_rng(SEED), parts.places()
    places = [every[index] for index in chance.choice(len(every), sample, replace=False)]
    ones = [OneAtATime(circuit, parts.nozzles[n], parts.screws[s], parts.pumps[p], parts.mounts[m])
            for n, s, p, m in places]  # fmt: skip
    exact = np.array([one.felt(engine, TIGHT) for engine in TRIED_IN for one in ones])
    tables = [parts.judged(circuit, engine) for engine in TRIED_IN]
    ours = np.array([felt_at(table, place) for table in tables for place in places])
    assert accurate(ours, exact), np.abs(ours - exact).max(axis=0)
    good_enough = [
        tolerance for tolerance in CANDIDATES
        if accurate(np.array([one.felt(engine, tolerance) for engine in TRIED_IN for one in ones]), exact)
    ]  # fmt: skip

    def time_of(tolerance: Tolerance) -> float:
        return seconds(lambda: [one.felt(AS_MODELLED, tolerance) for one in ones], 1) / sample

    quickest = min(good_enough, key=time_of)
    taken = time_of(quickest)
    rows = [
        ["solve_ivp, one engine", f"{taken * 1e3:.0f} ms", f"{taken / each:,.0f}"],
        [f"this program, {len(FIRST_FUEL):,} engines", f"{each * 1e6:.0f} us", "1"],
    ]
    table(f"against solve_ivp ({quickest}), {sample} combinations", ["", "one combination", "ratio"], rows)
    near = f"{WITHIN[0]:g} cc, {WITHIN[1]:g} ms of delay, {WITHIN[2]:g} % of fall, {WITHIN[3]:g} ms of smoke"
    print(f"both: nine in ten within {near}")


def felt_at(table: JudgedShots, place: tuple[int, ...]) -> tuple[float, ...]:
    sag = max(float(table.lean_sag_percent[place]), float(table.rich_sag_percent[place]))
    return float(table.volume_cc[place]), float(table.delay_ms[place]), sag, float(table.smoke_ms[place])


def accurate(found: Array, exact: Array) -> bool:
    """Whether nine in ten of every figure are as near as is asked for. A fall that is part lean, part rich is told by
    the larger part, so it may be less here than the whole."""
    return bool(np.all(np.mean(np.abs(found - exact) < WITHIN, axis=0) >= NEAR_ENOUGH))


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
    growth(given.largest)


if __name__ == "__main__":
    main()
