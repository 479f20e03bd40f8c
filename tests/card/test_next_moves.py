"""The next step after each feeling: on a car whose next step can be named by hand, and on random cars as it must be."""

from collections.abc import Mapping
from functools import cache
from typing import Any

import building
import numpy as np
import pytest

from configurator.arrays import Array
from configurator.book.records import Felt
from configurator.car.fitted import FittedNozzle
from configurator.card.next_moves import GAIN, after_feelings
from configurator.card.sheet import AfterFeeling, NextMove
from configurator.catalogue.load import Catalog
from configurator.judging.case import Case
from configurator.judging.feelings import NEARLY_ALWAYS_LEAN, SYMPTOMS, Symptom, symptom_felt
from configurator.judging.findings import findings
from configurator.judging.table import DEMAND
from configurator.learning.as_known import Known, known_by
from configurator.learning.belief import felt_with, prior_of
from configurator.learning.driver import ANSWERS, answer_chances, felt_weights
from configurator.slots.options import Choice
from configurator.slots.slot import SLOTS, Slot

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


def on_card(word: str) -> Symptom:
    """A feeling as the card has it: a stumble is the one at once, since a pull that goes flat later stands apart."""
    return symptom_felt(word, "at-once" if word == "stumble" else None)


LEAN = [word for word, symptom in SYMPTOMS.items() if symptom.side > 0]
SAME_MM = 1e-6


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


def test_a_lean_feeling_asks_for_the_nozzle_a_first_move_up() -> None:
    """From 0.70 mm by 0.08 mm: 0.78 mm, not 0.86 mm, which is surer yet; by 0.04 mm after a faint one: 0.74 mm."""
    moves = {
        word: feeling.moves for word, feeling in after(car(0.70, stock(0.62, 0.66, 0.70, 0.74, 0.78, 0.86))).items()
    }
    assert [codes(one) for word in ("stumble", "popback", "dull") for one in moves[word]] == [
        ["straight-0.78"], ["straight-0.78"], ["straight-0.74"],
    ]  # fmt: skip
    (stumble,) = moves["stumble"]
    (swap,) = stumble.swaps
    assert (swap.slot, swap.in_place_of, swap.to) == ("nozzle", "straight-0.70", "straight-0.78, 0.78 mm (30.7 thou)")
    assert stumble.says == "" and stumble.circuit == "front"


def test_smoke_asks_for_less_volume_where_that_is_to_be_had() -> None:
    """A smaller orifice gives the same volume, later."""
    case = car(0.94, stock(0.78, 0.86, 0.94, 1.02, lobes=[MORE, LESS]), lobe="lobe-more")
    found = move(case, "smoke")
    assert [swap.slot for swap in found.swaps] == ["lobe"] and codes(found) == ["lobe-less"]
    assert found.says == "a smaller nozzle alone does not mend it"


def test_smoke_asks_for_a_smaller_nozzle_where_that_alone_mends_it() -> None:
    catalog = stock(0.86, 1.02, 1.30, lobes=[building.lobe("lobe-more", 3.6, phases_deg=(0.0,))], first_move_mm=0.28)
    assert codes(move(car(1.30, catalog, lobe="lobe-more"), "smoke")) == ["straight-1.02"]


def test_a_pull_that_goes_flat_asks_for_volume_and_leaves_the_nozzle() -> None:
    low = building.lobe("lobe-low", 1.2, phases_deg=(0.0,))
    found = move(car(0.94, stock(0.78, 0.86, 0.94, 1.02, lobes=[low, *ONE_LOBE]), lobe="lobe-low"), "flat")
    assert codes(found) == ["lobe-mid"] and found.says == "the shot has run out: it takes more volume"


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


def test_nothing_is_drilled_and_no_other_style_is_taken_for_a_trial() -> None:
    """A drilled 0.78 mm would be there for the fitted one, and an aimed 0.78 mm; the body takes straight ones."""
    drills = building.REDRILL.model_copy(update={"min_diameter_mm": 0.75})
    catalog = stock(0.70, 0.86, besides=[building.nozzle(0.78, "aimed")], operations=[drills])
    case = car(0.70, catalog)
    assert any(option.work == "redrill" for option in case.options[SLOTS["front.nozzle"]])
    swaps = [swap for feeling in after(case).values() for step in feeling.moves for swap in step.swaps]
    assert "straight-0.86" in [swap.code for swap in swaps]
    assert not any("drill" in swap.to or "aimed" in swap.to for swap in swaps)


