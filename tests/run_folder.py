"""What all workers of one run of the tests share: a folder, in which each thing is made by whoever needs it first.

The process that starts the run makes the folder and tells it to its workers by the environment. Every process that they
start has it in its environment too, by which `leave_nothing` knows what to end when the run is over, however it ends.
"""

import fcntl
import os
import pickle
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import TypeVar

T = TypeVar("T")
VARIABLE = "TIPIN_TESTS_RUN"
PREFIX = "tipin-tests-"
OPEN_TO_PASS = 0o711
"""PostgreSQL runs as a user of its own where root runs the tests."""
CLEARED_WITHIN_S = 60.0


class Keeper:
    """The folder of a new run, with a process beside it that clears up once this one lets go of it or is gone."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix=PREFIX))
        self.folder.chmod(OPEN_TO_PASS)
        os.environ[VARIABLE] = str(self.folder)
        # In a session of its own: Ctrl-C is for the run, and what clears up after it must outlive it.
        self._process = subprocess.Popen(
            [sys.executable, "-I", Path(__file__).with_name("leave_nothing.py"), self.folder],
            stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip

    def let_go(self) -> None:
        """Returns when everything is gone that the run has started."""
        os.environ.pop(VARIABLE, None)
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(CLEARED_WITHIN_S)


def folder() -> Path:
    """The folder of this run. Raises KeyError where no run of the tests is under way."""
    return Path(os.environ[VARIABLE])


@contextmanager
def alone(name: str) -> Iterator[None]:
    """Nobody else in this run is in here under this name."""
    with (folder() / f"{name}.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def once(what: str, make: Callable[[], T]) -> T:
    """What `make` gives, made once in a run: the others who ask for it under this name wait, and get a copy."""
    name = f"{re.sub(r'[^a-z0-9]+', '-', what.lower())[:40]}-{sha256(what.encode()).hexdigest()[:16]}"
    kept = folder() / f"{name}.pickle"
    with alone(name):
        if kept.exists():
            found: T = pickle.loads(kept.read_bytes())
            return found
        made = make()
        kept.write_bytes(pickle.dumps(made))
    return made
