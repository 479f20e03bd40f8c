"""Where every part stands, against one solve a part: `python tests/benchmarks/availability.py [--rounds 5]`.

Both in one run and in turn, on the shipped catalogue and the example vehicles: the program's sweep, with its reasons,
and CP-SAT asked once for each part for the fewest changes (no reasons). What they say of each part must agree.
"""

import argparse
import os
import platform
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any, TypeVar

import numpy as np
from tabulate import tabulate

from configurator.case import Case
from configurator.catalog import load_catalog
from configurator.solver.availability import Availability
from configurator.solver.model import ChoiceModel, best
from configurator.solver.problem import Constraint
from configurator.vehicle import load_vehicle
from configurator.wishes import Wish, read_wishes

Found = TypeVar("Found")
ROOT = Path(__file__).resolve().parents[2]
PINS = {"roadster": ["front.pump=fitted"], "tow-truck": ["pad_relief=fitted"], "van": ["spacer=none"],
        "hill-climber": ["front.lobe=fitted", "rear.nozzle=fitted"]}  # fmt: skip


def timed(work: Callable[..., Found], *arguments: Any) -> tuple[float, Found]:
    begin = perf_counter()
    found = work(*arguments)
    return perf_counter() - begin, found


def one_solve_a_part(engine: Availability, pins: Sequence[Wish]) -> list[bool]:
    """Whether each part can be fitted, by asking for the fewest changes with it."""
    found = []
    for slot, options in engine.problem.options.items():
        held = [_constraint(pin.text, pin.slot, pin.allowed, engine) for pin in pins if pin.slot != slot]
        for place in range(len(options)):
            own = _constraint("this", slot, frozenset({place}), engine)
            problem = replace(engine.problem, constraints=(*engine.problem.constraints, *held, own))
            found.append(best(ChoiceModel(problem, problem.constraints), ["changes"]) is not None)
    return found


def _constraint(name: str, slot: str, allowed: frozenset[int], engine: Availability) -> Constraint:
    mask = np.isin(np.arange(len(engine.problem.options[slot])), list(allowed))
    return Constraint(name, "", (slot,), mask, (~mask).astype(float))


def by_sweep(engine: Availability, pins: Sequence[Wish]) -> list[bool]:
    return [one.state != "impossible" for slot in engine.report(pins).slots for one in slot.options]


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--rounds", type=int, default=5)
    rounds = words.parse_args().rounds
    catalog = load_catalog(ROOT / "catalog")
    rows = []
    for name, pinned in PINS.items():
        case = Case.of(load_vehicle(ROOT / f"catalog/examples/{name}.toml"), catalog)
        start, engine = timed(Availability.of, case)
        pins = read_wishes(case.options, [], pinned, [])
        sweeps: list[float] = []
        swept: list[bool] = []
        for _ in range(rounds):
            seconds, swept = timed(by_sweep, engine, pins)
            sweeps.append(seconds)
        solves, solved = timed(one_solve_a_part, engine, pins)
        assert swept == solved, f"{name}: sweep and solver disagree"
        ours = median(sweeps)
        rows.append([name, len(solved), sum(solved), f"{start:.2f} s", f"{1e3 * ours:.1f} ms", f"{solves:.1f} s",
                     f"{solves / ours:,.0f}"])  # fmt: skip
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; median of {rounds}")
    headings = ["vehicle", "parts", "possible", "start", "sweep, reasons", "one solve a part", "ratio"]
    print(tabulate(rows, headers=headings, disable_numparse=True))


if __name__ == "__main__":
    main()
