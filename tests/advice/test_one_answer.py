"""Every front end gives one answer: random cars with random runs, none of them a shipped example."""

import os
from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np
import pytest
from random_cars import case_with, random_car

from configurator.advice.named_choice import choice_after
from configurator.advice.next_step import NextReport, what_next, with_first_step
from configurator.advice.propose import ProposalRequest
from configurator.advice.reach import ALONG_MM
from configurator.advice.sure_proposal import LIKELY, proposal_of
from configurator.advice.work import sureness_of
from configurator.book.car_now import car_now
from configurator.book.car_records import CarRecords
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.catalogue.parts import FeedScrewFigures
from configurator.judging.feelings import SYMPTOMS
from configurator.judging.findings import check
from configurator.judging.table import LEAST_SURE, most_together
from configurator.learning.as_known import SURE_ENOUGH, Known, known_by
from configurator.learning.felt_sizes import side_of_nozzle
from configurator.reports import ProposeReport
from configurator.slots.options import Choice, Option
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import Wish

CARS = range(int(os.environ.get("TIPIN_RANDOM_CARS", "12")))
"""200 are asked for once in a while: TIPIN_RANDOM_CARS=200 python -m pytest tests/advice/test_one_answer.py."""
AT = datetime(2026, 5, 2, 10, tzinfo=UTC)
NOZZLE, COMPANIONS = SLOTS["front.nozzle"], {"front.pump", "front.lobe"}
FUEL_SIDE = {"front.nozzle", "front.feed_screw", *COMPANIONS}
WORDS = ("stumble", "stumble", "smoke", "flat", "clean", "dull", "popback")


@cache
def asked(seed: int) -> tuple[list[Trial], Known, NextReport, ProposeReport]:
    """A random car with one to three runs of random sizes and feelings, and what it is told."""
    chance = np.random.default_rng(seed)
    case = case_with(random_car(seed), load_catalog(shipped_catalog_dir()))
    sizes = [o for o in case.on_offer[NOZZLE] if o.work == "fit" and 0.64 <= o.read(FittedNozzle).diameter_mm <= 1.3]
    runs = []
    for hour in range(int(chance.integers(1, 4))):
        choice = {**case.as_fitted, NOZZLE: sizes[int(chance.integers(len(sizes)))]}
        felt = Felt(word=str(chance.choice(WORDS)))
        made = trial_of(case, AT + timedelta(hours=hour), felt, Conditions(), choice=choice)
        runs.append(made.model_copy(update={"number": hour + 1}))
    known = known_by(car_now(case, CarRecords(runs)).case, runs)
    return runs, known, what_next(known), proposal_of(known, ProposalRequest())


def step_mm(known: Known, to: dict[str, str]) -> float:
    """How much larger the nozzle becomes."""
    now = known.case.as_fitted[NOZZLE]
    after = known.case.options[NOZZLE].labelled(to["front.nozzle"]) if "front.nozzle" in to else now
    assert after is not None
    return after.read(FittedNozzle).diameter_mm - now.read(FittedNozzle).diameter_mm


def changes_of(report: NextReport | ProposeReport) -> dict[str, str]:
    return {change.slot: change.to for change in report.changes}


@pytest.mark.parametrize("seed", CARS)
def test_next_step_and_proposal_do_not_point_apart(seed: int) -> None:
    _, known, step, proposal = asked(seed)
    now, then = changes_of(step), changes_of(proposal)
    assert step_mm(known, now) * step_mm(known, then) >= 0.0
    if known.clean_before:
        assert step.do == "try" and not now
        assert with_first_step(known, proposal).hint.startswith(known.came_back[0]), "both say to run it once more"
        return
    if proposal.status != "impossible":
        assert (not step.changes) == (not FUEL_SIDE & set(then)) or step.do == "nothing"
    if step.do == "nothing":
        assert proposal.status == "impossible" or proposal.is_hopeless or (proposal.sureness or 0.0) < LIKELY
    if step.do == "try" and now != then and proposal.status != "impossible":
        assert {one.slot: one.to for one in step.destination} == then, "each names the other"
    if step.do == "try" and step.changes and not step.destination:
        assert now == then or (step.by_practice and proposal.status == "impossible")


