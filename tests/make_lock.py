"""Lock what tipin is shipped with: exact versions with their hashes, for every system and every Python it runs on.

`python tests/make_lock.py` writes docs/locked.txt anew, by uv, which has to be installed (pip install uv).
"""

import hashlib
import json
import subprocess
import sys
import tomllib
from pathlib import Path
from shutil import which
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "docs" / "locked.txt"
EXTRAS = ("card", "cluster", "plot", "postgres", "recording", "web", "xlsx")
"""Of pyproject.toml, all but what only the tests take."""


def project() -> dict[str, Any]:
    """What pyproject.toml says of the project."""
    found: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return found


def asked_for() -> list[str]:
    """What is locked, as pyproject.toml asks for it."""
    said = project()
    extras = said["optional-dependencies"]
    return sorted({*said["dependencies"], *(one for extra in EXTRAS for one in extras[extra])})


def heading() -> str:
    """The first lines of the lock, which say what it was made of."""
    digest = hashlib.sha256(json.dumps([project()["requires-python"], asked_for()]).encode()).hexdigest()
    return (
        "# Made by tests/make_lock.py from pyproject.toml; install it with\n"
        "#     pip install --require-hashes -r docs/locked.txt\n"
        f"# {digest}\n"
    )


def main() -> None:
    uv = which("uv", path=str(Path(sys.executable).parent)) or which("uv")
    if uv is None:
        sys.exit("make_lock: uv is not there: pip install uv")
    words = [uv, "pip", "compile", "--universal", "--generate-hashes", "--python-version", "3.11", "--no-header",
             "--no-annotate", "--quiet", *(word for extra in EXTRAS for word in ("--extra", extra)),
             "pyproject.toml"]  # fmt: skip
    made = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    LOCK.write_text(heading() + made, encoding="utf-8")
    print(f"{LOCK.relative_to(ROOT)}: {made.count('==')} packages")


if __name__ == "__main__":
    main()
