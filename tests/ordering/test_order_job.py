"""From meeting, vehicles and book to what is planned: the same for each vehicle as alone, worked out once a model."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import building
import numpy as np
import pytest
from order_cases import needs_of

from configurator.book.book import open_book
from configurator.book.fitting import fitting_of
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import Catalog, shipped_catalog_dir
from configurator.errors import BadInput
from configurator.judging.case import Case
from configurator.learning.belief import Run, belief_of, impossible_runs
from configurator.ordering import job as order_job
from configurator.ordering import needs_pieces
from configurator.ordering.answer import OrderJob
from configurator.ordering.job import SCENARIOS, job_of
from configurator.ordering.meeting import Meeting, load_meeting
from configurator.ordering.needs import VehicleNeeds
from configurator.ordering.needs_pieces import Piece
from configurator.ordering.plan import PurchaseWish
from configurator.physics.lateness import FIRST_FUEL
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import chosen_parts

STOCK = building.catalog()
MONDAY = date(2026, 5, 4)
MODELS = [building.vehicle(engine={"idle_rpm": rpm}) for rpm in (650, 900)]
CARS = [MODELS[n % 2].model_copy(update={"name": f"car {n}"}) for n in range(8)]


def run(car: Vehicle, word: str, degrees: float | None = None, **more: object) -> Trial:
    conditions = Conditions.model_validate({"air_temperature_c": degrees, **more})
    return trial_of(Case.of(car, STOCK), datetime(2026, 4, 1, tzinfo=UTC), Felt(word=word), conditions)


def runs() -> list[Trial]:
    """Of one model, cars 0 and 2 with the same two runs in another order, 4 with one of them, 6 with one that does not
    count; of the other model, car 1 with one."""
    found = [run(CARS[0], "stumble", 12), run(CARS[0], "dull"), run(CARS[2], "dull"), run(CARS[2], "stumble", 12),
             run(CARS[4], "stumble", 12), run(CARS[6], "smoke", warm=False), run(CARS[1], "stumble", 12)]  # fmt: skip
    return [trial.model_copy(update={"at": trial.at + timedelta(hours=n)}) for n, trial in enumerate(found)]


def job(tmp_path: Path, cars: Sequence[Vehicle] = CARS) -> OrderJob:
    appointments = [{"file": "x.toml", "day": MONDAY + timedelta(days=n)} for n in range(len(cars))]
    meeting = Meeting.model_validate({"name": "x", "today": MONDAY, "sureness": 0.7, "vehicle": appointments})
    place = tmp_path / "book.sqlite"
    if not place.exists():
        with open_book(place) as book:
            book.add_new_trials(runs())
            book.move_stock("straight-0.90", 2, "bought")
    return job_of(meeting, cars, STOCK, open_book(place), PurchaseWish(), redrill=False)


def test_an_order_for_several_carburettors_is_refused_by_name(tmp_path: Path) -> None:
    """Its boxes would hold parts for one of them."""
    twin = building.vehicle(carburettor={"count": 2}, name="twin")
    with pytest.raises(BadInput) as caught:
        job(tmp_path, [CARS[0], twin])
    assert "twin, [carburettor] count: is 2, and an order counts parts for one; expected 1" in str(caught.value)
    assert len(caught.value.faults) == 1


def same(one: VehicleNeeds, other: VehicleNeeds) -> bool:
    return (
        one.name == other.name and one.shared == other.shared and np.array_equal(one.scenarios, other.scenarios)
        and all(
            a.circuit == b.circuit and a.nozzles == b.nozzles and np.array_equal(a.covers, b.covers)
            and [(s.label, s.codes, s.goes_with.tolist()) for s in a.setups]
            == [(s.label, s.codes, s.goes_with.tolist()) for s in b.setups]
            for a, b in zip(one.circuits, other.circuits, strict=True)
        )
    )  # fmt: skip


def alone(car: Vehicle) -> VehicleNeeds:
    """What a vehicle needs, worked out for it alone."""
    case = Case.of(car, STOCK)
    belief = belief_of(case, [trial for trial in runs() if trial.vehicle == car.name])
    return needs_of(case, belief.scenarios(SCENARIOS), redrill=False)


def test_every_vehicle_gets_what_it_would_get_alone(tmp_path: Path) -> None:
    made = job(tmp_path)
    assert [one.needs.name for one in made.wanted] == [car.name for car in CARS]
    assert all(same(one.needs, alone(car)) for one, car in zip(made.wanted, CARS, strict=True))
    assert [one.day for one in made.wanted] == [MONDAY + timedelta(days=n) for n in range(8)]
    assert made.runs == {"car 0": 2, "car 1": 1, "car 2": 2, "car 3": 0, "car 4": 1, "car 5": 0, "car 6": 0, "car 7": 0}
    assert made.market.shelf == {"straight-0.90": 2}
    assert not same(made.wanted[0].needs, made.wanted[4].needs), "runs make a difference"


def test_models_and_runs_are_worked_out_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    worked: list[str] = []
    whole = needs_pieces.worked_out

    def noted(piece: Piece, stock: Catalog) -> dict[str, np.ndarray]:
        worked.append(piece.kind)
        return whole(piece, stock)

    monkeypatch.setattr(needs_pieces, "worked_out", noted)
    made = job(tmp_path)
    assert sorted(worked) == ["regions"] * 2 + ["run"] * 3, "two models; three cars in their air"
    shared = [one.needs.circuits for one in made.wanted]
    assert shared[0] is shared[2], "the same runs in another order"
    assert shared[3] is shared[5] is shared[7] and shared[3] is not shared[1]
    assert shared[6][0].nozzles == alone(CARS[6]).circuits[0].nozzles


def test_runs_without_numbers_are_told_apart_where_one_is_doubted() -> None:
    """Those that say the same share what they say, and no number then."""
    unlikely, likely = (Run(None, np.full(len(FIRST_FUEL), chance), 0.1) for chance in (1e-6, 0.9))
    assert impossible_runs([unlikely, likely, unlikely]) == ((None,), (None,))


def test_many_vehicles_read_the_book_once_to_the_same_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    singly = job(tmp_path)
    monkeypatch.setattr(order_job, "ASKED_ONE_BY_ONE", 3)
    at_once = job(tmp_path)
    assert singly.runs == at_once.runs
    assert all(same(a.needs, b.needs) for a, b in zip(singly.wanted, at_once.wanted, strict=True))


@pytest.mark.parametrize("one_by_one", [100, 0])
def test_what_is_bought_is_for_the_car_as_it_is_now(
    one_by_one: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the last run, or by what was told later: that nozzle is there already, and the file's is not."""
    monkeypatch.setattr(order_job, "ASKED_ONE_BY_ONE", one_by_one)
    case = Case.of(CARS[3], STOCK)
    choice = chosen_parts(case.options, ["front.nozzle=straight-0.90", "front.lobe=lobe-high"])
    with open_book(tmp_path / "book.sqlite") as book:
        book.add_fitting(fitting_of(case, datetime(2026, 4, 1, tzinfo=UTC), choice, {}, ""))
    found = job(tmp_path, [CARS[3], CARS[5]])
    fitted = [next(option for option in one.needs.circuits[0].nozzles if not option.changed) for one in found.wanted]
    assert [option.code for option in fitted] == ["straight-0.90", "straight-0.80"]


