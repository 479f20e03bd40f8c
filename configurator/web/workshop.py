"""What every page works on: folder, catalogue and book, with what was worked out for each vehicle kept for a while."""

import json
import secrets
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeVar

from starlette.datastructures import QueryParams
from starlette.exceptions import HTTPException

from configurator.advice.availability import Availability
from configurator.advice.work import combination_of
from configurator.book.book import Book, find_book, open_book
from configurator.book.car_now import CarNow, car_now, records_in_book
from configurator.book.car_records import NOTHING_BOOKED, CarRecords, Version
from configurator.book.entry_reading import SomeEntry
from configurator.book.fitting import Fitting
from configurator.book.last_work import LastWork
from configurator.book.records import Trial, car_of
from configurator.book.usual_place import may_be_there
from configurator.catalogue.load import Catalog, load_catalog
from configurator.catalogue.settings import price_text
from configurator.judging.case import Case
from configurator.learning.as_known import Known, known_by
from configurator.learning.belief import AsFitted, Run, felt_as_fitted, run_with
from configurator.learning.recording.recording import MeasuredPull
from configurator.reports import Combination
from configurator.slots.wishes import Wish, choose, pick, read_wishes, word_of
from configurator.web.folder import Filed, Folder, NotThere
from configurator.web.judged import Judged, judged_of
from configurator.web.kept import KeptValues
from configurator.web.state import CarState, state_of

MOST_RUNS = 4000
"""Runs that are kept as they were read."""
AS_FITTED, AS_CHOSEN = "As fitted", "As chosen"
Seen = TypeVar("Seen")


@dataclass(frozen=True)
class Setting:
    """A vehicle of the folder as it is known today, with what the book holds of it; key tells it from every other."""

    key: tuple[Hashable, ...]
    filed: Filed
    now: CarNow
    known: Known
    records: CarRecords

    @property
    def name(self) -> str:
        return self.filed.name

    @property
    def case(self) -> Case:
        return self.known.case

    @property
    def runs(self) -> Sequence[Trial]:
        return self.records.runs


@dataclass(frozen=True)
class ChosenPins:
    """What the user has decided, by what each slot is written as; each word is what a wish takes behind SLOT=."""

    wishes: dict[str, Wish]
    words: dict[str, str]

    @classmethod
    def read(cls, case: Case, words: Sequence[str]) -> "ChosenPins":
        """Pins of the form SLOT=WHAT, of one slot the last; raises BadInput for what names no part. One that means
        several parts is a pin of the part that would be taken of them."""
        said = {wish.slot: wish for wish in read_wishes(case.options, [], words, [])}
        wishes, named = {}, {}
        for slot, wish in said.items():
            place, written = pick(case.options, [wish])[slot], str(slot)
            named[written] = word_of(case.options[slot][place])
            wishes[written] = Wish(f"{written} = {named[written]}", slot, frozenset({place}))
        return cls(wishes, named)

    @property
    def listed(self) -> list[Wish]:
        return list(self.wishes.values())

    @property
    def title(self) -> str:
        """What the choice is called."""
        return AS_CHOSEN if self.words else AS_FITTED

    @property
    def key(self) -> tuple[tuple[str, str], ...]:
        return tuple(sorted(self.words.items()))


@dataclass(frozen=True)
class RunMeasured:
    """What was measured in a run, but for what the book keeps of it. notes : sentences, told once it is in the book."""

    notes: tuple[str, ...] = ()
    pull: MeasuredPull | None = None


NOTHING_MEASURED = RunMeasured()
OPEN = ChosenPins({}, {})
"""Nothing decided."""