@pytest.mark.parametrize("seed", CARS)
def test_after_a_clean_run_everything_says_stop(seed: int) -> None:
    runs, known, _, _ = asked(seed)
    clean = trial_of(known.case, AT + timedelta(days=1), Felt(word="clean"), Conditions())
    after = known_by(known.case, [*runs, clean.model_copy(update={"number": 9})])
    step, proposal = what_next(after), proposal_of(after, ProposalRequest())
    assert (step.do, step.changes, step.outcomes) == ("stop", [], [])
    assert not FUEL_SIDE & set(changes_of(proposal))
    found = check(after.case, [], felt=after.felt_with(after.case.as_fitted)).findings
    assert not [one for one in found if one.kind == "cure" and one.severity == "conflict" and one.rule != JETS]


JETS = "jets-are-never-redrilled"


@pytest.mark.parametrize("seed", CARS)
def test_no_step_against_what_was_felt_and_none_too_far(seed: int) -> None:
    runs, known, step, proposal = asked(seed)
    last = SYMPTOMS[runs[-1].felt.word] if runs[-1].felt else None
    assert last is not None
    for report in (step, proposal):
        to = changes_of(report)
        if not COMPANIONS & set(to):
            assert side_of_nozzle(last) * step_mm(known, to) >= 0.0
        scatter = known.case.catalog.limits.stamped_tolerance_mm
        nozzle = known.case.options[NOZZLE].labelled(to["front.nozzle"]) if "front.nozzle" in to else None
        if nozzle is not None:
            now = known.case.as_fitted[NOZZLE].read(FittedNozzle)
            assert nozzle.read(FittedNozzle).is_told_from(now, scatter), "nobody is sent for the same size again"
    if step.destination and abs(step_mm(known, changes_of(step))) > ALONG_MM + 1e-6:
        assert surest_within(known, ALONG_MM) < LEAST_SURE, "farther only where nothing near is likely"


def surest_within(known: Known, most_mm: float) -> float:
    """How sure the surest is with a nozzle no farther from the fitted one, whatever goes with it."""
    now = known.case.as_fitted[NOZZLE].read(FittedNozzle)
    near = known.case.options[NOZZLE].where(
        lambda one: abs(one.read(FittedNozzle).diameter_mm - now.diameter_mm) <= most_mm and one.work != "redrill"
    )
    return most_together(known.tables, [Wish("near", NOZZLE, frozenset(near))]).share


@pytest.mark.parametrize("seed", CARS)
def test_a_size_between_bounds_that_were_felt(seed: int) -> None:
    """Beside the same pump and lobe nothing goes past a size that stumbled, or one that smoked."""
    _, known, step, proposal = asked(seed)
    bounds = known.sizes["front"]
    for report in (step, proposal):
        to = changes_of(report)
        if "front.nozzle" in to and not COMPANIONS & set(to):
            nozzle = known.case.options[NOZZLE].labelled(to["front.nozzle"])
            assert nozzle is not None
            assert bounds.lean_mm - 1e-9 <= nozzle.read(FittedNozzle).diameter_mm <= bounds.rich_mm + 1e-9


