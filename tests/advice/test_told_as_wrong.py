"""Words of findings on random cars: what is wrong and never what would be right; what does not fit apart from what fits
and will not cure; a car that pulls cleanly left alone; no nozzle out of the trade's sizes offered as any other."""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from types import MappingProxyType
from typing import Any

import building
import pytest
from random_cars import FRONT, case_with, random_car
from runs import AT, run

from configurator.advice.availability import Availability
from configurator.advice.comparison import compare
from configurator.advice.next_step import what_next
from configurator.advice.propose import ProposalRequest
from configurator.advice.size import size
from configurator.advice.standing import Standing
from configurator.advice.sure_proposal import proposal_of
from configurator.advice.work import combination_of
from configurator.car.fitted import FittedNozzle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS
from configurator.judging.findings import NOTHING_FELT, FeltWith, check, findings
from configurator.learning.as_known import known_by
from configurator.learning.trial_entry import enter_trial, notes_on
from configurator.reports import Alternative, ProposeReport
from configurator.rules import RULES
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS, Slot
from configurator.slots.wishes import Wish
from configurator.views.belief import next_text, proposal_text
from configurator.views.proposal import propose_text
from configurator.views.standing import compare_text, why_text
from configurator.views.tables import check_text, size_text

SHIPPED = load_catalog(shipped_catalog_dir())
SMALL = FRONT | {"nozzle": "straight-0.65", "feed_screw": "screw-plain"}
LARGE = FRONT | {"nozzle": "straight-1.18", "feed_screw": "screw-plain"}
"""Too small for most; and what a screw and a pump of the usual kind cannot feed."""
each_car = pytest.mark.parametrize("seed", range(3))


@cache
def case_of(seed: int, *, large: bool = False) -> Case:
    return case_with(random_car(seed), SHIPPED, LARGE if large else SMALL).with_linkage_set()


@cache
def availability_of(seed: int) -> Availability:
    return Availability.of(case_of(seed))


def options_of(seed: int) -> Iterator[tuple[Slot, int, Standing]]:
    for slot in availability_of(seed).report().slots:
        for place, option in enumerate(slot.options):
            yield SLOTS[slot.slot], place, option


def wrong_with(case: Case, choice: Choice) -> dict[str, list[str]]:
    """What is wrong with a choice, by kind, as `findings` says it of that choice alone."""
    told: dict[str, list[str]] = {"fit": [], "cure": []}
    for found in findings(case, choice):
        if found.holds is False and found.severity == "conflict" and RULES[found.rule].is_choosable:
            told[found.kind].append(found.says)
    return told


def squeezed(text: str) -> str:
    return " ".join(text.split())


@each_car
def test_no_rules_own_statement_is_told_as_a_finding(seed: int) -> None:
    case, engine, known = case_of(seed), availability_of(seed), known_by(case_of(seed), ())
    kept = [Wish("keep the nozzle", SLOTS["front.nozzle"], frozenset({0}))]
    proposals = [proposal_of(known, ProposalRequest(wishes)) for wishes in ([], kept)]
    sized = size(case, case.circuit_names, known.believed)
    whys = [engine.report(), *(engine.why(slot, frozenset({place})) for slot, place, _ in list(options_of(seed))[::9])]
    told = [check(case, []), sized, *proposals, *whys]
    texts = [
        check_text(check(case, []), everything=False), size_text(sized, everything=True),
        *map(propose_text, proposals), *map(why_text, whys), *(one.model_dump_json() for one in told),
    ]  # fmt: skip
    for text in map(squeezed, texts):
        assert not [rule.id for rule in RULES.values() if rule.statement in text or rule.statement[:-1] in text]


@each_car
def test_only_what_breaks_a_rule_of_the_fit_is_impossible(seed: int) -> None:
    """With the rest as fitted; what breaks none of them fits, and is told with the figures of that very choice."""
    case, seen = case_of(seed), set()
    for slot, place, option in options_of(seed):
        choice = {**case.as_fitted, slot: case.options[slot][place]}
        wrong = wrong_with(case, choice)
        seen.add(option.state)
        if option.state == "impossible":
            assert wrong["fit"] and option.wrong == wrong["fit"] and option.price is None
        elif not wrong["fit"]:
            cured = not wrong["cure"]
            assert option.state != "fits" or cured
            assert option.state != "will_not_cure" or option.wrong == wrong["cure"] != []
            assert option.state != "will_not_cure" or not option.with_changes
    assert "will_not_cure" in seen


