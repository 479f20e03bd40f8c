"""A Dask scheduler and workers as processes of a test's own, on this machine only, each of which may be killed."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

GENEROUS_S = 90.0


def until(holds: Callable[[], Any], what: str) -> Any:
    """Wait until something holds, and return it; a failure after a generous time."""
    end = time.monotonic() + GENEROUS_S
    while time.monotonic() < end:
        if found := holds():
            return found
        time.sleep(0.05)
    raise AssertionError(f"waited {GENEROUS_S:g} s in vain: {what}")


class Processes:
    """A scheduler, and the workers that were added."""

    def __init__(self, folder: Path, *, deaths_allowed: int = 3) -> None:
        self._folder, self._file = folder, folder / "scheduler.json"
        self._all: list[subprocess.Popen[bytes]] = []
        self.scheduler = self._start(
            "scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--dashboard-address", "127.0.0.1:0",
            "--scheduler-file", str(self._file),
            settings={"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": str(deaths_allowed)},
        )  # fmt: skip
        self.address = ""

    def await_scheduler(self) -> None:
        self.address = str(until(self._said, "the scheduler says its address"))

    def _said(self) -> str:
        try:
            return str(json.loads(self._file.read_text(encoding="utf-8"))["address"])
        except (OSError, ValueError, KeyError):
            return ""

    def worker(self, preload: str = "", *, restarts: bool = False) -> subprocess.Popen[bytes]:
        """One more worker. preload : what it runs before it joins; restarts : a new one takes its place if it dies."""
        words = ["--host", "127.0.0.1", "--nthreads", "1", "--no-dashboard", "--local-directory", str(self._folder)]
        if preload:
            path = self._folder / f"before_{len(self._all)}.py"
            path.write_text(preload, encoding="utf-8")
            words += ["--preload", str(path)]
        return self._start("worker", self.address, "--nanny" if restarts else "--no-nanny", *words)

    def log_of(self, process: subprocess.Popen[bytes]) -> Path:
        """Where a process writes what it does."""
        role = "scheduler" if process is self._all[0] else "worker"
        return self._folder / f"{role}-{self._all.index(process)}.log"

    def _start(self, role: str, *words: str, settings: Mapping[str, str] | None = None) -> subprocess.Popen[bytes]:
        with (self._folder / f"{role}-{len(self._all)}.log").open("wb") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", f"distributed.cli.dask_{role}", *words],
                stdout=log, stderr=log, env=os.environ | (settings or {}),
            )  # fmt: skip
        self._all.append(process)
        return process

    def end(self) -> None:
        """Workers first, asked and then made to."""
        for process in reversed(self._all):
            process.terminate()
        for process in self._all:
            try:
                process.wait(5)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@contextmanager
def cluster(folder: Path, *, deaths_allowed: int = 3) -> Iterator[Processes]:
    """A scheduler without workers, ended with all that was added to it."""
    processes = Processes(folder, deaths_allowed=deaths_allowed)
    try:
        processes.await_scheduler()
        yield processes
    finally:
        processes.end()
