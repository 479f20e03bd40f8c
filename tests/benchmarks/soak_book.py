"""A book under faults: `python tests/benchmarks/soak_book.py [--seconds 600]`, in a file and on a server.

Writers record runs and move parts, each entry with a key of its own; all the while one is killed, one finds the disk
full, the server is stopped in order or as in a crash, and a copy is made. In the end all that was confirmed is there,
once, book and last copy are sound, the answer for a car without those runs is what it was before, and the memory of
whoever looked at it all the time has not grown. Exit code 1 if one of these is not so.
"""

import argparse
import os
import random
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1]))

from child_processes import Confirm, child_of
from postgres_server import Server, running_server
from run_folder import Keeper
from soak import MOST_GROWTH_MB, resident_mb
from tabulate import tabulate

from configurator.ask import load_car, load_parts, next_step
from configurator.book.book import open_book
from configurator.book.records import Conditions, Felt, trial_of
from configurator.catalogue.load import shipped_catalog_dir
from configurator.errors import BadInput
from configurator.judging.case import Case

SEED = 20260502
WRITERS = 4
FAULT_EVERY_S = 2.0
ROADSTER = shipped_catalog_dir() / "examples" / "roadster.toml"
VAN = shipped_catalog_dir() / "examples" / "van.toml"


@dataclass
class Soaked:
    """What came of one book."""

    confirmed: int = 0
    in_the_book: int = 0
    kills: int = 0
    full: int = 0
    restarts: int = 0
    copies: int = 0
    lost: int = 0
    twice: int = 0
    faults: int = 0
    same_answer: bool = False
    growth_mb: float = 0.0

    @property
    def is_well(self) -> bool:
        return not (self.lost or self.twice or self.faults) and self.same_answer and self.growth_mb <= MOST_GROWTH_MB


class Writer:
    """A process that records runs until it is killed; full : on a disk that has no room left after a while."""

    def __init__(self, place: str, name: str, *, full: bool) -> None:
        self.child, self._lines = child_of(lambda confirm: _write(place, name, confirm, full))

    def killed(self) -> list[str]:
        """What it had confirmed."""
        os.kill(self.child, signal.SIGKILL)
        with self._lines:
            said = self._lines.read().splitlines()
        os.waitpid(self.child, 0)
        return said


def _write(place: str, name: str, confirm: Confirm, full: bool) -> None:
    case = Case.of(load_car(ROADSTER), load_parts())
    at = time.time()
    if full and "://" not in place:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        size = Path(place).stat().st_size
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + 20_000, resource.RLIM_INFINITY))
    number = 0
    while True:
        number += 1
        run = trial_of(case, _day(at + number), Felt(word="dull", moment=None), Conditions(), note=f"{name}-{number}")
        try:
            with open_book(place) as book:
                book.add_trial(run, f"{name}-{number}")
                book.move_stock("straight-0.80", 1, "bought", f"{name}-{number}")
            confirm(f"{name}-{number}")
        except BadInput:
            confirm(f"? {name}-{number}")
            time.sleep(0.05)


def _day(seconds: float) -> datetime:

    return datetime.fromtimestamp(seconds, UTC)


def soaked(place: str, seconds: float, server: Server | None, folder: Path) -> Soaked:
    """Writers and faults on one book for so long, and what came of it."""
    chance, found, confirmed = random.Random(SEED), Soaked(), list[str]()
    with open_book(place) as book:
        case = Case.of(load_car(VAN), load_parts())
        book.add_trial(trial_of(case, _day(1.7e9), Felt(word="stumble", moment=None), Conditions()))
    van, parts = load_car(VAN), load_parts()
    before = next_step(van, parts, book=place)
    writers = [Writer(place, f"w{number}", full=False) for number in range(WRITERS)]
    until, made, memory = time.monotonic() + seconds, WRITERS, list[float]()
    while time.monotonic() < until:
        time.sleep(chance.uniform(0.5, 1.5) * FAULT_EVERY_S)
        with open_book(place) as book:
            book.trials(van.name)
        memory.append(resident_mb())
        fault = chance.choice(["kill", "full", "copy", "restart" if server else "kill"])
        if fault == "restart" and server is not None:
            server.stop(chance.choice([signal.SIGINT, signal.SIGQUIT]))
            time.sleep(chance.uniform(0.0, 0.5))
            server.start()
            found.restarts += 1
        elif fault == "copy":
            with open_book(place) as book:
                book.back_up(folder / f"copy-{found.copies}.sqlite")
            found.copies += 1
        else:
            said = writers.pop(chance.randrange(len(writers))).killed()
            confirmed += said
            writers.append(Writer(place, f"w{made}", full=fault == "full"))
            made += 1
            found.kills, found.full = found.kills + 1, found.full + (fault == "full")
    for writer in writers:
        confirmed += writer.killed()
    sure = [line for line in confirmed if not line.startswith("?")]
    with open_book(place) as book:
        notes = [run.note for run in book.trials() if run.note]
        found.faults = len(book.report().faults)
    for number in range(max(0, found.copies - 1), found.copies):
        with open_book(folder / f"copy-{number}.sqlite") as copy:
            found.faults += len(copy.report().faults)
    found.confirmed, found.in_the_book = len(sure), len(notes)
    found.lost, found.twice = len(set(sure) - set(notes)), len(notes) - len(set(notes))
    found.same_answer = next_step(van, parts, book=place) == before
    settled = memory[len(memory) // 4 :]
    found.growth_mb = round(max(0.0, settled[-1] - settled[0]), 1) if settled else 0.0
    return found


@contextmanager
def _server() -> Iterator[Server]:
    keeper = Keeper()
    try:
        with running_server() as server:
            yield server
    finally:
        keeper.let_go()


def main(words: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=600.0, help="for each of the two books")
    seconds = parser.parse_args(words).seconds
    rows = []
    with tempfile.TemporaryDirectory() as name:
        for kind in ("a file", "a server"):
            folder = Path(name) / kind.replace(" ", "-")
            folder.mkdir()
            with _server() if kind == "a server" else nullcontext() as server:
                place = server.url(server.new_database()) if server else str(folder / "book.sqlite")
                rows.append((kind, soaked(place, seconds, server, folder)))
    print(tabulate([{"book": kind} | vars(found) for kind, found in rows], headers="keys"))
    return 0 if all(found.is_well for _, found in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
