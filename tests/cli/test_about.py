"""What the program says of itself: versions, its manual for `man`, and completion one command away."""

import re

import numpy
from test_cli import run

from configurator import __version__
from configurator.book.schema import NEWEST
from configurator.cli.groups import IN_ORDER


def test_the_versions_that_matter() -> None:
    ran = run("--version")
    lines = ran.out.splitlines()
    assert ran.code == 0 and lines[0] == f"tipin {__version__}, a book of version {NEWEST}"
    assert lines[1].startswith("Python 3.") and f"numpy {numpy.__version__}" in lines
    assert re.search(r"^ortools \d", ran.out, re.MULTILINE)


def test_the_manual_has_every_command_and_every_option() -> None:
    ran = run("--manual")
    assert ran.code == 0
    for name in IN_ORDER:
        assert f'.SH "tipin {name}' in ran.out
    assert r".B \-\-entry\-key WORD" in ran.out and "EXIT STATUS" in ran.out
    assert not [line for line in ran.out.splitlines() if line.startswith("'")]


def test_completion_is_one_command_away() -> None:
    assert "--install-completion" in run("--help").out
