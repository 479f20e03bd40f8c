"""Tests that this machine cannot run are named, and make the run fail: none is skipped because something is missing."""

import json
import os
from collections import Counter
from typing import Any

import pytest
from machine import NEEDS, missing, packages_of

VARIABLE = "TIPIN_TESTS_MISSING"
NOT_ALL_RUN = 9
"""Exit code where all that ran has passed, but not all was run; none of pytest's own."""


class NotRun:
    """A plugin of pytest. Whoever starts a run looks at the machine, once; workers are told what is missing."""

    def __init__(self, config: pytest.Config) -> None:
        if not hasattr(config, "workerinput"):
            os.environ[VARIABLE] = json.dumps(missing())
        self._missing: list[str] = json.loads(os.environ[VARIABLE])
        self._left_out: dict[str, str] = {}

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, config: pytest.Config, items: list[pytest.Item]) -> None:
        for item in items:
            if lacking := _needs(item).intersection(self._missing):
                self._left_out[item.nodeid] = min(lacking)
        items[:] = [item for item in items if item.nodeid not in self._left_out]

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        worker: dict[str, Any] | None = getattr(session.config, "workeroutput", None)
        if worker is not None:
            worker[VARIABLE] = self._left_out
        elif self._left_out and session.exitstatus in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
            session.exitstatus = NOT_ALL_RUN

    @pytest.hookimpl(optionalhook=True)
    def pytest_testnodedown(self, node: Any) -> None:
        """A worker of pytest-xdist has ended: all of them have left out the same."""
        self._left_out |= getattr(node, "workeroutput", {}).get(VARIABLE, {})

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        if not self._left_out:
            return
        terminalreporter.section("NOT RUN", red=True)
        for name, count in Counter(self._left_out.values()).items():
            packages = " ".join(packages_of([name]))
            terminalreporter.line(f"{count} tests need {name}, which is not here; by Debian's names: {packages}")
        for test, name in self._left_out.items():
            terminalreporter.line(f"NOT RUN {test} ({name})")


def _needs(item: pytest.Item) -> set[str]:
    """What a test needs of the machine: by its marks, and by fixtures that go by the name of it."""
    marked = {str(mark.args[0]) for mark in item.iter_markers("needs")}
    if unknown := marked - set(NEEDS):
        raise pytest.UsageError(f"{item.nodeid} needs {unknown}, which tests/machine.py does not know")
    return marked | NEEDS.keys() & set(getattr(item, "fixturenames", ()))
