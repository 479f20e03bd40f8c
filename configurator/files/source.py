"""The program's own source, as far as a module hangs on it: what is kept between starts goes by it."""

import ast
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent


@cache
def source_of(module: str) -> bytes:
    """The source of a module of this package and of every one it imports, each followed by the next in order of name.

    module : full name, such as "configurator.units.drills". Imports inside functions count, too.
    """
    seen: dict[str, bytes] = {}
    waiting = [module]
    while waiting:
        name = waiting.pop()
        path = _file_of(name)
        if name not in seen and path is not None:
            seen[name] = path.read_bytes()
            waiting += [name.rpartition(".")[0], *_imported_by(seen[name])]
    return b"\0".join(name.encode() + seen[name] for name in sorted(seen))


def _file_of(module: str) -> Path | None:
    first, *rest = module.split(".")
    if first != PACKAGE.name:
        return None
    place = PACKAGE.joinpath(*rest)
    files = (place / "__init__.py", place.with_suffix(".py"))
    return next((path for path in files if path.is_file()), None)


def _imported_by(source: bytes) -> list[str]:
    """Names of what may be a module of this package: names of its functions are among them, and have no file."""
    names: list[str] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names += [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
    return names
