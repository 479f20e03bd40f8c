"""PostgreSQL servers of the tests' own, from what Debian installs: one for all of a run, or one for a test."""

import os
import pwd
import secrets
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
from machine import postgres_programs
from run_folder import VARIABLE, folder, once

PACKAGE = "PostgreSQL is not installed: its tests need initdb and postgres, by Debian's name the package postgresql"
START_S = 60.0
OWNER = "postgres"
"""Of the server's processes where root runs the tests: PostgreSQL refuses to run as root."""
USER = "workshop"
PASSWORD = "slip-jet-" + (
    once("password for PostgreSQL", lambda: secrets.token_hex(6)) if VARIABLE in os.environ else secrets.token_hex(6)
)
"""The same for all workers of a run of the tests, another in every run."""


def programs() -> Path:
    """Folder of the newest PostgreSQL on this machine. Raises FileNotFoundError with the name of its package."""
    if found := postgres_programs():
        return found
    raise FileNotFoundError(PACKAGE)


class Server:
    """A server on a port of its own, which takes passwords only; USER may do everything in it."""

    def __init__(self, folder: Path, port: int) -> None:
        self.folder, self.data, self.port = folder, folder / "data", port
        self._as_owner: dict[str, Any] = (
            {"user": OWNER, "group": OWNER, "extra_groups": []} if os.geteuid() == 0 else {}
        )
        self._process: subprocess.Popen[bytes] | None = None

    def make(self) -> None:
        """All its files, in its folder, which is there and empty."""
        word = self.folder / "password"
        word.write_text(PASSWORD, encoding="ascii")
        if self._as_owner:
            owner = pwd.getpwnam(OWNER)
            for path in (self.folder, word):
                os.chown(path, owner.pw_uid, owner.pw_gid)
        self._run("initdb", "-D", self.data, "-U", USER, "--pwfile", word, "--auth=scram-sha-256", "--encoding=UTF8",
                  "--locale=C", "--no-sync")  # fmt: skip

    def _run(self, program: str, *words: str | Path) -> None:
        done = subprocess.run(
            [programs() / program, *words], cwd=self.folder, text=True, capture_output=True, **self._as_owner
        )
        assert done.returncode == 0, done.stdout + done.stderr

    def start(self) -> None:
        """Returns when the server answers."""
        settings = {
            "listen_addresses": "127.0.0.1", "port": self.port, "unix_socket_directories": self.folder,
            "fsync": "off", "shared_buffers": "16MB", "max_connections": 100, "lc_messages": "C",
        }  # fmt: skip
        words = [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [programs() / "postgres", "-D", self.data, *words],
                cwd=self.folder, stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True,
                **self._as_owner,
            )  # fmt: skip
        until = time.monotonic() + START_S
        while True:
            try:
                self.connect("postgres").close()
                return
            except psycopg.OperationalError:
                told = (self.folder / "log").read_text(errors="replace")[-2000:]
                assert self._process.poll() is None and time.monotonic() < until, f"PostgreSQL does not start\n{told}"
                time.sleep(0.05)

    def stop(self, how: signal.Signals = signal.SIGINT) -> None:
        """SIGINT breaks off what runs and stops in order; SIGQUIT stops at once, as in a crash."""
        assert self._process is not None
        self._process.send_signal(how)
        self._process.wait(timeout=START_S)
        self._process = None

    def connect(self, database: str, user: str = USER, password: str = PASSWORD) -> psycopg.Connection[Any]:
        """A connection without our code, each statement a transaction of its own."""
        return psycopg.connect(
            host="127.0.0.1", port=self.port, dbname=database, user=user, password=password, autocommit=True
        )

    def new_database(self, *words: str) -> str:
        """Name of an empty database, made with these words at the end of CREATE DATABASE."""
        name = f"book_{secrets.token_hex(6)}"
        self.run("postgres", " ".join([f"CREATE DATABASE {name}", *words]))
        return name

    def run(self, database: str, *statements: str) -> list[Any]:
        """Rows of the last statement, if it has any."""
        with self.connect(database) as connection:
            rows: list[Any] = []
            for statement in statements:
                done = connection.execute(statement)
                rows = done.fetchall() if done.description else []
            return rows

    def url(self, database: str, user: str = USER, password: str | None = PASSWORD) -> str:
        """What --book takes."""
        word = "" if password is None else f":{password}"
        return f"postgresql+psycopg://{user}{word}@127.0.0.1:{self.port}/{database}"


def _started() -> Server:
    """A started server in a new folder within that of the run, with which both go at the latest."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    server = Server(Path(tempfile.mkdtemp(prefix="postgres-", dir=folder())), port)
    server.make()
    server.start()
    return server


def server_of_the_run() -> Server:
    """The one server of this run of the tests, started by whoever asks for it first."""
    where, port = once("PostgreSQL", lambda: ((server := _started()).folder, server.port))
    return Server(where, port)


@contextmanager
def running_server() -> Iterator[Server]:
    """A server of a test's own, which it may stop; it is gone afterwards."""
    server = _started()
    try:
        yield server
    finally:
        server.stop(signal.SIGQUIT)
        shutil.rmtree(server.folder, ignore_errors=True)
