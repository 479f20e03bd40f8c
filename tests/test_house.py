"""The house keeps its shape: imports run one way, heavy libraries stay in their rooms, files stay small and clean."""

import ast
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "configurator"

# A room imports from rooms above it, and from neighbours on its own line as long as no circle closes.
ROOMS: tuple[tuple[str, ...], ...] = (
    ("arrays", "basis", "errors", "reports", "stopping"),
    ("units",),
    ("files",),
    ("physics",),
    ("catalogue",),
    ("car",),
    ("slots",),
    ("rules",),
    ("judging",),
    ("solver",),
    ("book",),
    ("learning",),
    ("advice",),
    ("ordering",),
    ("card",),
    ("views",),
    ("ask", "cli", "web", "__main__"),
)
LINE_OF_ROOM = {room: line for line, rooms in enumerate(ROOMS) for room in rooms}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "configurator", "catalog", "tests", "docs"}
MOST_LINES = 400
# Each of these libraries may be imported in these rooms only; True: inside functions only, as it is slow or optional.
KEPT_IN: dict[str, tuple[set[str], bool]] = {
    "ortools": ({"solver", "ordering"}, False),
    "matplotlib": ({"views"}, True),
    "starlette": ({"web"}, False),
    "weasyprint": ({"views"}, True),
    "distributed": ({"ordering"}, True),
    "openpyxl": ({"catalogue"}, True),
    "scipy": ({"learning"}, True),
}

# Names that stand for one thing in each module that has them.
SHARED_NAMES = {"routes"}
# It says again, for scripts, what the rooms answer, and under the same names.
FACE = PACKAGE / "ask.py"

MODULES = sorted(PACKAGE.rglob("*.py"))
PYTHON_FILES = [*MODULES, *sorted((ROOT / "tests").rglob("*.py"))]


def dotted(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def room_of(module: str) -> str:
    return module.split(".")[1] if "." in module else ""


def imported(tree: ast.AST, module: str, is_package: bool) -> Iterator[tuple[str, ast.AST]]:
    """Every module that a file imports, by its full name, with the node; submodules named in `from` lines included."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            package = module.split(".") if is_package else module.split(".")[:-1]
            above = package[: len(package) - node.level + 1] if node.level else []
            source = ".".join([*above, *([node.module] if node.module else [])])
            names = [f"{source}.{alias.name}" for alias in node.names]
            within = [name for name in names if name in ALL_MODULES]
            yield from ((name, node) for name in within or [source])


ALL_MODULES = {dotted(path) for path in MODULES}


@cache
def imports_of(path: Path) -> list[tuple[str, ast.AST]]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return list(imported(tree, dotted(path), path.name == "__init__.py"))


@cache
def within_functions(path: Path) -> set[int]:
    """Line numbers of import statements that stand inside a function."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    inner = (node for function in functions for node in ast.walk(function))
    return {node.lineno for node in inner if isinstance(node, ast.Import | ast.ImportFrom)}


def test_the_import_reader_sees_every_form_of_import() -> None:
    expected = {
        "import configurator.units.units": "configurator.units.units",
        "from configurator import errors": "configurator.errors",
        "from configurator.errors import TipinError": "configurator.errors",
        "from . import pump": "configurator.physics.pump",
        "from ..errors import TipinError": "configurator.errors",
    }
    for line, name in expected.items():
        assert [found for found, _ in imported(ast.parse(line), "configurator.physics.air", False)] == [name]


@pytest.mark.parametrize("path", MODULES, ids=dotted)
def test_a_module_imports_only_from_rooms_above(path: Path) -> None:
    room = room_of(dotted(path))
    if not room:
        found = {name.removeprefix("configurator.") for name, _ in imports_of(path) if name.startswith("configurator.")}
        assert {name.split(".")[0] for name in found} <= {"ask"}, "the package offers what ask.py holds, and no more"
        return
    assert room in LINE_OF_ROOM, f"{room} has no place in the house: give it one in ROOMS and in DEVELOPERS.md"
    for name, node in imports_of(path):
        other = room_of(name) if name.startswith("configurator.") else ""
        if other and other != room:
            line = getattr(node, "lineno", 0)
            assert LINE_OF_ROOM[other] <= LINE_OF_ROOM[room], f"{dotted(path)}, line {line}: {room} imports {other}"


def test_no_imports_run_in_a_circle() -> None:
    graph = {dotted(path): {name for name, _ in imports_of(path) if name in ALL_MODULES} for path in MODULES}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        pytest.fail(f"imports run in a circle: {' <- '.join(circle.args[1])}")


def named_at_module_level(tree: ast.Module) -> Iterator[str]:
    """Public classes, functions, type aliases and constants of a module."""
    for node in tree.body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            named = [node.name]
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            named = [one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)]
        else:
            named = []
        yield from (name for name in named if not name.startswith("_"))


