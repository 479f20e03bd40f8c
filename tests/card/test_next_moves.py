"""The next step after each feeling: what tipin next would say then, on random cars; and the words around it."""

from collections.abc import Mapping
from datetime import timedelta
from functools import cache
from typing import Any

import building
import numpy as np
import pytest
from random_cars import case_with, random_car
from runs import AT

from configurator.advice.foreseen import FEELINGS, NOTHING_LIKELY, ONCE_MORE
from configurator.advice.next_step import NextReport, what_next
from configurator.book.car_now import car_now
from configurator.book.car_records import CarRecords
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.car.fitted import FittedNozzle
from configurator.card.next_moves import LOOK_ELSEWHERE, MORE_VOLUME, NOT_TOGETHER, after_feelings
from configurator.card.sheet import AfterFeeling, NextMove
from configurator.card.words import part_words, size_words
from configurator.catalogue.load import Catalog, load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.judging.feelings import NEARLY_ALWAYS_LEAN, SYMPTOMS, Symptom, symptom_felt
from configurator.judging.findings import findings
from configurator.judging.right import DEMAND
from configurator.judging.trade_sizes import OUT_OF_TRADE
from configurator.learning.as_known import Known, known_by
from configurator.learning.felt_sizes import side_of_nozzle
from configurator.slots.options import Choice
from configurator.slots.slot import CIRCUIT_SLOTS, SLOTS, Slot

ONE_LOBE = [building.lobe("lobe-mid", 2.6, phases_deg=(0.0,))]
LESS, MORE = building.lobe("lobe-less", 2.0, phases_deg=(0.0,)), building.lobe("lobe-more", 4.4, phases_deg=(0.0,))
SALOON: Mapping[str, Any] = {
    **building.TRUCK,
    "engine": {"displacement_cc": 3200, "idle_rpm": 860, "idle_pressure_kpa": 37},
    "driveline": {"transmission": "converter", "stall_rpm": 1650},
    "manifold": {"volume_cc": 2000, "distance_to_valves_mm": 290, "pad_clearance_mm": 22, "bonnet_clearance_mm": 30},
    "carburettor": {"barrels": 4, "rated_flow_m3_min": 11, "rear_opens_at_deg": 40},
    "tip_in": {"opening_time_s": 0.27},
}
"""With the small pump and 2.6 mm of lift the shot is neither too much nor too little: the orifice decides."""
COMPLAINTS = [word for word, symptom in SYMPTOMS.items() if symptom.side]


def on_card(word: str) -> Symptom:
    """A feeling as the card has it: a stumble is the one at once, since a pull that goes flat later stands apart."""
    return symptom_felt(word, "at-once" if word == "stumble" else None)


def stock(*sizes_mm: float, **more: Any) -> Catalog:
    """Nozzles of these sizes, one screw, pump and lobe: a nozzle is all that can change."""
    nozzles = [*(building.nozzle(mm) for mm in sizes_mm), *more.pop("besides", ())]
    screws, lobes = [building.screw("screw-narrow", 8.0)], more.pop("lobes", ONE_LOBE)
    return building.catalog(nozzles, screws, building.PUMPS[:1], lobes, [], **more)


def car(nozzle_mm: float, catalog: Catalog, **front: Any) -> Case:
    made = building.vehicle(SALOON, front={"nozzle": f"straight-{nozzle_mm:.2f}", **front})
    return building.case(made, catalog)


def after(case: Case) -> dict[str, AfterFeeling]:
    known = known_by(case, [])
    return {feeling.word: feeling for feeling in after_feelings(known, known.case.as_fitted)}


def move(case: Case, word: str) -> NextMove:
    (found,) = after(case)[word].moves
    return found


def codes(found: NextMove) -> list[str | None]:
    return [swap.code for swap in found.swaps]


def test_a_stumble_asks_for_a_larger_nozzle() -> None:
    found = move(car(0.70, stock(0.62, 0.70, 0.78)), "stumble")
    (swap,) = found.swaps
    assert (swap.slot, swap.in_place_of, swap.to) == ("nozzle", "straight-0.70", "straight-0.78, 0.78 mm (30.7 thou)")
    assert (swap.code, found.circuit, found.says) == ("straight-0.78", "front", "")


