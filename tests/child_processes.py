"""Forked processes that confirm their work line by line, so that one can be killed and it is known what it had done."""

import os
import signal
from collections.abc import Callable
from typing import IO

Confirm = Callable[[str], object]
KILLED = -signal.SIGKILL


def child_of(work: Callable[[Confirm], object]) -> tuple[int, IO[str]]:
    """A forked process that does this work, and the pipe from which the lines that it confirms are read."""
    reads, writes = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reads)
            work(lambda line: os.write(writes, f"{line}\n".encode()))
            os._exit(0)
        finally:
            os._exit(70)
    os.close(writes)
    return child, os.fdopen(reads)


def in_child(work: Callable[[Confirm], object]) -> tuple[int, list[str]]:
    """How a forked process ended that did this work, and the lines that it had confirmed by then."""
    child, confirmed = child_of(work)
    with confirmed:
        said = confirmed.read().splitlines()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), said
