"""From a meeting, its vehicles and the workshop book to an order that can be planned.

Vehicles that are technically equal are worked out once: what their parts cover, and what a run with one car in one air
says. Beliefs then only cut that into scenarios.
"""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import replace

from configurator.book.book import Book
from configurator.book.car_now import car_now
from configurator.book.car_records import CarRecords, SetAside
from configurator.book.entry_reading import judged_in
from configurator.book.fitting import Fitting
from configurator.book.records import Trial
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, Fault
from configurator.judging.case import Case
from configurator.judging.feelings import Symptom, read_symptom
from configurator.judging.unmeasured import deeper_pumps
from configurator.learning.as_known import Known, felt_today, known_by
from configurator.learning.belief import Run, counts, run_with, symptom_of
from configurator.ordering.answer import LeftAlone, OrderJob
from configurator.ordering.articles import articles, by_codes, under_one_code, worth_a_look
from configurator.ordering.groups import Kinds, greatest_needs, groups_of
from configurator.ordering.meeting import Meeting
from configurator.ordering.needs import Choices, VehicleNeeds, needs_of_one
from configurator.ordering.needs_pieces import (
    Arrays,
    Piece,
    Workers,
    fitted_from,
    here,
    regions_from,
    regions_piece,
    run_key,
    run_piece,
)
from configurator.ordering.plan import PurchaseWish, Wanted
from configurator.ordering.purchase import Market
from configurator.slots.offered import stocks_of
from configurator.slots.wishes import choose
from configurator.stopping import heed

CUT = (4, 6)
"""So many times each belief is cut along either unknown: a search counts in steps of some 4 %, sureness is told of the
box that it finds."""
ASKED_ONE_BY_ONE = 100
"""Vehicles whose runs are asked for singly; beyond it the whole book is read once."""
MOST_ARTICLES = 1000
"""Articles up to which all that is sold counts, useful or not."""


def job_of(
    meeting: Meeting,
    vehicles: Sequence[Vehicle],
    catalog: Catalog,
    book: Book | None,
    wish: PurchaseWish,
    *,
    redrill: bool,
    progress: Callable[[str], None] = lambda text: None,
    workers: Workers = here,
) -> OrderJob:
    """The order for the vehicles of a meeting, in its order, with what the book knows of them and has on the shelf.

    book : closed afterwards; None where there is none. workers : who do the long part. Raises BadInput for a vehicle
    that the catalogue does not suit or that has several carburettors, and Stopped if it was stopped from outside.
    """
    _refuse_several_carburettors(vehicles)
    catalog = by_codes(catalog)
    shelf: dict[str, int] = {}
    records: dict[str, CarRecords] = {}
    if book is not None:
        with book:
            shelf, records = book.stock(), _records_in(book, [vehicle.name for vehicle in vehicles])
    records = {name: _judged(own, catalog) for name, own in records.items()}
    vehicles = [_as_it_is(vehicle, catalog, records.get(vehicle.name)) for vehicle in vehicles]
    models = [regions_piece(vehicle, redrill=redrill) for vehicle in vehicles]
    pieces: dict[str, Piece] = {}
    for piece in models:
        pieces.setdefault(piece.key, piece)
    cases = {key: Case.of(piece.vehicle, catalog) for key, piece in pieces.items()}
    trials = {name: own.runs for name, own in records.items()}
    felt = [read_symptom(appointment.symptom, appointment.when) for appointment in meeting.vehicle]
    today = {(piece.key, one.word): felt_today(cases[piece.key], one)
             for piece, one in zip(models, felt, strict=True) if one}  # fmt: skip
    runs = _Runs([*(trial for own in trials.values() for trial in own), *today.values()])
    pieces |= {piece.key: piece for piece in runs.pieces.values()}
    found: dict[str, Arrays] = {}
    progress(f"what each box might hold (0 of {len(pieces)})")
    for piece, arrays in workers(list(pieces.values()), catalog):
        found[piece.key] = arrays
        progress(f"{piece.who}: what its box might hold ({len(found)} of {len(pieces)})")
    boxes = _Boxes(cases, runs, found, redrill)
    shelf = under_one_code(shelf, stocks_of(catalog).stands_for)
    wanted, left_alone, behind, deeper = [], [], {}, {}
    for appointment, vehicle, piece, symptom in zip(meeting.vehicle, vehicles, models, felt, strict=True):
        heed()
        deeper[vehicle.name] = deeper_pumps(cases[piece.key])
        needs, known = boxes.of(piece.key, trials.get(vehicle.name, []), symptom)
        aside = records.get(vehicle.name, CarRecords()).set_aside
        behind[vehicle.name] = replace(known, set_aside=aside) if aside else known  # equal cars share what is known
        goes_back = _taken_back(known, shelf)
        if needs is None:
            left_alone.append(LeftAlone(vehicle.name, appointment.day, known.says))
        elif goes_back is not None and known.went_clean:
            shelf = goes_back
            says = f"run {known.went_clean.number} pulled cleanly: its parts, which are at hand, go back in"
            left_alone.append(LeftAlone(vehicle.name, appointment.day, says))
        else:
            sureness = appointment.sureness or meeting.sureness
            wanted.append(Wanted(replace(needs, name=vehicle.name), appointment.day, sureness))
    market = Market(
        articles(catalog), catalog.suppliers, shelf,
        list(catalog.consumables.values()), list(catalog.drill_bits.values()), meeting.today,
        fill=wish.fill, labour_per_hour=round(100 * meeting.labour_per_hour),
    )  # fmt: skip
    return OrderJob(meeting.name, wanted, _of_use(market, wanted), wish, behind, left_alone, catalog.currency, deeper)


