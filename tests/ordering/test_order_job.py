"""From meeting, vehicles and book to what is planned: the same for each vehicle as alone, worked out once a model."""

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import building
import numpy as np
import pytest
from order_cases import needs_of
from pydantic import ValidationError
from random_cars import case_with, random_car

from configurator.advice.over_unknown import in_a_sentence, not_known
from configurator.book.book import open_book
from configurator.book.fitting import fitting_of
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.car.vehicle import Vehicle, load_vehicle
from configurator.catalogue.load import FAMILIES, Catalog, load_catalog, shipped_catalog_dir
from configurator.errors import BadInput
from configurator.judging.case import Case
from configurator.judging.feelings import SYMPTOMS, WHEN_NOT_SAID
from configurator.learning.as_known import Known, known_by
from configurator.learning.belief import prior_of
from configurator.ordering import job as order_job
from configurator.ordering import needs_pieces, unknown_cars
from configurator.ordering.answer import OrderJob, answer
from configurator.ordering.articles import by_codes
from configurator.ordering.job import CUT, job_of
from configurator.ordering.meeting import Meeting, load_meeting
from configurator.ordering.needs import VehicleNeeds
from configurator.ordering.needs_pieces import Piece
from configurator.ordering.plan import PurchaseWish
from configurator.ordering.report import OrderReport
from configurator.reports import NotKnown
from configurator.slots.slot import SLOTS
from configurator.slots.wishes import chosen_parts
from configurator.views.order import order_text

STOCK = by_codes(building.catalog())
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
    known = known_by(case, [trial for trial in runs() if trial.vehicle == car.name])
    return needs_of(case, known.believed, CUT, known.sizes, redrill=False)


def test_every_vehicle_gets_what_it_would_get_alone(tmp_path: Path) -> None:
    made = job(tmp_path)
    assert [one.needs.name for one in made.wanted] == [car.name for car in CARS]
    assert all(same(one.needs, alone(car)) for one, car in zip(made.wanted, CARS, strict=True))
    assert [one.day for one in made.wanted] == [MONDAY + timedelta(days=n) for n in range(8)]
    assert {name: known.believed.runs for name, known in made.known.items()} == {
        "car 0": 2,
        "car 1": 1,
        "car 2": 2,
        "car 3": 0,
        "car 4": 1,
        "car 5": 0,
        "car 6": 0,
        "car 7": 0,
    }
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
    assert shared[0] is not shared[2], "the same runs in another order: what was felt last binds"
    assert shared[3] is shared[5] is shared[7] and shared[3] is not shared[1]
    assert shared[6][0].nozzles == alone(CARS[6]).circuits[0].nozzles


def test_many_vehicles_read_the_book_once_to_the_same_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    singly = job(tmp_path)
    monkeypatch.setattr(order_job, "ASKED_ONE_BY_ONE", 3)
    at_once = job(tmp_path)
    assert [one.says for one in singly.known.values()] == [one.says for one in at_once.known.values()]
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


def report_of(meeting: dict[str, object], cars: Sequence[Vehicle], place: Path | None) -> OrderReport:
    wish, book = PurchaseWish(), open_book(place) if place else None
    return answer(job_of(Meeting.model_validate(meeting), cars, STOCK, book, wish, redrill=True), curve=False)


def meeting(*cars: dict[str, object]) -> dict[str, object]:
    appointments = [{"file": "x.toml", "day": MONDAY + timedelta(days=9), **car} for car in cars]
    return {"name": "x", "today": MONDAY, "sureness": 0.7, "vehicle": appointments}


def test_a_feeling_of_today_counts_as_a_run_of_today_does(tmp_path: Path) -> None:
    """As the other commands take it: the same belief, and the same sizes ruled out."""
    felt = job_of(Meeting.model_validate(meeting({"symptom": "stumble"})), [CARS[0]], STOCK, None, PurchaseWish(),
                  redrill=False)  # fmt: skip
    known = known_by(Case.of(CARS[0], STOCK), [], SYMPTOMS["stumble"])
    [wanted] = felt.wanted
    assert np.allclose(wanted.needs.masses, known.believed.masses)
    assert not np.allclose(wanted.needs.masses, prior_of(known.case).masses)
    assert known.sizes["front"].lean_mm > 0.0
    assert same(wanted.needs, needs_of(Case.of(CARS[0], STOCK), known.believed, CUT, known.sizes, redrill=False))
    [told] = answer(felt, curve=False).vehicles
    assert told.says == known.says == f"by what was felt: a stumble that recovers ({WHEN_NOT_SAID})"
    with pytest.raises(ValidationError, match="'splutter' is no symptom; expected one of stumble"):
        Meeting.model_validate(meeting({"symptom": "splutter"}))


