"""The fewest changes that are sure enough to be right, under what the runs say of the engine.

Parts are chosen that are right for as much of the belief as is wanted, or for as much as any can be: of two circuits
both together.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from pydantic import Field

from configurator.advice.belief_told import BeliefSummary, summary, sure_percent
from configurator.advice.named_choice import choice_after
from configurator.advice.propose import ProposalRequest, alternative_of, propose
from configurator.advice.reach import between_best, lies_between
from configurator.advice.work import sureness_of
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.parts import FeedScrewFigures
from configurator.judging.case import Case, FeltSizes
from configurator.judging.right import right
from configurator.judging.table import LEAST_SURE, most_together
from configurator.learning.as_known import SURE_ENOUGH, Known
from configurator.learning.felt_sizes import side_of_nozzle
from configurator.physics.lateness import Regions
from configurator.reports import Change, ProposeReport
from configurator.slots.slot import Slot
from configurator.slots.wishes import GOALS, Wish
from configurator.units.units import show_diameter

UNLIKELY = 0.2
"""Sureness below which a fault elsewhere is looked for first."""
MOST_UNLIKELY = 2
"""Parts that are changed at most for what is unlikely to be right (assumed)."""
ELSEWHERE = "look for a fault elsewhere first (float level, ignition, air leak), which may feel the same"
LIKELY = 0.5
"""Sureness from which a combination is called likely to be right."""
NEAREST_FIRST = ("changes", "advice", "permanent", "price", "step", "nozzle", "labour")
"""The usual goals where runs say what is right: no nozzle farther from the fitted one than it has to be."""


class SureProposeReport(ProposeReport):
    """Answer of `tipin propose` where runs stand in the book."""

    first_step: list[Change] = Field(
        default=[], description="what to try first on the way to it, as tipin next says; empty where it is all of it"
    )
    once_more: bool = Field(False, description="whether the same parts are to be run once more before any change")
    belief: BeliefSummary = Field(description="what stands behind it")
    sureness_wanted: float = Field(description="share of belief that was asked for, 0 to 1")

    @property
    def is_hopeless(self) -> bool:
        """Whether it takes many parts, and is unlikely to be right: nobody is sent for those."""
        return self.sureness is not None and self.sureness < UNLIKELY and len(self.changes) > MOST_UNLIKELY


def proposal_of(known: Known, request: ProposalRequest, wanted: float | None = None) -> ProposeReport:
    """What to change: sure enough under a belief, or in the engine of the vehicle file where there is none. Nobody is
    sent for a nozzle within the scatter of orifices, unless they ask for it, or nothing else will do. wanted : share of
    belief that somebody asks for, whatever parts it takes."""
    between = between_felt(known, request)
    if between is None:
        return _by_belief(known, request, wanted)
    other = _by_belief(known, request, wanted)
    if not other.changes or (other.sureness or 0.0) <= (between.sureness or 0.0) + WORTH_NAMING:
        return between
    title = f"sure to be right to {sure_percent(other.sureness or 0.0)}"
    choice, case = choice_after(known.case, other.changes), known.choosing(request.wishes, wanted)
    way = alternative_of(case, choice, title, request.wishes, title)
    return between.model_copy(update={"alternatives": [way]})


def _by_belief(known: Known, request: ProposalRequest, wanted: float | None) -> ProposeReport:
    asked = {wish.slot for wish in request.wishes}
    wishes = [*request.wishes, *(wish for wish in known.back_to_clean if wish.slot not in asked)]
    felt = [*wishes, *_nozzles_that_are_felt(known, wishes), *_screws_the_way_felt(known, wishes)]
    report = _proposal_of(known, replace(request, wishes=felt), wanted)
    return report if report.status != "impossible" else _proposal_of(known, request, wanted)


def between_felt(known: Known, request: ProposalRequest) -> SureProposeReport | None:
    """A nozzle between one that stumbled and one that smoked beside the same pump and lobe, all else as it is: what two
    runs say comes before any model, and the trade goes there (common practice, no source). Of several the surest, of
    those alike the one in the middle; None where there is no such size, or wishes will have it otherwise."""
    for name, sizes in known.sizes.items():
        if sizes.bracket_mm is None or known.a_run_says_right or known.belief is None:
            continue
        middle = _of_the_middle(known, Slot(name, "nozzle"), sizes, request.wishes)
        if not middle:
            return None
        asked = replace(request, wishes=[*request.wishes, *middle], order=NEAREST_FIRST)
        report = propose(known.tables.content_with(0.0), asked, known)
        if not report.changes:
            return None
        return SureProposeReport(**dict(report), belief=summary(known.belief), sureness_wanted=0.0)
    return None


WORTH_NAMING = 0.05
"""How much surer another way is to be, to be named (assumed)."""


def _of_the_middle(known: Known, slot: Slot, sizes: FeltSizes, asked: Sequence[Wish]) -> list[Wish]:
    """The best size between what was felt too small and too large, everything else as it is; none where there is none
    that the wishes allow."""
    assert sizes.bracket_mm is not None and known.belief is not None
    case, bracket_mm = known.tables, sizes.bracket_mm
    now, scatter_mm = case.as_fitted[slot].read(FittedNozzle), case.catalog.limits.stamped_tolerance_mm
    options = case.options[slot]
    places = set(
        options.where(
            lambda one: one.work == "fit" and lies_between(now, one.read(FittedNozzle), bracket_mm, scatter_mm)
        )
    )
    for wish in asked:
        places = places & wish.allowed if wish.slot == slot else places if 0 in wish.allowed else set()
    if not places:
        return []
    sure = {
        kind: sureness_of(case, {**case.as_fitted, slot: options[place]}, known.belief)
        for kind, place in {int(options.kind[place]): place for place in places}.items()
    }

    def fitness(place: int) -> tuple[float, float]:
        return between_best(sure[int(options.kind[place])], options[place].read(FittedNozzle).diameter_mm, bracket_mm)

    best = max(map(fitness, places))
    small, large = map(show_diameter, bracket_mm)
    says = f"between {small}, felt too small, and {large}, felt too large"
    others = (Wish(f"{one} as it is", one, frozenset({0})) for one in case.options if one != slot)
    return [Wish(says, slot, frozenset(place for place in places if fitness(place) == best), felt=True), *others]


def _proposal_of(known: Known, request: ProposalRequest, wanted: float | None) -> ProposeReport:
    if known.belief is None:
        return propose(known.case, request, known)
    if known.a_run_says_right:
        return _as_it_pulls(known, request)
    if request.order == GOALS:
        request = replace(request, order=NEAREST_FIRST)
    case = known.choosing(request.wishes, wanted)
    report = _both_right(known, case, request, propose(case, request, known))
    if known.last_felt and not report.changes and (report.sureness or 0.0) < LIKELY:
        # What somebody complains of, and is not likely to be right, is not left alone for a few per cent.
        case = known.choosing(request.wishes, wanted, nearly=1.0)
        report = _both_right(known, case, request, propose(case, request, known))
    enough = wanted or SURE_ENOUGH
    report = _of_the_surest_size(known, case, request, report, enough)
    return SureProposeReport(**dict(report), belief=summary(known.belief), sureness_wanted=enough)


def _of_the_surest_size(
    known: Known, case: Case, request: ProposalRequest, report: ProposeReport, wanted: float
) -> ProposeReport:
    """A proposal that changes a nozzle and is less sure than wanted with the size that is right for the most beside the
    other changes, where one is surer and no dearer: between a size that stumbled and one that smoked, not the nearest
    to either. One that is as sure as wanted stays the nearest, as every other screen has it."""
    nozzles = {change.slot: change for change in report.changes if change.slot.endswith(".nozzle")}
    if not nozzles or (report.sureness or 0.0) >= wanted:
        return report
    beside = list(request.wishes)
    for slot, chosen in choice_after(case, report.changes).items():
        options, change = case.options[slot], nozzles.get(str(slot))
        alike = options.where(lambda one, chosen=chosen: one == chosen)  # type: ignore[misc]
        if change is not None:
            alike = options.where(lambda one, now=chosen: one.work == now.work and one.price <= now.price)  # type: ignore[misc]
        beside.append(Wish(f"beside what is proposed for {slot}", slot, frozenset(alike)))
    surest = most_together(case, beside).share
    if surest <= (report.sureness or 0.0) + TOLD_TO:
        return report
    surer = case.content_with(surest - TOLD_TO)
    found = _both_right(known, surer, request, propose(surer, request, known))
    fewest = found.totals is not None and report.totals is not None and found.totals.changes <= report.totals.changes
    return found if fewest else report


def _both_right(known: Known, case: Case, request: ProposalRequest, report: ProposeReport) -> ProposeReport:
    """A proposal that is right for as much as the case asks in both circuits together: by itself each may be right in
    other engines than the other. Each is chosen beside the other's part of the surest pair; then the rear beside the
    front that was chosen."""
    assert case.asked is not None
    if len(case.circuit_names) == 1 or (report.sureness or 0.0) > case.asked.share - TOLD_TO:
        return report
    together = most_together(case, request.wishes)
    if together.share < LEAST_SURE:
        return report
    front, rear = (together.right[name] for name in case.circuit_names)
    for _ in range(2):
        both = propose(case.beside({"front": rear, "rear": front}), request, known)
        if (both.sureness or 0.0) > (report.sureness or 0.0):
            report = both
        if both.status == "impossible" or (both.sureness or 0.0) > case.asked.share - TOLD_TO:
            break
        chosen = {slot: (option,) for slot, option in choice_after(case, both.changes).items()}
        front = Regions(right(case.columns("front", chosen, with_regions=True)).bits[0, 0, 0, 0])
    return report


TOLD_TO = 1e-4
"""How finely a proposal tells its sureness."""


def nozzle_wishes(known: Known, says: str, holds: Callable[[FittedNozzle, FittedNozzle], bool]) -> list[Wish]:
    """Of each circuit the fitted nozzle, and those for which something holds beside it. holds : of the fitted and of
    another."""
    wishes = []
    for slot in (Slot(name, "nozzle") for name in known.case.circuit_names):
        options, now = known.case.options[slot], known.case.as_fitted[slot].read(FittedNozzle)
        others = options.where(lambda one, now=now: holds(now, one.read(FittedNozzle)))  # type: ignore[misc]
        wishes.append(Wish(f"{says} {slot}", slot, frozenset({0, *others})))
    return wishes


def _nozzles_that_are_felt(known: Known, wishes: Sequence[Wish]) -> list[Wish]:
    """Of each circuit whose nozzle nobody has named, the one fitted and those told from it; no aimed one in place of a
    straight one where fuel was too much, since less of its fuel lands on the walls."""
    named, scatter_mm = {wish.slot for wish in wishes}, known.case.catalog.limits.stamped_tolerance_mm
    smoked = known.last_felt is not None and set(known.last_felt.tells) == {"rich"}

    def may_come(now: FittedNozzle, other: FittedNozzle) -> bool:
        richer = smoked and other.style == "aimed" and now.style != "aimed"
        return other.is_told_from(now, scatter_mm) and not richer

    felt = nozzle_wishes(known, "felt apart:", may_come)
    return [wish for wish in felt if wish.slot not in named]


def _screws_the_way_felt(known: Known, wishes: Sequence[Wish]) -> list[Wish]:
    """No wider feed screw where fuel was too much, no narrower one where it was wanting at once; of those nobody has
    named."""
    if known.last_felt is None:
        return []
    named, side = {wish.slot for wish in wishes}, side_of_nozzle(known.last_felt)
    found = []
    for slot in (Slot(name, "feed_screw") for name in known.case.circuit_names):
        options = known.case.options[slot]
        now_mm2 = known.case.as_fitted[slot].read(FeedScrewFigures).passage_area_mm2
        areas = [option.read(FeedScrewFigures).passage_area_mm2 for option in options]
        if slot in named:
            continue
        if side < 0 and "flat" not in known.last_felt.tells:
            allowed = {place for place, area in enumerate(areas) if area <= now_mm2}
            found.append(Wish(f"no wider {slot}", slot, frozenset(allowed)))
        elif side > 0 and slot.circuit == "front":
            allowed = {place for place, area in enumerate(areas) if area >= now_mm2}
            found.append(Wish(f"no narrower {slot}", slot, frozenset(allowed)))
    return found


def _as_it_pulls(known: Known, request: ProposalRequest) -> ProposeReport:
    """What has to change of a car that pulls cleanly, or did with other parts: those, and what does not fit. Nothing is
    said of its fuel."""
    assert known.belief is not None
    report = propose(known.choosing(request.wishes), request, known)
    first, remaining = ([f for f in found if f.kind != "cure"] for found in (report.first, report.remaining))
    left_alone = {"first": first, "remaining": remaining, "pulls": [], "alternatives": [], "sureness": None}
    told = report.model_copy(update=left_alone)
    return SureProposeReport(**dict(told), belief=summary(known.belief), sureness_wanted=0.0)