@pytest.mark.parametrize("seed", CARS)
def test_no_other_size_is_surer_than_one_less_sure_than_wanted_and_none_nearer_that_is_as_sure(seed: int) -> None:
    """Every nozzle that could take the proposed one's place at no more money, judged by itself."""
    _, known, _, proposal = asked(seed)
    chosen = choice_after(known.case, proposal.changes)
    if (
        known.belief is None
        or known.a_run_says_right
        or not chosen[NOZZLE].changed
        or len(known.case.circuit_names) > 1
        or known.sizes["front"].bracket_mm is not None  # then a size between is named: see the tests of that below
    ):
        return
    scatter = known.case.catalog.limits.stamped_tolerance_mm
    now, alike = known.case.as_fitted[NOZZLE].read(FittedNozzle), not COMPANIONS & set(changes_of(proposal))
    chosen_mm = chosen[NOZZLE].read(FittedNozzle).diameter_mm
    for option in known.case.options[NOZZLE]:
        nozzle = option.read(FittedNozzle)
        apart = nozzle.is_told_from(now, scatter) and option.work == chosen[NOZZLE].work
        if apart and option.price <= chosen[NOZZLE].price and goes_the_way_felt(known, chosen, option, alike=alike):
            sure, then = sureness_of(known.case, {**chosen, NOZZLE: option}, known.belief), proposal.sureness or 0.0
            if then >= SURE_ENOUGH:
                nearer_mm = abs(chosen_mm - now.diameter_mm) - abs(nozzle.diameter_mm - now.diameter_mm)
                assert sure < SURE_ENOUGH or nearer_mm <= 1e-9
            else:
                assert sure <= then + 2e-4


def goes_the_way_felt(known: Known, chosen: Choice, option: Option, *, alike: bool) -> bool:
    listed = {slot: (one,) for slot, one in {**chosen, NOZZLE: option}.items()}
    shot = known.case.columns("front", listed).shot
    size_mm = np.array([option.read(FittedNozzle).diameter_mm])
    return (
        not known.sizes["front"]
        .rule_out(size_mm, shot.volume_cc.reshape(1), shot.peak_cc_s.reshape(1), np.array([alike]))
        .any()
    )


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("smoke_first", [False, True])
def test_between_a_size_that_stumbled_and_one_that_smoked(seed: int, smoke_first: bool) -> None:
    """Whatever the model would have: it is no more than another way."""
    runs = [("0.72", "stumble"), ("0.88", "smoke")]
    known, step, proposal = ran(seed, *(reversed(runs) if smoke_first else runs))
    assert step.do == "try" and changes_of(step) == changes_of(proposal)
    assert set(changes_of(step)) == {"front.nozzle"}
    nozzle = known.case.options[NOZZLE].labelled(changes_of(step)["front.nozzle"])
    assert nozzle is not None and nozzle.read(FittedNozzle).style == "straight"
    assert 0.74 < nozzle.read(FittedNozzle).diameter_mm < 0.86
    assert any(says.startswith("between 0.72 mm (28.3 thou), felt too small") for says in proposal.changes[0].because)


def test_where_no_size_lies_between_other_parts_are_looked_at() -> None:
    _, step, _ = ran(5, ("0.85", "stumble"), ("0.88", "smoke"))
    assert set(changes_of(step)) - {"front.nozzle"}


@pytest.mark.parametrize("seed", range(3))
def test_a_shot_that_ran_out_is_no_upper_bound_to_go_below(seed: int) -> None:
    known, _, proposal = ran(seed, ("0.72", "stumble"), ("0.88", "flat"))
    assert known.sizes["front"].bracket_mm is None
    assert not proposal.changes or "between" not in proposal.changes[0].because[0]


