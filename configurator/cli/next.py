"""The command that says what to try next."""

import sys
from typing import Annotated

import typer

from configurator.cli.shared import (
    AsJson,
    BookPlace,
    CatalogDir,
    SymptomWord,
    VehicleFile,
    WhatIsNotKnown,
    WhenFelt,
    app,
    known_of,
    symptom_told,
    tell_not_known,
)
from configurator.errors import BadInput
from configurator.units.showing import as_shown


@app.command("next", epilog="Example: tipin next catalog/examples/roadster.toml --book season.sqlite")
def next_command(
    vehicle: VehicleFile,
    symptom: SymptomWord = None,
    moment: WhenFelt = None,
    stock_only: Annotated[bool, typer.Option("--stock-only", help="only with parts that are on the shelf")] = False,
    what_is_not_known: WhatIsNotKnown = False,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Say what to try next, after the runs in the book and what is felt now.

    One step towards what the model expects in the end, or that it is right as it is. Exit code 1 if nothing may be
    tried.
    """
    from configurator.advice.next_step import what_next
    from configurator.advice.over_unknown import over_what_is_not_known
    from configurator.book.book import find_book
    from configurator.book.usual_place import place_of_book
    from configurator.views.belief import next_text

    known = known_of(vehicle, catalog, book, symptom_told(symptom, moment))
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
    report = over_what_is_not_known(what_next(known, stock), known)
    typer.echo(report.model_dump_json(indent=2, by_alias=True) if as_json else as_shown(next_text(report)))
    if what_is_not_known and not as_json:
        tell_not_known(report)
    raise typer.Exit(1 if report.do == "nothing" else 0)
