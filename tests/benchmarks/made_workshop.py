"""Workshops of any size, made from a seed: `python tests/benchmarks/made_workshop.py FOLDER 1000 [--seed 1]`.

A chain looks after many cars of the same few models. Each model is an invented variation of an example vehicle; most
cars of one are technically equal and share its file under names of their own. A third of them have one to three runs in
the book, and some parts lie on the shelf.
"""

import argparse
import random
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from configurator.book.book import open_book
from configurator.book.records import Conditions, Felt, Trial, trial_of
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.judging.case import Case
from configurator.ordering.meeting import load_meeting
from configurator.ordering.needs import diameter_mm
from configurator.slots.options import Option

TODAY = date(2026, 5, 4)
BOOK = "book.sqlite"
SURENESS = (0.7, 0.8, 0.9)
SHARE_WITH_RUNS = 1 / 3
ODD_ONES_MOST = 6
"""Cars that have a file of their own, since something on them was measured that their sisters lack."""
BODIES = (("Roadster", "roadster"), ("Saloon", "hill-climber"), ("Truck", "tow-truck"), ("Van", "van"))
SHELF = ("straight-0.65", "straight-0.75", "straight-0.85", "aimed-0.80", "straight-1.00", "lobe-cairn", "lobe-crag",
         "lobe-fell", "screw-wide", "pump-3cc", "gasket-nozzle", "gasket-pump-cover", "gasket-flange")  # fmt: skip


def models_of(vehicles: int) -> int:
    """How many models a chain of so many cars has: 4 to 30."""
    return min(vehicles, 12 if vehicles <= 100 else 20 if vehicles <= 1000 else 30)


