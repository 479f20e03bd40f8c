"""The commands around trial runs: trial add, compare, list, undo, export, import."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from configurator.cli.groups import AddIfNotNamed
from configurator.cli.recording import EntryKey, once_in_the_book
from configurator.cli.shared import (
    FELT_WORDS,
    AsJson,
    BookPlace,
    CatalogDir,
    VehicleFile,
    WhenFelt,
    With,
    app,
    case_of,
    moment_told,
)
from configurator.errors import BadInput, Fault
from configurator.units.showing import as_shown

if TYPE_CHECKING:
    from configurator.book.car_records import CarRecords
    from configurator.book.records import Trial
    from configurator.judging.case import Case
    from configurator.learning.recording.recording import MeasuredPull
    from configurator.learning.trace.trace import Measured
    from configurator.learning.trial_entry import TrialReport

trial = typer.Typer(cls=AddIfNotNamed, no_args_is_help=True, help="Record trial runs; list, undo, export, import them.")
app.add_typer(trial, name="trial")

OneVehicle = Annotated[
    Path | None, typer.Argument(help="only runs of this vehicle file (TOML)", metavar="[VEHICLE]", show_default=False)
]


@trial.command("add", epilog="Example: tipin trial add catalog/examples/roadster.toml --felt stumble")
def trial_add_command(
    vehicle: VehicleFile,
    felt: Annotated[str | None, typer.Option(metavar="WORD", help=f"what was felt: {FELT_WORDS}")] = None,
    moment: WhenFelt = None,
    strength: Annotated[str | None, typer.Option(metavar="WORD", help="faint, clear (if not said) or strong")] = None,
    fit: With = None,
    at: Annotated[str | None, typer.Option(metavar="TIME", help="when: 2026-05-02 10:15; now if not said")] = None,
    air_temperature: Annotated[
        str | None, typer.Option(metavar="C", help='air at the carburettor, deg C, or "68 F"')
    ] = None,
    altitude: Annotated[str | None, typer.Option(metavar="M", help='height above the sea, m, or "3000 ft"')] = None,
    pressure: Annotated[
        str | None, typer.Option(metavar="KPA", help='air pressure where the car is, kPa, or "29.9 inHg"')
    ] = None,
    fuel: Annotated[str | None, typer.Option(metavar="NAME", help="what was in the tank")] = None,
    cold: Annotated[bool, typer.Option("--cold", help="the engine was cold: kept, but it does not count")] = False,
    clean_after: Annotated[
        str | None, typer.Option(metavar="MS", help='measured from tip-in to a clean pull, ms, or "0.4 s"')
    ] = None,
    trace: Annotated[
        Path | None, typer.Option(metavar="FILE", help="mixture trace of the run (CSV), which says more than a feeling")
    ] = None,
    trace_column: Annotated[
        list[str] | None, typer.Option(metavar="WHAT=NAME", help="which column is which, if not seen by its heading")
    ] = None,
    trace_lag: Annotated[
        str | None, typer.Option(metavar="MS", help='lag of the mixture sensor, ms, or "0.1 s"')
    ] = None,
    pull: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="recording of the pull: acceleration or speed over time (CSV, JSON lines)"),
    ] = None,
    pull_column: Annotated[
        list[str] | None,
        typer.Option(metavar="WHAT=NAME", help="which column is which: x=, forward_g=, speed_kmh="),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="draw trace or pull, and model, into an .svg or .png file")
    ] = None,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help="anything else")] = None,
    entry_key: EntryKey = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Record a trial run of VEHICLE.

    The word add may be left out.
    """
    from configurator.book.book import find_book, open_book
    from configurator.book.car_now import car_now
    from configurator.book.car_records import CarRecords
    from configurator.book.records import Trial
    from configurator.learning.pull_told import pull_in_words
    from configurator.learning.trial_entry import TrialReport, enter_trial, notes_on, read_when
    from configurator.slots.wishes import chosen_parts
    from configurator.views.pictures import check_can_draw

    # Everything that can be refused is looked at before a book is made and anything written.
    if plot is not None:
        check_can_draw(plot)
    filed, when = case_of(vehicle, catalog), read_when(at, datetime.now(UTC))
    records = CarRecords()
    if found := find_book(book):
        with found:
            known = found.entered(Trial, entry_key) if entry_key is not None else None
            records = found.records(filed.vehicle.name)
        if known is not None:  # what it says may be true by now, and so be refused
            _say_known(found.place, known, as_json)
            return
    case = car_now(filed, records.until(when) if at else records).case
    choice = chosen_parts(case.options, fit or [])
    if plot is not None and (trace is None) == (pull is None):
        raise BadInput.in_field("plot", "", "goes with a trace or with a recorded pull", "one of the two as well")
    measured = _measured(case, trace, trace_column or [], trace_lag)
    recorded = _recorded(case, pull, pull_column or [])
    day = {
        "air_temperature_c": air_temperature, "altitude_m": altitude, "air_pressure_kpa": pressure, "fuel": fuel,
        "warm": not cold,
    }  # fmt: skip
    said = {"word": felt, "strength": strength, "moment": moment_told(felt, moment)}
    run = enter_trial(
        case, choice, when, said, day,
        clean_after_ms=clean_after, trace=measured.spells if measured else None,
        pull=recorded.pull if recorded else None, note=note or "",
    )  # fmt: skip
    notes = [*(measured.notes if measured else ()), *(recorded.notes if recorded else ()), *notes_on(case, choice, run)]
    told, taken = pull_in_words(run, records, case.catalog), list(recorded.taken) if recorded else []
    with open_book(book) as opened:
        if plot is not None:
            _draw(case, records, run, measured, recorded, plot)
        added = opened.add_trial(run, entry_key)
        with once_in_the_book(f"recorded as run {added.number}"):
            report = TrialReport(
                book=opened.place, did="recorded", trials=[added], notes=notes, pull=told, taken=taken
            )  # fmt: skip
            _say(report, as_json)
            if plot is not None and not as_json:
                typer.echo(f"\nPicture: {plot}")


