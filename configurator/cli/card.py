"""The command that writes the job card."""

import datetime
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from configurator.cli.shared import (
    AsJson,
    Avoid,
    BookPlace,
    CatalogDir,
    Keep,
    SureAsked,
    SymptomWord,
    VehicleFile,
    WhenFelt,
    With,
    app,
    known_of,
    symptom_told,
)
from configurator.errors import BadInput
from configurator.units.showing import as_shown

if TYPE_CHECKING:
    from configurator.judging.case import Case
    from configurator.slots.options import Choice


@app.command("card", epilog="Example: tipin card catalog/examples/tow-truck.toml -o tow-truck.html")
def card_command(
    vehicle: VehicleFile,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="the file to write, .html or .pdf")],
    proposal: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="1, if not said: the proposal; 2, 3, ...: its other ways in their order"),
    ] = None,
    fit: With = None,
    symptom: SymptomWord = None,
    moment: WhenFelt = None,
    keep: Keep = None,
    avoid: Avoid = None,
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="paper of a .pdf file")] = "a4",
    date: Annotated[str | None, typer.Option(metavar="DAY", help="date on the card, 2026-05-04; today if not said")] = (
        None
    ),
    sure: SureAsked = None,
    as_json: AsJson = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Write a job card to lie beside the car: one or two pages, to print.

    For a proposal, or with --with for the parts named. Exit code 1, and no file, if nothing fits.
    """
    from configurator.advice.named_choice import proposed
    from configurator.advice.propose import ProposalRequest
    from configurator.advice.sure_proposal import proposal_of
    from configurator.advice.work import combination_of
    from configurator.book.book_place import read_place
    from configurator.card import card_of
    from configurator.files.writing import write_whole
    from configurator.slots.wishes import chosen_parts, read_wishes
    from configurator.views.belief import proposal_text
    from configurator.views.card import card_html, card_pdf, card_pictures, card_text, check_can_write

    check_can_write(out)
    on, felt = _day(date), symptom_told(symptom, moment)
    known = known_of(vehicle, catalog, book, felt)
    if fit:
        _refuse_a_search(proposal, keep, avoid)
        choice = chosen_parts(known.case.options, fit)
        title = "Parts as named"
    else:
        wishes = read_wishes(known.case.options, keep or [], [], avoid or [])
        report = proposal_of(known, ProposalRequest(wishes, symptom=felt), sure / 100 if sure else None)
        if report.status == "impossible" or (proposal is None and report.is_hopeless):
            typer.echo(report.model_dump_json(indent=2, by_alias=True) if as_json else as_shown(proposal_text(report)))
            raise typer.Exit(1)
        number = proposal or 1
        choice = proposed(known.case, report, number)
        title = f"Proposal {number}" + (f", {report.alternatives[number - 2].title}" if number > 1 else "")
    combination = combination_of(known.case, choice, title, [], known.believed, known.felt_with(choice))
    record = recorded_by(known.case, choice, read_place(book).shown if book else None)
    made = card_of(known, choice, combination, on, felt, record=record)
    page = card_html(made, card_pictures(known.case, choice))
    write_whole(out, card_pdf(page, paper) if out.suffix.lower() == ".pdf" else page)
    typer.echo(made.model_dump_json(indent=2) if as_json else as_shown(f"{card_text(made)}\n\nCard: {out}"))


def recorded_by(case: "Case", choice: "Choice", book: str | None) -> str:
    """The command that enters the test run, with what is fitted then; the word of the feeling is still to be put in."""
    from configurator.slots.wishes import word_of

    parts = [f"--with {shlex.quote(f'{slot}={word_of(option)}')}" for slot, option in choice.items() if option.changed]
    parts += [f"--book {shlex.quote(book)}"] if book else []
    command = " ".join(["tipin trial add", shlex.quote(case.vehicle.file or "VEHICLE"), "--felt WORD", *parts])
    return f"Keep the run, with the word of what was felt: {command}"


def _day(text: str | None) -> datetime.date:
    try:
        return datetime.date.fromisoformat(text) if text is not None else datetime.date.today()
    except ValueError:
        raise BadInput.in_field("date", text or "", "is no day", "year, month and day: 2026-05-04") from None


def _refuse_a_search(proposal: int | None, keep: list[str] | None, avoid: list[str] | None) -> None:
    """With --with the parts are named: nothing is searched, so nothing that guides a search has a meaning."""
    for field, given in (("proposal", proposal is not None), ("keep", keep), ("avoid", avoid)):
        if given:
            problem, remedy = "goes with a proposal, not with parts named by --with", "leave one of them out"
            raise BadInput.in_field(field, "", problem, "", remedy)
