"""The commands around the workshop book: trial, stock."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from configurator.cli.shared import AsJson, BookPlace, CatalogDir, With, app, case_of
from configurator.errors import BadInput, Fault

if TYPE_CHECKING:
    from configurator.book.records import Trial
    from configurator.judging.case import Case
    from configurator.learning.trace.trace import Measured
    from configurator.learning.trial_entry import TrialReport


@app.command(epilog="Example: tipin trial catalog/examples/roadster.toml --felt stumble --book season.sqlite")
def trial(
    vehicle: Annotated[
        Path | None, typer.Argument(help="vehicle file (TOML)", metavar="[VEHICLE]", show_default=False)
    ] = None,
    felt: Annotated[
        str | None, typer.Option(metavar="WORD", help="what was felt: stumble, popback, dull, smoke or clean")
    ] = None,
    strength: Annotated[str | None, typer.Option(metavar="WORD", help="faint, clear (if not said) or strong")] = None,
    fit: With = None,
    at: Annotated[str | None, typer.Option(metavar="TIME", help="when: 2026-05-02 10:15; now if not said")] = None,
    air_temperature: Annotated[float | None, typer.Option(metavar="C", help="air at the carburettor, deg C")] = None,
    altitude: Annotated[float | None, typer.Option(metavar="M", help="height above the sea, m")] = None,
    pressure: Annotated[float | None, typer.Option(metavar="KPA", help="air pressure where the car is, kPa")] = None,
    fuel: Annotated[str | None, typer.Option(metavar="NAME", help="what was in the tank")] = None,
    cold: Annotated[bool, typer.Option("--cold", help="the engine was cold: kept, but it does not count")] = False,
    clean_after: Annotated[
        float | None, typer.Option(metavar="MS", help="measured from tip-in to a clean pull, ms")
    ] = None,
    trace: Annotated[
        Path | None, typer.Option(metavar="FILE", help="mixture trace of the run (CSV), which says more than a feeling")
    ] = None,
    trace_column: Annotated[
        list[str] | None, typer.Option(metavar="WHAT=NAME", help="which column is which, if not seen by its heading")
    ] = None,
    trace_lag: Annotated[float | None, typer.Option(metavar="MS", help="lag of the mixture sensor, ms")] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="draw trace and model into an .svg or .png file")
    ] = None,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help="anything else")] = None,
    list_runs: Annotated[bool, typer.Option("--list", help="list the runs, of VEHICLE or of all")] = False,
    undo: Annotated[
        int | None, typer.Option(min=1, max=10**9, metavar="RUN", help="take a run back; it stays, marked")
    ] = None,
    export: Annotated[
        Literal["csv", "json"] | None, typer.Option(help="write the runs, of VEHICLE or of all, as a file")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="where --export writes, if not to the terminal")
    ] = None,
    import_file: Annotated[
        Path | None, typer.Option("--import", metavar="FILE", help="record the runs of an exported file, all or none")
    ] = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Record a trial run of VEHICLE.

    Or list, undo, export and import runs.
    """
    from configurator.views.book import trial_text

    jobs = {"--list": list_runs or None, "--undo": undo, "--export": export, "--import": import_file}
    of_a_run: dict[str, Any] = {
        "--felt": felt, "--strength": strength, "--with": fit, "--at": at, "--air-temperature": air_temperature,
        "--altitude": altitude, "--pressure": pressure, "--fuel": fuel, "--cold": cold or None,
        "--clean-after": clean_after, "--trace": trace, "--trace-column": trace_column, "--trace-lag": trace_lag,
        "--plot": plot, "--note": note,
    }  # fmt: skip
    _check_job(_given(jobs), _given(of_a_run), vehicle, out, as_json)
    if undo is not None:
        report = _undo(undo, book)
    elif import_file is not None:
        report = _import(import_file, book)
    elif export is not None:
        report = _look(vehicle, book, "exported")
        _export(report, export, out)
        if out is None:
            return
    elif list_runs:
        report = _look(vehicle, book, "listed")
    else:
        assert vehicle is not None
        report = _record(vehicle, catalog, book, of_a_run)
    typer.echo(report.model_dump_json(indent=2) if as_json else trial_text(report, of_all=vehicle is None))
    if plot is not None and not as_json:
        typer.echo(f"\nPicture: {plot}")


def _given(options: dict[str, Any]) -> list[str]:
    return [name for name, value in options.items() if value not in (None, [])]


def _check_job(jobs: list[str], said: list[str], vehicle: Path | None, out: Path | None, as_json: bool) -> None:
    """Options that go together: one job at a time, and none of a run's words with a job that records none."""

    def refuse(option: str, problem: str, expected: str) -> BadInput:
        return BadInput([Fault(option, "", problem, expected)])

    if len(jobs) > 1:
        raise refuse(" ".join(jobs), "are different jobs", "one of them at a time")
    if jobs and said:
        raise refuse(" ".join(said), "describes a run to be recorded", f"{jobs[0]} without it")
    if jobs in (["--undo"], ["--import"]) and vehicle is not None:
        raise refuse(str(vehicle), f"is not asked for by {jobs[0]}", f"{jobs[0]} without a vehicle")
    if not jobs and vehicle is None:
        raise refuse("VEHICLE", "is missing", "a vehicle file, or --list, --undo, --export or --import")
    if out is not None and jobs != ["--export"]:
        raise refuse(f"--out {out}", "goes with --export only", "--export csv or --export json as well")
    if out is not None and not out.is_dir() and out.suffix.lower() not in (".csv", ".json"):
        raise refuse(f"--out {out}", "is no name for exported runs", "a name that ends in .csv or .json")
    if jobs == ["--export"] and out is None and as_json:
        raise refuse("--json", "cannot stand beside an exported file on the terminal", "--out FILE as well")


