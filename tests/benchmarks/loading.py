"""Loading catalogues of 100 to 100,000 parts: `python tests/benchmarks/loading.py [--rounds 5]`.

Each load is a process of its own, all kinds in turn: checked without the cache; checked and kept; found again at a
second start; and that with every record looked at. Processor time of the load alone, and the process's largest memory.
All of them must end in the same catalogue. A catalogue too small to be worth keeping is checked at every start.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from hashlib import blake2b
from pathlib import Path
from statistics import median
from time import process_time

import numpy as np
from made_catalog import write_catalog
from tabulate import tabulate

from configurator.catalogue.load import FAMILIES, load_catalog

SIZES = (100, 1_000, 10_000, 100_000)
KINDS = ("checked", "checked, kept", "second start", "and all read")
FAMILIES_BY_CODE = tuple(name for name in FAMILIES if name != "limits")


def load_once(folder: str, kind: str) -> None:
    """What a process of one kind does: print seconds, largest memory, and a digest of the catalogue."""
    begin = process_time()
    catalog = load_catalog(folder)
    if kind == "and all read":
        for name in FAMILIES_BY_CODE:
            getattr(catalog, name).values()
    seconds = process_time() - begin
    largest = largest_mb()
    digest = blake2b()
    for name in (*FAMILIES_BY_CODE, "limit_rows"):
        for code, record in getattr(catalog, name).items():
            digest.update(f"{code} {record!r} {sorted(record.model_fields_set)}\n".encode())
    print(json.dumps([seconds, largest, digest.hexdigest()]))


def largest_mb() -> float:
    if sys.platform == "win32":
        return float("nan")
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def in_a_process(folder: Path, kind: str, cache: Path) -> tuple[float, float, str]:
    place = "off" if kind == "checked" else str(cache)
    done = subprocess.run(
        [sys.executable, __file__, "--once", str(folder), "--kind", kind],
        env=os.environ | {"TIPIN_CACHE": place}, check=True, capture_output=True, text=True,
    )  # fmt: skip
    seconds, largest, digest = json.loads(done.stdout)
    return seconds, largest, digest


def measure(folder: Path, rounds: int, cache: Path) -> dict[str, tuple[float, float]]:
    """Median seconds and memory of each kind; all must load the same."""
    found: dict[str, list[tuple[float, float]]] = {kind: [] for kind in KINDS}
    digests = set()
    for _ in range(rounds):
        for kept in cache.glob("*"):
            kept.unlink()
        for kind in KINDS:
            seconds, largest, digest = in_a_process(folder, kind, cache)
            found[kind].append((seconds, largest))
            digests.add(digest)
    assert len(digests) == 1, f"{folder}: a second start finds another catalogue"
    return {kind: (median(s for s, _ in runs), median(mb for _, mb in runs)) for kind, runs in found.items()}


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--rounds", type=int, default=5)
    words.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    words.add_argument("--once", metavar="FOLDER", help=argparse.SUPPRESS)
    words.add_argument("--kind", help=argparse.SUPPRESS)
    asked = words.parse_args()
    if asked.once:
        load_once(asked.once, asked.kind)
        return
    rows, seconds = [], []
    with tempfile.TemporaryDirectory() as place:
        for parts in asked.sizes:
            folder = write_catalog(Path(place) / str(parts), parts, seed=parts)
            found = measure(folder, asked.rounds, Path(place) / "cache")
            seconds.append([found[kind][0] for kind in KINDS])
            ratio = found["checked"][0] / found["second start"][0]
            rows.append([f"{parts:,}", *(f"{s:.4f}" for s in seconds[-1]), f"{ratio:.1f}",
                         *(f"{found[kind][1]:.0f}" for kind in ("checked", "second start"))])  # fmt: skip
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; median of {asked.rounds}")
    headings = ["parts", *(f"{kind}\ns" for kind in KINDS), "checked over\nsecond start", "checked\nMB", "second\nMB"]
    print(tabulate(rows, headers=headings, disable_numparse=True, stralign="right"))
    if len(asked.sizes) > 1:
        growth = np.polyfit(np.log(asked.sizes), np.log(seconds), 1)[0]
        print("time grows with parts to the power of: " + ", ".join(
            f"{kind} {power:.2f}" for kind, power in zip(KINDS, growth, strict=True)
        ))  # fmt: skip


if __name__ == "__main__":
    main()