def test_where_the_catalogue_has_nothing_it_is_said_what_to_look_at() -> None:
    alone = car(0.70, stock(0.70))
    for word, way in (("stumble", "more"), ("flat", "more"), ("smoke", "less")):
        found = move(alone, word)
        assert found.swaps == []
        assert found.says.startswith(f"no part that gives {way} and keeps the rules would do better here: look")


def test_another_part_takes_the_place_of_a_nozzle_there_is_not() -> None:
    """No smaller nozzle, but a lobe that lifts less; why the nozzle alone will not do is said."""
    step = move(car(0.94, stock(0.94, lobes=[MORE, LESS]), lobe="lobe-more"), "smoke")
    assert codes(step) == ["lobe-less"] and step.says == "the catalogue has no smaller nozzle for it"


def test_what_would_newly_break_a_rule_is_not_asked_for_alone() -> None:
    """A screw that is wide enough for 0.70 mm and too narrow for 0.78 mm changes with the nozzle."""
    narrow, wide = building.screw("screw-narrow", 1.95), building.screw("screw-free", 8.0)
    nozzles = [building.nozzle(mm) for mm in (0.70, 0.78)]
    found = move(car(0.70, building.catalog(nozzles, [narrow, wide], building.PUMPS[:1], ONE_LOBE, [])), "stumble")
    assert codes(found) == ["straight-0.78", "screw-free"]
    assert found.says == "with a larger nozzle alone the feed screw is too narrow"


def test_what_does_not_go_together_has_no_next_step() -> None:
    case = building.case(building.vehicle(front={"lobe": "lobe-long", "phase_deg": 4}))
    for word in (*LEAN, "smoke"):
        assert move(case, word).swaps == []
        assert move(case, word).says == "these parts do not go together: no step leads on"


@pytest.mark.parametrize("word", ["stumble", "smoke"])
def test_the_circuit_that_is_likelier_to_be_felt_so_comes_first(word: str) -> None:
    known = known_by(building.case(building.two_circuits()), [])
    weights = felt_weights(Felt(word=word, moment=on_card(word).moment))
    likely = {}
    for name in known.case.circuit_names:
        chances = answer_chances(felt_with(known.case, name, [known.case.as_fitted]))[:, 0]
        likely[name] = float(weights @ chances @ known.believed.masses)
    found = {one.word: one for one in after_feelings(known, known.case.as_fitted)}[word]
    assert [step.circuit for step in found.moves] == sorted(likely, key=lambda name: -likely[name])
    assert abs(likely["front"] - likely["rear"]) > 1e-3


# --- random cars ------------------------------------------------------------------------------------------------------

CARS = range(6)


@cache
def random_known(seed: int) -> Known:
    """A car within wide bounds with parts at random, as a converter or a gearbox drives it."""
    chance = np.random.default_rng(seed)
    litres = float(np.exp(chance.uniform(np.log(1.6), np.log(7.0))))
    line: dict[str, Any] = {"transmission": "converter", "stall_rpm": float(chance.uniform(1400, 2600))}
    if seed % 2:
        ratio = float(chance.uniform(6, 12))
        line = {"transmission": "manual", "mass_kg": 900 + 120.0 * litres, "overall_ratio": ratio,
                "wheel_radius_m": 0.31}  # fmt: skip
    sizes = np.sort(chance.choice(np.arange(0.5, 1.4, 0.04), 5, replace=False)).round(2)
    lifts = np.sort(chance.uniform(1.2, 4.8, 3))
    lobes = [building.lobe(f"lobe-{place}", float(lift), phases_deg=(0.0,)) for place, lift in enumerate(lifts)]
    screws = [building.screw("screw-narrow", 2.5), building.screw("screw-wide", 7.0)]
    catalog = building.catalog([building.nozzle(float(mm)) for mm in sizes], screws, building.PUMPS[:1], lobes, [])
    made = building.vehicle(
        SALOON, front={"nozzle": f"straight-{chance.choice(sizes):.2f}", "lobe": f"lobe-{seed % 3}"},
        engine={"displacement_cc": 1e3 * litres, "idle_rpm": float(chance.uniform(650, 1100)),
                "idle_pressure_kpa": float(chance.uniform(32, 50))},
        manifold={"volume_cc": 1e3 * litres * float(chance.uniform(0.4, 1.0)),
                  "distance_to_valves_mm": float(chance.uniform(120, 350))},
        carburettor={"rated_flow_m3_min": litres * float(chance.uniform(2.2, 4.2))},
    )  # fmt: skip
    car_made = made.model_copy(update={"driveline": type(made.driveline).model_validate(line)})
    return known_by(building.case(car_made, catalog), [])


