"""A case as it is known today: the engine that its runs, a symptom, or else its vehicle file speak for."""

from collections.abc import Sequence
from dataclasses import dataclass

from configurator.book.records import Trial
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS, Symptom, ruled_out
from configurator.judging.table import NEARLY_AS_SURE, asking
from configurator.learning.belief import Belief, counts, prior_of
from configurator.learning.belief_in_book import belief_by, runs_in_book
from configurator.slots.options import Choice
from configurator.slots.wishes import Wish

SURE_ENOUGH = 0.9
"""Share of what the runs leave that parts are to be right for, where nobody says another."""


@dataclass(frozen=True)
class Known:
    """A case with its linkage set, in the engine to judge by; what a symptom rules out, and the belief of runs and
    a symptom, if any."""

    case: Case
    wishes: Sequence[Wish]
    says: str
    belief: Belief | None
    pulls_cleanly: bool = False
    """Whether what is in the car was felt to pull cleanly last: then the fuel side is left alone."""
    as_it_pulls: Sequence[Wish] = ()
    """The parts of that run that the vehicle file has otherwise."""

    runs: Sequence[Trial] = ()
    symptom: Symptom | None = None

    def clean_with(self, choice: Choice) -> str:
        """What says that these very parts pull cleanly; empty where nothing does."""
        return says_clean(self.runs, choice, self.symptom)

    @property
    def believed(self) -> Belief:
        """What is believed of the engine: before any run, what is of any."""
        return self.belief or prior_of(self.case)

    def choosing(self, wishes: Sequence[Wish] = (), share: float = SURE_ENOUGH, nearly: float = NEARLY_AS_SURE) -> Case:
        """The case that parts are chosen by: right for a share of what the runs leave, or in the engine of the vehicle
        file where there is no run."""
        if self.belief is None:
            return self.case
        if self.pulls_cleanly:
            return self.case.asking(self.belief.masses, 0.0)
        return asking(self.case, self.belief.masses, share, [*self.wishes, *wishes], nearly)


def as_known(case: Case, place: str | None, symptom: Symptom | None = None) -> Known:
    """By the runs of the vehicle in the workshop book.

    place : of the book, as find_book takes it. Raises BadInput for a book that cannot be read.
    """
    return known_by(case, runs_in_book(case.vehicle.name, place), symptom)


def known_by(case: Case, runs: Sequence[Trial], symptom: Symptom | None = None) -> Known:
    """With runs or a symptom, which is one more run of what is fitted, the middle of the belief they leave; without,
    the engine as the vehicle file has it."""
    belief = belief_by(case, runs, symptom)
    if belief is None:
        return Known(case.with_linkage_set(), (), "by the vehicle file: no run has been logged", None, runs=runs)
    if symptom and not belief.runs:
        says = f"by what was felt: {symptom.says}"
    else:
        says = f"by {belief.runs} runs" + (" and what is felt now" if symptom else "")
    wishes = ruled_out(case, symptom) if symptom else ()
    last = None if symptom else last_run(runs)
    clean = symptom.side == 0 if symptom else was_clean(last)
    if clean:
        says = f"run {last.number} pulled cleanly" if last else "it pulls cleanly as it is"
        says = f"{says}: the fuel side is left alone"
    in_it = _as_in(last, case) if clean and last else ()
    says = says.replace("1 runs", "1 run")
    return Known(case.at(belief.middle).with_linkage_set(), wishes, says, belief, clean, in_it, runs, symptom)


def last_run(runs: Sequence[Trial]) -> Trial | None:
    """The last of the runs that count."""
    return max(filter(counts, runs), key=lambda run: (run.at, run.number or 0), default=None)


def was_clean(run: Trial | None) -> bool:
    """Whether a run was felt to pull cleanly."""
    return run is not None and run.felt is not None and run.felt.word in SYMPTOMS and not SYMPTOMS[run.felt.word].side


def pulled_cleanly(runs: Sequence[Trial], choice: Choice) -> bool:
    """Whether the last run that counts was clean, with these very parts."""
    last = last_run(runs)
    if last is None or not was_clean(last):
        return False
    return all(last.codes.get(str(slot)) == option.label for slot, option in choice.items())


def says_clean(runs: Sequence[Trial], choice: Choice, symptom: Symptom | None = None) -> str:
    """What says that these very parts pull cleanly: the last run, or what is felt now; empty where nothing does."""
    if symptom:
        as_fitted = not any(option.changed for option in choice.values())
        return "it pulls cleanly as it is" if as_fitted and not symptom.side else ""
    last = last_run(runs)
    return f"run {last.number} pulled cleanly" if last and pulled_cleanly(runs, choice) else ""


def _as_in(run: Trial, case: Case) -> list[Wish]:
    """The parts of a run that the vehicle file has otherwise, as far as the catalogue has them still."""
    wishes = []
    for slot, options in case.options.items():
        label = run.codes.get(str(slot))
        found = options.labelled(label) if label and label != options[0].label else None
        if found is not None:
            places = frozenset(options.where(found.__eq__))
            wishes.append(Wish(f"run {run.number} pulled cleanly with {label}", slot, places, felt=True))
    return wishes
