"""`tipin units`: what is shown goes by the choice in the book, on the command line, on a card and on the page."""

import json
import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from test_cli import run
from web_page import browser, page_of, workshop_in

from configurator.book.book import open_book
from configurator.catalogue.load import shipped_catalog_dir
from configurator.units.showing import SHOWN

VAN = shipped_catalog_dir() / "examples" / "van.toml"
MM_FIRST, THOU_FIRST = re.compile(r"\d\.\d\d\s+mm\s+\(\d+\.\d thou"), re.compile(r"\d+\.\d\s+thou\s+\(\d\.\d\d\s+mm")


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    book = tmp_path / "book.sqlite"
    monkeypatch.setenv("TIPIN_BOOK", str(book))
    return book


def test_the_choice_is_kept_and_told(place: Path) -> None:
    assert run("units").out == "metric\n" and not place.exists(), "who only asks makes no book"
    assert run("units", "inch").out == "inch\n"
    assert run("units").out == "inch\n"
    with open_book(place) as book:
        assert book.units() == "inch"
    assert run("units", "metric").out == "metric\n" and run("units").out == "metric\n"


@pytest.mark.parametrize("words", [("size", VAN), ("propose", VAN), ("check", VAN, "--all")])
def test_sizes_come_in_thousandths_first(words: tuple[str | Path, ...]) -> None:
    before = run(*words).out
    run("units", "inch")
    after = run(*words).out
    assert not THOU_FIRST.search(before)
    assert not MM_FIRST.search(after)
    assert len(THOU_FIRST.findall(after)) >= len(MM_FIRST.findall(before))
    assert SHOWN.get() == "metric", "the choice ends with the command"


def test_json_stays_metric() -> None:
    before = run("propose", VAN, "--json").out
    run("units", "inch")
    assert json.loads(run("propose", VAN, "--json").out) == json.loads(before)


def test_figures_of_a_run_take_their_units(place: Path) -> None:
    words = ("--air-temperature", "-4 F", "--altitude", "800 ft", "--pressure", "29 inHg", "--clean-after", "0.24 s")
    assert run("trial", "add", VAN, "--felt", "dull", *words).code == 0
    with open_book(place) as book:
        (trial,) = book.trials()
    day = trial.conditions
    assert (day.air_temperature_c, day.altitude_m, trial.clean_after_ms) == (-20, 243.84, 240)
    assert day.air_pressure_kpa == pytest.approx(29 * 3.386389)


def test_a_lag_that_is_no_time_is_refused() -> None:
    refused = run("trial", "add", VAN, "--trace", "a.csv", "--trace-lag", "8 mm")
    assert refused.code == 2 and "--trace-lag 8 mm: is no time; expected a number of ms, or text such as" in refused.err


def test_a_run_is_told_in_the_units_of_the_workshop() -> None:
    run("units", "inch")
    told = run("trial", "add", VAN, "--felt", "stumble", "--air-temperature", "68 F", "--altitude", "820 ft").out
    assert "68 F" in told and "820 ft" in told
    assert "20 deg C" not in told


def test_an_unknown_word_is_refused() -> None:
    assert run("units", "furlongs").code == 2


def test_the_page_shows_the_same(tmp_path: Path) -> None:
    client: TestClient = browser(page_of(workshop_in(tmp_path / "cars", "van")))
    assert MM_FIRST.search(client.get("/car/van").text)
    chosen = SHOWN.set("inch")
    try:
        page = client.get("/car/van").text
    finally:
        SHOWN.reset(chosen)
    assert THOU_FIRST.search(page) and not MM_FIRST.search(page)