def _record(vehicle: Path, catalog: Path | None, place: str | None, said: dict[str, Any]) -> "TrialReport":
    """Everything that can be refused is looked at before a book is made and anything written."""
    from configurator.book.book import find_book, open_book
    from configurator.learning.trial_entry import (
        TrialReport,
        enter_trial,
        measured_trace,
        notes_on,
        read_when,
    )
    from configurator.slots.wishes import chosen_parts
    from configurator.views.pictures import check_can_draw

    if said["--plot"]:
        check_can_draw(said["--plot"])
    book = find_book(place)
    case = case_of(vehicle, catalog)
    choice = chosen_parts(case.options, said["--with"] or [])
    measured = measured_trace(case, said["--trace"], said["--trace-column"], said["--trace-lag"], said["--plot"])
    day = {
        "air_temperature_c": said["--air-temperature"], "altitude_m": said["--altitude"], "fuel": said["--fuel"],
        "air_pressure_kpa": said["--pressure"], "warm": not said["--cold"],
    }  # fmt: skip
    run = enter_trial(
        case, choice, read_when(said["--at"], datetime.now(UTC)),
        {"word": said["--felt"], "strength": said["--strength"]}, day, clean_after_ms=said["--clean-after"],
        trace=measured.spells if measured else None, note=said["--note"] or "",
    )  # fmt: skip
    notes = [*(measured.notes if measured else ()), *notes_on(case, choice, run)]
    with book or open_book(place) as opened:
        if measured and said["--plot"]:
            _draw(case, run, measured, said["--plot"])
        return TrialReport(book=opened.place, did="recorded", trials=[opened.add_trial(run)], notes=notes)


def _draw(case: "Case", run: "Trial", measured: "Measured", picture: Path) -> None:
    """The trace against the model of the car as it was in that run."""
    from configurator.book.records import car_of
    from configurator.judging.case import Case
    from configurator.learning.trace.trace_model import model_trace
    from configurator.views.trace_pictures import save_trace

    save_trace(measured, model_trace(Case.of(car_of(run), case.catalog)), picture)


def _undo(number: int, place: str | None) -> "TrialReport":
    from configurator.book.book import find_book, place_of_book
    from configurator.learning.trial_entry import TrialReport

    book = find_book(place)
    if book is None:
        raise BadInput([Fault(place_of_book(place), f"run {number}", "there is no book yet", "a book with runs in it")])
    with book:
        return TrialReport(book=book.place, did="undone", trials=[book.undo_trial(number)])


def _import(path: Path, place: str | None) -> "TrialReport":
    from configurator.book.book import open_book
    from configurator.book.trial_files import read_trials
    from configurator.learning.trial_entry import TrialReport

    trials = read_trials(path)
    with open_book(place) as book:
        added = book.add_new_trials(trials)
        return TrialReport(book=book.place, did="imported", trials=added, known=len(trials) - len(added))


def _look(vehicle: Path | None, place: str | None, did: Literal["listed", "exported"]) -> "TrialReport":
    """The runs of a vehicle, or of all; looking makes no book."""
    from configurator.book.book import find_book, place_of_book
    from configurator.car.vehicle import load_vehicle
    from configurator.learning.trial_entry import TrialReport

    name = load_vehicle(vehicle).name if vehicle else None
    book = find_book(place)
    if book is None:
        return TrialReport(book=place_of_book(place), did=did, trials=[])
    with book:
        return TrialReport(book=book.place, did=did, trials=book.trials(name, with_undone=True))


def _export(report: "TrialReport", export: Literal["csv", "json"], out: Path | None) -> None:
    from configurator.book.trial_files import as_text
    from configurator.files.writing import write_whole

    text = as_text(report.trials, export)
    if out is None:
        typer.echo(text, nl=False)
    else:
        write_whole(out, text)


@app.command(epilog="Example: tipin stock add straight-0.80 2 --book season.sqlite")
def stock(
    action: Annotated[
        Literal["add", "take", "count"] | None,
        typer.Argument(help="add, take, or count: set the number; none lists the shelf", show_default=False),
    ] = None,
    code: Annotated[str | None, typer.Argument(help="code of a part in the catalogue", show_default=False)] = None,
    number: Annotated[int | None, typer.Argument(help="how many", show_default=False)] = None,
    why: Annotated[str | None, typer.Option(metavar="TEXT", help="what for, kept with the movement")] = None,
    import_file: Annotated[
        Path | None, typer.Option("--import", metavar="FILE", help="add a table with the columns code and quantity")
    ] = None,
    history: Annotated[bool, typer.Option("--history", help="list every movement instead")] = False,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """List or move what is on the shelf.

    Every movement is kept; nothing goes below zero.
    """
    from configurator.book.book import find_book, open_book, place_of_book
    from configurator.book.shelf import change_shelf, read_change, stock_report
    from configurator.catalogue.load import load_catalog, shipped_catalog_dir
    from configurator.views.book import history_text, stock_text

    parts = load_catalog(catalog or shipped_catalog_dir())
    change = read_change(parts, action, code, number, why, import_file, history)
    opened = open_book(book) if change else find_book(book)
    if opened is None:
        report = stock_report(place_of_book(book), {}, parts, [])
    else:
        with opened:
            moved = change_shelf(opened, change) if change else opened.stock_history() if history else []
            report = stock_report(opened.place, opened.stock(), parts, moved)
    if as_json:
        typer.echo(report.model_dump_json(indent=2))
    else:
        typer.echo(history_text(report) if history else stock_text(report))
