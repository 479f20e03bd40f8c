"""What the tests need of a machine besides Python, and how to see whether it is there (standard library only).

A test says what it needs by a fixture (`chromium`, `postgres`) or by the mark `needs`, with a name of NEEDS.
"""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

CHROMIUM = Path("/usr/bin/chromium")
POSTGRES = Path("/usr/lib/postgresql")
FONTS = Path("/usr/share/fonts")
OPENS_LIBRARIES = "import ctypes, sys; [ctypes.CDLL(name) for name in sys.argv[1:]]"
DRIVES_THE_BROWSER = ("libatomic.so.1",)
"""What the program is built on by which playwright speaks to the browser."""
PANGO = ("libpango-1.0.so.0", "libpangoft2-1.0.so.0", "libharfbuzz-subset.so.0")
PROBE_S = 60
"""A browser that was just installed may take its time to say its version."""


@dataclass(frozen=True)
class Need:
    """packages : by Debian's names; here : whether it is there and answers, however it came."""

    packages: tuple[str, ...]
    here: Callable[[], bool]


def postgres_programs() -> Path | None:
    """Folder of the newest PostgreSQL on this machine."""
    found = [Path(folder) for folder in os.get_exec_path()]
    found += sorted(POSTGRES.glob("*/bin"), key=lambda folder: -float(folder.parent.name))
    for folder in found:
        here = (folder / "initdb").resolve().parent
        if (here / "initdb").is_file() and (here / "postgres").is_file():
            return here
    return None


def _answers(*command: str) -> bool:
    try:
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=PROBE_S)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0


def _opens(libraries: Iterable[str]) -> bool:
    """In a process of its own: libraries that were installed a moment ago are not seen by one that looked before."""
    return _answers(sys.executable, "-c", OPENS_LIBRARIES, *libraries)


def _has_chromium() -> bool:
    return _opens(DRIVES_THE_BROWSER) and _answers(str(CHROMIUM), "--version")


def _has_pango() -> bool:
    return any(FONTS.rglob("*.[to]tf")) and _opens(PANGO)


NEEDS = {
    "chromium": Need(("chromium", "libatomic1"), _has_chromium),
    "pango": Need(
        ("libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0", "fonts-dejavu-core"), _has_pango
    ),
    "postgres": Need(("postgresql",), lambda: postgres_programs() is not None),
}  # fmt: skip


def missing() -> list[str]:
    """Names of what is not there."""
    return [name for name, need in NEEDS.items() if not need.here()]


def packages_of(names: Iterable[str]) -> list[str]:
    """Debian's packages for some of what is needed."""
    return [package for name in names for package in NEEDS[name].packages]


def cores() -> int:
    """Processors this process may use, by its mask and, in a container, by its quota."""
    allowed = len(os.sched_getaffinity(0))
    try:
        quota = re.fullmatch(r"(\d+) (\d+)\s*", Path("/sys/fs/cgroup/cpu.max").read_text(encoding="ascii"))
    except OSError:
        quota = None
    return max(1, min(allowed, int(quota[1]) // int(quota[2]))) if quota else allowed


def as_root(command: list[str]) -> list[str] | None:
    """The command as root would give it, None where nobody here may."""
    if os.geteuid() == 0:
        return command
    return ["sudo", *command] if shutil.which("sudo") else None
