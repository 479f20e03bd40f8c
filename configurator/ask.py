"""What a script asks of tipin, one function a question; the package offers them: `from configurator import check`.

Each answer is the report that the command of the same name prints as JSON. A car is a Vehicle as load_car reads it;
parts are named as on the command line: "front.nozzle=0.85mm", "front.lobe=lobe-cairn@8", "spacer=none".
"""

from collections.abc import Sequence
from pathlib import Path

from configurator.advice import size as sizing
from configurator.advice.availability import Availability
from configurator.advice.checked import checked
from configurator.advice.next_step import NextReport, what_next
from configurator.advice.over_unknown import over_what_is_not_known
from configurator.advice.proposal_in_full import proposal_in_full
from configurator.advice.propose import ProposalRequest
from configurator.advice.standing import AvailabilityReport
from configurator.advice.sure_sizes import sure_sizes
from configurator.book.book import find_book
from configurator.book.car_now import car_now, records_in_book
from configurator.car.vehicle import Vehicle, load_vehicle
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.feelings import read_symptom
from configurator.learning.as_known import as_known
from configurator.ordering.answer import answer
from configurator.ordering.job import job_of
from configurator.ordering.meeting import load_meeting
from configurator.ordering.plan import PurchaseWish
from configurator.ordering.report import OrderReport
from configurator.reports import CheckReport, ProposeReport, SizeReport
from configurator.slots.wishes import GOALS, read_wishes, slot_asked


def load_car(path: Path | str) -> Vehicle:
    """A car from its vehicle file; raises BadInput with every fault, each with its table and key."""
    return load_vehicle(path)


def load_parts(directory: Path | str | None = None) -> Catalog:
    """The catalogue in a folder, or the one that comes with the program; raises BadInput with every fault of it."""
    return load_catalog(directory or shipped_catalog_dir())


def check(
    car: Vehicle, catalog: Catalog, fit: Sequence[str] = (), *, everything: bool = False, book: str | None = None
) -> CheckReport:
    """What the rules find on what is fitted by the book, or would be with `fit`; everything : what is in order, too.
    Where the last run in the book was clean with these very parts, nothing is amiss on the fuel side.

    book : a file or a database's address, or None for the book that is found from here. Raises BadInput for a car or a
    part that the catalogue does not suit.

    >>> roadster = load_car(shipped_catalog_dir() / "examples" / "roadster.toml")
    >>> report = check(roadster, load_parts(), ["front.nozzle=0.85mm"])
    >>> report.ok, [finding.rule for finding in report.findings if finding.severity == "conflict"]
    (False, ['pull-comes-at-once', 'pull-does-not-go-flat'])
    """
    records = records_in_book(car.name, book)
    return checked(car_now(Case.of(car, catalog), records), records, fit, everything=everything)


def size(car: Vehicle, catalog: Catalog, *, book: str | None = None, sure: float = 0.9) -> SizeReport:
    """The smallest nozzle that meets the demand, with each pump; with runs in a book, the smallest that is sure enough.

    book : a file or a database's address, or None for the book that is found from here. sure : share of belief.
    """
    known = as_known(Case.of(car, catalog), book)
    case, names = known.case, known.case.circuit_names
    report = sizing.size(case, names, known.believed) if known.belief is None else sure_sizes(known, names, sure)
    return over_what_is_not_known(report, known)


def propose(
    car: Vehicle,
    catalog: Catalog,
    *,
    symptom: str | None = None,
    moment: str | None = None,
    keep: Sequence[str] = (),
    fit: Sequence[str] = (),
    avoid: Sequence[str] = (),
    order: Sequence[str] = GOALS,
    book: str | None = None,
    sure: float | None = None,
) -> ProposeReport:
    """The fewest changes that meet the demand, or why nothing does. moment : at-once, later or both, when the symptom
    is felt. order : what to make least, first goal first. sure : share of belief that it is to be right for, whatever
    parts it takes; None for 0.9, or as much as a further part is worth."""
    felt = read_symptom(symptom, moment)
    known = as_known(Case.of(car, catalog), book, felt)
    wishes = read_wishes(known.case.options, list(keep), list(fit), list(avoid))
    return proposal_in_full(known, ProposalRequest(wishes, tuple(order), felt), sure)


def why(
    car: Vehicle, catalog: Catalog, part: str, *, symptom: str | None = None, moment: str | None = None,
    pinned: Sequence[str] = (), book: str | None = None,
) -> AvailabilityReport:  # fmt: skip
    """Why a part fits, what changes with it, or what forbids it. part : "front.pump=pump-5cc", or a slot for all."""
    known = as_known(Case.of(car, catalog), book, read_symptom(symptom, moment))
    slot, places = slot_asked(known.case.options, part)
    pins = read_wishes(known.case.options, [], list(pinned), [])
    choosing = known.choosing()
    return Availability.of(choosing).why(slot, places, pins)


def next_step(car: Vehicle, catalog: Catalog, *, book: str | None = None) -> NextReport:
    """What to try next after the runs in the book, or that no further run is worth its time."""
    known = as_known(Case.of(car, catalog), book)
    return over_what_is_not_known(what_next(known), known)


def order(workshop: Path | str, catalog: Catalog, *, book: str | None = None, redrill: bool = True) -> OrderReport:
    """The cheapest order that makes every vehicle of a workshop file sure enough by its day. redrill : count on
    drilling and on work on the pad."""
    meeting, vehicles = load_meeting(Path(workshop))
    return answer(job_of(meeting, vehicles, catalog, find_book(book), PurchaseWish(), redrill=redrill))
