"""Work that nobody waits for any longer is stopped from outside.

    with until(stop):        in the thread that works
        propose(case, request)
    stop.now()               in any other thread

Whatever heeds the stop within the block ends soon after with Stopped. Without a block nothing is ever stopped.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from threading import Event

from configurator.errors import TipinError


class Stopped(TipinError):
    """The work was stopped from outside, its answer no longer wanted."""

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
    """Everything done in this thread within the block heeds the stop. Raises Stopped if it was asked before."""
    token = _current.set(stop)
    try:
        heed()
        yield
    finally:
        _current.reset(token)


def is_to_stop() -> bool:
    """Whether the work of this thread is to stop."""
    stop = _current.get()
    return stop is not None and stop.asked


def heed() -> None:
    """Raise Stopped if the work of this thread is to stop."""
    if is_to_stop():
        raise Stopped()
