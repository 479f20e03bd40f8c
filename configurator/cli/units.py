"""The command that chooses the units of what is shown."""

from typing import Annotated

import typer

from configurator.cli.recording import once_in_the_book
from configurator.cli.shared import BookPlace, app
from configurator.units.showing import ShownUnits


@app.command("units", epilog="Example: tipin units inch")
def units_command(
    units: Annotated[
        ShownUnits | None, typer.Argument(help="inch: thou, cfm, lb and F first; metric; none says which")
    ] = None,
    book: BookPlace = None,
) -> None:
    """Choose the units of what is shown, kept in the book.

    Files and options take every unit whatever is chosen; JSON stays metric.
    """
    from configurator.book.book import find_book, open_book

    if units is not None:
        with open_book(book) as opened:
            opened.show_in(units)
        with once_in_the_book(f"shown is {units} from now on"):
            typer.echo(units)
    else:
        found = find_book(book)
        if found:
            with found:
                units = found.units()
        typer.echo(units or "metric")
