"""The command that says what to try next."""

import sys
from typing import Annotated

import typer

from configurator.cli.shared import AsJson, BookPlace, CatalogDir, VehicleFile, app, car_as_it_is
from configurator.errors import BadInput


@app.command("next", epilog="Example: tipin next catalog/examples/roadster.toml --book season.sqlite")
def next_command(
    vehicle: VehicleFile,
    stock_only: Annotated[bool, typer.Option("--stock-only", help="only with parts that are on the shelf")] = False,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Say what to try next, after the runs in the book.

    The run that is expected to shorten the search most, or that none is worth its time. Exit code 1 if nothing may be
    tried.
    """
    from configurator.advice.next_step import what_next
    from configurator.book.book import find_book
    from configurator.book.usual_place import place_of_book
    from configurator.views.belief import next_text

    now, records = car_as_it_is(vehicle, catalog, book)
    opened = find_book(book) if stock_only else None
    if stock_only and opened is None:
        remedy = "put parts on the shelf with `tipin stock add`, or leave the option out"
        raise BadInput.in_field("stock_only", "", f"there is no book {place_of_book(book)}, so no shelf", "", remedy)
    stock = None
    if opened is not None:
        with opened:
            stock = opened.stock()
    if sys.stderr.isatty():
        print("weighing what may be tried ...", file=sys.stderr)
    report = what_next(now.case, records.runs, stock)
    typer.echo(report.model_dump_json(indent=2, by_alias=True) if as_json else next_text(report))
    raise typer.Exit(1 if report.do == "nothing" else 0)
