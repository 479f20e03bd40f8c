"""Hours of use in one process, and orders broken off at random: `python tests/benchmarks/soak.py [--checks 100000]`.

Memory: checks and proposals of vehicles that are never the same twice, so that whatever is kept without a bound keeps
growing; the resident memory is read along the way and a line laid through it. Orders: `tipin order` as a process of its
own is interrupted (SIGINT) or killed (SIGKILL) at random moments, and the workshop book has to be as it was before.

Exit code 1 if memory grows by more than MOST_GROWTH_MB over the run, a book is not as it was, or an order goes on.
"""

import argparse
import gc
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from made_workshop import BOOK, write_workshop
from tabulate import tabulate

from configurator.advice.propose import ProposalRequest, propose
from configurator.book.book import open_book
from configurator.car.vehicle import Vehicle, load_vehicle
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.findings import check
from configurator.learning.as_known import known_by
from configurator.slots.wishes import read_wishes, word_of
from configurator.views.proposal import propose_text
from configurator.views.tables import check_text

SEED = 20260502
MOST_GROWTH_MB = 16.0
"""Over the whole run, by the line: a kilobyte kept from each of 100,000 checks would be 100 MB."""
SAMPLES = 20
WARM_UP = 0.25
"""Share of a run after which every bounded cache is taken to be full: the line is laid through what follows."""
CHOICES_EACH = 10
"""Choices of parts that are checked on one vehicle before the next comes in."""
ENDS_WITHIN_S = 60.0
"""After it was interrupted."""
EXAMPLES = ("roadster", "tow-truck", "van", "hill-climber")


@dataclass(frozen=True)
class Remembered:
    """Resident memory along a run: how often the work was done, MB then, and s since the start."""

    times: Sequence[int]
    memory_mb: Sequence[float]
    seconds: Sequence[float]

    @property
    def growth_mb(self) -> float:
        """Over as many times as the whole run, by the straight line that lies closest to what follows the warm-up."""
        late = np.asarray(self.times) >= WARM_UP * self.times[-1]
        slope = np.polyfit(np.asarray(self.times)[late], np.asarray(self.memory_mb)[late], 1)[0]
        return float(slope) * self.times[-1]


