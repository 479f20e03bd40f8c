"""The job card: what stands on it and what does not, its figures, and what to try next."""

import building
import pytest
from card_making import CATALOG, EXAMPLES, NAMES, case_of, fitted_with, jobs_with, proposal_of, proposed

from configurator.advice.named_choice import choice_after
from configurator.advice.work import combination_of
from configurator.car.fitted import FittedNozzle
from configurator.car.vehicle import load_vehicle
from configurator.card import Card, CardStep, Section
from configurator.card.words import part_words, size_words
from configurator.cli.card import recorded_by
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS
from configurator.judging.findings import findings
from configurator.judging.right import DEMAND
from configurator.learning.felt_sizes import side_of_nozzle
from configurator.reports import Finding
from configurator.rules import RULES
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import choose, read_wishes
from configurator.units.units import show_diameter
from configurator.views.card import card_html, card_text

each_example = pytest.mark.parametrize("name", NAMES)


def steps_of(card: Card, title: str = "") -> list[CardStep]:
    return [step for section in card.sections if title in section.title for step in section.steps]


def conflicts(found: list[Finding]) -> set[tuple[str, str | None]]:
    return {(f.rule, f.circuit) for f in found if f.holds is False and f.severity == "conflict"}


def words_of(sections: list[Section]) -> str:
    told = [f"{s.text} {s.expected} {s.how}" for section in sections for s in section.steps]
    return "\n".join([*told, *(caution for section in sections for caution in section.cautions)]).lower()


def test_a_nozzle_alone_opens_neither_pump_nor_carburettor() -> None:
    card = jobs_with(case_of("roadster"), "front.nozzle=aimed-0.72")
    said = words_of(card.sections)
    assert [row.part for row in card.parts] == ["aimed-0.72"] and card.torques == ["feed screw"]
    assert "discharge check" in said and "falls out of an inverted body" in said and "do not tip" in said
    for other in ("pump off", "drain the bowls", "carburettor off", "spacer", "pad", "bonnet", "lobe", "drill"):
        assert other not in words_of([s for s in card.sections if s.title != "Linkage and clearances"]), other
    assert not [step for step in steps_of(card, "clearances") if "gap below" in step.text.lower()]


@pytest.mark.parametrize(
    ("words", "there", "not_there"),
    [
        (["front.lobe=lobe-crag@0"], ["mark how the lobe sits: lobe-fell at 6 deg", "fit lobe-crag at 0 deg"],
         ["discharge check", "gasket", "every orifice squirts"]),
        (["front.pump=pump-3cc-soft"], ["diaphragm drop out", "drain the bowls", "gap below the pump"],
         ["discharge check", "carburettor off", "bonnet"]),
        (["spacer=spacer-6"], ["carburettor off", "fit spacer-6", "at least 10 mm (0.394 in)", "gap below the pump"],
         ["discharge check", "intake manifold off", "mark how"]),
        (["pad_relief=1mm"], ["intake manifold off", "chips wreck an engine", "depth cut 1 mm (0.039 in)"],
         ["discharge check", "bonnet", "fit spacer"]),
        (["front.nozzle=redrill:0.75mm"], ["drilled nozzle: each orifice", "no way back", "enter what it measures"],
         ["new nozzle", "carburettor off"]),
        (["front.nozzle=aimed-0.72", "spacer=spacer-6"], ["lift it out before the body is tipped"], ["do not tip"]),
    ],
    ids=lambda words: "+".join(words) if len(words) < 3 else None,
)  # fmt: skip
def test_a_job_is_on_the_card_only_where_it_applies(words: list[str], there: list[str], not_there: list[str]) -> None:
    said = words_of(jobs_with(case_of("roadster"), *words).sections)
    assert [line for line in there if line not in said] == []
    assert [line for line in not_there if line in said] == []


def test_what_is_taken_apart_comes_off_from_above() -> None:
    card = jobs_with(case_of("roadster"), "front.nozzle=aimed-0.72", "front.pump=pump-3cc-soft", "pad_relief=1mm")
    said = words_of([section for section in card.sections if section.title == "Take apart"])
    order = [said.index(what) for what in ("earth lead off", "drain", "feed screw out", "carburettor off", "pump off",
                                           "manifold off the engine")]  # fmt: skip
    assert order[1:] == sorted(order[1:])


