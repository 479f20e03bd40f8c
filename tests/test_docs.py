"""The documentation tells the truth: pages are as the program would make them, commands run, links lead somewhere."""

import difflib
import doctest
import re
from pathlib import Path

import pytest
from console_blocks import ROOT, execute, in_folder, scratch_copy
from console_here import answered
from declared import json_type, unit_in_name
from make_docs import pages, remade, with_made_regions
from typer.main import get_command

from configurator.cli import app
from configurator.reports import Change, Finding
from configurator.rules import RULES

PAGES = pages()
REAL = "getting-started.md"
"""The page of which every command is a process of its own, as for a reader."""
WRITES_PDF = re.compile(r"tipin card .*\.pdf")
FENCE = re.compile(r"^```(?P<language>\w*)\n.*?^```$", re.MULTILINE | re.DOTALL)
NOT_RUN = re.compile(r"<!-- not run: \w.*? -->\n$")
LINK = re.compile(r"\[[^\]\n]+\]\((?P<target>[^)\s]+)\)")
INLINE_COMMAND = re.compile(r"`(?P<command>tipin(?: [^`\n]+)?)`")
PLACEHOLDER = re.compile(r"\b[A-Z]{3,}\b|\.\.\.")
COMMANDS = get_command(app).commands  # type: ignore[attr-defined]
JOBS = {word: set(getattr(command, "commands", ())) for word, command in COMMANDS.items()}
"""What a group of commands can do, such as `trial add`."""