def resident_mb() -> float:
    """As the system counts it now, not the most there ever was."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def remembered(work: Callable[[int], object], times: int) -> Remembered:
    """The memory of this process while work is done so many times; work is told how often it was done before."""
    marks = {round(times * part / SAMPLES) for part in range(1, SAMPLES + 1)}
    found: list[tuple[int, float, float]] = []
    begin = time.perf_counter()
    for number in range(times):
        work(number)
        if number + 1 in marks:
            found.append((number + 1, resident_mb(), time.perf_counter() - begin))
    return Remembered(*zip(*found, strict=True))


class Customers:
    """Vehicles and choices in turn, never the same twice: the examples with other figures, and parts at random."""

    def __init__(self, seed: int) -> None:
        self._draw = random.Random(seed)
        self._catalog: Catalog = load_catalog(shipped_catalog_dir())
        self._examples = [load_vehicle(shipped_catalog_dir() / "examples" / f"{name}.toml") for name in EXAMPLES]
        self._case = self._next_case()

    def _next_case(self) -> Case:
        car: Vehicle = self._draw.choice(self._examples)
        other = {
            "displacement_cc": round(car.engine.displacement_cc * self._draw.uniform(0.97, 1.03), 3),
            "idle_rpm": round(car.engine.idle_rpm * self._draw.uniform(0.97, 1.03), 3),
        }
        engine = car.engine.model_copy(update=other)
        return Case.of(car.model_copy(update={"engine": engine}), self._catalog)

    def _words(self, slots: int) -> list[str]:
        options = self._case.options
        named = self._draw.sample(sorted(options, key=str), slots)
        return [f"{slot}={word_of(self._draw.choice(options[slot]))}" for slot in named]

    def check(self, number: int) -> None:
        if number % CHOICES_EACH == 0:
            self._case = self._next_case()
        check_text(check(self._case, read_wishes(self._case.options, [], self._words(3), [])), everything=True)

    def propose(self, _: int) -> None:
        self._case = self._next_case()
        wishes = read_wishes(self._case.options, [], self._words(1), [])
        propose_text(propose(self._case, ProposalRequest(wishes), known_by(self._case, [])))


def book_state(book: Path) -> tuple[Any, ...]:
    """All that a book holds. Raises AssertionError where SQLite finds something wrong with its file."""
    with closing(sqlite3.connect(book)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    with open_book(book) as opened:
        return opened.trials(with_undone=True), opened.stock(), opened.stock_history()


def order_command(workshop: Path, book: Path) -> list[str]:
    return [sys.executable, "-m", "configurator", "order", str(workshop), "--book", str(book), "--json"]


def seconds_of(command: Sequence[str]) -> float:
    """How long a command takes that is left alone. Raises AssertionError if it fails."""
    begin = time.perf_counter()
    whole = subprocess.run(command, capture_output=True, text=True)
    assert whole.returncode in (0, 1), whole.stderr[-2000:]
    return time.perf_counter() - begin


def broken_off(
    command: Sequence[str], book: Path, times: int, seed: int, within_s: float
) -> list[tuple[str, float, int, bool, bool]]:
    """A command run again and again, broken off in turn by SIGINT and SIGKILL at random moments within so many seconds:
    signal, after how many seconds, exit code, whether it then ended, and whether the book was left as it had been."""
    draw = random.Random(seed)
    before = book_state(book)
    found = []
    for number in range(times):
        how = signal.SIGKILL if number % 2 else signal.SIGINT
        after_s = draw.uniform(0.0, within_s)
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            process.wait(timeout=after_s)
        except subprocess.TimeoutExpired:
            process.send_signal(how)
        heeded = _ends(process)
        found.append((how.name, after_s, process.returncode, heeded, book_state(book) == before))
        print(f"{number + 1} of {times}: {found[-1]}", file=sys.stderr, flush=True)
    return found


def _ends(process: subprocess.Popen[bytes]) -> bool:
    """Whether it ends by itself in time; it is killed if not."""
    try:
        process.wait(timeout=ENDS_WITHIN_S)
        return True
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        return False


def report(name: str, run: Remembered) -> bool:
    """Prints what was remembered; returns whether it grew no more than it may."""
    rows = list(zip(run.times, run.seconds, run.memory_mb, strict=True))
    print(f"\n{name}, {run.times[-1]} times")
    print(tabulate(rows, headers=["done", "s", "MB"], floatfmt=("", ".0f", ".1f")))
    fine = run.growth_mb <= MOST_GROWTH_MB
    print(
        f"growth {run.growth_mb:+.1f} MB over the run, at most {MOST_GROWTH_MB:g}: {'flat' if fine else 'GROWS'}",
        flush=True,
    )
    return fine


def main(words: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else None)
    parser.add_argument("--checks", type=int, default=100_000)
    parser.add_argument("--proposals", type=int, default=10_000)
    parser.add_argument("--orders", type=int, default=10, help="how many are broken off")
    parser.add_argument("--vehicles", type=int, default=1000, help="of the workshop whose orders are broken off")
    parser.add_argument("--within", type=float, help="seconds; nine tenths of what an order takes, if it is not given")
    parser.add_argument("--seed", type=int, default=SEED)
    said = parser.parse_args(words)
    customers, fine = Customers(said.seed), True
    for name, work, times in (
        ("checks", customers.check, said.checks), ("proposals", customers.propose, said.proposals),
    ):  # fmt: skip
        if times:
            fine &= report(name, remembered(work, times))
    if said.orders:
        with tempfile.TemporaryDirectory() as folder:
            workshop = write_workshop(Path(folder), said.vehicles, said.seed)
            command = order_command(workshop, workshop.with_name(BOOK))
            within_s = said.within or 0.9 * seconds_of(command)
            rows = broken_off(command, workshop.with_name(BOOK), said.orders, said.seed, within_s)
        print(f"\norders for {said.vehicles} vehicles, broken off")
        print(tabulate(rows, headers=["by", "after s", "exit code", "ended", "book as it was"], floatfmt=".2f"))
        fine &= all(heeded and untouched for *_, heeded, untouched in rows)
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
