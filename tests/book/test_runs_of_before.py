"""Runs that an earlier version kept are read on: one demand factor, idle pressure and air-fuel ratio as assumed.

Their records are written out here as that version wrote them; nothing of a run is lost, and none is refused.
"""

import copy
import json
from pathlib import Path
from typing import Any

import building
import numpy as np
import pytest
from book_stores import Store
from runs import run

from configurator.book.book import open_book
from configurator.book.records import Trial, car_of
from configurator.book.trial_files import as_text, read_trials
from configurator.judging.case import Case
from configurator.learning.belief import belief_of, run_of
from configurator.ordering.needs_pieces import run_key, run_piece, worked_out

STOCK = building.catalog()


def kept_before(**keys: Any) -> Trial:
    """A run as it was kept: the car has keys of before in place of those of now. engine, assumed, fuel : added keys."""
    record = json.loads(run().model_dump_json())
    car = record["car"]
    del car["late_first_fuel"], car["late_main_circuit"]
    for key in ("idle_pressure_kpa", "idle_vacuum_in_hg", "idle_vacuum_mm_hg", "induction"):
        car["engine"].pop(key, None)
    for key in ("count", "rear"):
        car["carburettor"].pop(key, None)
    for key, value in keys.items():
        car[key] = {**car.get(key, {}), **value} if isinstance(value, dict) else value
    return Trial.model_validate(record)


@pytest.mark.parametrize(("factor", "late"), [(1.0, 1.0), (1.37, 1.37), (0.25, 0.45), (4.0, 2.22)])
def test_a_demand_factor_stands_for_both_unknowns(factor: float, late: float) -> None:
    """As far as an engine may be late at all."""
    car = car_of(kept_before(demand_factor=factor))
    assert (car.late_first_fuel, car.late_main_circuit) == (late, late)
    assert car_of(kept_before()).late_first_fuel == 1.0, "one that was left at its default"


@pytest.mark.parametrize(("was", "now"), [(38.0, 38.0), (45.5, 45.5), (26.0, 30.0), (52.0, 52.0)])
def test_an_assumed_idle_pressure_is_a_key_of_the_engine(was: float, now: float) -> None:
    car = car_of(kept_before(assumed={"idle_pressure_kpa": was, "lip_mm": 10.0}))
    assert car.engine.idle_pressure_kpa == now and car.assumed == {"lip_mm": 10.0}


@pytest.mark.parametrize(
    ("ratio", "fuel", "phi"),
    [
        (12.8, {}, 14.6 / 12.8), (12.0, {"stoichiometric_ratio": 14.4}, 1.2),
        (11.4, {}, 1.28), (12.8, {"stoichiometric_ratio": 9.8}, 1.04), (13.9, {}, 14.6 / 13.9),
    ],
)  # fmt: skip
def test_an_air_fuel_ratio_is_one_of_equivalence_of_the_fuel_that_was_in(
    ratio: float, fuel: dict[str, float], phi: float
) -> None:
    """And no farther out than one is taken: a fuel jetted for another ratio was told wrongly, but the run counts."""
    kept = kept_before(assumed={"power_air_fuel_ratio": ratio}, fuel=fuel)
    assert car_of(kept).assumed == {"power_phi": pytest.approx(phi)}
    assert run_of(kept, STOCK).likelihood().max() > 0


def test_every_ratio_and_pressure_that_was_taken_before_is_taken_now() -> None:
    """Ends of what the earlier version took, with every fuel there may be."""
    for ratio in (11.375, 13.925):
        for stoichiometric in (3.1, 6.4, 14.6, 19.9):
            for idle_kpa in (25.5, 52.5):
                assumed = {"power_air_fuel_ratio": ratio, "idle_pressure_kpa": idle_kpa}
                kept = kept_before(assumed=assumed, fuel={"stoichiometric_ratio": stoichiometric}, demand_factor=4.0)
                Case.of(car_of(kept), STOCK)


