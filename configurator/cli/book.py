"""The commands around the book as a whole: book check, backup, restore."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from configurator.cli.recording import once_in_the_book
from configurator.cli.shared import AsJson, BookPlace, app
from configurator.errors import BadInput, Fault
from configurator.units.showing import as_shown

if TYPE_CHECKING:
    from configurator.book.book import Book
    from configurator.book.soundness import BookReport

book = typer.Typer(no_args_is_help=True, help="Look whether the book is sound; copy it; put a copy back.")
app.add_typer(book, name="book")

AnyPlace = Annotated[
    str | None,
    typer.Option("--book", envvar="TIPIN_BOOK", metavar="FILE", help="workshop book to put in place"),
]
CopyFile = Annotated[Path, typer.Argument(metavar="COPY", help="the copy, a file", show_default=False)]


@book.command("check", epilog="Example: tipin book check --book season.sqlite")
def book_check_command(as_json: AsJson = False, place: BookPlace = None) -> None:
    """Look through the book: its file, its rows, the shelf, and what cannot be read.

    Exit code 1 if something is wrong.
    """
    with _found(place) as found:
        report = found.report()
    _say(report, as_json)
    raise typer.Exit(1 if report.faults else 0)


@book.command("backup", epilog="Example: tipin book backup season-2026-11-30.sqlite --book season.sqlite")
def book_backup_command(file: CopyFile, as_json: AsJson = False, place: BookPlace = None) -> None:
    """Copy the book into a new file, while others use it.

    One file whatever database the book is in, read again before it counts.
    """
    with _found(place) as found:
        found.back_up(file)
        report = found.report(file)
    _say(report, as_json, f"Copy: {file}")


@book.command("restore", epilog="Example: tipin book restore season-2026-11-30.sqlite --book season.sqlite")
def book_restore_command(file: CopyFile, as_json: AsJson = False, place: AnyPlace = None) -> None:
    """Make the book what a copy says.

    The book that is there is kept beside; a database on a server has to be empty.
    """
    from configurator.book.book import open_book, restore_book

    kept = restore_book(file, place)
    with once_in_the_book("the copy is put back"), open_book(place) as restored:
        _say(restored.report(kept), as_json, f"The book before: {kept}" if kept else "")


def _found(place: str | None) -> "Book":
    """The book there is. Raises BadInput where there is none."""
    from configurator.book.book import find_book
    from configurator.book.usual_place import place_of_book

    found = find_book(place)
    if found is None:
        raise BadInput([Fault(place_of_book(place), "", "there is no book yet", "a book with runs in it")])
    return found


def _say(report: "BookReport", as_json: bool, besides: str = "") -> None:
    from configurator.views.book import book_text

    text = "\n".join(filter(None, [book_text(report), besides]))
    typer.echo(report.model_dump_json(indent=2) if as_json else as_shown(text))
