"""Console blocks of a page: lines that start with `$ ` are commands, the lines below each are its real output."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BLOCK = re.compile(r"^```console\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL)
PROMPT = "$ "
COLUMNS = 100

Run = Callable[[str], str]
Done = subprocess.CompletedProcess[str]
Execute = Callable[[str, Path], Done]


def scratch_copy(place: Path) -> Path:
    """A folder that looks like the top of the repository to a reader's command, which may write into it."""
    folder = place / "tipin"
    shutil.copytree(ROOT / "catalog", folder / "catalog")
    return folder


def environment_in(folder: Path) -> dict[str, str]:
    """The same on every machine."""
    programs = os.pathsep.join([str(Path(sys.executable).parent), "/usr/local/bin", "/usr/bin", "/bin"])
    return {
        "PATH": programs, "HOME": str(folder), "LC_ALL": "C.UTF-8", "NO_COLOR": "1", "COLUMNS": str(COLUMNS),
        "TERM": "dumb", "OPENBLAS_NUM_THREADS": "1",
    }  # fmt: skip


def execute(command: str, folder: Path) -> Done:
    """Run a command as a reader would."""
    return subprocess.run(
        command, shell=True, cwd=folder, env=environment_in(folder), text=True, encoding="utf-8", timeout=300,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip


def in_folder(folder: Path, execute: Execute = execute) -> Run:
    """Runs commands in a folder, each by execute; gives their output without blanks at the ends of lines.

    Raises RuntimeError for a command that fails (exit code other than 0, yes, and 1, no) without showing that it does.
    """

    def run(command: str) -> str:
        done = execute(command, folder)
        if done.returncode not in (0, 1):
            raise RuntimeError(f"{command}: exit code {done.returncode}\n{done.stdout}")
        return "".join(line.rstrip() + "\n" for line in done.stdout.rstrip().splitlines())

    return run


def with_real_output(page: str, run: Run) -> str:
    """The page with every console block run again, from first to last."""

    def rerun(block: re.Match[str]) -> str:
        shown = [line for line in block["body"].splitlines() if line.startswith(PROMPT)]
        body = "".join(f"{line}\n{run(line.removeprefix(PROMPT))}" for line in shown)
        return f"```console\n{body}```"

    return BLOCK.sub(rerun, page)
