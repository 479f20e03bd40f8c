"""The lock is in step with pyproject.toml: every requirement is in it, at one version that suits, with its hashes."""

import hashlib
import re

import pytest
from make_lock import LOCK, ROOT, asked_for, heading
from packaging.requirements import Requirement

PINNED = re.compile(r"^([A-Za-z0-9._-]+)==([^ ;\\]+)([^\\]*)\\$", re.MULTILINE)
HASH = re.compile(r"--hash=sha256:[0-9a-f]{64}( \\)?$", re.MULTILINE)
TEXT = LOCK.read_text(encoding="utf-8")
VERSIONS = {name.lower().replace("_", "-"): version for name, version, _ in PINNED.findall(TEXT)}


def test_it_was_made_of_what_pyproject_says_now() -> None:
    assert TEXT.startswith(heading()), "make it anew: python tests/make_lock.py"


@pytest.mark.parametrize("asked", asked_for())
def test_every_requirement_is_pinned_to_a_version_that_suits(asked: str) -> None:
    wanted = Requirement(asked)
    assert wanted.specifier.contains(VERSIONS[wanted.name.lower()], prereleases=True)


def test_every_version_has_hashes_and_nothing_else_is_in_it() -> None:
    lines = [line for line in TEXT.splitlines() if not line.startswith("#")]
    assert lines and all(PINNED.match(line) or HASH.search(line) for line in lines)
    after = [lines[number + 1] for number, line in enumerate(lines) if "==" in line]
    assert all(HASH.search(line) for line in after)
    assert "://" not in TEXT, "where packages come from is for whoever installs them to say"


VENDORED = {"configurator/web/static/htmx.min.js": "d6fdc75f204e6bdefa99b69bf1e6d4ac69b8a364f77929f45c13476b4000f717"}


@pytest.mark.parametrize("path", VENDORED)
def test_what_others_wrote_is_as_it_came(path: str) -> None:
    """How it is renewed is said in DEVELOPERS.md."""
    assert hashlib.sha256((ROOT / path).read_bytes()).hexdigest() == VENDORED[path]
