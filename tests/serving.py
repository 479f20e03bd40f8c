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

EXAMPLES = Path(__file__).resolve().parent.parent / "catalog" / "examples"
SAYS_WHERE = re.compile(r"tipin: (?P<address>http://127\.0\.0\.1:(?P<port>\d+))\b")
UP_WITHIN_S = 30.0
DOWN_WITHIN_S = 10.0
MOST_TOLD = 2000
"""Characters of what it complained of."""


@dataclass(frozen=True)
class Served:
    """A page that is served: its address, the folder it shows and its book."""

    address: str
    folder: Path
    book: Path


@contextmanager
def serving(place: Path) -> Iterator[Served]:
    """`tipin serve` as a process of its own, at a free port, over a copy of the examples with a book of its own.

    Raises RuntimeError if it does not start, or wrote a complaint of its own by the time it is stopped.
    """
    served_folder, book, complaints = place / "cars", place / "book.sqlite", place / "complaints.txt"
    shutil.copytree(EXAMPLES, served_folder)
    command = [sys.executable, "-m", "configurator", "serve", str(served_folder), "--port", "0", "--book", str(book)]
    environment = {name: value for name, value in os.environ.items() if not name.startswith("TIPIN_")}
    with (
        complaints.open("w", encoding="utf-8") as file,
        subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=file, text=True) as process,
    ):
        try:
            assert process.stdout is not None
            found = SAYS_WHERE.match(process.stdout.readline())
            if not found:
                raise RuntimeError(f"tipin serve does not start:\n{complaints.read_text(encoding='utf-8')}")
            _wait_until_it_listens(int(found["port"]))
            yield Served(found["address"], served_folder, book)
        finally:
            process.terminate()
            try:
                process.wait(DOWN_WITHIN_S)
            except subprocess.TimeoutExpired:
                process.kill()
    if says := complaints.read_text(encoding="utf-8"):
        raise RuntimeError(f"tipin serve complained, at last:\n{says[-MOST_TOLD:]}")


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