@each_car
def test_a_part_that_fits_and_will_not_cure_is_said_to_and_can_be_put_in_everywhere(seed: int) -> None:
    case, engine = case_of(seed), availability_of(seed)
    slot, place, option = next(one for one in options_of(seed) if one[2].state == "will_not_cure" and one[1])
    text = squeezed(why_text(engine.why(slot, frozenset({place}))))
    assert "fits, but will not cure: " in text or "but will not cure: " in text
    assert "impossible" not in text and "does not fit" not in text
    assert squeezed("; ".join(option.wrong)) in text
    choice = {**case.as_fitted, slot: case.options[slot][place]}
    entered = enter_trial(case, choice, AT, {"word": "stumble", "strength": None}, {})
    assert entered.codes[str(slot)] == option.label
    assert notes_on(case, choice, entered) == notes_on(case, case.as_fitted, entered), "nothing is said against it"
    report = check(case, [Wish(str(slot), slot, frozenset({place}))])
    assert report.with_changes == {str(slot): option.label}
    said = squeezed(check_text(report, everything=False))
    assert "fits, but will not cure" in said and "Will not cure:" in said and "Does not fit:" not in said
    one, other = (combination_of(case, parts, title) for parts, title in ((case.as_fitted, "A"), (choice, "B")))
    assert "does not fit" not in compare_text(compare("car", case.engine, one, other))


@each_car
def test_what_does_not_fit_is_told_under_a_heading_of_its_own(seed: int) -> None:
    case = case_of(seed)
    lobe = SLOTS["front.lobe"]
    place = next(p for p, o in enumerate(case.options[lobe]) if o.code == "lobe-force")
    report = check(case, [Wish("lobe", lobe, frozenset({place}))])
    misfit = {**case.as_fitted, lobe: case.options[lobe][place]}
    entered = enter_trial(case, misfit, AT, {"word": "stumble", "strength": None}, {})
    warned = [note for note in notes_on(case, misfit, entered) if "does not fit" in note]
    assert warned == [
        "front: does not fit: the lobe is made for another pump's lever. Look again whether that is what was in."
    ]
    kinds = {f.rule: f.kind for f in report.findings}
    assert not report.ok and kinds["lobe-is-made-for-the-lever"] == "fit"
    text = squeezed(check_text(report, everything=False))
    assert "Does not fit: NO front: the lobe is made for another pump's lever" in text
    assert all(RULES[f.rule].kind == f.kind for f in report.findings)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("word", ["stumble", "smoke", "flat"])
def test_a_car_that_was_complained_of_is_not_in_order(seed: int, word: str) -> None:
    """Whatever the model says of the middle of what is believed: it has just stumbled, and smoked."""
    case = case_of(seed)
    known = known_by(case, [run(word, case).model_copy(update={"number": 3})])
    felt = known.felt_with(case.as_fitted)
    assert felt.complaint.startswith("run 3: ") and not felt.clean
    report = check(case.at(known.case.engine), [], felt=felt)
    amiss = [f for f in report.findings if f.kind == "cure" and f.severity == "conflict" and f.holds is False]
    assert not report.ok and amiss
    if not any(f.kind == "cure" for f in check(case.at(known.case.engine), []).findings if f.severity == "conflict"):
        assert amiss[-1].says == f"{felt.complaint}; the model alone would let it pass"
    other = {**case.as_fitted, SLOTS["front.nozzle"]: case.options[SLOTS["front.nozzle"]][1]}
    assert known.felt_with(other) == NOTHING_FELT, "said of those very parts alone"
    today = known_by(case, [], SYMPTOMS[word]).felt_with(case.as_fitted)
    assert today.complaint.startswith("felt now: ")


