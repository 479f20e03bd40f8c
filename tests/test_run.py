"""Runs of the tests themselves: they leave nothing behind however they end, and what is not run is told, and fails."""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import run_folder
from child_processes import child_of
from cluster_processes import until
from leave_nothing import marked
from not_run import NOT_ALL_RUN

ROOT = Path(__file__).resolve().parent.parent
HIDES_CHROMIUM = "import machine\nmachine.CHROMIUM = machine.Path('/no/such/browser')\n"
SHARED_SERVER = """
import os, time
from pathlib import Path

def test_it_is_interrupted(postgres):
    Path(os.environ["SAYS"]).write_text(os.environ["TIPIN_TESTS_RUN"])
    time.sleep(600)
"""


@pytest.fixture
def place() -> Iterator[Path]:
    """A folder that PostgreSQL may pass through, unlike one of pytest's own."""
    folder = Path(tempfile.mkdtemp(prefix="tests-of-tests-"))
    folder.chmod(run_folder.OPEN_TO_PASS)
    yield folder
    shutil.rmtree(folder)


def begun(place: Path, test: str, *words: str, first: str = "", **environment: str) -> subprocess.Popen[str]:
    """A run of its own of one test, with the fixtures of these tests, with `place` for all it leaves about.

    first : what is done before anything else; environment : more of it.
    """
    tests = place / "tests"
    tests.mkdir()
    (tests / "test_one.py").write_text(test, encoding="utf-8")
    (tests / "conftest.py").write_text(f"{first}from tests_conftest import *\n", encoding="utf-8")
    shutil.copy(ROOT / "tests" / "conftest.py", tests / "tests_conftest.py")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("TIPIN_TESTS", "PYTEST"))}
    return subprocess.Popen(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *words, str(tests)], cwd=place,
        env=kept | {"TMPDIR": str(place), "PYTHONPATH": str(ROOT / "tests")} | environment,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True,
    )  # fmt: skip


@pytest.mark.needs("postgres")
@pytest.mark.usefixtures("heeds_ctrl_c")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL], ids=lambda how: how.name)
def test_an_interrupted_run_leaves_nothing_behind(how: signal.Signals, place: Path) -> None:
    says = place / "says"
    with begun(place, SHARED_SERVER, "-n", "1", SAYS=str(says)) as run:
        folder = until(lambda: says.exists() and says.read_text(encoding="utf-8"), "the test has its server")
        mark = f"{run_folder.VARIABLE}={folder}".encode()
        assert len(marked(mark)) > 2 and Path(folder).is_dir()
        if how == signal.SIGINT:
            os.killpg(run.pid, how)  # as a terminal does at Ctrl-C
        else:
            run.send_signal(how)
        until(lambda: not marked(mark) and not Path(folder).exists(), "everything is gone")
        assert run.wait(60) != 0


def test_what_is_missing_is_told_and_fails_the_run(place: Path) -> None:
    tests = "import pytest\ndef test_runs(): pass\n@pytest.mark.needs('chromium')\ndef test_cannot(): assert False\n"
    for number, words in enumerate([["-n", "2"], []]):
        (own := place / str(number)).mkdir()
        with begun(own, tests, *words, first=HIDES_CHROMIUM) as run:
            told, _ = run.communicate(timeout=120)
        assert run.returncode == NOT_ALL_RUN, told
        assert "1 passed" in told and "NOT RUN tests/test_one.py::test_cannot (chromium)" in told
        assert "1 tests need chromium, which is not here" in told


def test_work_is_done_once_in_a_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those who ask meanwhile wait for it."""
    monkeypatch.setenv(run_folder.VARIABLE, str(tmp_path))
    says = tmp_path / "says"

    def work() -> int:
        with says.open("a", encoding="utf-8") as file:
            file.write("done\n")
        time.sleep(0.3)
        return 42

    asking = [child_of(lambda confirm: confirm(str(run_folder.once("the answer", work)))) for _ in range(4)]
    for child, lines in asking:
        with lines:
            assert lines.read() == "42\n"
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert says.read_text(encoding="utf-8") == "done\n"