def test_smoke_asks_for_less_volume_where_that_is_to_be_had() -> None:
    case = car(0.94, stock(0.94, 1.02, lobes=[MORE, LESS]), lobe="lobe-more")
    assert codes(move(case, "smoke")) == ["lobe-less"]


def test_a_pull_that_goes_flat_asks_for_volume_and_leaves_the_nozzle() -> None:
    low = building.lobe("lobe-low", 1.2, phases_deg=(0.0,))
    found = move(car(0.94, stock(0.78, 0.94, 1.02, lobes=[low, *ONE_LOBE]), lobe="lobe-low"), "flat")
    assert codes(found) == ["lobe-mid"] and found.says == MORE_VOLUME


def test_a_clean_pull_asks_for_nothing() -> None:
    assert after(car(0.70, stock(0.70, 0.78)))["clean"].moves == []


def test_every_feeling_stands_there_and_no_hint_is_said_twice() -> None:
    feelings = after(car(0.70, stock(0.70, 0.78)))
    assert list(feelings) == list(SYMPTOMS)
    assert all(feeling.says == on_card(word).says for word, feeling in feelings.items())
    assert feelings["stumble"].hint == NEARLY_ALWAYS_LEAN
    popback = feelings["popback"].hint
    assert popback.startswith("A pop back") and NEARLY_ALWAYS_LEAN not in popback and popback == popback.strip()
    assert feelings["smoke"].hint == SYMPTOMS["smoke"].hint and feelings["flat"].hint == SYMPTOMS["flat"].hint


def test_nothing_is_drilled_and_no_style_that_the_body_does_not_take_is_tried() -> None:
    """A drilled 0.78 mm would be there for the fitted one, and an aimed 0.78 mm."""
    drills = building.REDRILL.model_copy(update={"min_diameter_mm": 0.75})
    catalog = stock(0.70, 0.86, besides=[building.nozzle(0.78, "aimed")], operations=[drills])
    carburettor = SALOON["carburettor"] | {"nozzle_styles": ["straight"]}
    case = building.case(building.vehicle(SALOON, carburettor=carburettor, front={"nozzle": "straight-0.70"}), catalog)
    assert any(option.work == "redrill" for option in case.options[SLOTS["front.nozzle"]])
    swaps = [swap for feeling in after(case).values() for step in feeling.moves for swap in step.swaps]
    assert {swap.code for swap in swaps} == {"straight-0.86"}


def test_where_the_catalogue_has_nothing_it_is_said_what_to_look_at() -> None:
    alone = car(0.50, stock(0.50))
    for word, way in (("stumble", "more"), ("popback", "more")):
        found = move(alone, word)
        nothing = f"no part that gives {way} and keeps the rules would do better here: {LOOK_ELSEWHERE}"
        assert (found.circuit, found.swaps, found.says) == ("", [], nothing)


def test_what_would_newly_break_a_rule_is_not_asked_for_alone() -> None:
    """A screw that is wide enough for 0.70 mm and too narrow for 0.78 mm changes with the nozzle."""
    narrow, wide = building.screw("screw-narrow", 1.95), building.screw("screw-free", 8.0)
    nozzles = [building.nozzle(mm) for mm in (0.70, 0.78)]
    found = move(car(0.70, building.catalog(nozzles, [narrow, wide], building.PUMPS[:1], ONE_LOBE, [])), "stumble")
    assert codes(found) == ["straight-0.78", "screw-free"]


def test_what_does_not_go_together_has_no_next_step() -> None:
    case = building.case(building.vehicle(front={"lobe": "lobe-long", "phase_deg": 4}))
    for word in COMPLAINTS:
        assert (move(case, word).swaps, move(case, word).says) == ([], NOT_TOGETHER)


# --- random cars ------------------------------------------------------------------------------------------------------

CARS = range(8)
NOZZLE = SLOTS["front.nozzle"]


@cache
def asked(seed: int) -> tuple[Known, NextReport]:
    """A random car with up to two runs of random sizes and feelings, and what it is told."""
    chance = np.random.default_rng(400 + seed)
    case = case_with(random_car(seed), load_catalog(shipped_catalog_dir()))
    sizes = [one for one in case.on_offer[NOZZLE] if 0.64 <= one.read(FittedNozzle).diameter_mm <= 1.3]
    runs: list[Trial] = []
    for hour in range(seed % 3):
        choice = {**case.as_fitted, NOZZLE: sizes[int(chance.integers(len(sizes)))]}
        felt = Felt(word=str(chance.choice(COMPLAINTS)))
        made = trial_of(case, AT + timedelta(hours=hour), felt, Conditions(), choice=choice)
        runs.append(made.model_copy(update={"number": hour + 1}))
    known = known_by(car_now(case, CarRecords(runs)).case, runs)
    return known, what_next(known)


