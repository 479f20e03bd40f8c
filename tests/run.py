"""Sets up what the tests need and runs them: `python3 tests/run.py [--apt-get] [what pytest takes]`.

It makes the environment .venv, installs tipin with what its tests need into it, and runs pytest there, on as many
workers as there are processors. With --apt-get it also installs the system packages that are missing, on Debian or
Ubuntu, as root or by sudo. What is there already is left as it is, so that a second run begins at once. It says in one
line what it does before it does it.

Exit code: that of pytest, NOT_ALL_RUN (tests/not_run.py) where all that ran has passed but something could not be run
here, or CANNOT_SET_UP.
Standard library only: it runs before anything is installed.
"""

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from machine import NEEDS, as_root, cores, missing, packages_of

ROOT = Path(__file__).resolve().parent.parent
ENVIRONMENT = ROOT / ".venv"
PYTHON = ENVIRONMENT / "bin" / "python"
STAMP = ENVIRONMENT / "installed-for-the-tests"
"""Holds what the environment was made from; written last, so that half an environment is made anew."""
FLAG = "--apt-get"
OLDEST = (3, 11)
CANNOT_SET_UP = 70


def say(text: str) -> None:
    """One line, at once, wherever the output goes."""
    print(f"tests/run.py: {text}", flush=True)


class CannotSetUp(Exception):
    """What failed, and what to do about it."""


def run(command: Sequence[str | Path]) -> None:
    """Raises CannotSetUp with the command if it fails; what it printed is shown then, and only then."""
    words = [str(word) for word in command]
    done = subprocess.run(
        words, cwd=ROOT, text=True, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    if done.returncode:
        print(done.stdout, flush=True)
        raise CannotSetUp(f"`{' '.join(words)}` failed with exit code {done.returncode}")


def install_packages(packages: Sequence[str]) -> None:
    """By apt-get. Raises CannotSetUp where it is not to be had or fails."""
    apt_get = as_root(["env", "DEBIAN_FRONTEND=noninteractive", "apt-get"]) if shutil.which("apt-get") else None
    if apt_get is None:
        raise CannotSetUp(f"no apt-get here, or no right to use it, for {' '.join(packages)}")
    say(f"installs with apt-get: {' '.join(packages)}")
    run([*apt_get, "update", "-qq"])
    run([*apt_get, "install", "-y", "-qq", "--no-install-recommends", *packages])


def set_up_machine(allowed: bool) -> None:
    """Installs the system packages that are missing, as far as that is allowed and can be done.

    What cannot be had stops nothing here: the tests that need it are named as not run, and the exit says so.
    """
    lacking = missing()
    if lacking and not allowed:
        say(f"{', '.join(lacking)} missing: {FLAG} would install {' '.join(packages_of(lacking))}")
        return
    for names in [lacking, *([name] for name in lacking if len(lacking) > 1)]:
        # All at once, and one by one only where that has failed: one that cannot be had keeps no other away.
        if still := [name for name in names if not NEEDS[name].here()]:
            try:
                install_packages(packages_of(still))
            except CannotSetUp as problem:
                say(f"could not install what {', '.join(still)} needs: {problem}")


def wanted() -> str:
    """What an environment that will do was made from: Python, this place, and the project's declaration."""
    declared = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    return f"{sys.version}\n{ROOT}\n{declared}\n"


def set_up_environment(allowed: bool) -> None:
    """Makes the environment and installs into it, unless that was done already. Raises CannotSetUp."""
    if STAMP.is_file() and PYTHON.exists() and STAMP.read_text(encoding="utf-8") == wanted():
        return
    STAMP.unlink(missing_ok=True)
    if not PYTHON.exists() or _version_of(PYTHON) != sys.version:
        try:
            import ensurepip  # noqa: F401  # Debian keeps it in a package of its own
        except ImportError:
            package = f"python3.{sys.version_info.minor}-venv"
            if not allowed:
                raise CannotSetUp(f"Python cannot make environments here; {FLAG} would install {package}") from None
            install_packages([package])
        say(f"makes the environment {ENVIRONMENT.relative_to(ROOT)}")
        run([sys.executable, "-m", "venv", "--clear", ENVIRONMENT])
    say("installs tipin and what its tests need from PyPI, which takes some minutes")
    run([PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-compile", "-e", ".[test]"])
    STAMP.write_text(wanted(), encoding="utf-8")


def _version_of(python: Path) -> str:
    asked = [str(python), "-c", "import sys; print(sys.version, end='')"]
    return subprocess.run(asked, capture_output=True, text=True).stdout


def main(words: Sequence[str]) -> int:
    """Exit code of the run."""
    if sys.version_info < OLDEST:
        say(f"tipin needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is {sys.version.split()[0]}")
        return CANNOT_SET_UP
    allowed = FLAG in words
    try:
        set_up_machine(allowed)
        set_up_environment(allowed)
    except CannotSetUp as problem:
        say(str(problem))
        return CANNOT_SET_UP
    command = [str(PYTHON), "-m", "pytest", "-q", "-n", str(cores()), "--dist", "worksteal"]
    command += [word for word in words if word != FLAG]
    say(f"runs {' '.join(['.venv/bin/python', *command[1:]])}")
    os.chdir(ROOT)
    os.execv(PYTHON, command)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
