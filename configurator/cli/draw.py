"""The command that draws a picture of one vehicle's circuit."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from configurator.cli.shared import BookPlace, CatalogDir, CircuitName, VehicleFile, With, app, circuits_named, known_of
from configurator.units.showing import as_shown


@app.command("draw", epilog="Example: tipin draw catalog/examples/roadster.toml mixture -o mixture.svg")
def draw_command(
    vehicle: VehicleFile,
    what: Annotated[
        Literal["pull", "shot", "mixture", "sizes", "lift"],
        typer.Argument(
            help="pull, shot, mixture, what each nozzle size would be like, or lift of the lobe",
            metavar="WHAT",
            show_default=False,
        ),
    ],
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="the file to draw, .svg or .png")],
    circuit: CircuitName = None,
    fit: With = None,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Draw a picture of a pump circuit into a file.

    As fitted, or as it would be; the pull shows both. The front circuit unless another is named; with runs in the book,
    in the engine they speak for.
    """
    from configurator.slots.wishes import chosen_parts
    from configurator.views.pictures import check_can_draw, save_picture
    from configurator.views.tables import wrapped
    from configurator.views.vehicle_pictures import PICTURES

    check_can_draw(out)
    known = known_of(vehicle, catalog, book)
    choice = chosen_parts(known.case.options, fit or [])
    figure, says = PICTURES[what](known.case, circuits_named(known.case, circuit)[0], choice, known.belief)
    save_picture(figure, out, says)
    typer.echo(as_shown(f"{wrapped(says)}\n\nPicture: {out}"))