def test_a_car_without_runs_is_told_to_be_guessed_at_and_a_clean_one_gets_nothing(tmp_path: Path) -> None:
    place = tmp_path / "book.sqlite"
    with open_book(place) as book:
        stumbled = run(CARS[2], "stumble")
        book.add_new_trials(
            [stumbled, run(CARS[2], "clean").model_copy(update={"at": stumbled.at + timedelta(days=1)})]
        )
    told = report_of(meeting({}, {}), [CARS[0], CARS[2]], place)
    [guessed], [clean] = told.vehicles, told.left_alone
    assert guessed.vehicle == "car 0" and guessed.says == "no run yet: this is the model's guess alone"
    assert clean.vehicle == "car 2" and "pulled cleanly" in clean.says and clean.runs == 2
    assert told.lines and not any(use.vehicle == "car 2" for line in told.lines for use in line.wanted_for)
    assert "no run yet: this is the model's guess alone" in order_text(told)
    alone = report_of(meeting({}), [CARS[2]], place)
    assert alone.ok and alone.total == 0.0 and not alone.lines and "pulled cleanly" in order_text(alone)
    assert report_of(meeting({"symptom": "stumble"}), [CARS[2]], place).vehicles[0].wanted == 0.7, "it came back"


def test_a_car_that_pulled_cleanly_with_parts_at_hand_gets_nothing(tmp_path: Path) -> None:
    """They go back in, and are no other car's then; where they are not at hand, a box is bought."""
    place, car = tmp_path / "book.sqlite", CARS[3]
    case = Case.of(car, STOCK)
    choice = chosen_parts(case.options, ["front.nozzle=straight-0.90"])
    clean = trial_of(case, datetime(2026, 4, 1, tzinfo=UTC), Felt(word="clean"), Conditions(), choice=choice)
    with open_book(place) as book:
        book.add_new_trials([clean, run(car, "stumble").model_copy(update={"at": clean.at + timedelta(days=1)})])
    bought = job_of(Meeting.model_validate(meeting({})), [car], STOCK, open_book(place), PurchaseWish(), redrill=False)
    assert bought.wanted and not bought.left_alone
    told = answer(bought, curve=False)
    assert [line.code for line in told.lines if not line.code.startswith("gasket")] == ["straight-0.90"]
    assert told.vehicles[0].nozzles["front"] == ["straight-0.90, 0.90 mm (35.4 thou)"]
    assert told.vehicles[0].says == "run 1 pulled cleanly: its parts go back in" and told.ok
    with open_book(place) as book:
        book.move_stock("straight-0.90", 1, "taken out")
    back = job_of(Meeting.model_validate(meeting({})), [car], STOCK, open_book(place), PurchaseWish(), redrill=False)
    [left] = back.left_alone
    assert not back.wanted and left.says == "run 1 pulled cleanly: its parts, which are at hand, go back in"
    assert back.market.shelf == {"straight-0.90": 0}


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
    """Whatever the runs before leave; with a later complaint it is as for any car."""
    with open_book(tmp_path / "book.sqlite") as book:
        late = timedelta(days=2)
        for car, word in ((CARS[0], "clean"), (CARS[4], "clean"), (CARS[4], "stumble")):
            late += timedelta(hours=1)
            trial = run(car, word)
            book.add_trial(trial.model_copy(update={"at": trial.at + late}))
        book.add_new_trials(runs())
    planned = job(tmp_path)
    assert [left.name for left in planned.left_alone] == [CARS[0].name]
    assert [one.needs.name for one in planned.wanted] == [car.name for car in CARS[1:]]


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
        book.move_stock("straight-0.90", 2, "bought")
        book.add_fitting(fitting_of(case, smoked.at + timedelta(hours=1), {**case.as_fitted, nozzle: other}, {}, ""))
    assert job(tmp_path, CARS[:1]).wanted
    with open_book(tmp_path / "book.sqlite") as book:
        book.add_fitting(fitting_of(case, smoked.at + timedelta(hours=2), case.as_fitted, {}, ""))
    after = job(tmp_path, CARS[:1])
    assert not after.wanted and [left.name for left in after.left_alone] == [CARS[0].name]