def test_a_car_that_needs_nothing_gets_checks_and_a_test() -> None:
    card = fitted_with(case_of("roadster"))
    assert not card.parts and not card.gaskets and not card.torques
    assert [section.title for section in card.sections] == [
        "First checks", "Linkage and clearances", "Before the first start", "Road test",
    ]  # fmt: skip
    assert "snaps shut by itself" in words_of(card.sections) and len(card.after_feelings) == len(SYMPTOMS)
    assert "no part is changed by this card, and these are not right yet" in card_html(card), "it hesitates"
    assert "nothing need change" in card_html(card.model_copy(update={"ok": True, "uncured": []}))


def test_the_two_circuit_car_names_both() -> None:
    card = fitted_with(case_of("hill-climber"), "front.nozzle=0.85mm", "rear.nozzle=1.00mm")
    page = card_html(card)
    assert [row.slot for row in card.parts] == ["front nozzle", "rear nozzle"]
    closed = next(step for step in steps_of(card, "clearances") if "throttle closed" in step.text)
    assert closed.boxes == ["front slack", "front preload", "rear slack", "rear preload"]
    (smoke,) = (one for one in card.after_feelings if one.word == "smoke")
    assert {move.circuit for move in smoke.moves} == {"front", "rear"}
    assert [line.partition(":")[0] for line in card.felt_then] == ["Front", "Rear"]
    assert all(row.slot in page for row in card.parts)


@each_example
def test_figures_are_those_of_catalogue_and_vehicle(name: str) -> None:
    card, _ = proposed(name)
    vehicle, limits = load_vehicle(EXAMPLES / f"{name}.toml"), CATALOG.limits
    said = words_of(card.sections)
    assert f"{vehicle.engine.idle_rpm:g} rev/min" in said
    assert f"at least {limits.overtravel_clearance_mm:g} mm (0.015 in)" in said
    assert f"each at most {limits.linkage_tolerance_mm:g} mm" in said
    for row in card.parts:
        nozzle = CATALOG.nozzles.get(row.part)
        if nozzle is not None:
            assert row.size == show_diameter(nozzle.diameter_mm) and row.price == nozzle.price
            gauge = next(step for step in steps_of(card) if f"new {row.slot} {row.part}" in step.text.lower())
            assert gauge.expected == row.size and len(gauge.boxes) == nozzle.orifices and gauge.unit == "mm"
    prices = [row.price for row in card.parts] + [line.price for line in card.gaskets]
    assert sum(prices) == pytest.approx(card.totals.price)


@each_example
def test_aftercare_and_every_finding_are_on_the_card(name: str) -> None:
    case = case_of(name)
    choice = choice_after(case, proposal_of(name).changes)
    combination = combination_of(case, choice, "Proposal 1")
    card, page = proposed(name)
    said = words_of(card.sections) + "\n".join([*card.mind, *card.against]).lower()
    assert all(job.lower() in said for job in combination.aftercare)
    wrong = [finding for finding in combination.findings if finding.holds is not True]
    assert wrong and all(finding.mend.lower() in said for finding in wrong)
    for finding in wrong:
        if finding.severity == "conflict":
            assert finding.says.lower() in said and not RULES[finding.rule].is_choosable
    assert "Test on closed ground only." in page and "keep the air cleaner on" in said


def test_what_speaks_against_named_parts_stands_first() -> None:
    card = fitted_with(case_of("roadster"), "front.pump=pump-5cc")
    assert not card.ok and "another pump's lever" in card.against[0]
    page = card_html(card)
    assert page.index("Does not fit, do not run it so") < page.index("What to fit")
    assert all("do not go together" in move.says for move in card.after_feelings[0].moves)


def test_what_fits_and_will_not_cure_may_be_run_and_is_told() -> None:
    case = case_of("roadster")
    card = fitted_with(case, "front.nozzle=straight-0.60")
    assert not card.ok and card.against == [] and card.uncured[0].startswith("Too small: hesitates ")
    page = card_html(card)
    assert "do not run it so" not in page and page.index("Will not cure:") < page.index("What to fit")
    assert "But it will not cure" in card_text(card) and "does not fit" not in card_text(card)


