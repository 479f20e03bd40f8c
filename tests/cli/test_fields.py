"""Fields that faults speak of, against the options there are; and the panels of the help against the commands."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from configurator.book.records import Conditions, Felt
from configurator.cli import app
from configurator.cli.fields import OPTIONS, as_option
from configurator.cli.groups import IN_ORDER, PANELS
from configurator.web.pages import LABELS

PACKAGE = Path(__file__).resolve().parents[2] / "configurator"
_FIELD = re.compile(r'(?:in_field\(\s*|\bfield=|field: str = )"(\w+)"')


def fields() -> set[str]:
    """Every field that the sources name, and those of the records that a run is entered into; the page's own have no
    option, but a label."""
    paths = [path for path in PACKAGE.rglob("*.py") if PACKAGE / "web" not in path.parents]
    named = {name for path in paths for name in _FIELD.findall(path.read_text(encoding="utf-8"))}
    return named | set(Felt.model_fields) | set(Conditions.model_fields) - {"warm"}


def names(command: Any) -> Iterator[str]:
    """Options and arguments of a command, or of all in a group."""
    for parameter in getattr(command, "params", ()):
        yield from parameter.opts
        yield str(parameter.metavar)
    for name in command.list_commands(None) if hasattr(command, "list_commands") else ():
        yield from names(command.get_command(None, name))


def test_the_search_finds_the_fields() -> None:
    assert {"symptom", "where", "with", "cluster", "stock_only", "trace_column", "code", "altitude_m"} <= fields()


@pytest.mark.parametrize("field", sorted(fields() | set(OPTIONS)))
def test_every_field_is_an_option_or_an_argument(field: str) -> None:
    assert as_option(field, "") in set(names(get_command(app)))


def test_every_field_of_the_page_has_a_label() -> None:
    paths = (PACKAGE / "web").rglob("*.py")
    named = {name for path in paths for name in _FIELD.findall(path.read_text(encoding="utf-8"))}
    assert "do" in named and named <= set(LABELS) | set(OPTIONS)


def test_every_command_has_its_place_in_a_panel() -> None:
    command = get_command(app)
    assert sorted(IN_ORDER) == sorted(getattr(command, "commands", {}))


def test_help_lists_the_commands_in_the_order_of_the_work() -> None:
    lines = CliRunner().invoke(app, ["--help"], prog_name="tipin").output.splitlines()
    titles = [line.removesuffix(":") for line in lines if line.removesuffix(":") in PANELS]
    assert titles == list(PANELS)
    listed = [line.split()[0] for line in lines[lines.index("The car:") :] if line.startswith("  ")]
    assert tuple(listed) == IN_ORDER