@pytest.mark.parametrize("seed", [1, 6])
def test_no_order_hangs_on_the_order_of_rows(seed: int) -> None:
    """To the letter, with the shipped catalogue and its rows shuffled."""
    shipped, dice = load_catalog(shipped_catalog_dir()), random.Random(seed)
    families = {name: list(getattr(shipped, name).items()) for name in FAMILIES if name != "limits"}
    for rows in families.values():
        dice.shuffle(rows)
    cars = [load_vehicle(shipped_catalog_dir() / "examples" / f"{name}.toml") for name in ("roadster", "tow-truck")]

    def told(stock: Catalog) -> str:
        asked = Meeting.model_validate({**meeting({}, {}), "sureness": 0.6})
        return answer(job_of(asked, cars, stock, None, PurchaseWish(), redrill=True), curve=False).model_dump_json()

    shuffled: dict[str, Any] = {name: dict(rows) for name, rows in families.items()}
    assert told(replace(shipped, **shuffled)) == told(shipped)


def test_for_clean_cars_alone_there_is_nothing_to_buy_whatever_the_money(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.sqlite") as book:
        book.add_new_trials([run(CARS[0], "clean")])
    told = answer(job(tmp_path, CARS[:1]))
    assert told.ok and not told.lines and not told.curve and told.total == 0.0
    assert order_text(told).startswith("YES  x: nothing to buy for any car")


def test_before_anything_is_bought_what_came_back_with_the_same_parts_is_doubted(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.sqlite") as book:
        clean = run(CARS[0], "clean")
        later = run(CARS[0], "stumble").model_copy(update={"at": clean.at + timedelta(hours=1)})
        book.add_new_trials([clean, later])
    (told,) = answer(job(tmp_path, CARS[:1]), curve=False).vehicles
    assert told.first[0].startswith("run 1 pulled cleanly with these very parts, now complained of")


def test_the_size_between_two_that_were_felt_is_tried_before_anything_is_bought(tmp_path: Path) -> None:
    case = case_with(random_car(0), load_catalog(shipped_catalog_dir()))
    slot, runs = SLOTS["front.nozzle"], []
    for hour, (mm, word) in enumerate((("0.72", "stumble"), ("0.88", "smoke"))):
        nozzle = next(option for option in case.on_offer[slot] if option.label.startswith(f"straight-{mm}"))
        at = datetime(2026, 5, 2, 10 + hour, tzinfo=UTC)
        runs.append(trial_of(case, at, Felt(word=word), Conditions(), choice={**case.as_fitted, slot: nozzle}))
    with open_book(tmp_path / "book.sqlite") as book:
        book.add_new_trials(runs)
        asked = Meeting.model_validate({**meeting({}), "sureness": 0.5})
        found = job_of(asked, [case.vehicle], case.catalog, book, PurchaseWish(), redrill=False)
    (told,) = answer(found, curve=False).vehicles
    assert told.first[0].startswith("first try front.nozzle straight-0.") and "felt too small" in told.first[0]


@pytest.mark.parametrize(("symptom", "when"), [(None, "later"), ("clean", "later")])
def test_a_moment_is_that_of_a_symptom_which_has_it(symptom: str | None, when: str) -> None:
    with pytest.raises(ValidationError, match="when is 'later'; expected"):
        Meeting.model_validate(meeting({"symptom": symptom, "when": when}))


def test_what_is_felt_at_once_asks_for_other_parts_than_what_is_felt_later() -> None:
    at_once, later = (
        job_of(Meeting.model_validate(meeting({"symptom": "stumble", "when": when})), [CARS[0]], STOCK, None,
               PurchaseWish(), redrill=False).wanted[0].needs.masses for when in ("at-once", "later")
    )  # fmt: skip
    assert not np.allclose(at_once, later)


def test_what_is_not_known_of_a_car_is_told_where_it_buys_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As `check` tells it, once for equal cars; not once a run is logged, nor for a car that gets nothing."""
    worked: list[str] = []

    def noted(known: Known) -> list[NotKnown]:
        worked.append(known.case.vehicle.name)
        return not_known(known)

    monkeypatch.setattr(unknown_cars, "not_known", noted)
    report = answer(job(tmp_path, [CARS[n] for n in (0, 3, 5, 7)]), curve=False)
    told = {vehicle.vehicle: vehicle.not_known for vehicle in report.vehicles}
    bought_for = {use.vehicle for line in report.lines for use in line.wanted_for}
    assert bought_for & {"car 3", "car 5", "car 7"}, "the test is to be about one of them"
    case = Case.of(CARS[3], STOCK)
    (over,) = not_known(known_by(case, []))
    assert told == {
        name: [over] if name in bought_for - {"car 0"} else [] for name in ("car 0", "car 3", "car 5", "car 7")
    }
    assert len(worked) <= 2, "equal cars share it"
    assert in_a_sentence(over) in " ".join(order_text(report).split())
    monkeypatch.setattr(unknown_cars, "MOST_FOR_RANGE", 0)
    assert not any(vehicle.not_known for vehicle in answer(job(tmp_path, [CARS[3]]), curve=False).vehicles)
