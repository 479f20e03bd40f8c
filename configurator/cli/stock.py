"""The commands around the shelf: stock list, history, add, take, count, import."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from configurator.cli.recording import EntryKey, once_in_the_book
from configurator.cli.shared import AsJson, BookPlace, CatalogDir, app
from configurator.units.showing import as_shown

if TYPE_CHECKING:
    from configurator.book.book import Book
    from configurator.book.stock import StockMove
    from configurator.catalogue.load import Catalog

stock = typer.Typer(no_args_is_help=True, help="List and move what is on the shelf; every movement is kept.")
app.add_typer(stock, name="stock")

PartCode = Annotated[str, typer.Argument(metavar="CODE", help="code of a part in the catalogue", show_default=False)]
Moved = Annotated[int, typer.Argument(metavar="NUMBER", min=1, help="how many", show_default=False)]
Counted = Annotated[int, typer.Argument(metavar="NUMBER", min=0, help="how many there are", show_default=False)]
Why = Annotated[str | None, typer.Option(metavar="TEXT", help="what for, kept with the movement")]


@stock.command("list", epilog="Example: tipin stock list --book season.sqlite")
def stock_list_command(as_json: AsJson = False, catalog: CatalogDir = None, book: BookPlace = None) -> None:
    """List what is on the shelf."""
    _look(book, catalog, as_json, history=False)


@stock.command("history", epilog="Example: tipin stock history --book season.sqlite")
def stock_history_command(as_json: AsJson = False, catalog: CatalogDir = None, book: BookPlace = None) -> None:
    """List every movement, oldest first."""
    _look(book, catalog, as_json, history=True)


@stock.command("add", epilog="Example: tipin stock add straight-0.80 2 --book season.sqlite")
def stock_add_command(
    code: PartCode,
    number: Moved,
    why: Why = None,
    entry_key: EntryKey = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Put parts on the shelf."""
    from configurator.book.shelf import read_why

    said = read_why(why, "added")
    _book(code, number, lambda opened: opened.move_stock(code, number, said, entry_key), book, catalog, as_json)


@stock.command("take", epilog='Example: tipin stock take straight-0.80 1 --why "to the roadster"')
def stock_take_command(
    code: PartCode,
    number: Moved,
    why: Why = None,
    entry_key: EntryKey = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Take parts off the shelf, not more than there are."""
    from configurator.book.shelf import read_why

    said = read_why(why, "taken")
    _book(code, number, lambda opened: opened.move_stock(code, -number, said, entry_key), book, catalog, as_json)


@stock.command("count", epilog="Example: tipin stock count straight-0.80 3")
def stock_count_command(
    code: PartCode,
    number: Counted,
    why: Why = None,
    entry_key: EntryKey = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Set how many there are, as counted; the difference is booked."""
    from configurator.book.shelf import read_why

    said = read_why(why, "counted")
    _book(code, number, lambda opened: opened.count_stock(code, number, said, entry_key), book, catalog, as_json)


@stock.command("import", epilog="Example: tipin stock import shelf.csv --book season.sqlite")
def stock_import_command(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="table with the columns code and quantity", show_default=False)
    ],
    why: Why = None,
    entry_key: EntryKey = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Put the parts of a table on the shelf, all or none."""
    from configurator.book.book import open_book
    from configurator.book.shelf import read_quantities, read_why

    parts = _catalogue(catalog)
    numbers, said = read_quantities(file, parts), read_why(why, f"from {file.name}")
    with open_book(book) as opened:
        _say(opened, parts, opened.add_stock(numbers, said, entry_key), as_json)


def _catalogue(catalog: Path | None) -> "Catalog":
    from configurator.catalogue.load import load_catalog, shipped_catalog_dir

    return load_catalog(catalog or shipped_catalog_dir())


def _book(
    code: str, number: int, move: Callable[["Book"], "StockMove"], book: str | None, catalog: Path | None, as_json: bool
) -> None:
    """Book one movement of a part, and say what is on the shelf then."""
    from configurator.book.book import open_book
    from configurator.book.shelf import check_parts

    parts = _catalogue(catalog)
    check_parts(code, number, parts)
    with open_book(book) as opened:
        _say(opened, parts, [move(opened)], as_json)


def _say(opened: "Book", parts: "Catalog", moved: list["StockMove"], as_json: bool) -> None:
    from configurator.book.shelf import stock_report
    from configurator.views.book import move_text, stock_text

    with once_in_the_book(f"booked: {', '.join(map(move_text, moved))}"):
        report = stock_report(opened.place, opened.stock(), parts, moved)
        typer.echo(report.model_dump_json(indent=2) if as_json else as_shown(stock_text(report)))


def _look(book: str | None, catalog: Path | None, as_json: bool, *, history: bool) -> None:
    """Say what is on the shelf, or every movement; looking makes no book."""
    from configurator.book.book import find_book
    from configurator.book.shelf import stock_report
    from configurator.book.usual_place import place_of_book
    from configurator.views.book import history_text, stock_text

    parts = _catalogue(catalog)
    opened = find_book(book)
    if opened is None:
        report = stock_report(place_of_book(book), {}, parts, [])
    else:
        with opened:
            report = stock_report(opened.place, opened.stock(), parts, opened.stock_history() if history else [])
    if as_json:
        typer.echo(report.model_dump_json(indent=2))
    else:
        typer.echo(as_shown(history_text(report) if history else stock_text(report)))
