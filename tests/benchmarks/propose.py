"""The best choice of parts for one vehicle: `python tests/benchmarks/propose.py [--seeds 5] [--sizes 100 1000 ...]`.

In one run and in turn, on made catalogues: the program's sweep, its own CP-SAT model, and the peers of `peers_choice`,
all given the same choice between classes of parts and the same goals, and once more without dominated options, which
takes the work off the peers that the sweep can do without. Whoever proves a best must name the same least of every
goal, and CP-SAT the very same parts. Classes and tables before that are the program's own and timed apart, as is the
physics of the vehicle. On the largest catalogue CP-SAT is also given every part number, once. Seconds are of process
time on one core, the quickest of three for each way; MB beyond what was there, of a process of its own.
"""

import argparse
import os
import platform
import resource
from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from functools import partial
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import process_time
from typing import Any, TypeVar

import numpy as np
from made_catalog import write_catalog
from peers_choice import PEERS, Answer, GaveUp, Peer
from tabulate import tabulate

from configurator.advice.propose import ProposalRequest, propose
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog
from configurator.judging.case import Case
from configurator.slots.offered import stocks_of
from configurator.slots.slot import Slot
from configurator.slots.wishes import GOALS
from configurator.solver.classes import Classes, classes_of, worth_choosing
from configurator.solver.model import ChoiceModel, Goal, best, packs
from configurator.solver.optimum import Chooser
from configurator.solver.problem import Problem, problem_over, undominated
from configurator.solver.solution import Assignment

Found = TypeVar("Found")
ROOT = Path(__file__).resolve().parents[2]
SIZES = (100, 1_000, 10_000, 100_000)
OURS, CP_SAT = "sweep", "CP-SAT"
CLASSES, UNDOMINATED = " over classes", ", undominated"
"""The choice as the sweep is given it, and the same with the options dropped that another makes needless."""
TIMES = 3
NOT_PEERS = ("CP-SAT",)  # timed here with the order of codes as its last goals, as the program uses it


def timed(work: Callable[..., Found], *arguments: Any) -> tuple[float, Found]:
    begin = process_time()
    found = work(*arguments)
    return process_time() - begin, found


def extra_mb(work: Callable[[], object]) -> float:
    """Memory that some work takes at its peak beyond what was there, in a process of its own [MB]."""
    read, write = os.pipe()
    if os.fork() == 0:
        with Path("/proc/self/statm").open() as file:
            before = int(file.read().split()[1]) * resource.getpagesize()
        work()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
        os.write(write, str(max(0, peak - before)).encode())
        os._exit(0)
    os.wait()
    os.close(write)
    with os.fdopen(read) as file:
        return int(file.read() or -1) / 1e6


def worth(problem: Problem, chosen: Assignment) -> tuple[int, ...]:
    """What an assignment comes to in every goal, by the model's own sums."""
    model = ChoiceModel(problem, problem.constraints)
    for slot, place in chosen.items():
        model.model.add(model.pick[slot][place] == 1)
    goals = [goal for goal in model.goals(GOALS) if goal.name in GOALS]
    model.model.minimize(sum(goal.total for goal in goals))
    solver, _ = model.solve()
    return tuple(solver.value(goal.total) for goal in goals)


def by_cp_sat(problem: Problem) -> Assignment | None:
    found = best(ChoiceModel(problem, problem.constraints), GOALS)
    assert found is None or found.proven
    return None if found is None else found.chosen


def by_sweep(problem: Problem) -> Assignment | None:
    found = Chooser(problem).best(GOALS)
    return None if found is None else found.chosen


