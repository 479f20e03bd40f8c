"""From a meeting, its vehicles and the workshop book to an order that can be planned."""

from collections.abc import Callable, Sequence

from configurator.case import Case
from configurator.catalog import Catalog
from configurator.solver.order import Wish
from configurator.solver.order_answer import Job
from configurator.solver.order_model import Market, Wanted
from configurator.stopping import heed
from configurator.vehicle import Vehicle
from configurator.workshop.belief import belief_of
from configurator.workshop.book import Book
from configurator.workshop.meeting import Meeting
from configurator.workshop.needs import needs_of
from configurator.workshop.records import Trial
from configurator.workshop.shelves import articles

SCENARIOS = 20
"""Equal shares that each belief is cut into: sureness is told in steps of 5 %."""


def job_of(
    meeting: Meeting,
    vehicles: Sequence[Vehicle],
    catalog: Catalog,
    book: Book | None,
    wish: Wish,
    *,
    redrill: bool,
    progress: Callable[[str], None] = lambda text: None,
) -> Job:
    """The order for the vehicles of a meeting, in its order, with what the book knows of them and has on the shelf.

    book : closed afterwards; None where there is none. Raises BadInput for a vehicle that the catalogue does not
    suit, and Stopped if it was stopped from outside.
    """
    cases = [Case.of(vehicle, catalog) for vehicle in vehicles]
    shelf: dict[str, int] = {}
    trials: dict[str, list[Trial]] = {case.vehicle.name: [] for case in cases}
    if book is not None:
        with book:
            shelf = book.stock()
            trials = {name: book.trials(name) for name in trials}
    wanted, runs = [], {}
    for appointment, case in zip(meeting.vehicle, cases, strict=True):
        heed()
        name = case.vehicle.name
        progress(f"{name}: what its box might hold")
        belief = belief_of(case, trials[name])
        runs[name] = belief.runs
        needs = needs_of(case, belief.scenarios(SCENARIOS), redrill=redrill)
        wanted.append(Wanted(needs, appointment.day, appointment.sureness or meeting.sureness))
    market = Market(
        articles(catalog), catalog.suppliers, shelf, list(catalog.consumables.values()),
        list(catalog.drill_bits.values()), meeting.today,
    )  # fmt: skip
    return Job(meeting.name, wanted, market, wish, runs)
