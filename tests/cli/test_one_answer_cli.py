"""Every front end on random cars with random runs: command line, page and order say one thing."""

import json
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from random_cars import FRONT, changed, random_car
from test_cli import run, slim_catalog
from toml_writing import toml
from web_page import browser, page_of

from configurator.advice.reach import ALONG_MM
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.web.folder import Folder
from configurator.web.workshop import Workshop

CARS = range(int(os.environ.get("TIPIN_RANDOM_CARS", "2")))
SIZES = ("0.70", "0.75", "0.80", "0.85", "0.90", "0.95", "1.00", "1.06")
LOBES = ("fell", "cairn", "force", "ridge", "moor")
WORDS = ("stumble", "stumble", "smoke", "flat", "dull", "clean")
FUEL_SIDE = {"front.nozzle", "front.feed_screw", "front.pump", "front.lobe"}
TOO_SMALL, LARGE_ENOUGH = {"stumble"}, {"smoke", "flat"}
PART = {"hx-request": "true"}
ORDER = """name = "One car"
today = 2026-05-04
sureness = 0.5

[[vehicle]]
file = "car.toml"
day = 2026-06-04
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped catalogue with few nozzles and lobes, so that each answer is quickly found."""
    folder = slim_catalog(tmp_path_factory.mktemp("parts"), {})
    for name, named in (("nozzles", [f"straight-{mm}" for mm in SIZES]), ("lobes", [f"lobe-{one}" for one in LOBES])):
        heading, *rows = (shipped_catalog_dir() / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        kept = [row for row in rows if row.partition(",")[0] in named]
        (folder / f"{name}.csv").write_text("\n".join([heading, *kept]) + "\n", encoding="utf-8")
    return folder


@dataclass(frozen=True)
class Asked:
    """A random car in a folder of its own, its runs as (word, size), and what each front end says of it."""

    folder: Path
    catalog: Path
    runs: list[tuple[str, float]]

    @classmethod
    def of(cls, seed: int, folder: Path, catalog: Path) -> "Asked":
        figures = changed(random_car(seed), "manifold", pad_clearance_mm=20.0)
        (folder / "car.toml").write_text(toml({"name": "car", **figures, "fitted": {"front": FRONT}}), encoding="utf-8")
        (folder / "order.toml").write_text(ORDER, encoding="utf-8")
        chance, asked = np.random.default_rng(seed), cls(folder, catalog, [])
        for _ in range(int(chance.integers(1, 4))):
            asked.drive(str(chance.choice(WORDS)), str(chance.choice(SIZES)))
        return asked

    def drive(self, word: str, size: str) -> None:
        at = f"2026-05-02 {10 + len(self.runs)}:15Z"
        ran = run("trial", "add", "car.toml", "--felt", word, "--with", f"front.nozzle=straight-{size}", "--at", at)
        assert ran.code == 0, ran.err
        self.runs.append((word, float(size)))

    def json(self, command: str, *words: str) -> dict[str, Any]:
        ran = run(command, "order.toml" if command == "order" else "car.toml", *words, "--json")
        assert ran.code in (0, 1) and ran.err == "", ran.err
        found: dict[str, Any] = json.loads(ran.out)
        return found

    @cached_property
    def next(self) -> dict[str, Any]:
        return self.json("next")

    @cached_property
    def proposal(self) -> dict[str, Any]:
        return self.json("propose")

    @cached_property
    def size(self) -> dict[str, Any]:
        return self.json("size")

    @cached_property
    def check(self) -> dict[str, Any]:
        return self.json("check")

    @cached_property
    def card(self) -> dict[str, Any]:
        return self.json("card", "-o", "card.html")

    @cached_property
    def order(self) -> dict[str, Any]:
        return self.json("order", "--no-redrill")

    def page(self, below: str) -> Any:
        catalog = load_catalog(self.catalog)
        workshop = Workshop(Folder(self.folder, catalog), catalog, str(self.folder / "book.sqlite"))
        asked = browser(page_of(workshop))
        return asked.get(f"/car/car{below}", headers=PART)

    @property
    def fitted_mm(self) -> float:
        return float(self.size["circuits"][0]["fitted"]["diameter_mm"])


def asked(seed: int, tmp_path: Path, shop: Path, monkeypatch: pytest.MonkeyPatch) -> Asked:
    monkeypatch.setenv("TIPIN_CATALOG", str(shop))
    monkeypatch.setenv("TIPIN_BOOK", str(tmp_path / "book.sqlite"))
    monkeypatch.chdir(tmp_path)
    return Asked.of(seed, tmp_path, shop)


def to(report: Mapping[str, Any]) -> dict[str, str]:
    return {change["slot"]: change["to"] for change in report["changes"]}


def size_of(label: str) -> float:
    """Orifice of a nozzle by its label, "straight-0.85, 0.85 mm (33.5 thou)" [mm]."""
    found = re.search(r"([\d.]+) mm", label)
    assert found is not None
    return float(found[1])


@pytest.mark.parametrize("seed", CARS)
def test_one_answer(seed: int, tmp_path: Path, shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    car = asked(seed, tmp_path, shop, monkeypatch)
    nothing_apart(car)
    if car.runs[-1][0] == "clean":
        all_say_stop(car)


@pytest.mark.parametrize("seed", CARS)
def test_after_a_clean_run_all_say_stop(seed: int, tmp_path: Path, shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    car = asked(seed, tmp_path, shop, monkeypatch)
    car.drive("clean", f"{car.runs[-1][1]:.2f}")
    all_say_stop(car)


def all_say_stop(car: Asked) -> None:
    assert car.check["ok"] and car.check["clean"]
    assert (car.next["do"], car.next["changes"], car.next["outcomes"]) == ("stop", [], [])
    assert not FUEL_SIDE & set(to(car.proposal))
    (sizes,) = car.size["circuits"]
    assert car.size["ok"] and sizes["smallest"]["code"] == sizes["fitted"]["code"]
    assert run("size", "car.toml").out.startswith("next: stop, it is right as it is; `tipin next` says why")
    assert car.card["ok"] and not [row for row in car.card["parts"] if "nozzle" in row["slot"].lower()]
    why = car.json("why", "front.nozzle")
    assert why["slots"][0]["options"][0]["state"] == "fits"
    assert "Leave it as it is" in car.page("/judged").text
    assert "OK" in car.page("/parts").text and "NOT YET" not in car.page("/parts").text
    assert car.order["lines"] == [], "nothing is bought for what pulls cleanly"


def nothing_apart(car: Asked) -> None:
    step, proposal, fitted_mm = to(car.next), to(car.proposal), car.fitted_mm
    impossible = car.proposal["status"] == "impossible"
    # All speak of the same parts in the car.
    (last,) = [part for part in car.json("fit")["parts"] if part["slot"] == "front.nozzle"]
    assert size_of(last["what"]) == fitted_mm == car.runs[-1][1]
    for report in (car.next, car.proposal):
        assert all(size_of(c["from"]) == fitted_mm for c in report["changes"] if c["slot"] == "front.nozzle")
    assert car.json("why", "front.nozzle")["slots"][0]["options"][0]["label"] == last["what"]
    # No two nozzles point apart, and the next step is on the way to the proposal, or is it.
    steps = [size_of(label) - fitted_mm for label in (one.get("front.nozzle") for one in (step, proposal)) if label]
    assert min(steps, default=0.0) * max(steps, default=0.0) >= 0.0
    if car.next["do"] == "try" and step and not impossible:
        assert step == proposal or {c["slot"]: c["to"] for c in car.next["destination"]} == proposal
    if not impossible:
        assert (car.next["do"] == "stop") == (not FUEL_SIDE & set(proposal))
    if step != proposal and "front.nozzle" in step:
        assert abs(size_of(step["front.nozzle"]) - fitted_mm) <= ALONG_MM + 1e-6
    # Nothing smaller than what stumbled, nothing larger than what smoked, beside the same parts; the newer holds.
    word, mm = car.runs[-1]
    (sizes,) = car.size["circuits"]
    named = [one["front.nozzle"] for one in (step, proposal) if set(one) & FUEL_SIDE == {"front.nozzle"}]
    named += [sizes["smallest"]["label"]] if sizes["smallest"] else []
    assert all(size_of(one) >= mm for one in named) or word not in TOO_SMALL
    assert all(size_of(one) <= mm for one in named) or word not in LARGE_ENOUGH
    first = run("size", "car.toml").out.splitlines()[0]
    assert first.startswith("next: ") and all(slot in first for slot in step)
    # The page says what the commands say.
    next_part = car.page("/judged").text
    assert next_part.partition('<ul class="put-in">')[2].partition("</ul>")[0].count("<li>") == len(step)
    labels = [*step.values(), *(change["to"] for change in car.next["destination"])]
    assert all(label in next_part for label in labels)
    if not impossible:
        ways = car.page("/ways").text
        assert all(label in ways for label in proposal.values())
        assert len(car.card["parts"]) == len(proposal)
        for slot, label in proposal.items():
            (option,) = [o for o in car.json("why", slot)["slots"][0]["options"] if o["label"] == label]
            assert option["state"] in ("fits", "with_changes"), "what is proposed is open"
