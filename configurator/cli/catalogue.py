"""The commands around a workshop's own catalogue: new, add, set, import."""

import sys
from inspect import Parameter, Signature
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup
from typer.main import get_command

from configurator.cli.shared import AsJson, CatalogDir, app
from configurator.errors import BadInput

if TYPE_CHECKING:
    from configurator.catalogue.own import CatalogueReport

catalogue = typer.Typer(no_args_is_help=True, help="Make a catalogue of your own; add parts, correct prices, import.")
app.add_typer(catalogue, name="catalogue")


class ByFamily(TyperGroup):
    """One command a family, made when it is asked for, as the catalogue is not loaded before."""

    def list_commands(self, ctx: Any) -> list[str]:
        from configurator.catalogue.load import FAMILIES

        return list(FAMILIES)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        return _add_to(cmd_name)


_EXAMPLES = {"nozzles": "Example: tipin catalogue add nozzles --diameter 0.83mm --style straight --price 12"}
add = typer.Typer(cls=ByFamily, no_args_is_help=True, help="Add a row to a family of your catalogue.")
catalogue.add_typer(add, name="add")


def _add_to(family: str) -> Any:
    """The command that adds a row to a family, with an option for each column as it is declared."""
    from configurator.catalogue.load import FAMILIES, check_family
    from configurator.catalogue.own import short_names
    from configurator.files.declared import unit_of

    def added(*, as_json: bool, catalog: Path | None, **said: str | None) -> None:
        from configurator.catalogue.own import add_row

        _say(add_row(_own(catalog), family, {name: text for name, text in said.items() if text is not None}), as_json)

    check_family(family)
    model = FAMILIES[family]
    columns = model.model_fields
    options = {
        column: _option(short, column, unit_of(model.model_fields[column]), columns[column].description)
        for short, column in short_names(family).items()
    }
    takes = {**options, "as_json": AsJson, "catalog": CatalogDir}
    defaults = dict.fromkeys(options) | {"as_json": False, "catalog": None}
    added.__annotations__ = takes
    added.__signature__ = Signature(  # type: ignore[attr-defined]  # typer reads its options from it
        [Parameter(name, Parameter.KEYWORD_ONLY, annotation=takes[name], default=defaults[name]) for name in takes]
    )
    one = typer.Typer(add_completion=False, rich_markup_mode=None)
    one.command(family, help=f"Add a row to {family}.csv.", epilog=_EXAMPLES.get(family), no_args_is_help=True)(added)
    return get_command(one)


def _option(short: str, column: str, unit: str, says: str | None) -> Any:
    """The option for a column, by its name with and without the unit."""
    spellings = dict.fromkeys(f"--{name.replace('_', '-')}" for name in (short, column))
    option = typer.Option(*spellings, metavar=(unit or "text").upper(), help=says)
    return Annotated[str | None, option]


@catalogue.command("new", epilog="Example: tipin catalogue new my-catalog --currency GBP")
def catalogue_new_command(
    directory: Annotated[
        Path,
        typer.Argument(metavar="DIR", help="folder to make; none is there yet, or it is empty", show_default=False),
    ],
    currency: Annotated[
        str, typer.Option(metavar="WORD", help="what stands behind every price: GBP, EUR, kr", show_default=False)
    ] = "",
    as_json: AsJson = False,
) -> None:
    """Copy the shipped catalogue into a folder of your own."""
    from configurator.catalogue.own import new_catalog

    report = new_catalog(directory, currency)
    _say(report, as_json)
    if not as_json:
        typer.echo(
            f"Use it with --catalog {directory}, or set TIPIN_CATALOG to it once.\n"
            f"Next: tipin catalogue add nozzles --diameter 0.83mm --style straight --price 12 --catalog {directory}"
        )


