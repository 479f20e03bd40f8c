"""How many small faults the tests of a room notice: `python tests/mutants.py ROOM... [--sample 50] [--seed 1]`.

First the room's tests run once, each under its own coverage context. Then each mutant of a seeded sample stands in a
copy of the tree, and the tests that ran its lines run on it, quickest first, until one fails; a mutant that outlives
them meets the quick ones of their neighbours too, as what a test file works out once is worked out in one test only.
Every run is a fork of this process, which has the heavy libraries loaded and no module of the program.

`top` is the modules beside the rooms. Tests that need a database server, a browser or a cluster are left out.
"""

import argparse
import compileall
import contextlib
import importlib
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from py_compile import PycInvalidationMode
from typing import Any

import coverage
import pytest
from mutating import Mutation, mutated, mutations

ROOT = Path(__file__).resolve().parent.parent
COPIED = ("configurator", "catalog", "tests", "docs", "pyproject.toml", "README.md", "DEVELOPERS.md")
LOADED = (
    "numpy", "scipy.integrate", "pydantic", "sqlalchemy.orm", "sqlalchemy.dialects.sqlite", "typer.testing", "tabulate",
    "hypothesis", "ortools.sat.python.cp_model", "jinja2", "matplotlib.figure", "starlette.testclient",
)  # fmt: skip
WORKERS = 2
NEIGHBOURS_S = 20.0
"""How long the neighbours' tests took that a mutant meets at most, after the tests that ran its lines."""
SLOWER, LEAST_TIMEOUT_S = 6.0, 60.0
"""A mutant is killed that takes this many times as long as its tests did, and at least so long."""

# Files that judge a room besides tests/ROOM.
FURTHER = {
    "top": ("tests/test_errors.py", "tests/cli/test_plain_messages.py", "tests/advice/test_propose.py",
            "tests/web/test_web_order.py"),
    "rules": ("tests/car/test_examples.py",),
    "advice": ("tests/solver/test_explain.py", "tests/cli/test_choosing_cli.py", "tests/cli/test_next_cli.py"),
    "files": ("tests/catalogue/test_catalog.py", "tests/car/test_vehicle.py"),
    "views": ("tests/cli/test_choosing_cli.py", "tests/cli/test_trial_cli.py", "tests/card/test_card_page.py"),
    "car": ("tests/cli/test_bad_input.py",),
}  # fmt: skip
NEEDS_A_SERVER = {"postgres", "chromium", "served", "visits", "cluster"}

# Reviewed: no test can tell these from the program. Keyed by module and what is changed, not by line.
EQUIVALENT = frozenset({
    ("judging/feelings.py", "`figures.diameter_mm < diameter_mm - SAME_SIZE_MM` -> "
     "`figures.diameter_mm <= diameter_mm - SAME_SIZE_MM`"),  # a size smaller by just the tolerance: none is
    ("judging/case.py", "`all((option.changed for option in own[slot]))` -> "
     "`any((option.changed for option in own[slot]))`"),  # a table is asked only what reads a slot
    ("judging/lift.py", "`grid[0] < bend < grid[-1]` -> `grid[0] <= bend < grid[-1]`"),  # the grid's ends are in it
    ("judging/trade_rules.py", "`gained > 0.0` -> `gained >= 0.0`"),  # none is told of so little
    ("learning/trace/trace.py", "`1.0 + side * GIVEN_LAG_DOUBT` -> `1.0 - side * GIVEN_LAG_DOUBT`"),  # either side
})  # fmt: skip


@dataclass
class Ran:
    """A room's tests: seconds of each, and the tests that ran each line of each module."""

    seconds: dict[str, float] = field(default_factory=dict)
    lines: dict[str, dict[str, list[str]]] = field(default_factory=dict)
    failed: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Mutant:
    """A mutation in its module, the path from the tree's top."""

    module: str
    mutation: Mutation

    @property
    def name(self) -> str:
        return f"{self.module}:{self.mutation.first_line}: {self.mutation.what}"


class Watcher:
    """A pytest plugin that keeps each test's seconds, and its lines where a coverage is given."""

    def __init__(self, covered: coverage.Coverage | None = None) -> None:
        self.ran, self.covered = Ran(), covered

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        begun = time.perf_counter()
        if self.covered:
            self.covered.switch_context(item.nodeid)
        result = yield
        if self.covered:
            self.covered.switch_context("")
        self.ran.seconds[item.nodeid] = time.perf_counter() - begun
        return result

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.ran.failed.append(report.nodeid)

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = [item for item in items if _runs_alone(item)]