def test_a_name_means_one_thing() -> None:
    homes: dict[str, list[str]] = {}
    for path in (path for path in MODULES if path != FACE):
        for name in named_at_module_level(ast.parse(path.read_text(encoding="utf-8"))):
            homes.setdefault(name, []).append(dotted(path))
    twice = {name: where for name, where in homes.items() if len(where) > 1}
    assert not {name: where for name, where in twice.items() if name not in SHARED_NAMES}


@pytest.mark.parametrize("path", [path for path in MODULES if path != FACE], ids=dotted)
def test_what_is_ours_is_imported_under_its_own_name(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "configurator":
            renamed = [alias.name for alias in node.names if alias.asname]
            assert not renamed, f"{dotted(path)}, line {node.lineno}: {renamed} under another name"


@pytest.mark.parametrize("library", KEPT_IN)
def test_a_heavy_library_stays_in_its_room(library: str) -> None:
    homes, only_in_functions = KEPT_IN[library]
    for path in MODULES:
        for name, node in imports_of(path):
            if name.split(".")[0] == library:
                where = f"{dotted(path)}, line {getattr(node, 'lineno', 0)}"
                assert room_of(dotted(path)) in homes, f"{where}: {library} is imported outside {sorted(homes)}"
                inside = getattr(node, "lineno", 0) in within_functions(path)
                assert inside or not only_in_functions, f"{where}: import {library} inside the function that needs it"


@pytest.mark.parametrize("path", PYTHON_FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_file_is_too_long_to_read(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= MOST_LINES, f"{lines} lines: split it where its subject changes"


OPTION = re.compile(r"(?<![\w<-])--[a-z][\w-]*")


def test_the_search_for_options_sees_them_in_every_text() -> None:
    assert OPTION.findall('f"--felt {word}" `--no-redrill` --with=x <!-- no --> a--b') == [
        "--felt", "--no-redrill", "--with",
    ]  # fmt: skip


@pytest.mark.parametrize("path", [path for path in MODULES if room_of(dotted(path)) != "cli"], ids=dotted)
def test_only_the_command_line_speaks_of_its_options(path: Path) -> None:
    """A fault carries the field; the command line names it by its option, the page by its label."""
    assert OPTION.findall(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", sorted((PACKAGE / "web" / "templates").iterdir()), ids=lambda path: path.name)
def test_no_page_speaks_of_an_option(path: Path) -> None:
    assert OPTION.findall(path.read_text(encoding="utf-8")) == []


def test_the_top_level_holds_what_a_visitor_expects_and_nothing_else() -> None:
    if (ROOT / ".git").exists() and shutil.which("git"):
        listed = subprocess.run(
            ["git", "-C", str(ROOT), "ls-files", "--cached", "--others", "--exclude-standard"],
            capture_output=True, text=True, check=True,
        ).stdout.splitlines()  # fmt: skip
    else:
        listed = [path.name for path in ROOT.iterdir()]
    top = {name.split("/")[0] for name in listed}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


@pytest.mark.long(50)
@pytest.mark.parametrize(
    "command",
    [["ruff", "check", "."], ["mypy", "--strict"]],
    ids=lambda command: command[0],
)
def test_the_checkers_find_nothing(command: list[str]) -> None:
    done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    "arguments",
    [["-c", "import configurator"], ["-m", "configurator", "--help"]],
    ids=["import", "help"],
)
def test_starting_up_does_not_import_the_solver(arguments: list[str]) -> None:
    done = subprocess.run([sys.executable, "-X", "importtime", *arguments], cwd=ROOT, capture_output=True, text=True)
    lines = done.stderr.splitlines()
    assert done.returncode == 0, "\n".join(line for line in lines if not line.startswith("import time:"))
    loaded = {line.rpartition("|")[2].strip() for line in lines if line.startswith("import time:")}
    assert "configurator" in loaded
    assert not {name for name in loaded if name.split(".")[0] in KEPT_IN}


def test_the_readme_gives_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = text.split("```")[1::2]
    assert len(commands) == 2
    assert "pip install" in commands[0] and "tipin propose catalog/examples/" in commands[0]
    assert "## Run the tests" in text.split("```")[2] and "python3 tests/run.py --apt-get" in commands[1]