def write_workshop(folder: Path, vehicles: int, seed: int, *, with_book: bool = True) -> Path:
    """Write the vehicle files, a workshop file that names so many vehicles, and a book beside it (BOOK, anew); returns
    the workshop file."""
    draw = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    cars = [_model(draw, number) for number in range(models_of(vehicles))]
    odd = [_measured_anew(draw, draw.choice(cars)) for _ in range(min(vehicles // 50, ODD_ONES_MOST))]
    for place, car in enumerate([*cars, *odd], 1):
        (folder / f"model-{place:02}.toml").write_text(_as_toml(car), encoding="utf-8")
    weeks = 2 if vehicles <= 100 else 4
    days = [day for day in (TODAY + timedelta(days=n) for n in range(7, 7 + 7 * weeks)) if day.weekday() < 6]
    lines = [f'name = "Chain of {vehicles}"', f"today = {TODAY}", "sureness = 0.8"]
    for number in range(vehicles):
        place = len(cars) + number if number < len(odd) else (number - len(odd)) % len(cars)
        body = [*cars, *odd][place]["name"].split()[0]
        lines += ["", "[[vehicle]]", f'file = "model-{place + 1:02}.toml"', f'name = "{body} {number + 1:04}"',
                  f"day = {draw.choice(days)}", f"sureness = {draw.choice(SURENESS)}"]  # fmt: skip
    path = folder / "workshop.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    if with_book:
        _fill_book(folder / BOOK, path, draw)
    return path


def _model(draw: random.Random, number: int) -> dict[str, Any]:
    """A model of a body, its figures moved by some per cent; the first of each body is the example itself."""
    body, example = BODIES[number % len(BODIES)]
    car = tomllib.loads((shipped_catalog_dir() / "examples" / f"{example}.toml").read_text(encoding="utf-8"))
    car["name"], car["note"] = f"{body} model {number + 1}", ""
    if number < len(BODIES):
        return car
    larger = draw.uniform(0.9, 1.1)
    engine, carburettor = car["engine"], car["carburettor"]
    engine["displacement_cc"] = round(engine["displacement_cc"] * larger / 10) * 10
    engine["idle_rpm"] = round(engine["idle_rpm"] * draw.uniform(0.95, 1.05) / 10) * 10
    if "mass_kg" in car["driveline"]:
        car["driveline"]["mass_kg"] = round(car["driveline"]["mass_kg"] * draw.uniform(0.9, 1.1) / 10) * 10
    rating = "rated_flow_m3_min" if "rated_flow_m3_min" in carburettor else "rated_flow_ft3_min"
    carburettor[rating] = round(carburettor[rating] * larger * draw.uniform(0.97, 1.03), 1)
    if "volume_cc" in car["manifold"]:
        car["manifold"]["volume_cc"] = round(car["manifold"]["volume_cc"] * larger / 10) * 10
    return _measured_anew(draw, car)


def _measured_anew(draw: random.Random, car: Mapping[str, Any]) -> dict[str, Any]:
    """The same car with clearances of its own, up to 3 mm more."""
    car = dict(car) | {"manifold": dict(car["manifold"])}
    for key in ("pad_clearance_mm", "rear_pad_clearance_mm", "bonnet_clearance_mm"):
        if key in car["manifold"]:
            car["manifold"][key] = round(car["manifold"][key] + draw.uniform(0, 3), 1)
    return car


def _as_toml(car: Mapping[str, Any]) -> str:
    """A vehicle as its file: plain figures first, then its tables, a part's own figures inline."""
    lines = [f"{key} = {_value(value)}" for key, value in car.items() if not isinstance(value, dict)]
    for name, table in car.items():
        if isinstance(table, dict):
            circuits = ("front", "rear") if name == "fitted" else ()
            headed = {name: {key: value for key, value in table.items() if key not in circuits}}
            headed |= {f"{name}.{key}": table[key] for key in circuits if key in table}
            for heading, figures in headed.items():
                lines += ["", f"[{heading}]", *(f"{key} = {_value(value)}" for key, value in figures.items())]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)


def _fill_book(place: Path, workshop: Path, draw: random.Random) -> None:
    """A new book with runs of a third of the vehicles, and some parts on the shelf."""
    place.unlink(missing_ok=True)
    catalog = load_catalog(shipped_catalog_dir())
    _, vehicles = load_meeting(workshop)
    models: dict[str, Case] = {}
    trials: list[Trial] = []
    for vehicle in vehicles:
        if draw.random() < SHARE_WITH_RUNS:
            if vehicle.file not in models:
                models[vehicle.file] = Case.of(load_vehicle(vehicle.file), catalog)
            trials += (run.model_copy(update={"vehicle": vehicle.name}) for run in _runs(draw, models[vehicle.file]))
    with open_book(place) as book:
        book.add_new_trials(trials)
        book.add_stock({code: draw.randint(1, 2 + len(vehicles) // 50) for code in SHELF}, "counted")


def _runs(draw: random.Random, model: Case) -> Iterator[Trial]:
    """One to three runs of a car: the first as it came, each further one with the next nozzle that its feeling asks."""
    lean, choice = draw.gauss(0.0, 1.0), dict(model.as_fitted)
    at = datetime(2026, 4, 1, 9, tzinfo=UTC) + timedelta(minutes=draw.randrange(30 * 24 * 60))
    for run in range(draw.randint(1, 3)):
        word = "clean" if abs(lean) < 0.4 else draw.choice(("stumble", "dull")) if lean > 0 else "smoke"
        strength = "strong" if abs(lean) > 1.5 else "clear" if abs(lean) > 0.8 else "faint"
        felt = Felt.model_validate({"word": word, "strength": strength})
        air = Conditions(air_temperature_c=draw.choice((None, 8, 12, 16, 20)))
        yield trial_of(model, at + timedelta(hours=run), felt, air, choice=choice)
        if word == "clean":
            return
        choice |= {slot: _next_nozzle(model.options[slot], choice[slot], lean > 0)
                   for slot in choice if slot.name == "nozzle"}  # fmt: skip
        lean -= 0.7 if lean > 0 else -0.7


def _next_nozzle(nozzles: Sequence[Option], now: Option, larger: bool) -> Option:
    """The new straight nozzle a step away, the one there is where none is left."""
    sizes = {diameter_mm(one): one for one in nozzles if one.work == "fit" and (one.code or "").startswith("straight")}
    if larger:
        return sizes[min((size for size in sizes if size > diameter_mm(now)), default=max(sizes))]
    return sizes[max((size for size in sizes if size < diameter_mm(now)), default=min(sizes))]


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("folder", type=Path)
    words.add_argument("vehicles", type=int)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--no-book", action="store_true")
    given = words.parse_args()
    print(write_workshop(given.folder, given.vehicles, given.seed, with_book=not given.no_book))


if __name__ == "__main__":
    main()