class Chosen(Watcher):
    """Of the tests collected, those named, in the order of the names."""

    def __init__(self, names: Sequence[str]) -> None:
        super().__init__()
        self.names = {name: place for place, name in enumerate(names)}

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted(
            (item for item in items if item.nodeid in self.names), key=lambda item: self.names[item.nodeid]
        )


def _runs_alone(item: pytest.Item) -> bool:
    return not item.get_closest_marker("needs") and not NEEDS_A_SERVER & set(getattr(item, "fixturenames", ()))


def modules_of(room: str) -> list[Path]:
    folder = ROOT / "configurator"
    found = folder.glob("*.py") if room == "top" else (folder / room).rglob("*.py")
    return sorted(path for path in found if path.name != "__main__.py")


def tests_of(room: str) -> list[str]:
    """What pytest is given for a room: its folder of tests, what else judges it, and its docstrings' examples."""
    own = ["configurator/" + path.name for path in modules_of(room)] if room == "top" else [f"configurator/{room}"]
    folder = [f"tests/{room}"] if (ROOT / "tests" / room).is_dir() else []
    return [*folder, *FURTHER.get(room, ()), *own]


def copy_of_the_tree(folder: Path) -> Path:
    """A tree to put mutants into, compiled so that a module is compiled again when its text is another."""
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif source.exists():
            shutil.copy(source, folder / name)
    compileall.compile_dir(folder / "configurator", quiet=2, invalidation_mode=PycInvalidationMode.CHECKED_HASH)
    return folder


def _is_ours(path: Path) -> bool:
    """Whether a place of modules is this tree's own, and not the environment's, which may lie in it."""
    return path.is_relative_to(ROOT) and not path.is_relative_to(Path(sys.prefix).resolve())