@catalogue.command("set", epilog="Example: tipin catalogue set pump-3cc price=47 --catalog my-catalog")
def catalogue_set_command(
    code: Annotated[
        str, typer.Argument(metavar="CODE", help="code of the row; of a limit its name", show_default=False)
    ],
    cells: Annotated[
        list[str],
        typer.Argument(metavar="COLUMN=VALUE", help="what to put there; nothing behind = empties", show_default=False),
    ],
    as_json: AsJson = False,
    catalog: CatalogDir = None,
) -> None:
    """Correct a row of your catalogue: a price, a limit."""
    from configurator.catalogue.own import correct_row

    _say(correct_row(_own(catalog), code, _pairs("cells", cells)), as_json)


@catalogue.command("import", epilog='Example: tipin catalogue import list.csv --family nozzles --column "price=Cost"')
def catalogue_import_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="spreadsheet: CSV or .xlsx", show_default=False)],
    family: Annotated[str | None, typer.Option(metavar="FAMILY", help="what its rows are: nozzles, pumps, ...")] = None,
    column: Annotated[
        list[str] | None, typer.Option(metavar="COLUMN=HEADING", help="which heading is which column of the catalogue")
    ] = None,
    same: Annotated[
        list[str] | None, typer.Option(metavar="COLUMN=VALUE", help="what no heading says, the same in every row")
    ] = None,
    mapping: Annotated[str | None, typer.Option(metavar="NAME", help="columns and values as kept by this name")] = None,
    keep_mapping: Annotated[
        str | None, typer.Option(metavar="NAME", help="keep columns and values by a name, once the sheet is written")
    ] = None,
    only_known: Annotated[
        bool, typer.Option("--only-known", help="correct rows that are there, and pass over all others")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="write without asking")] = False,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
) -> None:
    """Take a supplier's spreadsheet into your catalogue.

    Shows first what would be added and changed; writes if the terminal says yes. All rows or none. Exit code 1 if
    nothing is written.
    """
    from configurator.catalogue.sheet_import import kept_by_name, mapping_of, preview
    from configurator.views.catalogue import import_text

    directory = _own(catalog)
    kept = kept_by_name(directory, mapping) if mapping else None
    planned = preview(
        directory, file, mapping_of(family, _pairs("column", column or []), _pairs("same", same or []), kept),
        only_known=only_known,
    )  # fmt: skip
    report = planned.report
    if not as_json:
        typer.echo(import_text(report))
    news = bool(report.added or report.changed)
    asked = sys.stdin.isatty() and not as_json and not report.faults and news and not yes
    if not report.faults and (yes or (asked and typer.confirm("Write this?", err=True))):
        report = planned.write(keep_mapping)
    if as_json:
        typer.echo(report.model_dump_json(indent=2))
    elif report.did == "imported":
        again = f" Next time: tipin catalogue import FILE --mapping {keep_mapping}" if keep_mapping else ""
        typer.echo(f"Written.{again}")
    elif report.faults or asked or not news:
        typer.echo("Nothing is written.")
    else:
        typer.echo("Nothing is written yet: --yes writes it.")
    raise typer.Exit(2 if report.faults else 0 if report.did == "imported" or not news else 1)


def _own(catalog: Path | None) -> Path:
    """The catalogue to write into: a workshop's own, named."""
    if catalog is None:
        raise BadInput.in_field(
            "catalog", "", "is missing", "the folder of your own catalogue", "`tipin catalogue new DIR` makes one"
        )
    return catalog


def _pairs(field: str, words: list[str]) -> dict[str, str]:
    """What stands before and behind the first equals sign of each word."""
    without = [word for word in words if "=" not in word]
    if without:
        raise BadInput.in_field(field, without[0], "has no =", "NAME=VALUE")
    return {name.strip(): value.strip() for name, _, value in (word.partition("=") for word in words)}


def _say(report: "CatalogueReport", as_json: bool) -> None:
    from configurator.views.catalogue import catalogue_text

    typer.echo(report.model_dump_json(indent=2) if as_json else catalogue_text(report))
