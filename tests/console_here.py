"""Commands of the pages without a new Python for each, and each worked out once in a run of the tests.

The program's own `main` is called in this process, with the environment, the folder and the streams that a process of
its own would have. One page is left to real processes in test_docs, so that the two are held to the same output.
"""

import io
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from contextlib import chdir, contextmanager, redirect_stderr, redirect_stdout
from hashlib import sha256
from pathlib import Path
from unittest.mock import patch

from console_blocks import Done, environment_in, execute
from run_folder import once

from configurator.cli import main

NEEDS_A_SHELL = re.compile(r"[|&;<>$`*?(){}\n\\]")
NEEDS_PROCESSES = ("--cluster", "serve")
OWN_CACHE = ".cache"
"""What a program keeps there changes how fast it is, and never what it says."""


def execute_here(command: str, folder: Path) -> Done:
    """What `execute` does, in this process if the command is tipin's and needs neither shell nor further processes."""
    words = [] if NEEDS_A_SHELL.search(command) else shlex.split(command)
    if words[:1] != ["tipin"] or any(word in words for word in NEEDS_PROCESSES):
        return execute(command, folder)
    raw = io.BytesIO()
    output = io.TextIOWrapper(raw, encoding="utf-8", newline="\n")
    code = 0
    with _as_a_process_in(folder, words), redirect_stdout(output), redirect_stderr(output):
        try:
            main()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else int(end.code is not None)
    output.flush()
    return subprocess.CompletedProcess(command, code, raw.getvalue().decode())


@contextmanager
def _as_a_process_in(folder: Path, words: list[str]) -> Iterator[None]:
    with (
        chdir(folder), patch.dict(os.environ, environment_in(folder), clear=True), patch.object(sys, "argv", words),
        open(os.devnull, encoding="utf-8") as nothing, patch.object(sys, "stdin", nothing),
    ):  # fmt: skip
        yield


def answered(command: str, folder: Path) -> Done:
    """What `execute_here` gives; worked out once for all folders that hold the same, if it leaves them as they are."""
    before, ran = _content(folder), False

    def work() -> tuple[Done, str]:
        nonlocal ran
        ran = True
        return execute_here(command, folder), _content(folder)

    done, after = once(f"{command} in {before}", work)
    return done if ran or after == before else execute_here(command, folder)


def _content(folder: Path) -> str:
    """The same for folders with the same files."""
    digest = sha256()
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder)
        if path.is_file() and name.parts[0] != OWN_CACHE:
            digest.update(f"{name}\0{path.stat().st_size}\0".encode() + path.read_bytes())
    return digest.hexdigest()