def read(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def name(path: Path) -> str:
    return str(path.relative_to(ROOT))


EACH_PAGE = [
    pytest.param(
        path,
        id=name(path),
        marks=[
            pytest.mark.long(125 if "$ tipin order" in read(path) else 10),
            *([pytest.mark.needs("pango")] if WRITES_PDF.search(read(path)) else []),
        ],
    )
    for path in PAGES
]
"""For tests that run what a page shows."""


def prose(page: str) -> str:
    """A page without its fenced blocks."""
    return FENCE.sub("", page)


def anchors(page: str) -> set[str]:
    """Anchors of a page's headings, as Markdown viewers make them."""
    headings = re.findall(r"^#+ (.+)$", prose(page), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("path", EACH_PAGE)
def test_a_page_shows_what_the_program_prints_now(path: Path, tmp_path: Path) -> None:
    page = read(path)
    after = remade(page, in_folder(scratch_copy(tmp_path), execute if path.name == REAL else answered))
    difference = "\n".join(difflib.unified_diff(page.splitlines(), after.splitlines(), "page", "program", lineterm=""))
    assert after == page, f"run python tests/make_docs.py and read what changed:\n{difference[:4000]}"


def test_python_on_the_pages_answers_as_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    blocks = [(path, match[0].splitlines()[1:-1]) for path in PAGES for match in FENCE.finditer(read(path))
              if match["language"] == "pycon"]  # fmt: skip
    assert blocks
    for path, lines in blocks:
        test = doctest.DocTestParser().get_doctest("\n".join(lines), {}, name(path), str(path), 0)
        found = doctest.DocTestRunner().run(test)
        assert found.attempted and not found.failed, name(path)


def test_a_stale_page_is_noticed() -> None:
    """The check above can fail: a wrong output and a wrong region are both put right."""
    page = "```console\n$ say\nstale answer\n```\n<!-- made: limits -->\nstale answer\n<!-- made until here -->\n"
    after = remade(page, lambda command: f"{command} it\n")
    assert "stale" not in after and "$ say\nsay it\n```" in after and "`delay_most_ms`" in after
    assert with_made_regions(after) == after


@pytest.mark.parametrize("path", PAGES, ids=name)
def test_a_block_that_is_not_run_says_why(path: Path) -> None:
    page = read(path)
    for block in FENCE.finditer(page):
        if block["language"] in ("sh", "bash", "shell"):
            assert NOT_RUN.search(page[: block.start()]), f"no '<!-- not run: reason -->' above\n{block[0]}"
        else:
            assert block["language"] in ("console", "pycon", "toml", "text"), f"what is this? {block[0][:80]}"


@pytest.mark.parametrize("path", EACH_PAGE)
def test_a_command_in_a_sentence_works(path: Path, tmp_path: Path) -> None:
    """Commands with a file are run; those that only name a command must name one there is."""
    folder = scratch_copy(tmp_path)
    for found in INLINE_COMMAND.finditer(prose(read(path))):
        command = found["command"]
        word, *rest = command.split()[1:] or ["--help"]
        assert word in COMMANDS or word in ("--help", "--install-completion", "--version", "--manual"), (
            f"there is no {command}"
        )
        if rest and rest[0] in JOBS.get(word, ()):
            rest = rest[1:]
        if rest and not rest[0].startswith("-") and not PLACEHOLDER.search(command):
            done = answered(command, folder)
            assert done.returncode in (0, 1) and "Traceback" not in done.stdout, f"{command}\n{done.stdout}"


@pytest.mark.parametrize("path", PAGES, ids=name)
def test_no_page_shows_a_crash(path: Path) -> None:
    assert not re.search(r"Traceback|/bin/sh:|^Usage: ", read(path), re.MULTILINE)


def test_a_command_that_fails_is_no_output_to_show(tmp_path: Path) -> None:
    run = in_folder(scratch_copy(tmp_path))
    assert run("ls catalog/examples/van.toml") == "catalog/examples/van.toml\n"
    with pytest.raises(RuntimeError, match="exit code"):
        run("tipin check no-such-file.toml")


@pytest.mark.parametrize("path", PAGES, ids=name)
def test_links_lead_somewhere_inside_the_repository(path: Path) -> None:
    for link in LINK.finditer(prose(read(path))):
        target, _, anchor = link["target"].partition("#")
        assert "://" not in target, f"{link[0]}: a page that may vanish; name the source in words"
        there = (path.parent / target).resolve() if target else path
        assert there.is_relative_to(ROOT) and there.exists(), f"{link[0]} leads nowhere"
        if anchor:
            assert anchor in anchors(read(there)), f"{link[0]}: no such heading"


@pytest.mark.parametrize("path", PAGES, ids=name)
def test_a_page_names_no_place_outside_the_repository(path: Path) -> None:
    outside = re.findall(r"(?<![\w.~-])(?:/(?:work|tmp|home|root|usr|var|etc)\b\S*|\.\./\.\.\S*)", read(path))
    assert not outside
    for mention in re.findall(r"`((?:configurator|catalog|tests|docs)/[\w./-]+)`", read(path)):
        assert (ROOT / mention).exists(), f"{mention} is not there"


def test_every_rule_is_explained() -> None:
    page = read(ROOT / "docs" / "rules.md")
    missing = [rule.id for rule in RULES.values() if f"### {rule.id}\n\n{rule.statement}\n" not in page]
    assert RULES and not missing


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_a_line_in_the_readme(command: str) -> None:
    assert re.search(rf"^\| `tipin {command}\b[^`]*` \| \S", read(ROOT / "README.md"), re.MULTILINE)


def test_every_page_is_linked_from_the_readme() -> None:
    linked = {link["target"] for link in LINK.finditer(read(ROOT / "README.md"))}
    assert {name(path) for path in PAGES if path.name != "README.md"} <= linked


def test_types_of_the_reports_are_read_as_json() -> None:
    assert json_type(Finding.model_fields["margin"].annotation) == "number or null"
    assert json_type(Change.model_fields["because"].annotation) == "list of text"
    assert json_type(Finding.model_fields["severity"].annotation) == '`"conflict"`, `"warning"`, `"note"`'
    assert unit_in_name("diameter_mm") == "mm" and unit_in_name("meets") == ""
