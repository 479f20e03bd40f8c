"""What every page works on: folder, catalogue and book, with what was worked out for each vehicle kept for a while."""

import secrets
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256

from starlette.datastructures import QueryParams

from configurator.advice.availability import Availability
from configurator.advice.next_step import NextReport, what_next
from configurator.advice.work import combination_of
from configurator.book.book import open_book
from configurator.book.car_now import car_now, records_in_book
from configurator.book.car_records import CarRecords, RunOrFitting
from configurator.book.records import Trial
from configurator.catalogue.load import Catalog
from configurator.judging.case import Case
from configurator.judging.feelings import Symptom, read_symptom
from configurator.learning.as_known import Known, known_by
from configurator.reports import Combination
from configurator.slots.wishes import Wish, choose, pick, read_wishes, word_of
from configurator.web.folder import Filed, Folder
from configurator.web.kept import KeptValues

AS_FITTED, AS_CHOSEN = "As fitted", "As chosen"
MOST_FORMS = 1000
"""Forms that are known to be in the book already."""


@dataclass(frozen=True)
class Setting:
    """A vehicle of the folder as it is known today, with its runs; key tells it from every other."""

    key: tuple[Hashable, ...]
    filed: Filed
    known: Known
    symptom: Symptom | None
    runs: Sequence[Trial]

    @property
    def name(self) -> str:
        return self.filed.name

    @property
    def case(self) -> Case:
        return self.known.case


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


OPEN = ChosenPins({}, {})
"""Nothing decided."""


class Workshop:
    """Folder, catalogue and book of one `tipin serve`; book as it was named. Safe to use from many threads."""

    def __init__(self, folder: Folder, catalog: Catalog, book: str | None = None) -> None:
        self.folder, self.catalog, self.book = folder, catalog, book
        self.mark = secrets.token_hex(8)
        """Goes into the address of whatever a browser keeps: another catalogue, or another tipin, has another mark."""
        self._settings: KeptValues[Setting] = KeptValues(64)
        self._engines: KeptValues[Availability] = KeptValues(16)
        self._judged: KeptValues[Combination] = KeptValues(256)
        self._next: KeptValues[NextReport] = KeptValues(32)
        # By what was sent. The book has no place for it, so a form sent again after a new start is a new run.
        self._recorded: KeptValues[int | None] = KeptValues(MOST_FORMS)

    def records_of(self, vehicle: str) -> CarRecords:
        """What the book holds of a vehicle; nothing where there is no book."""
        return records_in_book(vehicle, self.book)

    def case_at(self, name: str, at: datetime) -> Case:
        """A vehicle of the folder as it was then. Raises NotThere and BadInput."""
        vehicle = self.folder.vehicle(name).vehicle
        return car_now(Case.of(vehicle, self.catalog), self.records_of(vehicle.name).until(at)).case

    def record(self, run: Trial, sent: Hashable) -> int | None:
        """Number of a run in the book, put there the first time that this form is sent."""

        def put_in() -> int | None:
            with open_book(self.book) as book:
                return book.add_trial(run).number

        return self._recorded.get(sent, put_in)

    def setting(self, name: str, symptom: str | None, moment: str | None = None) -> Setting:
        """A vehicle of the folder, judged as its runs and a symptom lead to; a moment counts where it goes with the
        symptom, which may be another by now. Raises NotThere and BadInput."""
        filed, felt = self.folder.vehicle(name), read_symptom(symptom or None)
        felt = read_symptom(symptom, moment) if felt and moment in felt.moments else felt
        records = self.records_of(filed.vehicle.name)
        key = (filed.name, filed.digest, _digest_of(records.in_order), felt.says if felt else "")
        kept = self._settings.get(key, lambda: self._settled(filed, felt, records))
        return replace(kept, filed=filed, runs=records.runs)

    def asked(self, name: str, query: QueryParams) -> tuple[Setting, ChosenPins]:
        """The setting and the pins that an address speaks of: pin=SLOT=WHAT each, or a slot by its own name."""
        setting = self.setting(name, query.get("symptom"), query.get("moment"))
        asked = {str(slot): query.get(str(slot)) for slot in setting.case.options}
        named = [f"{slot}={word}" for slot, word in asked.items() if word]
        return setting, ChosenPins.read(setting.case, [*query.getlist("pin"), *named])

    def _settled(self, filed: Filed, felt: Symptom | None, records: CarRecords) -> Setting:
        now = car_now(Case.of(filed.vehicle, self.catalog), records).case
        known = known_by(now, records.runs, felt)
        key = (filed.digest, felt.says if felt else "", known.case.engine, now.vehicle.fitted.model_dump_json())
        return Setting(key, filed, known, felt, records.runs)

    def engine(self, setting: Setting) -> Availability:
        """The availability engine of a setting."""
        return self._engines.get(setting.key, lambda: Availability.of(setting.known.choosing()))

    def judged(self, setting: Setting, pins: ChosenPins) -> Combination:
        """The parts as fitted with the pins in their places, judged by every rule; without how sure it is, which takes
        longer than all the rest."""
        case, wishes = setting.case, pins.listed
        choice = choose(case.options, pins.listed)
        felt = setting.known.felt_with(choice)
        key = (setting.key, pins.key, felt)
        return self._judged.get(key, lambda: combination_of(case, choice, pins.title, wishes, felt=felt))

    def next_run(self, setting: Setting) -> NextReport:
        """What to try next, by the runs in the book."""
        key = (*setting.key, _digest_of(setting.runs))
        return self._next.get(key, lambda: what_next(setting.known))


def _digest_of(entries: Sequence[RunOrFitting]) -> str:
    return sha256("\n".join(entry.model_dump_json() for entry in entries).encode()).hexdigest()