class PartNumbers(ChoiceModel):
    """The model with a Boolean for every part: a class is chosen if one of its parts is."""

    def __init__(self, problem: Problem, classes: dict[Slot, Classes]) -> None:
        super().__init__(problem, problem.constraints)
        self.parts = {}
        self.classes = classes
        for slot, own in classes.items():
            variables = [self.model.new_bool_var("") for _ in range(len(own.offered))]
            self.parts[slot] = variables
            members: list[list[Any]] = [[] for _ in range(own.count)]
            for variable, number in zip(variables, own.number.tolist(), strict=True):
                members[number].append(variable)
            for pick, parts in zip(self.pick[slot], members, strict=True):
                self.model.add(sum(parts) == pick)

    def goals(self, order: Sequence[str]) -> list[Goal]:
        """Goals by class, with what each part costs beyond its class's representative."""
        found = []
        for goal in super().goals(order):
            if goal.name in ("price", "labour"):
                figure, more, most = ("price" if goal.name == "price" else "labour_min"), [], 0
                for slot, own in self.classes.items():
                    costs = getattr(own.offered, figure)
                    beyond = costs - costs[own.cheapest()][own.number]
                    pairs = zip(self.parts[slot], beyond.tolist(), strict=True)
                    more += [extra * variable for variable, extra in pairs if extra]
                    most += int(beyond.max())
                goal = Goal(goal.name, goal.total + sum(more), goal.most + most)
            found.append(goal)
        return [goal for goal in found if goal.name in GOALS]


def by_part_numbers(case: Case) -> tuple[int, ...]:
    classes = classes_of(case, [])
    problem = problem_over(case, [], {slot: own.cheapest() for slot, own in classes.items()})
    model = PartNumbers(problem, classes)
    found = []
    for pack in packs(model.goals(GOALS)):
        model.model.minimize(sum(goal.total * weight for goal, weight in pack))
        solver, _ = model.solve(effort=600.0)
        for goal, _ in pack:
            found.append(solver.value(goal.total))
            model.model.add(goal.total == found[-1])
    return tuple(found)


def whole(case: Case) -> Assignment | None:
    """From the case to the proven best: classes, tables and sweep."""
    return by_sweep(worth_choosing(case, []))


class Runs:
    """Seconds by step, of all seeds of one size; nothing where the answer was not proven in time."""

    def __init__(self) -> None:
        self.seconds: dict[str, list[float]] = {}

    def note(self, name: str, work: Callable[..., Found], *arguments: Any) -> Found | None:
        before, begin = self.seconds.setdefault(name, []), process_time()
        try:
            found = work(*arguments)
        except GaveUp:
            return None
        before.append(process_time() - begin)
        return found

    def best_of(self, name: str, work: Callable[[Problem], Found], instance: Problem) -> Found | None:
        """The quickest of a few times, each on a problem of which nothing is known yet."""
        before, tries = self.seconds.setdefault(name, []), Runs()
        for _ in range(TIMES):
            found = tries.note(name, work, replace(instance))
            if not tries.seconds[name]:
                return None
        before.append(min(tries.seconds[name]))
        return found

    def median(self, name: str) -> float:
        return median(self.seconds[name]) if self.seconds[name] else float("nan")


def ready(case: Case) -> None:
    """What a catalogue's options are compared by, once a catalogue."""
    stocks = stocks_of(case.catalog)
    for stock in (getattr(stocks, field.name) for field in fields(stocks)):
        _ = stock.by_price, stock.by_labour, stock.of_code


def one_run(case: Case, runs: Runs, asked: argparse.Namespace) -> Case:
    """Every way once, on one catalogue; what they find must agree."""
    runs.note("ready", ready, case)
    case = case.with_linkage_set()
    runs.note("physics", lambda: [case.tabulated(name) for name in case.circuit_names])
    problem = runs.note("classes", worth_choosing, case, [])
    assert problem is not None
    fewer = runs.note("undominated", undominated, problem)
    assert fewer is not None
    runs.note("report", propose, case, ProposalRequest())
    swept = by_sweep(problem)
    least = None if swept is None else worth(problem, swept)
    for what, instance in ((CLASSES, problem), (UNDOMINATED, fewer)):
        for name, work in ((f"{OURS}{what}", by_sweep), (f"{CP_SAT}{what}", by_cp_sat)):
            found = runs.best_of(name, work, instance)
            assert named(instance, found) == named(problem, swept), f"{name}: another choice"
        for name in asked.peers:

            def solve(afresh: Problem, peer: Peer = PEERS[name]) -> Answer:
                return peer(afresh, GOALS, asked.limit)

            answer = runs.best_of(f"{name}{what}", solve, instance)
            assert answer is None or answer.least == least, f"{name} comes to another best"
    return case


