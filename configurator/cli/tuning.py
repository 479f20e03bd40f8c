"""The commands around one vehicle: check, size, propose, parts, assumptions."""

from pathlib import Path
from typing import Annotated

import typer

from configurator.cli.shared import (
    AsJson,
    Avoid,
    BookPlace,
    CatalogDir,
    CircuitName,
    Everything,
    Keep,
    Sure,
    SureAsked,
    SymptomWord,
    VehicleFile,
    WhatIsNotKnown,
    WhenFelt,
    With,
    app,
    car_as_it_is,
    circuits_named,
    known_of,
    symptom_told,
    tell_not_known,
    tell_set_aside,
)
from configurator.units.showing import as_shown


@app.command("check", epilog="Example: tipin check catalog/examples/tow-truck.toml --with front.nozzle=0.85mm")
def check_command(
    vehicle: VehicleFile,
    fit: With = None,
    everything: Everything = False,
    what_is_not_known: WhatIsNotKnown = False,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Check what is fitted, or would be.

    What does not fit, and what will not cure; nothing is amiss on the fuel side of parts that pulled cleanly in the
    last run. Exit code 1 if there is either.
    """
    from configurator.advice.checked import checked
    from configurator.views.tables import check_text

    now, records = car_as_it_is(vehicle, catalog, book)
    report = checked(now, records, fit or [], everything=everything)
    tell_set_aside(report.set_aside)
    typer.echo(report.model_dump_json(indent=2) if as_json else as_shown(check_text(report, everything=everything)))
    if what_is_not_known and not as_json:
        tell_not_known(report)
    raise typer.Exit(0 if report.ok else 1)


@app.command("size", epilog="Example: tipin size catalog/examples/roadster.toml --plot shot.svg")
def size_command(
    vehicle: VehicleFile,
    circuit: CircuitName = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="draw demand and shot into an .svg or .png file")
    ] = None,
    everything: Everything = False,
    what_is_not_known: WhatIsNotKnown = False,
    sure: Sure = 90.0,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Find the smallest nozzle that pulls cleanly.

    With the fitted pump and with each other; where runs stand in the book, the smallest that is sure enough to be
    right. Exit code 1 if there is none with the fitted pump.
    """
    from configurator.advice.over_unknown import over_what_is_not_known
    from configurator.advice.size import size
    from configurator.advice.sure_sizes import sure_sizes
    from configurator.judging.band import band_of
    from configurator.views.belief import sure_size_text
    from configurator.views.pictures import save_bands, terminal_picture
    from configurator.views.tables import size_text

    known = known_of(vehicle, catalog, book)
    case, names = known.case, circuits_named(known.case, circuit)
    if known.belief is None:
        report = over_what_is_not_known(size(case, names, known.believed), known)
        text = size_text(report, everything=everything)
    else:
        report = by_belief = over_what_is_not_known(sure_sizes(known, names, sure / 100), known)
        text = sure_size_text(by_belief, everything=everything)
    bands = [band_of(case, name, case.as_fitted) for name in names]
    if plot is not None:
        save_bands(bands, plot)
    if as_json:
        typer.echo(report.model_dump_json(indent=2))
    else:
        typer.echo(as_shown(text))
        for band in bands:
            typer.echo(as_shown("\nAs fitted: " + terminal_picture(band)))
        if what_is_not_known:
            tell_not_known(report)
        if plot is not None:
            typer.echo(f"\nPicture: {plot}")
    raise typer.Exit(0 if report.ok else 1)


@app.command(
    "propose", epilog="Example: tipin propose catalog/examples/tow-truck.toml --symptom stumble --avoid redrill"
)
def propose_command(
    vehicle: VehicleFile,
    symptom: SymptomWord = None,
    moment: WhenFelt = None,
    keep: Keep = None,
    fit: With = None,
    avoid: Avoid = None,
    order: Annotated[
        str, typer.Option(metavar="GOALS", help="what to make least, first goal first")
    ] = "changes,advice,permanent,price,nozzle,labour,step",
    sure: SureAsked = None,
    effort: Annotated[
        float, typer.Option(min=0.001, metavar="SECONDS", help="work to spend on one search, on any machine")
    ] = 60.0,
    what_is_not_known: WhatIsNotKnown = False,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Propose the fewest changes that make it pull cleanly.

    Each with what forces it, its price and its labour; where runs stand in the book, those sure enough to be right.
    Exit code 1 if nothing fits, cures or is likely to be right.
    """
    from configurator.advice.proposal_in_full import proposal_in_full
    from configurator.advice.propose import ProposalRequest
    from configurator.slots.wishes import read_order, read_wishes
    from configurator.views.belief import proposal_text

    goals, felt = read_order(order), symptom_told(symptom, moment)
    known = known_of(vehicle, catalog, book, felt)
    wishes = read_wishes(known.case.options, keep or [], fit or [], avoid or [])
    report = proposal_in_full(known, ProposalRequest(wishes, goals, felt, effort), sure / 100 if sure else None)
    typer.echo(report.model_dump_json(indent=2, by_alias=True) if as_json else as_shown(proposal_text(report)))
    if what_is_not_known and not as_json:
        tell_not_known(report)
    raise typer.Exit(1 if report.status == "impossible" or report.is_hopeless else 0)


@app.command("parts", epilog="Example: tipin parts nozzles --where style=straight --where diameter_mm=0.8mm")
def parts_command(
    family: Annotated[
        str | None, typer.Argument(help="nozzles, feed_screws, pumps, lobes, ...; none lists the families")
    ] = None,
    where: Annotated[
        list[str] | None,
        typer.Option(metavar="TEST", help="only rows for which COLUMN=VALUE; also >=, <=, < and >"),
    ] = None,
    check_dir: Annotated[
        Path | None, typer.Option("--check", metavar="DIR", help="check the catalogue in a folder")
    ] = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
) -> None:
    """List and filter the catalogue, or check one."""
    from configurator.catalogue.listing import list_parts
    from configurator.catalogue.load import load_catalog, shipped_catalog_dir
    from configurator.views.tables import parts_text

    report = list_parts(load_catalog(check_dir or catalog or shipped_catalog_dir()), family, where or [])
    if as_json:
        typer.echo(report.model_dump_json(indent=2))
    elif check_dir is not None and family is None:
        typer.echo(f"{check_dir} is in order\n" + parts_text("families", report.rows))
    else:
        typer.echo(as_shown(parts_text(report.family, report.rows, report.nearest)))
    raise typer.Exit(0 if report.rows else 1)


@app.command("assumptions", epilog="Example: tipin assumptions catalog/examples/roadster.toml --circuit front")
def assumptions_command(
    vehicle: VehicleFile,
    circuit: CircuitName = None,
    fit: With = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Show what is assumed, and how much it matters.

    How far the smallest nozzle whose pull comes at once moves across the range of every assumed figure: with what is
    fitted, and with what is proposed.
    """
    from configurator.advice.named_choice import proposed
    from configurator.advice.propose import ProposalRequest
    from configurator.advice.sensitivity import sensitivity
    from configurator.advice.sure_proposal import proposal_of
    from configurator.learning.as_known import known_by
    from configurator.slots.wishes import chosen_parts
    from configurator.views.tables import sensitivity_text

    known = known_by(car_as_it_is(vehicle, catalog, book)[0].case, ())
    case, choice = known.case, chosen_parts(known.case.options, fit or [])
    found = proposal_of(known, ProposalRequest())
    other = proposed(case, found, 1) if found.changes else None
    report = sensitivity(case, circuits_named(case, circuit)[0], choice, other)
    typer.echo(report.model_dump_json(indent=2) if as_json else as_shown(sensitivity_text(report)))
