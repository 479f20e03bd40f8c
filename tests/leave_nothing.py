"""Clears up after a run of the tests, however it ended: `python leave_nothing.py FOLDER`, with a pipe as its input.

When the pipe is closed, or whoever holds it has died, it ends every process that has the run's folder in its
environment, and removes the folder. Standard library only, and Linux only, as the tests' servers are.
"""

import os
import select
import shutil
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

LOOKS_EVERY_S = 0.5
ASKED_FOR_S = 5.0
"""For what is asked to end, before it is made to."""


def wait_until_let_go() -> None:
    """The parent is looked at too: a child that it has forked may hold the pipe longer than it."""
    parent = os.getppid()
    while os.getppid() == parent:
        ready, _, _ = select.select([0], [], [], LOOKS_EVERY_S)
        if ready and not os.read(0, 1):
            return


def marked(mark: bytes) -> list[int]:
    """Processes with these words in their environment, but for this one."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal() and int(entry.name) != os.getpid():
            try:
                if mark in (entry / "environ").read_bytes().split(b"\0"):
                    found.append(int(entry.name))
            except OSError:
                continue  # it has ended, or is somebody else's
    return found


def end(find: Callable[[], list[int]]) -> None:
    """All that is found is asked to end, and made to if it does not."""
    until = time.monotonic() + ASKED_FOR_S
    asked: set[int] = set()
    while running := find():
        late = time.monotonic() > until
        for process in running:
            if late or process not in asked:
                asked.add(process)
                try:
                    os.kill(process, signal.SIGKILL if late else signal.SIGTERM)
                except ProcessLookupError:
                    continue
        time.sleep(0.05)


def main() -> None:
    folder = Path(sys.argv[1])
    for word in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(word, signal.SIG_IGN)
    wait_until_let_go()
    end(lambda: marked(f"TIPIN_TESTS_RUN={folder}".encode()))
    shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