class Workshop:
    """Folder, catalogue and book of one `tipin serve`; book as it was named. Safe to use from many threads."""

    def __init__(self, folder: Folder, catalog: Catalog, book: str | None = None) -> None:
        self.folder, self.catalog, self.book = folder, catalog, book
        self.mark = secrets.token_hex(8)
        """Goes into the address of whatever a browser keeps, and the key of what is kept here: another catalogue, or
        another tipin, has another mark."""
        self._settings: KeptValues[Setting] = KeptValues(64)
        self._engines: KeptValues[Availability] = KeptValues(16)
        self._combinations: KeptValues[Combination] = KeptValues(256)
        self._judged: KeptValues[Judged] = KeptValues(64)
        self._said: KeptValues[Run] = KeptValues(MOST_RUNS)
        self._felt: KeptValues[AsFitted] = KeptValues(32)
        self._measured: KeptValues[RunMeasured] = KeptValues(256)
        self._states: KeptValues[CarState] = KeptValues(2000)

    def catalogue_changed(self) -> None:
        """Read the catalogue anew, after it was written. The mark comes last: who reads it first has what it stands
        for."""
        catalog = load_catalog(self.catalog.directory)
        self.folder, self.catalog = Folder(self.folder.path, catalog), catalog
        self.mark = secrets.token_hex(8)

    def records_of(self, vehicle: str) -> CarRecords:
        """What the book holds of a vehicle; nothing where there is no book."""
        return records_in_book(vehicle, self.book)

    def look(self, find: Callable[[Book], Seen], nothing: Seen) -> Seen:
        """What is found in the book; nothing where there is none yet."""
        book = find_book(self.book)
        if book is None:
            return nothing
        with book:
            return find(book)

    def last_work(self) -> dict[str, LastWork]:
        """The last work on every car, by its name."""
        return self.look(Book.last_work, {})

    def stock(self) -> dict[str, int]:
        """How many parts are on the shelf, by code."""
        return self.look(Book.stock, {})

    def book_there(self) -> Book:
        """The book, to write into. Raises a 404 where there is none yet: nobody makes one by taking something back."""
        if not self.look(lambda book: True, False):
            raise HTTPException(404, "There is no book yet.")
        return open_book(self.book)

    def car_at(self, name: str, at: datetime) -> CarNow:
        """A vehicle of the folder as it was then. Raises NotThere and BadInput."""
        vehicle = self.folder.vehicle(name).vehicle
        return car_now(Case.of(vehicle, self.catalog), self.records_of(vehicle.name).until(at))

    def before(self, name: str, entry: int) -> tuple[Setting, Fitting]:
        """A vehicle as it was before the book was told an entry of what is fitted, and that entry. Raises NotThere and
        BadInput."""
        mark, filed = self.mark, self.folder.vehicle(name)
        records = self.records_of(filed.vehicle.name)
        told = next((one for one in records.fittings if one.number == entry), None)
        if told is None:
            raise NotThere(name)
        earlier = records.standing[: records.standing.index(told)]
        before = CarRecords(
            [one for one in earlier if isinstance(one, Trial)], [one for one in earlier if isinstance(one, Fitting)]
        )
        return replace(self._settled(filed, before, mark), key=(mark, filed.digest, records.version, entry)), told

    def entered(self, kind: type[SomeEntry], key: str) -> int | None:
        """Number of what was recorded with a key before; None where nothing was."""
        known = self.look(lambda book: book.entered(kind, key), None)
        return known.number if known else None

    def record(self, run: Trial, key: str, measured: RunMeasured) -> int | None:
        """Number of a run in the book, put there the first time that this key comes."""
        with open_book(self.book) as book:
            number = book.add_trial(run, key).number
        if measured != NOTHING_MEASURED:
            self._measured.get(number, lambda: measured)
        return number

    def measured_in(self, number: int | None) -> RunMeasured:
        """What was measured in a run recorded lately; nothing for another."""
        return self._measured.find(number) or NOTHING_MEASURED

    def fit(self, told: Fitting, key: str) -> int | None:
        """Number of an entry of what is fitted, likewise."""
        with open_book(self.book) as book:
            return book.add_fitting(told, key)[0].number

    def setting(self, name: str) -> Setting:
        """A vehicle of the folder, judged as its runs lead to. Raises NotThere and BadInput."""
        mark, filed = self.mark, self.folder.vehicle(name)
        car = filed.vehicle.name
        key = (mark, filed.digest, self._version_of(car))
        kept = self._settings.get(key, lambda: self._settled(filed, self.records_of(car), mark))
        return replace(kept, filed=filed)

    def asked(self, name: str, query: QueryParams) -> tuple[Setting, ChosenPins]:
        """The setting and the pins that an address speaks of: pin=SLOT=WHAT each, or a slot by its own name."""
        setting = self.setting(name)
        asked = {str(slot): query.get(str(slot)) for slot in setting.case.options}
        named = [f"{slot}={word}" for slot, word in asked.items() if word]
        return setting, ChosenPins.read(setting.case, [*query.getlist("pin"), *named])

    def _settled(self, filed: Filed, records: CarRecords, mark: str) -> Setting:
        now = car_now(Case.of(filed.vehicle, self.catalog), records)
        known = known_by(now.case, records.runs, run=self._said_by)
        known = replace(known, set_aside=[*records.set_aside, *known.set_aside])
        return Setting((mark, filed.digest, records.version), filed, now, known, records)

    def _said_by(self, run: Trial, catalog: Catalog) -> Run:
        """What a run says of the engine: read once, and once for all runs that say the same of the same parts on such a
        day."""

        def fitted() -> AsFitted:
            return felt_as_fitted(Case.of(car_of(run), catalog), traced=traced, pulled=pulled)

        traced, pulled = run.trace is not None, run.pull is not None
        on = run.conditions.model_dump_json()
        day = (self.mark, json.dumps(run.car, sort_keys=True), on, traced, pulled)
        felt = (day, repr(run.felt), repr(run.trace), repr(run.pull))
        return replace(self._said.get(felt, lambda: run_with(run, self._felt.get(day, fitted))), number=run.number)

    def price(self, amount: float) -> str:
        """An amount of money as the catalogue has it."""
        return price_text(amount, self.catalog.currency)

    def engine(self, setting: Setting) -> Availability:
        """The availability engine of a setting."""
        return self._engines.get(setting.key, lambda: Availability.of(setting.known.choosing()))

    def combination(self, setting: Setting, pins: ChosenPins) -> Combination:
        """The parts as fitted with the pins in their places, judged by every rule; without how sure it is, which takes
        longer than all the rest."""
        case, wishes = setting.case, pins.listed
        choice = choose(case.options, pins.listed)
        felt = setting.known.felt_with(choice)
        key = (setting.key, pins.key)
        return self._combinations.get(key, lambda: combination_of(case, choice, pins.title, wishes, felt=felt))

    def judged(self, setting: Setting) -> Judged:
        """What the commands say is next on a car, worked out now where it is not kept."""
        judged = self._judged.get(setting.key, lambda: judged_of(setting.known, setting.runs))
        self._states.get(setting.key, lambda: state_of(setting.known, setting.runs, judged.report))
        return judged

    def judged_before(self, setting: Setting) -> Judged | None:
        """The same if it was worked out already."""
        return self._judged.find(setting.key)

    def _version_of(self, vehicle: str) -> Version:
        if not may_be_there(self.book):
            return NOTHING_BOOKED
        return self.look(lambda book: book.version_of_car(vehicle), NOTHING_BOOKED)

    def state(self, filed: Filed, version: Version) -> CarState | None:
        """A car's state in a few words, if it was worked out for what the file and the book say now."""
        return self._states.find((self.mark, filed.digest, version))