WORKSHOP = """name = "Chain"
today = 2026-05-04

[[vehicle]]
file = "{file}"
name = "Roadster 1"
day = 2026-05-09

[[vehicle]]
file = "{file}"
{name}day = 2026-05-11
"""


def test_vehicles_share_a_file_under_names_of_their_own(tmp_path: Path) -> None:
    file = shipped_catalog_dir() / "examples" / "roadster.toml"
    path = tmp_path / "workshop.toml"
    path.write_text(WORKSHOP.format(file=file, name='name = "Roadster 2"\n'), encoding="utf-8")
    _, cars = load_meeting(path)
    assert [car.name for car in cars] == ["Roadster 1", "Roadster 2"] and cars[0].file == cars[1].file == str(file)
    assert cars[0].engine is cars[1].engine, "read once"
    path.write_text(WORKSHOP.format(file=file, name=""), encoding="utf-8")
    assert [car.name for car in load_meeting(path)[1]] == ["Roadster 1", "Club roadster"]
    path.write_text(WORKSHOP.format(file=file, name='name = "Roadster 1"\n'), encoding="utf-8")
    with pytest.raises(BadInput, match="two vehicles are called 'Roadster 1'"):
        load_meeting(path)


def test_nothing_is_wanted_for_what_pulled_cleanly_last(tmp_path: Path) -> None:
    """Whatever the runs before leave; with another nozzle told since, or a later complaint, it is as for any car."""
    with open_book(tmp_path / "book.sqlite") as book:
        late = timedelta(days=2)
        for car, word in ((CARS[0], "clean"), (CARS[4], "clean"), (CARS[4], "stumble")):
            late += timedelta(hours=1)
            trial = run(car, word)
            book.add_trial(trial.model_copy(update={"at": trial.at + late}))
        book.add_new_trials(runs())
    planned = job(tmp_path).wanted
    for one, alone in zip(planned, (True, *[False] * 7), strict=True):
        (circuit,) = one.needs.circuits
        assert (len(circuit.setups), len(circuit.nozzles)) == (1, 1) or not alone
        assert bool(circuit.covers[0, 0].all()) is alone, one.needs.name
    (setup,) = planned[0].needs.circuits[0].setups
    assert setup.is_fitted and not setup.codes and not setup.labour_min


def test_nor_for_a_clean_set_that_was_put_back_by_hand(tmp_path: Path) -> None:
    """Another nozzle smoked since: what is in the car is what pulled cleanly, as every other answer has it."""
    case, nozzle = Case.of(CARS[0], STOCK), SLOTS["front.nozzle"]
    other = next(option for option in case.options[nozzle] if option.changed and option.work == "fit")
    clean = run(CARS[0], "clean")
    smoked = trial_of(
        case, clean.at + timedelta(hours=1), Felt(word="smoke"), Conditions(), choice={**case.as_fitted, nozzle: other}
    )
    with open_book(tmp_path / "book.sqlite") as book:
        book.add_new_trials([clean, smoked])
    (before,) = job(tmp_path, CARS[:1]).wanted
    assert not before.needs.circuits[0].covers[0, 0].all()
    with open_book(tmp_path / "book.sqlite") as book:
        book.add_fitting(fitting_of(case, clean.at + timedelta(hours=2), case.as_fitted, {}, ""))
    (after,) = job(tmp_path, CARS[:1]).wanted
    (circuit,) = after.needs.circuits
    assert (len(circuit.setups), len(circuit.nozzles)) == (1, 1) and circuit.covers[0, 0].all()
