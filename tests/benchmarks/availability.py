"""Where every part stands: `python tests/benchmarks/availability.py [--seeds 5] [--sizes 100 1000 ...]`.

In one run and in turn, on made catalogues with some slots pinned: the program's sweep over classes gathered to all
parts, its clashes and ways out, and the peers of `peers_availability`, who are given the classes (not the parts) and
only the fewest changes to find. All must say the same of every class; of a sample of impossible ones the peers name
every clash and way out too. The tables of the vehicle, and whatever holds whatever is pinned, are worked out before and
timed apart. Seconds are of process time on one core.
"""

import argparse
import os
import platform
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import process_time
from typing import Any, TypeVar

import numpy as np
from made_catalog import write_catalog
from peers_availability import PEERS, REASONS
from peers_choice import GaveUp
from tabulate import tabulate

from configurator.advice.availability import Availability, Standings
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.judging.case import Case
from configurator.slots.slot import Slot
from configurator.slots.wishes import read_wishes
from configurator.solver.clashes import transversals

Found = TypeVar("Found")
ROOT = Path(__file__).resolve().parents[2]
SIZES = (100, 1_000, 10_000, 100_000)
PINS = {"roadster": ["front.pump=fitted"], "tow-truck": ["pad_relief=fitted"], "van": ["spacer=none"],
        "hill-climber": ["front.lobe=fitted", "rear.nozzle=fitted"]}  # fmt: skip
OTHER_PINS = {"roadster": ["front.lobe=fitted"], "tow-truck": ["front.lobe=fitted"], "van": ["front.pump=fitted"],
              "hill-climber": ["front.pump=fitted", "spacer=none"]}  # fmt: skip
EXACT_REASONS = [name for name in REASONS if name != "CP-SAT's core"]
SAMPLE = 12
"""Impossible classes of which peers name every clash and way out."""


def timed(work: Callable[..., Found], *arguments: Any) -> tuple[float, Found]:
    begin = process_time()
    found = work(*arguments)
    return process_time() - begin, found


class Runs:
    """Seconds by step, of all seeds of one size."""

    def __init__(self) -> None:
        self.seconds: dict[str, list[float]] = {}

    def note(self, name: str, work: Callable[..., Found], *arguments: Any, each: int = 1) -> Found:
        took, found = timed(work, *arguments)
        self.seconds.setdefault(name, []).append(took / each)
        return found

    def ms(self, name: str) -> str:
        return f"{1e3 * median(self.seconds[name]):,.1f}" if self.seconds.get(name) else "gave up"


def further_of(engine: Availability, found: dict[Slot, Standings]) -> dict[Slot, list[int | None]]:
    """Fewest further changes of every class; None where it is impossible."""
    return {
        slot: [int(found[slot].further[at]) if found[slot].possible[at] else None for at in own.cheapest()]
        for slot, own in engine.classes.items()
    }


def one_run(case: Case, vehicle: str, runs: Runs, limit_s: float, peers: Sequence[str]) -> Availability:
    """Every way once on one catalogue."""
    case = case.with_linkage_set()
    runs.note("physics", lambda: [case.tabulated(name) for name in case.circuit_names])
    engine = runs.note("start", Availability.of, case)
    pins = read_wishes(case.options, [], PINS[vehicle], [])
    others = read_wishes(case.options, [], OTHER_PINS[vehicle], [])
    runs.note("first", engine.standings, others)
    runs.note("first reasons", engine.clashes, others)
    found = runs.note("standings", engine.standings, pins)
    runs.note("reasons", engine.clashes, pins)
    least, problem = further_of(engine, found), engine.problem
    by_class = {pin.slot: frozenset(engine.classes[pin.slot].number[list(pin.allowed)].tolist()) for pin in pins}
    for name in peers:
        try:
            answer = runs.note(name, PEERS[name], problem, by_class, limit_s)
        except GaveUp:
            runs.seconds.setdefault(name, [])
            continue
        assert answer == least, f"{name} finds other changes"
    impossible = [(slot, one) for slot, several in least.items() for one, few in enumerate(several) if few is None]
    dice = np.random.default_rng(1)
    asked = [impossible[at] for at in dice.permutation(len(impossible))[:SAMPLE].tolist()]
    ways = engine.ways.under(by_class)
    ours = [(ways.out_for(slot, one)) for slot, one in asked]
    told = [(as_sets(transversals(way)), as_sets(way)) for way in ours]
    for name in EXACT_REASONS:
        if asked:
            assert runs.note(name, REASONS[name], problem, by_class, asked, each=len(asked)) == told, name
    runs.seconds.setdefault("each reason", []).append(runs.seconds["reasons"][-1] / max(1, len(impossible)))
    return engine


def as_sets(several: Sequence[int]) -> frozenset[frozenset[int]]:
    return frozenset(frozenset(at for at in range(bits.bit_length()) if bits >> at & 1) for bits in several)


def by_parts(engine: Availability) -> int:
    """All objects of a report, linear in the parts: every part of every slot in words."""
    return sum(len(slot.options) for slot in engine.report().slots)


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--seeds", type=int, default=5)
    words.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    words.add_argument("--vehicle", default="hill-climber", choices=PINS)
    words.add_argument("--limit", type=float, default=60.0, help="seconds that a peer may take")
    words.add_argument("--peers", nargs="*", default=list(PEERS))
    asked = words.parse_args()
    vehicle = load_vehicle(ROOT / f"catalog/examples/{asked.vehicle}.toml")
    rows, against, medians = [], [], []
    for size in asked.sizes:
        runs = Runs()
        with TemporaryDirectory() as folder:
            for seed in range(1, asked.seeds + 1):
                catalog = load_catalog(write_catalog(Path(folder) / f"{size}-{seed}", size, seed))
                case = Case.of(vehicle, catalog)
                engine = one_run(case, asked.vehicle, runs, asked.limit, asked.peers)
        parts = runs.note("report", by_parts, engine)
        steps = ("physics", "start", "first", "first reasons", "standings", "reasons", "report")
        rows.append([f"{size:,}", f"{parts:,}", *map(runs.ms, steps)])
        ours = median(runs.seconds["standings"])
        for name in asked.peers:
            took = runs.seconds[name]
            times = f"{median(took) / ours:,.0f}" if took else ""
            against.append([f"{size:,}", name, runs.ms(name), times, f"{len(took)} of {asked.seeds}"])
        for name in EXACT_REASONS:
            if runs.seconds.get(name):
                times = f"{median(runs.seconds[name]) / median(runs.seconds['each reason']):,.0f}"
                against.append([f"{size:,}", f"{name}, each class", runs.ms(name), times, ""])
        medians.append({step: median(runs.seconds[step]) for step in steps})
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; {asked.vehicle}, "
          f"median of {asked.seeds} seeds, ms")  # fmt: skip
    print(tabulate(rows, disable_numparse=True, maxheadercolwidths=16, headers=[
        "parts", "options of all slots", "physics of the vehicle", "tables of the choice", "first question",
        "first clashes and ways out", "every part, further pins", "all clashes and ways out, further pins",
        "a report of every part",
    ]))  # fmt: skip
    print()
    print(tabulate(against, headers=["parts", "", "ms", "times ours", "answered"], disable_numparse=True))
    if len(medians) > 1:
        for step in ("start", "standings", "reasons", "report"):
            slope = np.polyfit(np.log(asked.sizes), np.log([figures[step] for figures in medians]), 1)[0]
            print(f"{step}: time grows with parts to the power of {slope:.2f}")


if __name__ == "__main__":
    main()