def forked(tree: Path, work: Callable[[], int], timeout_s: float) -> int | None:
    """What work returned in a process of its own that stands in the tree; None when it was stopped for its time."""
    sys.stdout.flush()
    child = os.fork()
    if not child:
        code = 99
        try:
            os.setpgid(0, 0)
            os.chdir(tree)
            for stream in (1, 2):
                os.dup2(os.open(tree / "said", os.O_WRONLY | os.O_CREAT | os.O_APPEND), stream)
            sys.path[:] = [str(tree), *(path for path in sys.path if not _is_ours(Path(path or ".").resolve()))]
            os.environ["PYTHONPATH"] = os.pathsep.join([str(tree), os.environ.get("PYTHONPATH", "")])
            code = work()
        finally:
            os._exit(code)
    ends = time.monotonic() + timeout_s
    while time.monotonic() < ends:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.05)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def run_tests(given: Sequence[str], watcher: Watcher, *options: str) -> int:
    quiet = ("-q", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header", "--tb=short")
    return int(pytest.main([*given, *quiet, *options], plugins=[watcher]))


def covered_run(room: str, tree: Path) -> Ran:
    """A room's tests on the tree as it is: seconds, and who runs which line."""
    kept = tree / "ran.json"

    def work() -> int:
        covered = coverage.Coverage(
            data_file=None, config_file=False, include=[f"{tree}/{path.relative_to(ROOT)}" for path in modules_of(room)]
        )
        watcher = Watcher(covered)
        covered.start()
        code = run_tests(tests_of(room), watcher)
        covered.stop()
        data = covered.get_data()
        watcher.ran.lines = {
            os.path.relpath(name, tree): {str(n): [*who] for n, who in data.contexts_by_lineno(name).items()}
            for name in data.measured_files()
        }
        kept.write_text(json.dumps(vars(watcher.ran)), encoding="utf-8")
        return code

    code = forked(tree, work, 3600.0)
    if not kept.exists():
        sys.exit(f"{room}: no test ran (code {code}):\n{(tree / 'said').read_text()[-2000:]}")
    ran = Ran(**json.loads(kept.read_text(encoding="utf-8")))
    kept.unlink()
    if not ran.seconds:
        sys.exit(f"{room}: no test ran (code {code}):\n{(tree / 'said').read_text()[-2000:]}")
    if ran.failed:
        print(f"{room}: left out, as they fail without a mutant: {', '.join(sorted(set(ran.failed)))}")
        for name in ran.failed:
            ran.seconds.pop(name, None)
    return ran


def judges(mutant: Mutant, ran: Ran) -> tuple[list[str], list[str]]:
    """The tests that run a mutant's lines, quickest first, and the quick ones of the rest of their files.

    What runs when it is imported any test may notice.
    """
    quickest = sorted(ran.seconds, key=lambda name: ran.seconds[name])
    lines = ran.lines.get(mutant.module, {})
    within = range(mutant.mutation.first_line, mutant.mutation.last_line + 1)
    who = {name for line in within for name in lines.get(str(line), ())}
    own = [name for name in quickest if name in who]
    if who and not (mutant.mutation.in_function and own):
        return quickest, []
    files = {name.partition("::")[0] for name in (quickest if "" in who else own)}
    rest, spent = [], 0.0
    for name in quickest:
        if name not in who and name.partition("::")[0] in files and (spent := spent + ran.seconds[name]) < NEIGHBOURS_S:
            rest.append(name)
    return own, rest


def outcome(mutant: Mutant, tree: Path, ran: Ran) -> str:
    """How a mutant fared: "killed", "survived", or "no test runs it"."""
    own, rest = judges(mutant, ran)
    if not own:
        return "no test runs it"
    place = tree / mutant.module
    source = place.read_text(encoding="utf-8")
    place.write_text(mutated(source, mutant.mutation), encoding="utf-8")
    try:
        for names in filter(None, (own, rest)):
            files = list(dict.fromkeys(name.partition("::")[0] for name in names))
            took = sum(ran.seconds[name] for name in names)

            def work(files: list[str] = files, names: list[str] = names) -> int:
                return run_tests(files, Chosen(names), "-x")

            if forked(tree, work, max(LEAST_TIMEOUT_S, SLOWER * took)) != 0:
                return "killed"
        return "survived"
    finally:
        place.write_text(source, encoding="utf-8")


def shared_out(mutants: Sequence[Mutant], trees: Sequence[Path], ran: Ran) -> list[str]:
    """How each mutant fared, worked out by one process a tree; each takes the next number out of a pipe."""
    taken, given = os.pipe()
    os.write(given, b"".join(number.to_bytes(2, "big") for number in range(len(mutants))))
    os.close(given)
    for tree in trees:
        if not os.fork():
            with (tree / "fared").open("w", encoding="utf-8") as kept:
                while two_bytes := os.read(taken, 2):
                    number = int.from_bytes(two_bytes, "big")
                    kept.write(f"{number} {outcome(mutants[number], tree, ran)}\n")
                    kept.flush()
            os._exit(0)
    os.close(taken)
    for _ in trees:
        os.wait()
    rows = [line.split(" ", 1) for tree in trees for line in (tree / "fared").read_text().splitlines()]
    return [how for _, how in sorted((int(number), how) for number, how in rows)]


def sampled(room: str, count: int, seed: int) -> list[Mutant]:
    """A seeded sample of the mutants of a room, the reviewed ones left out."""
    every = [
        Mutant(str(path.relative_to(ROOT)), mutation)
        for path in modules_of(room)
        for mutation in mutations(path.read_text(encoding="utf-8"))
    ]
    told = [m for m in every if (m.module.removeprefix("configurator/"), m.mutation.what) not in EQUIVALENT]
    chosen = random.Random(seed).sample(told, min(count, len(told)))
    return sorted(chosen, key=lambda mutant: (mutant.module, mutant.mutation.place))


def judge_room(room: str, count: int, seed: int) -> tuple[int, int]:
    """Killed and made of a room; the survivors are printed."""
    mutants = sampled(room, count, seed)
    with tempfile.TemporaryDirectory(prefix=f"mutants-{room}-") as folder:
        trees = [copy_of_the_tree(Path(folder) / str(number)) for number in range(WORKERS)]
        ran = covered_run(room, trees[0])
        fared = shared_out(mutants, trees, ran)
    killed = fared.count("killed")
    print(f"{room}: {killed} of {len(fared)} killed by {len(ran.seconds)} tests of {sum(ran.seconds.values()):.0f} s")
    for mutant, how in zip(mutants, fared, strict=True):
        if how != "killed":
            print(f"  {mutant.name}{' (no test runs it)' if how == 'no test runs it' else ''}")
    sys.stdout.flush()
    return killed, len(fared)


def main(given: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("rooms", nargs="+", metavar="ROOM")
    parser.add_argument("--sample", type=int, default=50, metavar="N")
    parser.add_argument("--seed", type=int, default=1, metavar="N")
    asked: Any = parser.parse_args(given)
    for name in LOADED:
        importlib.import_module(name)
    assert not [name for name in sys.modules if name.partition(".")[0] == "configurator"]
    table = {room: judge_room(room, asked.sample, asked.seed) for room in asked.rooms}
    print("\nroom | killed | made")
    for room, (killed, made) in table.items():
        print(f"{room} | {killed} | {made}")
    return 0


if __name__ == "__main__":
    os.environ |= {"OPENBLAS_NUM_THREADS": "1", "TIPIN_CACHE": "off", "PYTHONHASHSEED": "0"}
    sys.exit(main(sys.argv[1:]))