def _taken_back(known: Known, shelf: Mapping[str, int]) -> dict[str, int] | None:
    """The shelf without the parts of an earlier clean run that go back into a car; None where none do, or one of them
    would have to be bought or made."""
    left, stands_for = dict(shelf), stocks_of(known.case.catalog).stands_for
    for wish in known.back_to_clean:
        options = [known.case.options[wish.slot][place] for place in sorted(wish.allowed)]
        codes = [stands_for.get(one.code, one.code) for one in options if one.work == "fit" and one.code]
        at_hand = next((code for code in codes if left.get(code, 0) > 0), None)
        if at_hand is not None:
            left[at_hand] -= 1
        elif codes or all(one.price for one in options):
            return None
    return left if known.back_to_clean else None


def _refuse_several_carburettors(vehicles: Sequence[Vehicle]) -> None:
    """Parts are counted for one carburettor: raises BadInput for a vehicle with more."""
    several = [vehicle for vehicle in vehicles if vehicle.carburettor.count > 1]
    if several:
        remedy = "order what `tipin propose` lists by hand, once for each carburettor"
        raise BadInput([
            Fault(vehicle.file or vehicle.name, "[carburettor] count",
                  f"is {vehicle.carburettor.count}, and an order counts parts for one", "1", remedy)
            for vehicle in several
        ])  # fmt: skip


def _of_use(market: Market, wanted: Sequence[Wanted]) -> Market:
    """A market without what no box could use, where it sells very much. Of a smaller one everything counts, since any
    goods make up a sum that a supplier wants."""
    if len(market.articles) <= MOST_ARTICLES:
        return market
    groups = groups_of(wanted, market, Kinds())
    drills = {code for group in groups for drill in group.maker.drills for code in market.drills_of(drill[1])}
    most = greatest_needs(groups) | dict.fromkeys(drills, 1)
    articles = worth_a_look(market.articles, most)
    return replace(market, articles=articles, left_out=len(market.articles) - len(articles))


def _records_in(book: Book, names: Sequence[str]) -> dict[str, CarRecords]:
    """What the book holds of vehicles, by name."""
    if len(names) <= ASKED_ONE_BY_ONE:
        return {name: book.records(name) for name in names}
    runs: dict[str, list[Trial]] = {name: [] for name in names}
    fittings: dict[str, list[Fitting]] = {name: [] for name in names}
    aside: dict[str, list[SetAside]] = {name: [] for name in names}
    held = book.records()
    for run in held.runs:
        if run.vehicle in runs:
            runs[run.vehicle].append(run)
    for told in held.fittings:
        if told.vehicle in fittings:
            fittings[told.vehicle].append(told)
    for one in held.set_aside:
        if one.vehicle in aside:
            aside[one.vehicle].append(one)
    return {name: CarRecords(runs[name], fittings[name], aside[name]) for name in names}


