"""A car as it is known today: the parts that are in it, and the engine that its runs, a symptom, or else its vehicle
file speak for."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cached_property

from configurator.book.car_now import car_now, is_in, records_in_book
from configurator.book.car_records import SetAside
from configurator.book.entry_reading import judged_in
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.catalogue.load import Catalog
from configurator.judging.case import Case, FeltSizes
from configurator.judging.feelings import WHEN_NOT_SAID, Symptom
from configurator.judging.findings import NOTHING_FELT, FeltWith
from configurator.judging.table import NEARLY_AS_SURE, as_sure_as_can_be
from configurator.learning.belief import Belief, Run, belief_of, counts, newest_first, prior_of, run_of, symptom_of
from configurator.learning.felt_sizes import felt_sizes, goes_with, with_last_feeling
from configurator.slots.options import Choice
from configurator.slots.wishes import Wish

SURE_ENOUGH = 0.9
"""Share of what the runs leave that parts are to be right for, where nobody says another."""
A_PART_IS_WORTH = 0.1
"""How much surer a further part is to make it, to be changed for that: a run that it saves takes about as long as two
parts (assumed; docs/belief.md has what searches come of it)."""

CHANGED = (
    "one of the two was misjudged, or something else has changed (linkage, float, the weather, parts not as written "
    "down); look for that, and run it once more"
)


@dataclass(frozen=True)
class Known:
    """A case with its linkage set, in the engine to judge by; and the belief of runs and a symptom, if any."""

    case: Case
    says: str
    belief: Belief | None = None
    left_out: int = 0
    """Runs that do not count."""
    last_felt: Symptom | None = None
    """What was felt last with the parts that are in the car: now, or in the last run that counts."""
    last_run: int | None = None
    """Number of the run it was felt in; none where it is felt now."""
    went_clean: Trial | None = None
    """The last run that was clean, where other parts are in the car now and complained of: then those go back in."""
    clean_before: Trial | None = None
    """The clean run with the very parts that are in the car, where they are complained of for the first time since."""
    set_aside: Sequence[SetAside] = ()
    """Runs, and what was told to be fitted, that cannot be read or judged: they count for nothing."""
    sizes: Mapping[str, FeltSizes] = field(default_factory=dict)
    """The nozzles of each circuit that were felt too small or large enough beside what is fitted."""

    @property
    def believed(self) -> Belief:
        """What is believed of the engine: before any run, what is of any."""
        return self.belief or replace(prior_of(self.case), left_out=self.left_out)

    @property
    def complained_again(self) -> bool:
        """Whether what is in the car was complained of twice, the same way."""
        return any(sizes.again for sizes in self.sizes.values())

    @property
    def came_back(self) -> list[str]:
        """That what is complained of pulled cleanly before with the very same parts; none where it did not."""
        run = self.clean_before
        return [f"run {run.number} pulled cleanly with these very parts, now complained of: {CHANGED}"] if run else []

    def felt_with(self, choice: Choice) -> FeltWith:
        """What was felt with these very parts: now, or in their last run."""
        if self.last_felt and not any(option.changed for option in choice.values()):
            by = f"run {self.last_run}" if self.last_run else "felt now"
            return (
                FeltWith(complaint=f"{by}: {self.last_felt.says}", side=self.last_felt.side)
                if self.last_felt.side
                else FeltWith(self.says.partition(":")[0])
            )
        run = self.went_clean
        if run and all(run.codes.get(str(slot), option.label) == option.label for slot, option in choice.items()):
            return FeltWith(f"run {run.number} pulled cleanly")
        return NOTHING_FELT

    @property
    def judged(self) -> list[str]:
        """By what runs a car is judged, a sentence; none where the vehicle file alone speaks for it."""
        return [f"judged {self.says}"] if self.belief is not None and not self.pulls_cleanly else []

    @cached_property
    def back_to_clean(self) -> list[Wish]:
        """The parts of the run that went clean that are not in the car now; none where the catalogue has no more."""
        run, wishes = self.went_clean, []
        for slot, options in self.case.options.items() if run else ():
            label = run.codes.get(str(slot)) if run else None
            option = options.labelled(label) if label and label != options[0].label else None
            if run and option is not None:
                same = {*options.own, *options.of_code(option.code or "")}
                places = frozenset(place for place in same if options[place] == option)
                wishes.append(Wish(f"run {run.number} pulled cleanly with {label}", slot, places, felt=True))
        return wishes

    @property
    def pulls_cleanly(self) -> bool:
        """Whether what is in the car was felt to pull cleanly last: then the fuel side is left alone."""
        return self.last_felt is not None and not self.last_felt.side

    @property
    def a_run_says_right(self) -> bool:
        """Whether it pulled cleanly with what is in, or did with what goes back in: no model is asked then."""
        return self.pulls_cleanly or self.went_clean is not None

    def choosing(self, wishes: Sequence[Wish] = (), share: float | None = None, nearly: float = NEARLY_AS_SURE) -> Case:
        """The case that parts are chosen by: right for a share of what the runs leave, or in the engine of the vehicle
        file where there is no run. share : None where nobody asks for one: then SURE_ENOUGH, or as much as the parts
        for it are worth."""
        if self.belief is None:
            return self.case
        if self.a_run_says_right:
            return self.tables.content_with(0.0)
        weighed = A_PART_IS_WORTH if share is None and nearly < 1.0 else 0.0
        return as_sure_as_can_be(self.tables.content_with(share or SURE_ENOUGH), wishes, nearly, weighed)

    @property
    def looked_up_in(self) -> Case:
        """The case that single choices are judged in: looked up in the tables, where there is a belief."""
        return self.case if self.belief is None else self.tables

    @cached_property
    def tables(self) -> Case:
        """The case whose tables tell the engines that each combination is right for: of all parts they are worked out
        once, whatever share is asked for."""
        return self.case.asking(self.believed.masses, SURE_ENOUGH, self.sizes)


def as_known(case: Case, place: str | None, symptom: Symptom | None = None) -> Known:
    """By the workshop book. case : of the vehicle file.

    place : of the book, as find_book takes it. Raises BadInput for a book that cannot be read.
    """
    records = records_in_book(case.vehicle.name, place)
    known = known_by(car_now(case, records).case, records.runs, symptom)
    return replace(known, set_aside=[*records.set_aside, *known.set_aside])


def known_by(
    case: Case,
    runs: Sequence[Trial],
    symptom: Symptom | None = None,
    run: Callable[[Trial, Catalog], Run] = run_of,
) -> Known:
    """With runs or a symptom, which is one more run of what is fitted, the middle of the belief they leave; without,
    the engine as the vehicle file has it. case : of the car as it is now. run : what one run says."""
    runs, aside = judged_in(case.catalog, runs)
    belief = belief_by(case, runs, symptom, run)
    if belief is None:
        told = "by the vehicle file: no run has been logged"
        return Known(case.with_linkage_set(), told, left_out=len(runs), set_aside=aside)
    with_these = [run for run in newest_first(runs) if is_in(case, run)]
    last = next(iter(with_these), None)
    last_felt = symptom or (symptom_of(last) if last else None)
    if last_felt and not last_felt.side:
        says = "it pulls cleanly as it is" if symptom or last is None else f"run {last.number} pulled cleanly"
        says = f"{says}: the fuel side is left alone"
    elif symptom and not belief.runs:
        says = f"by what was felt: {symptom.says}"
        says += f" ({WHEN_NOT_SAID})" if symptom.leaves_open_when else ""
    else:
        says = f"by {belief.runs} run{'s' * (belief.runs > 1)}" + (" and what is felt now" if symptom else "")
    judged = case.at(belief.middle).with_linkage_set()
    sizes = with_last_feeling(judged, felt_sizes(judged, runs, symptom), last_felt)
    clean = last_clean(runs) if last_felt and last_felt.side else None
    if clean is not None and (is_in(judged, clean) or not goes_with(judged, sizes, clean)):
        clean = None
    before = next(iter(with_these if symptom else with_these[1:]), None)
    if not (last_felt and last_felt.side and before and (felt := symptom_of(before)) and not felt.side):
        before = None
    number = None if symptom or last is None else last.number
    known = Known(judged, says, belief, belief.left_out, last_felt, number, clean, before, aside, sizes)
    return known if known.back_to_clean else replace(known, went_clean=None)


def felt_today(case: Case, felt: Symptom) -> Trial:
    """A symptom as one more run, of what is fitted."""
    return trial_of(case, datetime.now(UTC), Felt(word=felt.word, moment=felt.moment), Conditions())


def belief_by(
    case: Case, runs: Sequence[Trial], felt: Symptom | None = None, run: Callable[[Trial, Catalog], Run] = run_of
) -> Belief | None:
    """What runs of a vehicle say of it; None where there is none that counts and nothing is felt.

    felt : a symptom that counts as one more run, of what is fitted. run : what one run says.
    """
    if felt is None and not any(map(counts, runs)):
        return None
    if felt is not None:
        believed = belief_of(case, [*runs, felt_today(case, felt)], run)
        return replace(believed, runs=believed.runs - 1, felt_now=True)
    return belief_of(case, runs, run)


def last_clean(runs: Iterable[Trial]) -> Trial | None:
    """The last clean run that no later run with the same parts complains of."""
    complained: list[Mapping[str, str]] = []
    for run in newest_first(runs):
        felt = symptom_of(run)
        if felt and not felt.side and run.codes not in complained:
            return run
        if felt and felt.side:
            complained.append(run.codes)
    return None
