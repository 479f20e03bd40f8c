"""The long part of `tipin order` on worker processes: `python tests/benchmarks/cluster.py [--models 8] [--rounds 5]`.

The same pieces of work in this process, and on one and two processes of this machine, in turn in the same run; what
comes back must be the same to the last bit. From what a model, a run and a vehicle cost follows, on paper, what
millions of vehicles take. Planning the order itself is not in it.
"""

import argparse
import os
import platform
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from statistics import median
from time import perf_counter, process_time

import psutil
from made_workshop import BOOK, write_workshop
from tabulate import tabulate

from configurator.book.book import open_book
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.ordering.job import job_of
from configurator.ordering.meeting import load_meeting
from configurator.ordering.needs_cluster import _client, _Work
from configurator.ordering.needs_pieces import Arrays, Piece, here, regions_piece
from configurator.ordering.plan import PurchaseWish

Found = dict[str, dict[str, bytes]]
Taken = tuple[float, float, float, Found]
"""Seconds to start, seconds of work, seconds of processors for it, and what came."""
ON_PAPER = ((10_000, 30), (1_000_000, 300), (1_000_000, 10_000), (10_000_000, 1_000), (10_000_000, 100_000))
"""Vehicles and distinct models; of each large size once with few models, once with every hundredth car its own."""
WORKERS_ON_PAPER = (2, 64)


def bits(found: Iterator[tuple[Piece, Arrays]]) -> Found:
    return {piece.key: {name: array.tobytes() for name, array in arrays.items()} for piece, arrays in found}


def in_this_process(pieces: Sequence[Piece], catalog: Catalog) -> Taken:
    began, processor = perf_counter(), process_time()
    found = bits(here(pieces, catalog))
    return 0.0, perf_counter() - began, process_time() - processor, found


def on_processes(count: int, pieces: Sequence[Piece], catalog: Catalog) -> Taken:
    """The same on processes of this machine; they have loaded the program before the work is timed."""
    began = perf_counter()
    with _client(f"local:{count}") as client:
        work = _Work(f"local:{count}", client, catalog)
        work._wait_for_workers()
        work._check_programs()
        started, processor = perf_counter(), _processor_s()
        found = bits(work.done(pieces))
        return started - began, perf_counter() - started, _processor_s() - processor, found


def _processor_s() -> float:
    """Processor time of this process and those it started [s]."""
    family = [psutil.Process(), *psutil.Process().children(recursive=True)]
    return float(sum(sum(process.cpu_times()[:2]) for process in family))


def scaling(folder: Path, models: int, rounds: int, catalog: Catalog) -> None:
    _, cars = load_meeting(write_workshop(folder, models, 1, with_book=False))
    pieces = [regions_piece(car, redrill=False) for car in cars]
    ways: dict[str, Callable[[], Taken]] = {
        "this process": lambda: in_this_process(pieces, catalog),
        "one worker": lambda: on_processes(1, pieces, catalog),
        "two workers": lambda: on_processes(2, pieces, catalog),
    }
    taken: dict[str, list[tuple[float, float, float]]] = {name: [] for name in ways}
    first: Found = {}
    for _ in range(rounds):
        for name, way in ways.items():
            *seconds, found = way()
            first = first or found
            assert found == first, f"{name}: another answer"
            taken[name].append((seconds[0], seconds[1], seconds[2]))
    times = {name: [median(column) for column in zip(*own, strict=True)] for name, own in taken.items()}
    one = times["one worker"]
    shares = {"one worker": 1, "two workers": 2}
    rows = [
        [name, *(f"{s:.2f}" for s in own),
         *([f"{one[1] / own[1] / shares[name]:.2f}", f"{one[2] / own[2]:.2f}"] if name in shares else ["", ""])]
        for name, own in times.items()
    ]  # fmt: skip
    print(f"{models} models, median of {rounds} rounds; by the processors, efficiency hangs less on what else runs")
    heads = ["by", "start [s]", "work [s]", "processors [s]", "efficiency", "by the processors"]
    print(tabulate(rows, heads, disable_numparse=True))


def costs(folder: Path, vehicles: int, catalog: Catalog) -> dict[str, float]:
    """Seconds for a model, for a run that is like no other, and for a vehicle."""
    path = write_workshop(folder, vehicles, 1)
    began = perf_counter()
    meeting, cars = load_meeting(path)
    loading = perf_counter() - began
    spent: dict[str, list[float]] = {"regions": [], "run": []}

    def timed(pieces: Sequence[Piece], catalog: Catalog) -> Iterator[tuple[Piece, Arrays]]:
        for piece in pieces:
            began = perf_counter()
            ((_, arrays),) = here([piece], catalog)
            spent[piece.kind].append(perf_counter() - began)
            yield piece, arrays

    began = perf_counter()
    book = open_book(folder / BOOK)
    job = job_of(meeting, cars, catalog, book, PurchaseWish(), redrill=False, workers=timed)
    rest = perf_counter() - began - sum(map(sum, spent.values()))
    distinct = len({id(one.needs.circuits) for one in job.wanted})
    found = {"a model": median(spent["regions"]), "a run like no other": median(spent["run"]),
             "a vehicle": (loading + rest) / vehicles}  # fmt: skip
    counted = [len(spent["regions"]), len(spent["run"]), vehicles]
    models, runs = len(spent["regions"]), sum(known.believed.runs for known in job.known.values())
    print(f"\n{vehicles} vehicles of {models} models, {runs} runs, {distinct} different boxes")
    rows = [
        [what, number, f"{1e3 * s:.3g}", f"{number * s:.2f}"]
        for (what, s), number in zip(found.items(), counted, strict=True)
    ]
    print(tabulate(rows, ["for", "number", "each [ms]", "together [s]"]))
    return found | {"runs like no other, of all vehicles": len(spent["run"]) / vehicles}


def on_paper(cost: dict[str, float]) -> None:
    """Hours for many vehicles: models and runs shared among workers, the rest here. Runs like no other are taken to be
    as many for each vehicle as were found: an upper estimate, since many cars of a model share more of them."""
    rows = []
    for vehicles, models in ON_PAPER:
        runs = vehicles * cost["runs like no other, of all vehicles"]
        shared = models * cost["a model"] + runs * cost["a run like no other"]
        one_by_one = vehicles * cost["a vehicle"]
        hours = [f"{(shared / workers + one_by_one) / 3600:.2f}" for workers in WORKERS_ON_PAPER]
        rows.append([f"{vehicles:,}", f"{models:,}", f"{shared / 3600:.2f}", f"{one_by_one / 3600:.2f}", *hours])
    heads = ["vehicles", "models", "to be shared [h]", "here [h]", *(f"{n} workers [h]" for n in WORKERS_ON_PAPER)]
    print("\non paper")
    print(tabulate(rows, heads, disable_numparse=True))


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--models", type=int, default=8)
    words.add_argument("--rounds", type=int, default=5)
    words.add_argument("--vehicles", type=int, default=1000)
    given = words.parse_args()
    catalog = load_catalog(shipped_catalog_dir())
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    with tempfile.TemporaryDirectory() as folder:
        scaling(Path(folder) / "models", given.models, given.rounds, catalog)
        on_paper(costs(Path(folder) / "chain", given.vehicles, catalog))


if __name__ == "__main__":
    main()