def _say_known(place: str, run: "Trial", as_json: bool) -> None:
    """That a run was recorded before, with this key."""
    from configurator.learning.trial_entry import TrialReport

    with once_in_the_book(f"recorded before as run {run.number}"):
        _say(TrialReport(book=place, did="recorded", trials=[run], known=1), as_json)


def _measured(case: "Case", trace: Path | None, columns: list[str], lag: str | None) -> "Measured | None":
    """What a mixture trace gave; None where there is none, and nothing that speaks of one."""
    from configurator.learning.trace.trace import measure_for_case
    from configurator.learning.trial_entry import read_columns, read_lag_ms

    if trace is None:
        for field, said in (("trace_column", columns), ("trace_lag", lag)):
            if said:
                raise BadInput.in_field(field, "", "goes with a trace only", "--trace FILE as well")
        return None
    lag_ms = None if lag is None else read_lag_ms(lag)
    return measure_for_case(case, trace, columns=read_columns(columns) or None, lag_ms=lag_ms)


def _recorded(case: "Case", pull: Path | None, columns: list[str]) -> "MeasuredPull | None":
    """What a recording of the pull gave; None where there is none, and nothing that speaks of one."""
    from configurator.learning.trial_entry import read_columns

    if pull is None:
        if columns:
            raise BadInput.in_field("pull_column", "", "goes with a recording only", "--pull FILE as well")
        return None
    from configurator.learning.recording.recording import measure_pull_for_case

    return measure_pull_for_case(case, pull, read_columns(columns, "pull_column", "speed_kmh=NAME"))


def _draw(
    case: "Case",
    records: "CarRecords",
    run: "Trial",
    measured: "Measured | None",
    recorded: "MeasuredPull | None",
    picture: Path,
) -> None:
    """The trace, or the pull, against the model of the car as it was in that run."""
    if measured is not None:
        from configurator.book.records import car_of
        from configurator.judging.case import Case
        from configurator.learning.trace.trace_model import model_trace
        from configurator.views.trace_pictures import save_trace

        save_trace(measured, model_trace(Case.of(car_of(run), case.catalog)), picture)
    elif recorded is not None:
        from configurator.advice.next_step import what_next
        from configurator.advice.pull_expected import pull_expected
        from configurator.book.car_now import car_now
        from configurator.book.car_records import CarRecords
        from configurator.learning.as_known import known_by
        from configurator.views.measured_pull_pictures import save_measured_pull

        with_it = CarRecords([*records.runs, run], records.fittings)
        known = known_by(car_now(case, with_it).case, with_it.runs)
        save_measured_pull(recorded, pull_expected(known, run, recorded.pull, what_next(known).changes), picture)


