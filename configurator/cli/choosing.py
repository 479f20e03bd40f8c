"""The commands that look at choices: why a part fits or not, and two combinations side by side."""

from pathlib import Path
from typing import Annotated

import typer

from configurator.cli.shared import (
    AsJson,
    Avoid,
    BookPlace,
    CatalogDir,
    CircuitName,
    Keep,
    SymptomWord,
    VehicleFile,
    WhenFelt,
    app,
    circuits_named,
    known_of,
    symptom_told,
)
from configurator.units.showing import as_shown


@app.command(
    "why", epilog="Example: tipin why catalog/examples/roadster.toml front.pump=pump-5cc --with front.lobe=fitted"
)
def why_command(
    vehicle: VehicleFile,
    part: Annotated[
        str, typer.Argument(metavar="SLOT=WHAT", help="a part for a slot, or a slot for every part", show_default=False)
    ],
    fit: Annotated[
        list[str] | None, typer.Option("--with", metavar="SLOT=WHAT", help="pinned: this has to stay, as in `propose`")
    ] = None,
    keep: Keep = None,
    avoid: Avoid = None,
    symptom: SymptomWord = None,
    moment: WhenFelt = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Say why a part fits, what changes with it, or what forbids it.

    With a slot alone every part that may sit there. Exit code 1 if nothing asked for fits and cures.
    """
    from configurator.advice.availability import Availability
    from configurator.slots.wishes import read_wishes, slot_asked
    from configurator.views.standing import WILL_DO, why_text

    known = known_of(vehicle, catalog, book, symptom_told(symptom, moment))
    options = known.case.options
    slot, places = slot_asked(options, part)
    wishes = read_wishes(options, keep or [], [], avoid or [])
    pins = read_wishes(options, [], fit or [], [])
    choosing = known.choosing(wishes)
    report = Availability.of(choosing, wishes).why(slot, places, pins)
    typer.echo(report.model_dump_json(indent=2) if as_json else as_shown(why_text(report)))
    will_do = any(option.state in WILL_DO for option in report.slots[0].options)
    raise typer.Exit(0 if will_do else 1)


@app.command("compare", epilog="Example: tipin compare catalog/examples/tow-truck.toml fitted proposal")
def compare_command(
    vehicle: VehicleFile,
    first: Annotated[
        str,
        typer.Argument(
            metavar="A",
            help="fitted, proposal, proposal:2, or SLOT=WHAT,SLOT=WHAT as --with takes them",
            show_default=False,
        ),
    ],
    second: Annotated[str, typer.Argument(metavar="B", help="the other, likewise", show_default=False)],
    symptom: SymptomWord = None,
    moment: WhenFelt = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="draw both shots against the demand, .svg or .png")
    ] = None,
    circuit: CircuitName = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Put two combinations side by side.

    Parts, what each delivers, margins, price and labour. Exit code 1 if both are in conflict.
    """
    from configurator.advice.comparison import compare
    from configurator.advice.named_choice import named_choice, number_of
    from configurator.advice.propose import ProposalRequest
    from configurator.advice.sure_proposal import proposal_of
    from configurator.advice.work import combination_of
    from configurator.judging.band import band_of
    from configurator.views.pictures import check_can_draw, save_picture, says_of_shot, shot_picture
    from configurator.views.standing import compare_text

    if plot is not None:
        check_can_draw(plot)
    felt = symptom_told(symptom, moment)
    known = known_of(vehicle, catalog, book, felt)
    words = (first, second)
    asked = any(number_of(word) is not None for word in words)
    proposals = proposal_of(known, ProposalRequest(symptom=felt)) if asked else None
    choices = [named_choice(known.case, word, proposals) for word in words]
    one, other = (
        combination_of(known.case, choice, word, [], known.believed, known.felt_with(choice))
        for choice, word in zip(choices, words, strict=True)
    )
    report = compare(known.case.vehicle.name, known.case.engine, one, other)
    if plot is not None:
        name = circuits_named(known.case, circuit)[0]
        bands = [band_of(known.case, name, choice) for choice in choices]
        save_picture(shot_picture(bands), plot, says_of_shot(bands))
    typer.echo(report.model_dump_json(indent=2, by_alias=True) if as_json else as_shown(compare_text(report)))
    if plot is not None and not as_json:
        typer.echo(f"\nPicture: {plot}")
    raise typer.Exit(0 if one.ok or other.ok else 1)
