"""What the program says of itself: its version and those that matter to it, and its manual as one page."""

import platform
import sys
from importlib.metadata import PackageNotFoundError, version
from typing import Annotated, Any

import typer

from configurator.cli.shared import app

MATTERS = ("numpy", "ortools", "pydantic", "sqlalchemy", "typer", "psycopg", "jinja2", "matplotlib", "weasyprint",
           "starlette", "uvicorn", "distributed", "openpyxl", "scipy")  # fmt: skip


IS_FOR = "parts for a carburettor's accelerator pump"


def versions_text() -> str:
    """The versions of tipin, of a book, and of what tipin stands on; those not installed are named as that."""
    from configurator import __version__
    from configurator.book.schema import NEWEST

    lines = [
        f"tipin {__version__}, a book of version {NEWEST}",
        f"Python {platform.python_version()} on {sys.platform}",
    ]
    return "\n".join([*lines, *(f"{name} {_installed(name)}" for name in MATTERS)])


def _installed(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "is not installed"


def manual_text(context: Any) -> str:
    """Every command with its arguments and options, as `man` reads it."""
    lines = [
        '.TH TIPIN 1 "" "tipin" "Manual of tipin"',
        ".SH NAME",
        "tipin \\- parts for a carburettor's accelerator pump",
    ]
    lines += [".SH SYNOPSIS", ".B tipin", "COMMAND [ARGUMENT]... [OPTION]...", ".SH DESCRIPTION", _plain(app.info.help)]
    for name, command in _commands(context.command, context, "tipin"):
        lines += [f'.SH "{_plain(name)}"', _plain(command.help)]
        for parameter in command.params:
            if record := parameter.get_help_record(context):
                lines += [".TP", f".B {_plain(record[0])}", _plain(record[1])]
        lines += [".P", _plain(command.epilog)] if command.epilog else []
    lines += [".SH EXIT STATUS", "0 done, or yes; 1 the answer is no; 2 bad input;"]
    return "\n".join([*lines, "3 the book was changed, but the answer could not be written."]) + "\n"


def _commands(group: Any, context: Any, name: str) -> Any:
    for word in group.list_commands(context):
        command = group.get_command(context, word)
        if hasattr(command, "list_commands"):
            yield from _commands(command, context, f"{name} {word}")
        else:
            yield f"{name} {word}", command


def _plain(text: Any) -> str:
    r"""Text as troff takes it: its own signs marked, no line that begins with a dot.

    >>> print(_plain("a-b\n\n.c"))
    a\-b
    .P
    \&.c
    """
    marked = str(text or "").strip().replace("\\", "\\e").replace("-", "\\-")
    paragraphs = [" ".join(line.strip() for line in part.splitlines()) for part in marked.split("\n\n")]
    return "\n.P\n".join(f"\\&{part}" if part.startswith((".", "'")) else part for part in paragraphs)


def _say_versions(asked: bool) -> None:
    if asked:
        typer.echo(versions_text())
        raise typer.Exit


def _say_manual(context: typer.Context, asked: bool) -> None:
    if asked:
        typer.echo(manual_text(context), nl=False)
        raise typer.Exit


@app.callback()
def about(
    say_versions: Annotated[
        bool, typer.Option("--version", is_eager=True, callback=_say_versions, help="the versions that matter")
    ] = False,
    say_manual: Annotated[
        bool, typer.Option("--manual", is_eager=True, callback=_say_manual, help="this manual, for man: | man -l -")
    ] = False,
) -> None:
    """Parts for a carburettor's accelerator pump: check what fits, size the nozzle, propose the fewest changes."""
