"""The command that tells what is fitted, and shows it."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from configurator.cli.recording import EntryKey, once_in_the_book
from configurator.cli.shared import AsJson, BookPlace, CatalogDir, VehicleFile, app, case_of
from configurator.errors import BadInput, Fault
from configurator.units.showing import as_shown

if TYPE_CHECKING:
    from configurator.book.fitted_told import FittedReport
    from configurator.judging.case import Case


@app.command("fit", epilog="Example: tipin fit catalog/examples/roadster.toml front.nozzle=straight-0.80")
def fit_command(
    vehicle: VehicleFile,
    parts: Annotated[
        list[str] | None,
        typer.Argument(metavar="[SLOT=WHAT]...", help="what is fitted now, as --with takes it", show_default=False),
    ] = None,
    as_file: Annotated[
        bool, typer.Option("--as-file", help="what the vehicle file says is fitted, all of it, in place of SLOT=WHAT")
    ] = False,
    at: Annotated[
        str | None, typer.Option(metavar="TIME", help="since when: 2026-05-02 10:15; now if left out")
    ] = None,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help="anything else")] = None,
    old_to_shelf: Annotated[
        bool, typer.Option("--old-to-shelf", help="the parts that came out go on the shelf")
    ] = False,
    new_from_shelf: Annotated[
        bool, typer.Option("--new-from-shelf", help="the parts that went in come off the shelf")
    ] = False,
    undo: Annotated[
        int | None, typer.Option(min=1, max=10**9, metavar="ENTRY", help="take an entry back; it stays, marked")
    ] = None,
    entry_key: EntryKey = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Tell what is fitted now, or show it.

    Every answer then begins with these parts, whatever the vehicle file says. A run tells what is fitted, too.
    """
    from configurator.views.book import fitted_text

    def say(report: "FittedReport") -> None:
        typer.echo(report.model_dump_json(indent=2) if as_json else as_shown(fitted_text(report)))

    _refuse_what_goes_ill_together(
        tells=bool(parts) + as_file, undo=undo is not None,
        besides=at or note or old_to_shelf or new_from_shelf or entry_key,
    )  # fmt: skip
    case = case_of(vehicle, catalog)
    if undo is not None:
        _undo(say, case, book, undo)
    elif parts or as_file:
        _tell(
            say, case, book, parts or [], at, entry_key, note=note or "", as_file=as_file, old_to_shelf=old_to_shelf,
            new_from_shelf=new_from_shelf,
        )  # fmt: skip
    else:
        say(_shown(case, book))


def _refuse_what_goes_ill_together(*, tells: int, undo: bool, besides: object) -> None:
    if tells + undo > 1:
        expected = "parts, or what the file says, or an entry to take back"
        raise BadInput([Fault("tipin fit", "", "is told two things at once", expected)])
    if besides and not tells:
        expected = "parts such as front.nozzle=0.85mm"
        raise BadInput([Fault("tipin fit", "", "is told when, why or whence, but not what is fitted", expected)])


def _shown(case: "Case", place: str | None) -> "FittedReport":
    """What is fitted; looking makes no book."""
    from configurator.book.book import find_book
    from configurator.book.car_records import CarRecords
    from configurator.book.fitted_told import fitted_report
    from configurator.book.usual_place import place_of_book

    found = find_book(place)
    if found is None:
        return fitted_report(place_of_book(place), case, CarRecords())
    with found:
        return fitted_report(found.place, case, found.records(case.vehicle.name, with_undone=True))


Say = Callable[["FittedReport"], None]


def _tell(
    say: Say, case: "Case", place: str | None, parts: list[str], at: str | None, entry_key: str | None, **said: Any
) -> None:
    """Everything that can be refused is looked at before a book is made and anything written."""
    from configurator.book.book import find_book, open_book
    from configurator.book.car_now import car_now
    from configurator.book.car_records import CarRecords
    from configurator.book.fitted_told import fitted_report
    from configurator.book.fitting import Fitting
    from configurator.book.fitting_entry import enter_fitting
    from configurator.learning.trial_entry import read_when

    name, when = case.vehicle.name, read_when(at, datetime.now(UTC))
    records, known = CarRecords(), None
    if found := find_book(place):
        with found:
            records = found.records(name, with_undone=True)
            known = found.entered(Fitting, entry_key) if entry_key is not None else None
    if known is not None:  # what it says may be true by now, and so be refused
        told, notes = known, [f"entry {known.number} was in the book already: nothing is entered twice"]
    else:
        before = car_now(case, records.until(when) if at else records)
        told, notes = enter_fitting(before, parts, when, **said)
    with open_book(place) as opened:
        added, moved = opened.add_fitting(told, entry_key)
        with once_in_the_book(f"recorded as entry {added.number}"):
            records = opened.records(name, with_undone=True)
            say(fitted_report(opened.place, case, records, did=added, moved=moved, notes=notes))


def _undo(say: Say, case: "Case", place: str | None, number: int) -> None:
    from configurator.book.book import find_book, open_book
    from configurator.book.fitted_told import fitted_report
    from configurator.book.usual_place import place_of_book

    found = find_book(place)
    if found is None:
        problem, expected = "there is no book yet", "a book with entries in it"
        raise BadInput([Fault(place_of_book(place), f"entry {number}", problem, expected)])
    name = case.vehicle.name
    with found:
        pass
    with open_book(place) as opened:
        undone, moved = opened.undo_fitting(number, name)
        with once_in_the_book(f"entry {number} is undone"):
            records = opened.records(name, with_undone=True)
            say(fitted_report(opened.place, case, records, did=undone, moved=moved))
