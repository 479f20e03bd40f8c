"""What every page works on: folder, catalogue and book, with what was worked out for each vehicle kept for a while."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import sha256

from starlette.datastructures import QueryParams

from configurator.case import Case
from configurator.catalog import Catalog
from configurator.reports import Combination
from configurator.solver.availability import Availability
from configurator.symptoms import Symptom, read_symptom
from configurator.web.folder import Filed, Folder
from configurator.web.kept import Kept
from configurator.wishes import Wish, choose, read_wishes, word_of
from configurator.worklist import combination_of
from configurator.workshop.as_known import Known, as_known
from configurator.workshop.book import find_book
from configurator.workshop.records import Trial
from configurator.workshop.what_next import NextReport, what_next

AS_FITTED = "As fitted"


@dataclass(frozen=True)
class Setting:
    """A vehicle of the folder as it is known today, with its runs; key tells it from every other."""

    key: tuple[str, str, float]
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
class Pins:
    """What the user has decided, by slot; each word is what --with takes behind SLOT=."""

    wishes: dict[str, Wish]
    words: dict[str, str]

    @classmethod
    def read(cls, case: Case, words: Sequence[str]) -> "Pins":
        """Pins of the form SLOT=WHAT, of one slot the last; raises BadInput for what names no part."""
        last = {word.partition("=")[0].strip(): word for word in words}
        wishes = {wish.slot: wish for wish in read_wishes(case.options, [], list(last.values()), [])}
        named = {}
        for slot, wish in wishes.items():
            only = [word_of(case.options[slot][place]) for place in wish.allowed]
            named[slot] = only[0] if len(only) == 1 else wish.text.partition(" = ")[2]
        return cls(wishes, named)

    @property
    def listed(self) -> list[Wish]:
        return list(self.wishes.values())

    @property
    def key(self) -> tuple[tuple[str, str], ...]:
        return tuple(sorted(self.words.items()))


OPEN = Pins({}, {})
"""Nothing decided."""


class Workshop:
    """Folder, catalogue and book of one `tipin serve`; book as --book names it. Safe to use from many threads."""

    def __init__(self, folder: Folder, catalog: Catalog, book: str | None = None) -> None:
        self.folder, self.catalog, self.book = folder, catalog, book
        self._settings: Kept[Setting] = Kept(64)
        self._engines: Kept[Availability] = Kept(16)
        self._judged: Kept[Combination] = Kept(256)
        self._next: Kept[NextReport] = Kept(32)

    def runs_of(self, vehicle: str, *, with_undone: bool = False) -> list[Trial]:
        """Runs of a vehicle in the book; none where there is no book."""
        book = find_book(self.book)
        if book is None:
            return []
        with book:
            return book.trials(vehicle, with_undone)

    def setting(self, name: str, symptom: str | None) -> Setting:
        """A vehicle of the folder, judged as its runs and a symptom lead to. Raises NotThere and BadInput."""
        filed, felt = self.folder.vehicle(name), read_symptom(symptom or None)
        runs = self.runs_of(filed.vehicle.name)
        key = (filed.name, filed.digest, _digest_of(runs), felt)
        kept = self._settings.get(key, lambda: self._settled(filed, felt, runs))
        return replace(kept, filed=filed, runs=runs)

    def asked(self, name: str, query: QueryParams) -> tuple[Setting, Pins]:
        """The setting and the pins that an address speaks of: pin=SLOT=WHAT each, or a slot by its own name."""
        setting = self.setting(name, query.get("symptom"))
        named = [f"{slot}={query[slot]}" for slot in setting.case.options if query.get(slot)]
        return setting, Pins.read(setting.case, [*query.getlist("pin"), *named])

    def _settled(self, filed: Filed, felt: Symptom | None, runs: Sequence[Trial]) -> Setting:
        known = as_known(Case.of(filed.vehicle, self.catalog), self.book, felt)
        key = (filed.digest, felt.word if felt else "", known.case.factor)
        return Setting(key, filed, known, felt, runs)

    def engine(self, setting: Setting) -> Availability:
        """The availability engine of a setting."""
        return self._engines.get(setting.key, lambda: Availability.of(setting.case, setting.known.wishes))

    def judged(self, setting: Setting, pins: Pins, title: str) -> Combination:
        """The parts as fitted with the pins in their places, judged by every rule; without windows, which take longer
        than all the rest."""
        case, wishes = setting.case, [*setting.known.wishes, *pins.listed]
        choice = choose(case.options, pins.listed)
        return self._judged.get(
            (setting.key, pins.key, title), lambda: combination_of(case, choice, title, wishes, with_windows=False)
        )

    def next_run(self, setting: Setting) -> NextReport:
        """What to try next, by the runs in the book."""
        case = Case.of(setting.filed.vehicle, self.catalog)
        key = (setting.filed.digest, _digest_of(setting.runs))
        return self._next.get(key, lambda: what_next(case, setting.runs))


def _digest_of(runs: Sequence[Trial]) -> str:
    return sha256("\n".join(run.model_dump_json() for run in runs).encode()).hexdigest()
