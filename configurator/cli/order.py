"""The command that plans the parts order of a workshop."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from configurator.cli.shared import AsJson, BookPlace, CatalogDir, WhatIsNotKnown, app
from configurator.errors import BadInput, Fault
from configurator.units.showing import as_shown


@app.command("order", epilog="Example: tipin order catalog/examples/workshop/one-evening.toml --no-redrill")
def order_command(
    workshop: Annotated[Path, typer.Argument(help="workshop file (TOML)", metavar="WORKSHOP", show_default=False)],
    budget: Annotated[
        float | None, typer.Option(min=0, max=10_000_000, metavar="MONEY", help="most to spend: then the surest order")
    ] = None,
    one_supplier: Annotated[bool, typer.Option("--one-supplier", help="buy from one supplier only")] = False,
    no_redrill: Annotated[
        bool, typer.Option("--no-redrill", help="count on no drilling and no work on the pad")
    ] = False,
    fewest_deliveries: Annotated[
        bool, typer.Option("--fewest-deliveries", help="fewest deliveries first, then money")
    ] = False,
    no_fill: Annotated[
        bool, typer.Option("--no-fill", help="buy nothing only to make up a sum that a supplier wants")
    ] = False,
    effort: Annotated[float, typer.Option(min=0.001, metavar="SECONDS", help="work to spend on one search")] = 20.0,
    csv_dir: Annotated[Path | None, typer.Option("--csv", metavar="DIR", help="write a list for each supplier")] = None,
    plot: Annotated[Path | None, typer.Option(metavar="FILE", help="draw sureness against money, .svg or .png")] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS", help="share the work with a Dask cluster, or local:N processes of this machine"
        ),
    ] = None,
    keep: Annotated[
        Path | None, typer.Option(metavar="FILE", help="keep work that is done there, and take from there what holds")
    ] = None,
    what_is_not_known: WhatIsNotKnown = False,
    book: BookPlace = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
) -> None:
    """Plan the cheapest parts order for a workshop.

    Every vehicle is to be as sure as wanted by its day. Exit code 1 if one cannot.
    """
    from configurator.book.book import find_book
    from configurator.catalogue.load import load_catalog, shipped_catalog_dir
    from configurator.files.writing import write_whole
    from configurator.ordering.answer import answer
    from configurator.ordering.job import job_of
    from configurator.ordering.meeting import load_meeting
    from configurator.ordering.needs_cluster import on_cluster
    from configurator.ordering.needs_kept import kept_in
    from configurator.ordering.needs_pieces import here
    from configurator.ordering.plan import PurchaseWish
    from configurator.views.order import order_text, supplier_csv
    from configurator.views.pictures import check_can_draw, money_picture, save_picture, says_of_money
    from configurator.views.tables import not_known_text

    if csv_dir is not None and not csv_dir.is_dir():
        raise BadInput([Fault(str(csv_dir), "", "is no folder", "a folder that is there")])
    if plot is not None:
        check_can_draw(plot)  # a name that cannot be drawn is refused before the work, not after
    wish = PurchaseWish(
        None if budget is None else round(100 * budget),
        1 if one_supplier else None,
        fewest_deliveries,
        not no_fill,
        effort,
    )
    meeting, vehicles = load_meeting(workshop)
    stock = load_catalog(catalog or shipped_catalog_dir())
    workers = here if cluster is None else on_cluster(cluster)
    if keep is not None:
        workers = kept_in(keep, workers, lambda text: typer.echo(text, err=True))
    job = job_of(
        meeting, vehicles, stock, find_book(book), wish, redrill=not no_redrill, progress=_progress, workers=workers
    )
    report = answer(job, progress=_progress)
    _progress("")
    if plot is not None:
        save_picture(money_picture(report), plot, says_of_money(report))
    for supplier in report.suppliers if csv_dir is not None else []:
        assert csv_dir is not None
        write_whole(csv_dir / f"{supplier.supplier}.csv", supplier_csv(report, supplier.supplier))
    typer.echo(report.model_dump_json(indent=2) if as_json else as_shown(order_text(report)))
    for vehicle in report.vehicles if what_is_not_known and not as_json else []:
        if vehicle.not_known:
            typer.echo(as_shown(f"\n{vehicle.vehicle}:{not_known_text(vehicle.not_known)}"))
    raise typer.Exit(0 if report.ok else 1)


def _progress(text: str) -> None:
    """Tell on a terminal what is being worked out; an empty text clears the line."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r\x1b[K{text}")
        sys.stderr.flush()
