"""What all commands share: the app, options and arguments, and how a vehicle is put in front of a catalogue."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from configurator.cli.groups import InPanels
from configurator.errors import BadInput
from configurator.units.showing import SHOWN

if TYPE_CHECKING:
    from configurator.book.car_now import CarNow
    from configurator.book.car_records import CarRecords
    from configurator.judging.case import Case
    from configurator.judging.feelings import Symptom
    from configurator.learning.as_known import Known
    from configurator.reports import AnswerOnCar

app = typer.Typer(
    name="tipin",
    cls=InPanels,
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


def _shown_as_in_book(context: typer.Context, place: str | None) -> str | None:
    """What is shown goes by the units that the book has, as long as the command runs."""
    from configurator.book.usual_place import may_be_there

    if not context.resilient_parsing and may_be_there(place):
        from configurator.book.book import find_book

        if book := find_book(place):
            with book:
                chosen = SHOWN.set(book.units())
            context.call_on_close(lambda: SHOWN.reset(chosen))
    return place


BookPlace = Annotated[
    str | None,
    typer.Option(
        "--book",
        envvar="TIPIN_BOOK",
        metavar="FILE",
        help="workshop book to use: a file, or a database's URL",
        callback=_shown_as_in_book,
    ),
]
Sure = Annotated[
    float,
    typer.Option(
        min=1, max=99.9, metavar="PERCENT", help="how sure to be, where runs of the vehicle stand in the book"
    ),
]
SureAsked = Annotated[
    float | None,
    typer.Option(
        "--sure", min=1, max=99.9, metavar="PERCENT", show_default="90, or what a further part is worth",
        help="how sure to be, whatever parts it takes, where runs of the vehicle stand in the book",
    ),
]  # fmt: skip
Everything = Annotated[bool, typer.Option("--all", help="show what is in order too, every row of a table")]
WhatIsNotKnown = Annotated[
    bool, typer.Option("--known", help="list what is not known of the car, and how far each moves the nozzle")
]
With = Annotated[
    list[str] | None,
    typer.Option(
        "--with",
        metavar="SLOT=WHAT",
        help="as if this were fitted: front.nozzle=0.85mm or =redrill:0.85mm, front.lobe=CODE@PHASE, spacer=CODE",
    ),
]
Keep = Annotated[list[str] | None, typer.Option(metavar="SLOT", help="leave this as it is: front.pump, nozzle")]
Avoid = Annotated[
    list[str] | None, typer.Option(metavar="WHAT", help="do without: redrill, relief, aimed, a slot or a code")
]
FELT_WORDS = "stumble, popback, flat (later, no smoke), dull, smoke or clean"
SymptomWord = Annotated[
    str | None, typer.Option("--symptom", metavar="WORD", help=f"what the driver feels: {FELT_WORDS}")
]
WhenFelt = Annotated[
    str | None,
    typer.Option("--when", metavar="MOMENT", help="when it is felt: at-once, later (the shot is spent) or both"),
]
CircuitName = Annotated[Literal["front", "rear"] | None, typer.Option("--circuit", help="one circuit only")]


def case_of(vehicle: Path, catalog: Path | None) -> "Case":
    """The case of a vehicle file in front of the catalogue named, or the shipped one."""
    from configurator.car.fitted import vehicle_for
    from configurator.catalogue.load import load_catalog, shipped_catalog_dir
    from configurator.files.reading import read_toml
    from configurator.judging.case import Case

    tables, parts = read_toml(vehicle), load_catalog(catalog or shipped_catalog_dir())
    return Case.of(vehicle_for(tables, str(vehicle), parts), parts)


def known_of(vehicle: Path, catalog: Path | None, book: str | None, symptom: "Symptom | None" = None) -> "Known":
    """The car of a vehicle file as it is known by the book; what of that cannot be read is told on standard error."""
    from configurator.learning.as_known import as_known

    known = as_known(case_of(vehicle, catalog), book, symptom)
    tell_set_aside([one.says for one in known.set_aside if not one.undone])
    return known


def tell_set_aside(says: Sequence[str]) -> None:
    """Runs, and what was told to be fitted, that count for nothing, on standard error."""
    for one in says:
        typer.echo(f"tipin: {one}", err=True)


def car_as_it_is(vehicle: Path, catalog: Path | None, book: str | None) -> "tuple[CarNow, CarRecords]":
    """The car of a vehicle file with the parts that are in it now by the book, and what the book holds of it."""
    from configurator.book.car_now import car_now, records_in_book

    case = case_of(vehicle, catalog)
    records = records_in_book(case.vehicle.name, book)
    return car_now(case, records), records


def symptom_told(word: str | None, moment: str | None) -> "Symptom | None":
    """What the driver feels, and when; raises BadInput."""
    from configurator.judging.feelings import read_symptom

    return read_symptom(word, moment_told(word, moment))


def moment_told(word: str | None, moment: str | None) -> str | None:
    """When it is felt, as said; on a terminal asked for where only the moment would tell which complaint it is."""
    from configurator.judging.feelings import SYMPTOMS, symptom_word

    symptom = SYMPTOMS.get(symptom_word(word or ""))
    if moment is not None or symptom is None or not symptom.leaves_open_when or not sys.stdin.isatty():
        return moment
    question = f"When does the {symptom.word} come: at-once, later (after a moment, the shot is spent) or both"
    answer: str = typer.prompt(question, default="both", err=True)
    return answer.strip().lower().replace(" ", "-")


def tell_not_known(report: "AnswerOnCar") -> None:
    """List what is not known of the car, below an answer in words."""
    from configurator.units.showing import as_shown
    from configurator.views.tables import not_known_text

    typer.echo(as_shown(not_known_text(report.not_known)))


def circuits_named(case: "Case", circuit: str | None) -> tuple[str, ...]:
    """The circuit asked for, or all there are; raises BadInput for one the vehicle does not have."""
    if circuit is None:
        return tuple(case.circuit_names)
    if circuit not in case.circuit_names:
        raise BadInput.in_field("circuit", circuit, "the vehicle has no such pump circuit", "front")
    return (circuit,)
