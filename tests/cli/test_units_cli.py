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
from configurator.units.showing import SHOWN, as_shown
from configurator.views.tables import parts_text

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


PAPER = ("name=y", "engine_size=350 cu in", "gearbox=manual", "barrels=4", "front_nozzle=0.8")
METRIC = re.compile(r"\d (mm|m|kPa|kg|m3/min|deg C)\b")


def test_a_row_of_what_is_not_known_is_of_one_unit(tmp_path: Path) -> None:
    """And of the columns each begins where its heading does."""
    run("units", "inch")
    made = run("new", tmp_path / "y.toml", *(piece for word in PAPER for piece in ("--set", word)))
    assert made.code == 0 and THOU_FIRST.search(made.out) and not MM_FIRST.search(made.out)
    lines = run("check", tmp_path / "y.toml", "--known").out.partition("\nfigure ")[2].splitlines()
    rows = {row[0]: row for line in lines[2:] if len(row := re.split(r"\s{2,}", line.strip())) == 5}
    assert rows["way from carburettor to valves"][1:3] == ["9.843 in", "5.906 to 15.748 in"]
    assert rows["vacuum at idle"][1:3] == ["11.2 inHg absolute", "8.9 to 17.7 inHg absolute"]
    assert rows["size of the tyres"][1:3] == ["12.008 in", "10.630 to 14.173 in"]
    assert not any(METRIC.search(f"{taken} {range_}") for _, taken, range_, *_ in rows.values())
    assert len({line.index(line.split("  ")[-1]) for line in lines[2:5]}) == 1


def test_a_row_of_what_is_assumed_is_of_one_unit() -> None:
    run("units", "inch")
    out = run("assumptions", VAN).out
    rows = {line.split()[0]: line.split()[1:] for line in out.splitlines() if "_" in line}
    assert rows["engine.idle_pressure_kpa"][:5] == ["11.2", "8.9", "17.7", "inHg", "absolute"]
    assert rows["lip_mm"][:4] == ["0.472", "0.236", "0.787", "in"]
    assert rows["engine.inertia_kg_m2"][3:5] == ["kg", "m2"], "no pounds of square metres"
    assert "at low, thou" in out and re.fullmatch(r"\d+\.\d|none", rows["lip_mm"][4])


def test_questions_speak_the_units_chosen(tmp_path: Path) -> None:
    run("new", tmp_path / "y.toml", *(piece for word in PAPER for piece in ("--set", word)))
    run("units", "inch")
    asked = run("new", tmp_path / "y.toml", "--more").out  # whose end of input gives up at the first question
    assert THOU_FIRST.search(asked) and not MM_FIRST.search(asked)


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


def test_columns_stand_straight_whatever_length_a_figure_gets() -> None:
    rows = [{"code": f"s{mm}", "price": "1.00", "height": f"{mm} mm", "supplier": "shelf"} for mm in (9, 18, 120)]
    chosen = SHOWN.set("inch")
    try:
        lines = as_shown(
            parts_text("spacers", [*rows, rows[0] | {"height": "none", "supplier": "bench"}])
        ).splitlines()[3:]
    finally:
        SHOWN.reset(chosen)
    assert "4.724 in (120 mm)" in lines[2]
    assert len({max(line.find("shelf"), line.find("bench")) for line in lines if line}) == 1