def named(problem: Problem, chosen: Assignment | None) -> list[str] | None:
    return None if chosen is None else [problem.options[slot][place].label for slot, place in chosen.items()]


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--seeds", type=int, default=5)
    words.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    words.add_argument("--vehicle", default="hill-climber")
    words.add_argument("--limit", type=float, default=20.0, help="seconds that a peer may take")
    words.add_argument("--peers", nargs="*", default=[name for name in PEERS if name not in NOT_PEERS])
    asked = words.parse_args()
    vehicle = load_vehicle(ROOT / f"catalog/examples/{asked.vehicle}.toml")
    ours, against, every = [], [], {}
    for size in asked.sizes:
        runs = every[size] = Runs()
        with TemporaryDirectory() as folder:
            for seed in range(1, asked.seeds + 1):
                catalog = load_catalog(write_catalog(Path(folder) / f"{size}-{seed}", size, seed))
                case = one_run(Case.of(vehicle, catalog), runs, asked)
        steps = ("ready", "physics", "classes", f"{OURS}{CLASSES}", "report")
        memory = f"{extra_mb(partial(whole, case)):.0f}"
        ours.append([f"{size:,}", *(f"{1e3 * runs.median(step):,.1f}" for step in steps), memory])
        ways = [OURS, CP_SAT, *asked.peers]
        for what in (CLASSES, UNDOMINATED):
            for name in ways:
                took = runs.median(f"{name}{what}")
                times = took / runs.median(f"{OURS}{what}")
                proven = runs.seconds[f"{name}{what}"]
                each = zip(proven, runs.seconds[f"{OURS}{what}"], strict=False)
                closest = f"{min(theirs / ours for theirs, ours in each):,.1f}" if len(proven) == asked.seeds else ""
                against.append([f"{size:,}", f"{name}{what}", f"{1e3 * took:,.1f}", f"{times:,.1f}", closest,
                                f"{len(proven)} of {asked.seeds}"])  # fmt: skip
        if size == max(asked.sizes):
            problem, fewer = worth_choosing(case, []), undominated(worth_choosing(case, []))
            took, least = timed(by_part_numbers, case)
            swept = by_sweep(problem)
            assert swept is not None and least == worth(problem, swept), "part numbers come to another best"
            times = took / runs.median(f"{OURS}{CLASSES}")
            name = "CP-SAT over part numbers"
            against.append([f"{size:,}", name, f"{1e3 * took:,.1f}", f"{times:,.1f}", "", "1 of 1"])
            megabytes = [extra_mb(partial(by_cp_sat, instance)) for instance in (problem, fewer)]
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; {asked.vehicle}, "
          f"median of {asked.seeds} seeds, ms")  # fmt: skip
    print(tabulate(ours, disable_numparse=True, maxheadercolwidths=15, headers=[
        "parts", "options and kinds, once a catalogue", "physics of the vehicle", "classes and tables",
        "sweep: model and proof", "whole report with other ways", "MB: classes, tables, sweep",
    ]))  # fmt: skip
    print()
    headers = ["parts", "", "ms", "times the sweep", "least of all seeds", "proven"]
    print(tabulate(against, headers=headers, disable_numparse=True))
    print(f"CP-SAT on the largest takes {megabytes[0]:.0f} MB over classes, {megabytes[1]:.0f} MB undominated")
    if len(every) > 1:
        sizes = np.log([float(size) for size in every])
        for step in ("classes", f"{OURS}{CLASSES}", f"{CP_SAT}{CLASSES}", f"{CP_SAT}{UNDOMINATED}"):
            slope = np.polyfit(sizes, np.log([runs.median(step) for runs in every.values()]), 1)[0]
            print(f"{step}: time grows with parts to the power of {slope:.2f}")


if __name__ == "__main__":
    main()
