"""The next step after each feeling, on cars whose next nozzle can be named by hand."""

from typing import Any

import building
import pytest

from configurator.card.next_moves import after_feelings
from configurator.card.sheet import AfterFeeling, NextMove
from configurator.catalogue.load import Catalog
from configurator.judging.case import Case
from configurator.judging.feelings import NEARLY_ALWAYS_LEAN, SYMPTOMS

ONE_LOBE = [building.lobe("lobe-mid", 3.6, phases_deg=(0.0,))]


def stock(*sizes_mm: float, **more: Any) -> Catalog:
    """Nozzles of these sizes, one screw, pump and lobe: a nozzle is all that can change."""
    nozzles = [*(building.nozzle(mm) for mm in sizes_mm), *more.pop("besides", ())]
    return building.catalog(nozzles, building.SCREWS[:1], building.PUMPS[:1], ONE_LOBE, [], **more)


def car(nozzle_mm: float, catalog: Catalog, **tables: Any) -> Case:
    made = building.vehicle(front={"nozzle": f"straight-{nozzle_mm:.2f}"}, **tables)
    return building.case(made, catalog).with_linkage_set()


def after(case: Case) -> dict[str, AfterFeeling]:
    return {feeling.word: feeling for feeling in after_feelings(case, case.as_fitted)}


def move(case: Case, word: str) -> NextMove:
    (found,) = after(case)[word].moves
    return found


def code(case: Case, word: str) -> str | None:
    (swap,) = move(case, word).swaps
    return swap.code


def test_a_lean_feeling_asks_for_the_nozzle_a_first_move_up() -> None:
    """From 0.70 mm by 0.08 mm: 0.78 mm, not the nearer 0.74 mm nor 0.86 mm; by 0.04 mm after a faint one: 0.74 mm."""
    case = car(0.70, stock(0.62, 0.66, 0.70, 0.74, 0.78, 0.86))
    assert (code(case, "stumble"), code(case, "popback"), code(case, "dull")) == (
        "straight-0.78", "straight-0.78", "straight-0.74",
    )  # fmt: skip
    (swap,) = move(case, "stumble").swaps
    assert (swap.slot, swap.in_place_of, swap.to) == ("nozzle", "straight-0.70", "straight-0.78, 0.78 mm (30.7 thou)")
    assert move(case, "stumble").says == "" and move(case, "stumble").circuit == "front"


def test_smoke_asks_for_the_nozzle_a_first_move_down() -> None:
    assert code(car(0.90, stock(0.70, 0.74, 0.82, 0.86, 0.90, 1.00)), "smoke") == "straight-0.82"


def test_a_clean_pull_asks_for_nothing() -> None:
    assert after(car(0.70, stock(0.70, 0.78)))["clean"].moves == []


def test_every_feeling_stands_there_and_no_hint_is_said_twice() -> None:
    feelings = after(car(0.70, stock(0.70, 0.78)))
    assert list(feelings) == list(SYMPTOMS)
    assert all(feeling.says == SYMPTOMS[word].says for word, feeling in feelings.items())
    assert feelings["stumble"].hint == NEARLY_ALWAYS_LEAN
    popback = feelings["popback"].hint
    assert popback.startswith("A pop back") and NEARLY_ALWAYS_LEAN not in popback and popback == popback.strip()
    assert feelings["smoke"].hint == SYMPTOMS["smoke"].hint


def test_nothing_is_drilled_and_no_other_style_is_taken_for_a_trial() -> None:
    """A drilled 0.88 mm would be there for the fitted one, and an aimed 0.88 mm; the body takes straight ones."""
    operations = [building.REDRILL]
    nozzles = [building.nozzle(0.80), building.nozzle(0.96), building.nozzle(0.88, "aimed")]
    catalog = building.catalog(nozzles, building.SCREWS, building.PUMPS[:1], ONE_LOBE, [], operations=operations)
    case = car(0.80, building.catalog(nozzles, building.SCREWS, building.PUMPS[:1], ONE_LOBE, [])).at(1.0)
    for one in (case, car(0.80, catalog)):
        for feeling in after(one).values():
            for step in feeling.moves:
                assert not any("drill" in swap.to or "aimed" in swap.to for swap in step.swaps)


def test_where_the_catalogue_has_no_other_nozzle_it_is_said_what_to_look_at() -> None:
    alone = car(0.70, stock(0.70))
    assert move(alone, "stumble").swaps == []
    assert move(alone, "stumble").says.startswith("no part in the catalogue gives more here and keeps the rules: look")
    assert move(alone, "smoke").says.startswith("no part in the catalogue gives less here and keeps the rules: look")


def test_another_part_takes_the_place_of_a_nozzle_there_is_not() -> None:
    """No smaller nozzle, but a lobe that lifts less; why the nozzle alone will not do is said."""
    lobes = [*ONE_LOBE, building.lobe("lobe-less", 2.8, phases_deg=(0.0,))]
    catalog = building.catalog([building.nozzle(0.90)], building.SCREWS[:1], building.PUMPS[:1], lobes, [])
    step = move(car(0.90, catalog), "smoke")
    assert [swap.code for swap in step.swaps] == ["lobe-less"] and step.swaps[0].slot == "lobe"
    assert step.says == "the catalogue has no smaller nozzle for it"


def test_what_covers_every_engine_asks_for_no_more() -> None:
    never_lean = building.with_limits(car(0.70, stock(0.62, 0.70, 0.78)), hole_most_ms=1e6)
    assert move(never_lean, "stumble").says.startswith("right for any engine in that direction: look elsewhere")
    assert move(never_lean, "smoke").says != move(never_lean, "stumble").says
    never_rich = building.with_limits(car(0.70, stock(0.62, 0.70, 0.78)), flood_most_ms=1e6)
    assert move(never_rich, "smoke").says.startswith("right for any engine in that direction: look elsewhere")
    assert code(never_rich, "stumble") == "straight-0.78"


def test_what_covers_no_engine_and_what_does_not_go_together_have_no_next_step() -> None:
    none = building.with_limits(car(0.70, stock(0.62, 0.70, 0.78)), rich_phi=0.02, lean_phi=0.01, flood_most_ms=0.0)
    assert move(none, "stumble").says.startswith("right for no engine as it is")
    case = building.case(building.vehicle(front={"lobe": "lobe-long", "phase_deg": 4})).with_linkage_set()
    for word in ("stumble", "smoke", "dull"):
        assert move(case, word).swaps == []
        assert move(case, word).says == "these parts do not go together, so there is no next step from them"


@pytest.mark.parametrize("word", ["stumble", "smoke"])
def test_the_circuit_nearer_its_edge_comes_first(word: str) -> None:
    case = building.case(building.two_circuits()).with_linkage_set()
    edges = {}
    for name in case.circuit_names:
        shot = case.columns(name, {slot: (o,) for slot, o in case.as_fitted.items()}, with_windows=True).shot
        edges[name] = shot.window_high.item() if word == "stumble" else -shot.window_low.item()
    assert [step.circuit for step in after(case)[word].moves] == sorted(edges, key=lambda name: edges[name])