@trial.command("compare", epilog="Example: tipin trial compare catalog/examples/roadster.toml 1 2")
def trial_compare_command(
    vehicle: VehicleFile,
    first: Annotated[int, typer.Argument(min=1, max=10**9, metavar="RUN", help="number of the run before")],
    second: Annotated[int, typer.Argument(min=1, max=10**9, metavar="RUN", help="number of the run after")],
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Whether two recorded pulls of VEHICLE differ by more than chance.

    Exit code 1 where they do not.
    """
    from configurator.learning.pull_told import compared
    from configurator.views.pull_told import compared_text

    _, held = _held(vehicle, book)
    case = case_of(vehicle, catalog)
    report = compared(case.vehicle.name, held.runs, (first, second), case.catalog)
    typer.echo(report.model_dump_json(indent=2) if as_json else as_shown(compared_text(report)))
    if not (report.delay_differs or report.sag_differs):
        raise typer.Exit(1)


@trial.command("list", epilog="Example: tipin trial list catalog/examples/roadster.toml")
def trial_list_command(vehicle: OneVehicle = None, as_json: AsJson = False, book: BookPlace = None) -> None:
    """List the runs, of VEHICLE or of all."""
    from configurator.learning.trial_entry import TrialReport

    place, held = _held(vehicle, book)
    aside = [one for one in held.set_aside if one.kind == "run"]
    report = TrialReport(book=place, did="listed", trials=list(held.runs), set_aside=aside)
    _say(report, as_json, of_all=vehicle is None)


@trial.command("undo", epilog="Example: tipin trial undo 3")
def trial_undo_command(
    number: Annotated[int, typer.Argument(min=1, max=10**9, metavar="RUN", help="number of the run")],
    as_json: AsJson = False,
    book: BookPlace = None,
) -> None:
    """Take a run back; it stays, marked."""
    from configurator.book.book import find_book, open_book
    from configurator.book.records import Trial
    from configurator.book.usual_place import place_of_book
    from configurator.learning.trial_entry import TrialReport

    found = find_book(book)
    if found is None:
        raise BadInput([Fault(place_of_book(book), f"run {number}", "there is no book yet", "a book with runs in it")])
    with found:
        pass
    with open_book(book) as opened:
        undone = opened.undo_trial(number)
        with once_in_the_book(f"run {number} is undone"):
            runs, aside = ([undone], []) if isinstance(undone, Trial) else ([], [undone])
            _say(TrialReport(book=opened.place, did="undone", trials=runs, set_aside=aside), as_json)


@trial.command("export", epilog="Example: tipin trial export csv -o runs.csv")
def trial_export_command(
    form: Annotated[Literal["csv", "json"], typer.Argument(metavar="csv|json", help="form of the file")],
    vehicle: OneVehicle = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="the file to write, if not to the terminal")
    ] = None,
    book: BookPlace = None,
) -> None:
    """Write the runs, of VEHICLE or of all, as a file."""
    from configurator.book.trial_files import as_text
    from configurator.files.writing import write_whole
    from configurator.views.book import exported_text

    if out is not None and not out.is_dir() and out.suffix.lower() not in (".csv", ".json"):
        problem, expected = "is no name for exported runs", "a name that ends in .csv or .json"
        raise BadInput.in_field("out", str(out), problem, expected)
    _, held = _held(vehicle, book)
    runs = held.runs
    for one in held.set_aside:
        typer.echo(f"tipin: {one.says}", err=True)
    text = as_text(runs, form)
    if out is None:
        typer.echo(text, nl=False)
    else:
        write_whole(out, text)
        typer.echo(as_shown(exported_text(runs)))


@trial.command("import", epilog="Example: tipin trial import runs.csv --book another.sqlite")
def trial_import_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="exported runs, CSV or JSON", show_default=False)],
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Record the runs of an exported file, all or none.

    Looked at as if each were entered: parts are in the catalogue, or described by their figures.
    """
    from configurator.book.book import open_book
    from configurator.book.trial_files import read_trials
    from configurator.catalogue.load import load_catalog, shipped_catalog_dir
    from configurator.learning.trial_entry import TrialReport

    runs = read_trials(file, load_catalog(catalog or shipped_catalog_dir()))
    with open_book(book) as opened:
        added = opened.add_new_trials(runs)
        with once_in_the_book(f"{len(added)} runs are recorded"):
            known = len(runs) - len(added)
            _say(TrialReport(book=opened.place, did="imported", trials=added, known=known), as_json)


def _held(vehicle: Path | None, place: str | None) -> tuple[str, "CarRecords"]:
    """Where the book is, and what it holds of a vehicle, or of all; looking makes no book."""
    from configurator.book.book import find_book
    from configurator.book.car_records import CarRecords
    from configurator.book.usual_place import place_of_book
    from configurator.car.vehicle import load_vehicle

    name = load_vehicle(vehicle).name if vehicle else None
    found = find_book(place)
    if found is None:
        return place_of_book(place), CarRecords()
    with found:
        return found.place, found.records(name, with_undone=True)


def _say(report: "TrialReport", as_json: bool, *, of_all: bool = False) -> None:
    from configurator.views.book import trial_text

    typer.echo(report.model_dump_json(indent=2) if as_json else as_shown(trial_text(report, of_all=of_all)))
