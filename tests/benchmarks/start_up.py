"""How long commands take from nothing, against three libraries alone: `python tests/benchmarks/start_up.py`.

Processes in turn in the same run: `python -c "import typer, pydantic, numpy"`, `tipin --help`, and `tipin check` on an
example vehicle in front of the shipped catalogue. Processor time and time on the clock of the whole process.
"""

import argparse
import os
import platform
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from statistics import median
from time import perf_counter

from tabulate import tabulate

ROOT = Path(__file__).resolve().parents[2]
LIBRARIES = 'python -c "import typer, pydantic, numpy"'
COMMANDS: dict[str, tuple[list[str], float]] = {
    LIBRARIES: (["-c", "import typer, pydantic, numpy"], 1.0),
    "tipin --help": (["-m", "configurator", "--help"], 1.5),
    "tipin check VEHICLE": (["-m", "configurator", "check", str(ROOT / "catalog/examples/roadster.toml")], 3.0),
}
"""What is run, and how many times the libraries' time it may take."""


def run(arguments: Sequence[str]) -> tuple[float, float]:
    """Processor time and time on the clock of one process [s]."""
    before, begin = os.times(), perf_counter()
    done = subprocess.run([sys.executable, *arguments], cwd=ROOT, capture_output=True)
    clock, after = perf_counter() - begin, os.times()
    assert done.returncode in (0, 1) and not done.stderr, done.stderr.decode()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return used, clock


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--rounds", type=int, default=11)
    rounds = words.parse_args().rounds
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in COMMANDS}
    for _ in range(rounds):
        for name, (arguments, _) in COMMANDS.items():
            found[name].append(run(arguments))
    used = {name: median(used for used, _ in runs) for name, runs in found.items()}
    rows = []
    for name, (_, most) in COMMANDS.items():
        ratios = [own / libraries for (own, _), (libraries, _) in zip(found[name], found[LIBRARIES], strict=True)]
        rows.append([name, f"{used[name]:.3f}", f"{median(clock for _, clock in found[name]):.3f}",
                     f"{median(ratios):.2f}", f"{most:g}"])  # fmt: skip
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; median of {rounds}")
    headings = ["process", "processor s", "clock s", "times the libraries", "at most"]
    print(tabulate(rows, headers=headings, disable_numparse=True))


if __name__ == "__main__":
    main()