def test_reading_a_run_leaves_its_record_as_it_was_kept() -> None:
    kept = kept_before(demand_factor=1.2, assumed={"idle_pressure_kpa": 40.0})
    before = copy.deepcopy(kept.car)
    car_of(kept)
    assert kept.car == before and "demand_factor" in kept.car


def test_a_run_of_now_is_as_it_is() -> None:
    car = building.vehicle(late_first_fuel=1.3, late_main_circuit=0.8, engine={"idle_vacuum_in_hg": 18.0},
                           assumed={"power_phi": 1.2})  # fmt: skip
    assert car_of(run(case=building.case(car))).model_dump(exclude={"fitted"}) == car.model_dump(exclude={"fitted"})


def test_runs_of_before_say_what_the_same_runs_of_now_do() -> None:
    """The belief is about the engine, whatever the file said of it then; idle pressure counts as it did."""
    old = kept_before(demand_factor=1.5)
    assert np.array_equal(run_of(old, STOCK).likelihood(), run_of(run(), STOCK).likelihood())
    old = kept_before(assumed={"idle_pressure_kpa": 46.0})
    now = run(case=building.case(building.vehicle(engine={"idle_pressure_kpa": 46.0})))
    assert np.array_equal(run_of(old, STOCK).likelihood(), run_of(now, STOCK).likelihood())
    assert not np.allclose(run_of(old, STOCK).likelihood(), run_of(run(), STOCK).likelihood())


def test_a_book_of_before_is_read_on(store: Store) -> None:
    """Runs of both in one book: all come back, all count, and an order works them out."""
    place = store.new()
    old = [kept_before(demand_factor=0.3), kept_before(assumed={"power_air_fuel_ratio": 12.2})]
    with open_book(place) as book:
        numbered = [book.add_trial(one) for one in (*old, run("clean"))]
    with open_book(place) as book:
        found = book.trials()
    assert found == numbered
    belief = belief_of(building.case(), found)
    assert (belief.runs, belief.left_out) == (3, 0)
    piece = run_piece(found[0], run_key(found[0]))
    assert worked_out(piece, STOCK)["hesitates"].shape == (1, len(belief.masses))


@pytest.mark.parametrize("format", ["csv", "json"])
def test_a_file_of_before_is_imported(format: Any, tmp_path: Path) -> None:
    old = [kept_before(demand_factor=2.5, assumed={"idle_pressure_kpa": 41.0, "power_air_fuel_ratio": 12.2})]
    path = tmp_path / f"runs.{format}"
    path.write_text(as_text(old, format), encoding="utf-8", newline="")
    assert read_trials(path, STOCK) == old


def test_a_run_of_which_nobody_was_asked_when_is_read_on(store: Store, tmp_path: Path) -> None:
    """From a book, and from files as they were written before: neither has the moment."""
    record = json.loads(run().model_dump_json())
    assert record["felt"].pop("moment") is None
    kept = Trial.model_validate(record)
    assert kept == run() and kept.felt is not None and kept.felt.moment is None
    with open_book(store.new()) as book:
        added = book.add_trial(run("stumble", moment="later"))
        assert [one.felt for one in book.trials()] == [added.felt] and added.felt and added.felt.moment == "later"
    for form in ("json", "csv"):
        text = as_text([run()], form).replace(',\n        "moment": null', "")
        assert form == "csv" or "moment" not in text
        if form == "csv":
            heading, row = text.split("\n", 1)
            place = heading.split(",").index("moment")
            cells = row.split(",")
            text = ",".join(name for name in heading.split(",") if name != "moment") + "\n"
            text += ",".join(cells[:place] + cells[place + 1 :])
        (tmp_path / f"runs.{form}").write_text(text, encoding="utf-8", newline="")
        assert read_trials(tmp_path / f"runs.{form}", STOCK) == [run()]
