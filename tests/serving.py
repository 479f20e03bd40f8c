"""The program itself serving its page on this machine, for tests, pictures and measurements of the page."""

import os
import re
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import monotonic, sleep

from run_folder import folder, once

EXAMPLES = Path(__file__).resolve().parent.parent / "catalog" / "examples"
SAYS_WHERE = re.compile(r"tipin: (?P<address>http://127\.0\.0\.1:(?P<port>\d+))\b")
UP_WITHIN_S = 30.0
DOWN_WITHIN_S = 10.0
TIPINS_OWN = ("TIPIN_BOOK", "TIPIN_CATALOG", "TIPIN_CACHE", "TIPIN_TOKEN")
MOST_TOLD = 2000
"""Characters of what it complained of."""


@dataclass(frozen=True)
class Served:
    """A page that is served: its address, the folder it shows and its book."""

    address: str
    folder: Path
    book: Path
    complaints: Path
    """What it complained of; nothing is in it as long as all is well."""

    def check(self) -> None:
        """Raises RuntimeError if it has complained."""
        if says := self.complaints.read_text(encoding="utf-8"):
            raise RuntimeError(f"tipin serve complained:\n{says[-MOST_TOLD:]}")


def start(place: Path) -> tuple[Served, subprocess.Popen[str]]:
    """`tipin serve` as a process of its own, at a free port, over a copy of the examples with a book of its own.

    Raises RuntimeError if it does not start.
    """
    served_folder, book, complaints = place / "cars", place / "book.sqlite", place / "complaints.txt"
    shutil.copytree(EXAMPLES, served_folder)
    command = [sys.executable, "-m", "configurator", "serve", str(served_folder), "--port", "0", "--book", str(book)]
    environment = {name: value for name, value in os.environ.items() if name not in TIPINS_OWN}
    with complaints.open("w", encoding="utf-8") as file:
        process = subprocess.Popen(
            command, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=file, text=True,
            start_new_session=True,
        )  # fmt: skip
    assert process.stdout is not None
    found = SAYS_WHERE.match(process.stdout.readline())
    if not found:
        process.kill()
        process.wait()
        raise RuntimeError(f"tipin serve does not start:\n{complaints.read_text(encoding='utf-8')}")
    _wait_until_it_listens(int(found["port"]))
    return Served(found["address"], served_folder, book, complaints), process


def page_of_the_run() -> Served:
    """The one page that is served in this run of the tests, started by whoever asks for it first."""

    def started() -> Served:
        (place := folder() / "served").mkdir()
        return start(place)[0]

    return once("the served page", started)


@contextmanager
def serving(place: Path) -> Iterator[Served]:
    """The page while something is done with it. Raises RuntimeError if it complains by the time it is stopped."""
    served, process = start(place)
    with process:
        try:
            yield served
        finally:
            process.terminate()
            try:
                process.wait(DOWN_WITHIN_S)
            except subprocess.TimeoutExpired:
                process.kill()
    served.check()


def _wait_until_it_listens(port: int) -> None:
    """The address is printed a moment before the port answers."""
    until = monotonic() + UP_WITHIN_S
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            if monotonic() > until:
                raise
            sleep(0.02)
