"""The command line: parse, call, show, exit code.

Exit codes: 0 done or yes; 1 the answer is no; 2 the input was bad.
"""

import os
import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from configurator.errors import BadInput, Fault, TipinError

app = typer.Typer(
    name="tipin",
    help="Parts for a carburettor's accelerator pump: check what fits, size the nozzle, propose the fewest changes.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

VehicleFile = Annotated[Path, typer.Argument(help="vehicle file (TOML)", metavar="VEHICLE", show_default=False)]
CatalogDir = Annotated[
    Path | None,
    typer.Option(
        "--catalog", envvar="TIPIN_CATALOG", metavar="DIR", help="catalogue to use in place of the shipped one"
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="print the answer as JSON (docs/json.md has the schema)")]
Everything = Annotated[bool, typer.Option("--all", help="show what is in order too, every row of a table")]
With = Annotated[
    list[str] | None,
    typer.Option(
        "--with",
        metavar="SLOT=WHAT",
        help="as if this were fitted: front.nozzle=0.85mm or =redrill:0.85mm, front.lobe=CODE@PHASE, spacer=CODE",
    ),
]
CircuitName = Annotated[Literal["front", "rear"] | None, typer.Option("--circuit", help="one circuit only")]


def _case(vehicle: Path, catalog: Path | None):  # type: ignore[no-untyped-def]
    from configurator.case import Case
    from configurator.catalog import load_catalog, shipped_catalog_dir
    from configurator.vehicle import load_vehicle

    return Case.of(load_vehicle(vehicle), load_catalog(catalog or shipped_catalog_dir()))


@app.command(epilog="Example: tipin check catalog/examples/tow-truck.toml --with front.nozzle=0.85mm")
def check(
    vehicle: VehicleFile,
    fit: With = None,
    everything: Everything = False,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
) -> None:
    """Check what is fitted, or would be.

    Exit code 1 if there is a conflict.
    """
    from configurator.findings import check as check_case
    from configurator.views.tables import check_text
    from configurator.wishes import read_wishes

    case = _case(vehicle, catalog)
    report = check_case(case, read_wishes(case.options, [], fit or [], []), everything=everything)
    typer.echo(report.model_dump_json(indent=2) if as_json else check_text(report, everything=everything))
    raise typer.Exit(0 if report.ok else 1)


@app.command(epilog="Example: tipin size catalog/examples/roadster.toml --plot shot.svg")
def size(
    vehicle: VehicleFile,
    circuit: CircuitName = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="draw demand and shot into an .svg or .png file")
    ] = None,
    everything: Everything = False,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
) -> None:
    """Find the smallest nozzle that meets the demand.

    With the fitted pump and with each other. Exit code 1 if none does with the fitted pump.
    """
    from configurator.band import band_of
    from configurator.sizing import size as size_case
    from configurator.views.pictures import save_bands, terminal_picture
    from configurator.views.tables import size_text

    case = _case(vehicle, catalog).with_linkage_set()
    names = _circuits(case, circuit)
    report = size_case(case, names)
    bands = [band_of(case, name, case.as_fitted) for name in names]
    if plot is not None:
        save_bands(bands, plot)
    if as_json:
        typer.echo(report.model_dump_json(indent=2))
    else:
        typer.echo(size_text(report, everything=everything))
        for band in bands:
            typer.echo("\nAs fitted: " + terminal_picture(band))
        if plot is not None:
            typer.echo(f"\nPicture: {plot}")
    raise typer.Exit(0 if report.ok else 1)


def _circuits(case, circuit: str | None) -> tuple[str, ...]:  # type: ignore[no-untyped-def]
    if circuit is None:
        return tuple(case.circuit_names)
    if circuit not in case.circuit_names:
        raise BadInput([Fault(f"--circuit {circuit}", "", "the vehicle has no such pump circuit", "front")])
    return (circuit,)


@app.command(epilog="Example: tipin propose catalog/examples/tow-truck.toml --symptom stumble --avoid redrill")
def propose(
    vehicle: VehicleFile,
    symptom: Annotated[
        str | None,
        typer.Option(metavar="WORD", help="what the driver feels: stumble (recovers), popback, dull, smoke or clean"),
    ] = None,
    keep: Annotated[list[str] | None, typer.Option(metavar="SLOT", help="leave this as it is, e.g. front.pump")] = None,
    fit: With = None,
    avoid: Annotated[
        list[str] | None, typer.Option(metavar="WHAT", help="do without: redrill, relief, a slot or a code")
    ] = None,
    order: Annotated[
        str, typer.Option(metavar="GOALS", help="what to make least, first goal first")
    ] = "changes,advice,permanent,nozzle,price,labour,step",
    effort: Annotated[
        float, typer.Option(min=0.001, metavar="SECONDS", help="work to spend on one search, on any machine")
    ] = 60.0,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
) -> None:
    """Propose the fewest changes that meet the demand.

    Each with what forces it, its price and its labour. Exit code 1 if nothing fits.
    """
    from configurator.solver.propose import Request
    from configurator.solver.propose import propose as propose_case
    from configurator.symptoms import read_symptom
    from configurator.views.tables import propose_text
    from configurator.wishes import read_order, read_wishes

    case = _case(vehicle, catalog)
    wishes = read_wishes(case.options, keep or [], fit or [], avoid or [])
    request = Request(wishes, read_order(order), read_symptom(symptom), effort)
    report = propose_case(case, request)
    typer.echo(report.model_dump_json(indent=2, by_alias=True) if as_json else propose_text(report))
    raise typer.Exit(1 if report.status == "impossible" else 0)


@app.command(epilog="Example: tipin parts nozzles --where style=straight --where diameter_mm=0.8mm")
def parts(
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
    from configurator.catalog import load_catalog, shipped_catalog_dir
    from configurator.listing import list_parts
    from configurator.views.tables import parts_text

    report = list_parts(load_catalog(check_dir or catalog or shipped_catalog_dir()), family, where or [])
    if as_json:
        typer.echo(report.model_dump_json(indent=2))
    elif check_dir is not None and family is None:
        typer.echo(f"{check_dir} is in order\n" + parts_text("families", report.rows))
    else:
        typer.echo(parts_text(report.family, report.rows, report.nearest))
    raise typer.Exit(0 if report.rows else 1)


@app.command(epilog="Example: tipin assumptions catalog/examples/roadster.toml --circuit front")
def assumptions(
    vehicle: VehicleFile,
    circuit: CircuitName = None,
    fit: With = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
) -> None:
    """Show what is assumed, and how much it matters.

    How far the smallest nozzle moves across the range of every assumed figure; rules other than the demand left out.
    """
    from configurator.sensitivity import sensitivity
    from configurator.views.tables import sensitivity_text
    from configurator.wishes import pick, read_wishes

    case = _case(vehicle, catalog).with_linkage_set()
    chosen = pick(case.options, read_wishes(case.options, [], fit or [], []))
    choice = {slot: case.options[slot][index] for slot, index in chosen.items()}
    report = sensitivity(case, _circuits(case, circuit)[0], choice)
    typer.echo(report.model_dump_json(indent=2) if as_json else sensitivity_text(report))


def main() -> None:
    """Run the command line; bad input ends in one message on stderr and exit code 2."""
    try:
        app(prog_name="tipin")
    except TipinError as error:
        print(f"tipin: {error}", file=sys.stderr)
        sys.exit(2)
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or the flush at exit fails once more
        print(f"tipin: output cannot be written ({error.strerror})", file=sys.stderr)
        sys.exit(2)


if __name__ == "__main__":
    main()