@cache
def random_feelings(seed: int) -> list[AfterFeeling]:
    known = random_known(seed)
    return after_feelings(known, known.case.as_fitted)


def choice_with(known: Known, step: NextMove) -> Choice:
    choice = dict(known.case.as_fitted)
    for swap in step.swaps:
        slot = Slot(step.circuit, swap.slot.replace(" ", "_"))  # type: ignore[arg-type]
        choice[slot] = next(option for option in known.case.options[slot] if option.code == swap.code)
    return choice


def figures_of(known: Known, choice: Choice) -> tuple[float, float, float]:
    """Orifice [mm], delay for want of fuel [ms] and volume [cc]."""
    shot = known.case.columns("front", {slot: (option,) for slot, option in choice.items()}).shot
    orifice = choice[SLOTS["front.nozzle"]].read(FittedNozzle).diameter_mm
    return orifice, shot.lean_delay_ms.item(), shot.volume_cc.item()


def believed_after(known: Known, word: str) -> Array:
    """Share of belief in every engine once what is fitted was felt so, by Bayes."""
    chances = answer_chances(felt_with(known.case, "front", [known.case.as_fitted]))[:, 0]
    rightly = sum(
        weight * chances[answer]
        for answer, weight in enumerate(felt_weights(Felt(word=word, moment=on_card(word).moment)))
    )
    masses = prior_of(known.case).masses * (0.95 * np.asarray(rightly) + 0.05 / len(ANSWERS))
    return np.asarray(masses / masses.sum())


@pytest.mark.parametrize("seed", CARS)
def test_no_step_of_a_random_car_goes_against_what_was_felt(seed: int) -> None:
    known = random_known(seed)
    limits = known.case.catalog.limits
    orifice, delay, volume = figures_of(known, known.case.as_fitted)
    for feeling in random_feelings(seed):
        symptom = SYMPTOMS[feeling.word]
        for step in (one for one in feeling.moves if one.swaps):
            then_orifice, then_delay, then_volume = figures_of(known, choice_with(known, step))
            assert symptom.side * (then_orifice - orifice) >= -SAME_MM, "never the other way"
            wanted = orifice + symptom.side * (limits.fine_move_mm if symptom.faint else limits.first_move_mm)
            sizes = [one.read(FittedNozzle).diameter_mm for one in known.case.options[SLOTS["front.nozzle"]]]
            beyond = [mm for mm in sizes if symptom.side * (mm - orifice) > SAME_MM]
            nearest = min(beyond, key=lambda mm: abs(mm - wanted), default=orifice)
            assert symptom.side * (then_orifice - nearest) <= SAME_MM, "no farther than the usual step leads"
            if symptom.side < 0:
                assert then_volume <= 1.01 * volume and (then_orifice < orifice or then_volume < volume)
            elif [*symptom.tells] == ["flat"]:
                assert then_volume > volume
            elif [*symptom.tells] == ["hesitates"]:
                assert then_delay < delay
            else:
                assert then_delay < delay or then_volume > volume


@pytest.mark.parametrize("seed", CARS)
def test_every_step_of_a_random_car_is_surer_after_the_feeling_and_keeps_the_rules(seed: int) -> None:
    known = random_known(seed)
    before = {f.rule for f in findings(known.case, known.case.as_fitted) if f.holds is False}
    for feeling in random_feelings(seed):
        for step in (one for one in feeling.moves if one.swaps):
            choice, masses = choice_with(known, step), believed_after(known, feeling.word)
            now, then = felt_with(known.case, "front", [known.case.as_fitted, choice]).covers @ masses
            assert then >= now + GAIN - 1e-3
            newly = {f.rule for f in findings(known.case, choice) if f.holds is False and f.severity == "conflict"}
            assert newly - before <= set(DEMAND)


def test_random_cars_get_steps_of_every_kind() -> None:
    """Or the two tests above would say nothing."""
    steps = [(feeling.word, step) for seed in CARS for feeling in random_feelings(seed) for step in feeling.moves]
    slots = {(word, swap.slot) for word, step in steps for swap in step.swaps}
    assert {("stumble", "nozzle"), ("stumble", "lobe"), ("flat", "lobe"), ("smoke", "lobe")} <= slots
    assert any(not step.swaps for _, step in steps)