def _judged(own: CarRecords, catalog: Catalog) -> CarRecords:
    """The same with those runs set aside, too, that cannot be put in front of the catalogue."""
    runs, aside = judged_in(catalog, own.runs)
    return CarRecords(runs, own.fittings, [*own.set_aside, *aside])


def _as_it_is(vehicle: Vehicle, catalog: Catalog, records: CarRecords | None) -> Vehicle:
    """The vehicle with what is in it now by the book."""
    if records is None or not records.standing:
        return vehicle
    return car_now(Case.of(vehicle, catalog), records).case.vehicle


class _Runs:
    """The runs that count, with the piece of work that each of them takes."""

    def __init__(self, trials: Sequence[Trial]) -> None:
        self._said: dict[tuple[str, str], Run] = {}
        self._keys = {id(trial): run_key(trial) for trial in trials if counts(trial)}
        self.pieces: dict[str, Piece] = {}
        """By the key of a run's car and air."""
        for trial in trials:
            key = self._keys.get(id(trial))
            if key is not None and key not in self.pieces:
                self.pieces[key] = run_piece(trial, key)

    def content(self, trial: Trial) -> tuple[str, str]:
        """All that a run says: runs that share it say the same, whatever their vehicle or number."""
        felt = "" if trial.felt is None else trial.felt.model_dump_json()
        key = self._keys.get(id(trial)) or run_key(trial)
        felt = felt if trial.trace is None else trial.trace.model_dump_json()
        return key, felt + (trial.pull.model_dump_json() if trial.pull else "")

    def said(self, trial: Trial, catalog: Catalog, found: Mapping[str, Arrays]) -> Run:
        """What a run says; its number is left out, since runs that say the same share it."""
        content = self.content(trial)
        if content not in self._said:
            fitted = fitted_from(found[self.pieces[content[0]].key])
            self._said[content] = replace(run_with(trial, fitted), number=None)
        return self._said[content]


class _Boxes:
    """Needs of vehicles, made once for those that are technically equal and whose runs say the same."""

    def __init__(self, cases: Mapping[str, Case], runs: _Runs, found: Mapping[str, Arrays], redrill: bool) -> None:
        self._cases, self._runs, self._found = cases, runs, found
        self._choices = {key: Choices(case, regions_from(found[key]), redrill=redrill) for key, case in cases.items()}
        self._known: dict[Hashable, Known] = {}
        self._made: dict[Hashable, VehicleNeeds] = {}

    def of(self, model: str, trials: Sequence[Trial], symptom: Symptom | None) -> tuple[VehicleNeeds | None, Known]:
        """Needs of a vehicle by the key of its model, its runs and what it feels like today, None for one that pulls
        cleanly; and what is known of it. Needs do not hang on the order of runs, but for the sizes that it leaves."""
        counted = sorted(filter(counts, trials), key=lambda trial: (trial.at, trial.number or 0))
        today = symptom and (symptom.word, symptom.moment)
        key = (model, today, *map(self._told, counted))
        if key not in self._known:
            self._known[key] = known_by(
                self._cases[model], counted, symptom,
                lambda trial, catalog: self._runs.said(trial, catalog, self._found),
            )  # fmt: skip
        known = self._known[key]
        if known.pulls_cleanly:
            return None, known
        alike = (model, today, tuple(sorted(map(self._runs.content, counted))), tuple(sorted(known.sizes.items())))
        if known.went_clean:
            return needs_of_one(known.case, choose(known.case.options, known.back_to_clean), known.believed, CUT), known
        if alike not in self._made:
            self._made[alike] = self._choices[model].needs(known.believed, CUT, known.sizes)
        return self._made[alike], known

    def _told(self, trial: Trial) -> Hashable:
        """All of a run that what is known of a vehicle hangs on, beside its place among the others: its number where it
        is named."""
        felt = symptom_of(trial)
        named = trial.number if felt and not felt.side else None
        return self._runs.content(trial), tuple(sorted(trial.codes.items())), named
