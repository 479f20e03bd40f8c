"""A solve that nobody waits for any longer is stopped from outside."""

from threading import Event, Thread

from ortools.sat.python import cp_model

from configurator.stopping import current_stop, heed, is_to_stop

POLL_S = 0.05


def solved(solver: cp_model.CpSolver, model: cp_model.CpModel) -> cp_model.CpSolverStatus:
    """The status of a solve. Raises Stopped if it was stopped from outside."""
    stop = current_stop()
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


def solved_or_interrupted(
    solver: cp_model.CpSolver, model: cp_model.CpModel
) -> tuple[cp_model.CpSolverStatus, bool]:
    """The status of a solve that Ctrl-C ends with what it has found, and whether it did. Raises Stopped if it was
    stopped from outside, when nobody waits for what it has found."""
    heed()
    solver.parameters.catch_sigint_signal = False
    found: list[cp_model.CpSolverStatus] = []
    done = Event()

    def work() -> None:
        try:
            found.append(solver.solve(model))
        finally:
            done.set()

    Thread(target=work, daemon=True).start()
    stopped = False
    while not done.is_set():
        try:
            done.wait(POLL_S)  # not join: interrupted, it takes a thread that runs for one that has ended
        except KeyboardInterrupt:
            stopped = True
            solver.stop_search()
        if is_to_stop():
            solver.stop_search()
    heed()
    return found[0], stopped
