"""A solve that nobody waits for any longer is stopped from outside."""

from collections.abc import Callable
from concurrent.futures import Future
from threading import Thread
from typing import TypeVar

from ortools.sat.python import cp_model

from configurator.stopping import heed, is_to_stop

POLL_S = 0.05
Found = TypeVar("Found")


def solved(solver: cp_model.CpSolver, model: cp_model.CpModel) -> cp_model.CpSolverStatus:
    """The status of a solve. Raises Stopped if it was stopped from outside, and KeyboardInterrupt for Ctrl-C."""
    status, interrupted = solved_or_interrupted(solver, model)
    if interrupted:
        raise KeyboardInterrupt
    return status


def solved_or_interrupted(solver: cp_model.CpSolver, model: cp_model.CpModel) -> tuple[cp_model.CpSolverStatus, bool]:
    """The status of a solve that Ctrl-C ends with what it has found, and whether it did. Raises Stopped if it was
    stopped from outside, when nobody waits for what it has found."""
    solver.parameters.catch_sigint_signal = False  # Ctrl-C is for whoever watches
    return watched(lambda: solver.solve(model), solver.stop_search)


def watched(work: Callable[[], Found], stop: Callable[[], None]) -> tuple[Found, bool]:
    """What comes of work that a library does without looking up, and whether Ctrl-C cut it short by way of stop. Raises
    Stopped if it was stopped from outside."""
    heed()
    done: Future[Found] = Future()

    def run() -> None:
        try:
            done.set_result(work())
        except BaseException as fault:
            done.set_exception(fault)

    Thread(target=run, daemon=True).start()
    pressed = False
    while True:
        try:
            found = done.result(POLL_S)  # not join: interrupted, it takes a thread that runs for one that has ended
            break
        except TimeoutError:
            if done.done():
                raise  # the work's own
        except KeyboardInterrupt:
            pressed = True
        if pressed or is_to_stop():
            stop()  # again and again: one that comes before the work has begun is lost
    heed()
    return found, pressed