@each_car
def test_a_car_that_pulls_cleanly_is_in_order_on_the_fuel_side(seed: int) -> None:
    """Whatever the model says, and the trade of its screw and pump; what does not fit is told as ever."""
    case = case_of(seed, large=True)
    clean = run("clean", case).model_copy(update={"number": 2})
    alone = check(case, [])
    assert not alone.ok
    report = check(case, [], felt=known_by(case, [clean]).felt_with(case.as_fitted))
    assert report.ok and report.clean == "run 2 pulled cleanly"
    by_model = {f.rule: f.says for f in alone.findings if f.kind == "cure" and f.holds is False}
    for found in report.findings:
        if found.rule in by_model:
            assert found.severity == "note" and found.mend == "leave the fuel side alone"
            assert found.says == f"run 2 pulled cleanly; the model alone would say: {by_model[found.rule]}"
    assert check_text(report, everything=False).startswith(f"OK  {report.vehicle}: run 2 pulled cleanly")
    lobe, nozzle = SLOTS["front.lobe"], SLOTS["front.nozzle"]
    other = {**case.as_fitted, nozzle: case.options[nozzle][1]}
    assert known_by(case, [clean]).felt_with(other) == NOTHING_FELT, "said of those very parts alone"
    stumble = run("stumble", case, at=AT.replace(hour=23))
    assert known_by(case, [clean, stumble]).felt_with(case.as_fitted).clean == ""
    misfit = {**case.as_fitted, lobe: next(o for o in case.options[lobe] if o.code == "lobe-force")}
    judged = combination_of(case, misfit, "misfit", felt=FeltWith("run 2 pulled cleanly"))
    assert not judged.ok and {f.kind for f in judged.findings if f.severity == "conflict" and f.holds is False} == {
        "fit"
    }


@each_car
def test_nothing_is_changed_of_a_car_that_pulls_cleanly_and_fits(seed: int) -> None:
    case = case_of(seed, large=True)
    report = proposal_of(known_by(case, [run("clean", case)]), ProposalRequest())
    assert (report.changes, report.status) == ([], "optimal")
    assert not [f.rule for f in (*report.first, *report.remaining) if f.kind == "cure"]


def odd_case(seed: int) -> Case:
    """A random car in front of a catalogue of hardly any nozzle but those out of the trade's sizes."""
    nozzles = {code: part for code, part in SHIPPED.nozzles.items() if not 0.65 < part.diameter_mm < 1.30}
    wide = [part.model_copy(update={"code": f"wide-{d:.2f}", "diameter_mm": d}) for d in (1.36, 1.45, 1.6)
            for part in [next(iter(nozzles.values()))]]  # fmt: skip
    stock = replace(SHIPPED, nozzles=MappingProxyType({**nozzles, **{part.code: part for part in wide}}))
    return case_with(random_car(seed), stock, SMALL).with_linkage_set()


def is_odd(diameter_mm: float) -> bool:
    """All nozzles there have two orifices."""
    return not 0.635 <= diameter_mm <= 1.321


@each_car
def test_a_nozzle_out_of_the_trades_sizes_is_never_offered_without_a_word(seed: int) -> None:
    case = odd_case(seed)
    known = known_by(case, ())
    sized = size(case, case.circuit_names, known.believed)
    rows: list[Any] = [*sized.circuits[0].candidates, *filter(None, sized.circuits[0].smallest_by_pump.values())]
    assert any(row.odd_size for row in rows)
    for row in rows:
        assert bool(row.odd_size) == is_odd(row.diameter_mm), row
    for pump, choice in sized.circuits[0].smallest_by_pump.items():
        if choice and choice.odd_size:
            assert f"{pump}" in size_text(sized, everything=False) and choice.odd_size in squeezed(
                size_text(sized, everything=False)
            )
    nozzle = SLOTS["front.nozzle"]
    diameters = {option.label: option.read(FittedNozzle).diameter_mm for option in case.options[nozzle]}
    odd = Wish("odd", nozzle, frozenset(p for p, o in enumerate(case.options[nozzle]) if is_odd(diameters[o.label])))
    easy = known_by(building.with_limits(case, delay_most_ms=500.0, sag_most_percent=50.0, smoke_most_ms=2000.0), ())
    for judged, wishes in ((known, []), (easy, [odd])):
        report = proposal_of(judged, ProposalRequest(wishes))
        text = squeezed(proposal_text(report))
        ways: list[tuple[ProposeReport | Alternative, str]] = [(report, text)]
        assert report.totals or not wishes
        ways += [(other, "; ".join(other.odd_sizes)) for other in report.alternatives]
        for way, said in ways:
            put_in = [c for c in way.changes if c.slot == "front.nozzle" and is_odd(diameters[c.to])]
            assert not put_in or "out of the trade's sizes" in said
            assert not wishes or put_in
        assert all(one in text for other in report.alternatives for one in other.odd_sizes)
    step = what_next(known_by(case, [run("stumble", case)]))
    odd_next = [c for c in step.changes if c.slot == "front.nozzle" and is_odd(diameters[c.to])]
    assert not odd_next or "out of the trade's sizes" in squeezed(next_text(step))
    for outcome in step.outcomes:
        for label, diameter_mm in diameters.items():
            if f"front.nozzle: {label}" in outcome.then:
                assert (f"{label} (out of the trade's sizes)" in outcome.then) == is_odd(diameter_mm)
