"""A search that nobody waits for any longer is stopped from outside.

    with until(stop):        in the thread that searches
        propose(case, request)
    stop.now()               in any other thread

Whatever is solved within the block ends soon after with Stopped. Without a block nothing stops a search but its effort.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from threading import Event, Thread

from ortools.sat.python import cp_model

from configurator.errors import TipinError

POLL_S = 0.05


class Stopped(TipinError):
    """The search was stopped from outside, its answer no longer wanted."""

    def __str__(self) -> str:
        return "stopped before there was an answer"


class Stop:
    """A word to stop, which may come from any thread."""

    def __init__(self) -> None:
        self._asked = Event()

    def now(self) -> None:
        self._asked.set()

    @property
    def asked(self) -> bool:
        return self._asked.is_set()


_current: ContextVar[Stop | None] = ContextVar("stop", default=None)


@contextmanager
def until(stop: Stop) -> Iterator[None]:
    """Everything solved in this thread within the block heeds the stop. Raises Stopped if it was asked before."""
    token = _current.set(stop)
    try:
        heed()
        yield
    finally:
        _current.reset(token)


def is_to_stop() -> bool:
    """Whether the search of this thread is to stop."""
    stop = _current.get()
    return stop is not None and stop.asked


def heed() -> None:
    """Raise Stopped if the search of this thread is to stop."""
    if is_to_stop():
        raise Stopped()


def solved(solver: cp_model.CpSolver, model: cp_model.CpModel) -> cp_model.CpSolverStatus:
    """The status of a solve. Raises Stopped if it was stopped from outside."""
    stop = _current.get()
    if stop is None:
        return solver.solve(model)
    heed()
    solver.parameters.catch_sigint_signal = False  # Ctrl-C is for whoever may say stop
    done = Event()

    def watch() -> None:
        while not done.wait(POLL_S):
            if stop.asked:
                solver.stop_search()  # again and again: one that comes before the search has begun is lost

    Thread(target=watch, daemon=True).start()
    try:
        status = solver.solve(model)
    finally:
        done.set()
    heed()
    return status