def test_a_clean_run_of_before_is_gone_back_to() -> None:
    """It smokes with the larger nozzle: the one that pulled cleanly goes back in, whatever the model would have."""
    case = case_with(random_car(3), load_catalog(shipped_catalog_dir()))
    small, large = (
        next(o for o in case.on_offer[NOZZLE] if o.label.startswith(f"straight-{mm}")) for mm in (0.88, 1.0)
    )
    runs = [
        trial_of(case, AT + timedelta(hours=n), Felt(word=word), Conditions(), choice={**case.as_fitted, NOZZLE: one})
        .model_copy(update={"number": n + 1})
        for n, (word, one) in enumerate((("clean", small), ("smoke", large)))
    ]  # fmt: skip
    known = known_by(car_now(case, CarRecords(runs)).case, runs)
    step, proposal = what_next(known), proposal_of(known, ProposalRequest())
    assert changes_of(step) == changes_of(proposal) == {"front.nozzle": small.label}
    assert "run 1 pulled cleanly with these: put them back" in step.why
    assert proposal.changes[0].because[0] == f"run 1 pulled cleanly with {small.label}"
    screw, lobe = SLOTS["front.feed_screw"], SLOTS["front.lobe"]
    others = {slot: next(o for o in case.on_offer[slot] if o.work == "fit") for slot in (screw, lobe)}
    whole = trial_of(case, AT, Felt(word="clean"), Conditions(), choice={**case.as_fitted, NOZZLE: small, **others})
    known = known_by(case, [whole.model_copy(update={"number": 1}), *runs[1:]])
    step = what_next(known_by(car_now(case, CarRecords(runs[1:])).case, [whole, *runs[1:]]))
    assert step.do == "try" and len(step.changes) == 3, "a whole set goes back in as well"
    again = runs[1].model_copy(update={"felt": Felt(word="stumble")})  # then the clean run cannot be right
    assert known_by(known.case, [runs[0], again]).went_clean is None


def ran(seed: int, *felt: tuple[str, str]) -> tuple[Known, NextReport, ProposeReport]:
    """A random car after runs of a size and a word each, with what was in last still in."""
    case = case_with(random_car(seed), load_catalog(shipped_catalog_dir()))
    runs = []
    for hour, (mm, word) in enumerate(felt):
        nozzle = next(o for o in case.on_offer[NOZZLE] if o.label.startswith(f"straight-{mm}"))
        choice = {**case.as_fitted, NOZZLE: nozzle}
        made = trial_of(case, AT + timedelta(hours=hour), Felt(word=word), Conditions(), choice=choice)
        runs.append(made.model_copy(update={"number": hour + 1}))
    known = known_by(car_now(case, CarRecords(runs)).case, runs)
    return known, what_next(known), proposal_of(known, ProposalRequest())


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("word", ["stumble", "smoke"])
def test_what_is_complained_of_twice_is_not_left_as_it_is(seed: int, word: str) -> None:
    known, step, proposal = ran(seed, ("0.88", word), ("0.88", word))
    side = side_of_nozzle(SYMPTOMS[word])
    told = [changes_of(step)] if step.do == "try" else []
    for to in told + ([changes_of(proposal)] if proposal.status != "impossible" else []):
        larger_mm = side * step_mm(known, to)
        assert larger_mm > 0.02 or (larger_mm >= 0.0 and COMPANIONS & set(to))


@pytest.mark.parametrize("seed", range(6))
def test_no_wider_screw_after_smoke_and_no_narrower_one_after_a_stumble(seed: int) -> None:
    for word, side in (("smoke", -1), ("stumble", 1)):
        known, step, proposal = ran(seed, ("0.88", word))
        screw = SLOTS["front.feed_screw"]
        now = known.case.as_fitted[screw].read(FeedScrewFigures).passage_area_mm2
        for report in (step, proposal):
            if (label := changes_of(report).get("front.feed_screw")) is not None:
                then = known.case.options[screw].labelled(label)
                assert then is not None
                assert side * (then.read(FeedScrewFigures).passage_area_mm2 - now) >= 0.0


@pytest.mark.parametrize("seed", [2, 5])
def test_the_first_complaint_after_a_clean_run_is_run_once_more(seed: int) -> None:
    known, step, proposal = ran(seed, ("0.75", "stumble"), ("0.88", "clean"), ("0.88", "stumble"))
    assert (step.do, step.changes) == ("try", []) and step.why.startswith("run 2 pulled cleanly with these very parts")
    assert with_first_step(known, proposal).hint.startswith("run 2 pulled cleanly with these very parts")
    known, step, _ = ran(seed, ("0.75", "stumble"), ("0.88", "clean"), ("0.88", "stumble"), ("0.88", "stumble"))
    assert known.clean_before is None and (step.changes or step.do == "nothing"), "it is so: now parts are looked at"