@cache
def feelings_of(seed: int) -> tuple[Choice, list[AfterFeeling]]:
    """The parts that are tried next, and what a card of them has."""
    known, step = asked(seed)
    tried = dict(known.case.as_fitted)
    for change in step.changes:
        option = known.case.options[SLOTS[change.slot]].labelled(change.to)
        assert option is not None
        tried[SLOTS[change.slot]] = option
    return tried, after_feelings(known, tried)


def options_of(known: Known, move: NextMove) -> Choice:
    """The parts of a move, found again by their words."""
    found = {}
    for swap in move.swaps:
        slot = Slot(move.circuit, swap.slot.replace(" ", "_"))  # type: ignore[arg-type]
        to = swap.to.removesuffix(f", {OUT_OF_TRADE}")
        found[slot] = next(
            one for one in known.case.on_offer[slot]
            if to == ", ".join(filter(None, (part_words(one), size_words(known.case, one))))
        )  # fmt: skip
    return found


@pytest.mark.parametrize("seed", CARS)
def test_the_card_says_what_next_foresees(seed: int) -> None:
    known, step = asked(seed)
    _, feelings = feelings_of(seed)
    then = {one.felt: one.then for one in step.outcomes}
    for felt, symptom in FEELINGS if then else ():
        (moves,) = (one.moves for one in feelings if one.word == symptom.word)
        if not symptom.side:
            assert moves == []
        elif then[felt] in (NOTHING_LIKELY, ONCE_MORE):
            (one,) = moves
            assert one.swaps == [] and (then[felt] == NOTHING_LIKELY) == one.says.endswith(LOOK_ELSEWHERE)
        else:
            named = [f"{slot}: {option.label}" for move in moves for slot, option in options_of(known, move).items()]
            assert then[felt].replace(f" ({OUT_OF_TRADE})", "") == ", ".join(named)


@pytest.mark.parametrize("seed", CARS)
def test_no_step_goes_against_what_was_felt_nor_breaks_a_rule(seed: int) -> None:
    """Beside the same screw, pump and lobe a nozzle goes the way that was felt; more volume is said where it is so."""
    (known, _), (tried, feelings) = asked(seed), feelings_of(seed)
    before = {f.rule for f in findings(known.case, tried) if f.holds is False}
    for feeling in feelings:
        for step in (one for one in feeling.moves if one.swaps):
            swapped = options_of(known, step)
            then = {**tried, **swapped}
            now, other = (parts[NOZZLE].read(FittedNozzle) for parts in (tried, then))
            if [*swapped] == [NOZZLE]:
                assert side_of_nozzle(on_card(feeling.word)) * (other.diameter_mm - now.diameter_mm) >= 0.0
                assert other.is_told_from(now, known.case.catalog.limits.stamped_tolerance_mm)
            now_cc, then_cc = (
                known.case.columns("front", {slot: (one,) for slot, one in parts.items()}).shot.volume_cc.item()
                for parts in (tried, then)
            )
            assert (step.says == MORE_VOLUME) == (feeling.word == "flat" and then_cc > 1.01 * now_cc)
            broken = {f.rule for f in findings(known.case, then) if f.holds is False and f.severity == "conflict"}
            assert broken - before <= set(DEMAND)


def test_random_cars_get_steps_of_every_kind() -> None:
    """Or the two tests above would say nothing."""
    steps = [(one.word, step) for seed in CARS for one in feelings_of(seed)[1] for step in one.moves]
    slots = {(word, swap.slot) for word, step in steps for swap in step.swaps}
    assert {("stumble", "nozzle"), ("smoke", "nozzle"), ("flat", "lobe")} <= slots
    assert {slot for _, slot in slots} >= {name.replace("_", " ") for name in CIRCUIT_SLOTS if name != "pump"}
    assert any(not step.swaps for _, step in steps) and any(step.says == MORE_VOLUME for _, step in steps)
    assert sum(bool(asked(seed)[1].outcomes) for seed in CARS) >= 4