def test_leaks_are_looked_for_before_the_squirt() -> None:
    card, _ = proposed("tow-truck")
    told = [step.text.lower() for step in steps_of(card, "Before the first start")]
    leaks = next(place for place, text in enumerate(told) if "leaks" in text)
    assert leaks < next(place for place, text in enumerate(told) if "squirts" in text)
    assert sum("leaks" in text for text in told) == 1


def test_parts_that_suit_no_engine_say_so_and_what_would_do_better() -> None:
    """They pump, so there is a step from them; where lobe and lever do not meet there is none."""
    card = fitted_with(case_of("van"), "front.nozzle=aimed-0.68", "front.lobe=lobe-fell@0")
    assert "right for 0 % of engines like this one" in card.felt_then[0]
    (smoke,) = [feeling for feeling in card.after_feelings if feeling.word == "smoke"]
    assert [swap.slot for move in smoke.moves for swap in move.swaps][-1] == "lobe"


def test_the_command_that_keeps_the_run_names_the_file_the_parts_and_the_book() -> None:
    case = case_of("roadster")
    choice = choose(case.options, read_wishes(case.options, [], ["front.nozzle=straight-0.75"], []))
    told = recorded_by(case, choice, "season.sqlite")
    assert told.endswith(
        f"tipin trial add {case.vehicle.file} --felt WORD --with front.nozzle=straight-0.75 --book season.sqlite"
    )


def test_room_that_nobody_measured_is_measured_before_anything_is_fitted() -> None:
    card, _ = proposed("van")
    first = steps_of(card, "Take apart")[0]
    assert first.kind == "measure" and first.expected.startswith("at least 16.8 mm")
    case = case_of("van")
    manifold = case.vehicle.manifold.model_copy(update={"pad_clearance_mm": None})
    blind = Case.of(case.vehicle.model_copy(update={"manifold": manifold}), CATALOG).with_linkage_set()
    bench = steps_of(jobs_with(blind, "front.pump=pump-3cc"), "Measure")
    assert any(step.expected.startswith("at least 15.5 mm") for step in bench), "14 mm of pump and 1.5 mm of air"


@each_example
def test_no_step_on_a_card_breaks_a_rule_that_was_kept(name: str) -> None:
    """Every step is judged again by itself; beside the same pump and lobe a nozzle only goes the way that was felt."""
    case, (card, _) = case_of(name), proposed(name)
    choice = choice_after(case, proposal_of(name).changes)
    broken = conflicts(findings(case, choice))
    for feeling in card.after_feelings:
        symptom = SYMPTOMS[feeling.word]
        side = side_of_nozzle(symptom.at("at-once") if symptom.leaves_open_when else symptom)
        assert bool(feeling.moves) == (symptom.side != 0)
        for move in feeling.moves:
            assert move.swaps or move.says
            after = dict(choice)
            for swap in move.swaps:
                slot = SLOTS[f"{move.circuit}.{swap.slot.removeprefix(move.circuit).strip().replace(' ', '_')}"]
                (after[slot],) = (
                    option for option in case.options[slot]
                    if swap.to == ", ".join(filter(None, (part_words(option), size_words(case, option))))
                )  # fmt: skip
                if slot.name == "nozzle" and not any("pump" in one.slot or "lobe" in one.slot for one in move.swaps):
                    now, then = (one[slot].read(FittedNozzle).diameter_mm for one in (choice, after))
                    assert side * (then - now) >= 0
            assert {rule for rule in conflicts(findings(case, after)) - broken if rule[0] not in DEMAND} == set()


def test_where_the_catalogue_has_nothing_the_card_says_so() -> None:
    stock = building.catalog(nozzles=[building.nozzle(0.8)], lobes=[building.lobe("lobe-mid", 3.6, phases_deg=(0.0,))],
                             pumps=[building.pump()], screws=[building.screw("screw-narrow", 3.0)])  # fmt: skip
    case = building.case(stock=stock).with_linkage_set()
    for feeling in fitted_with(case).after_feelings:
        for move in feeling.moves:
            assert not move.swaps and "look elsewhere" in move.says
