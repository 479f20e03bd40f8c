"""What the book holds of a car and this version cannot read: told on its page, and taken back there."""

from pathlib import Path
from sqlite3 import connect

import pytest
from test_web_bench import text_of
from web_page import OWN_FORM, browser, form_of, page_of, workshop_in

from configurator.book.book import open_book
from configurator.web.workshop import Workshop


@pytest.fixture
def written(tmp_path: Path) -> Workshop:
    """Three runs and what was told to be fitted, of which the last run is of a later tipin."""
    workshop = workshop_in(tmp_path / "cars", "roadster")
    client = browser(page_of(workshop))
    client.post("/car/roadster/fit", headers=OWN_FORM, data=form_of(client) | {"pin": "front.nozzle=straight-0.75"})
    for felt in ("stumble", "dull", "stumble"):
        client.post("/car/roadster/run", headers=OWN_FORM, data=form_of(client) | {"felt": felt})
    strange(workshop, "trials", 3)
    return Workshop(workshop.folder, workshop.catalog, workshop.book)


def strange(workshop: Workshop, table: str, number: int) -> None:
    with connect(str(workshop.book)) as by_hand:
        by_hand.execute(
            f"UPDATE {table} SET record = replace(record, '\"at\"', '\"moon\": 1, \"at\"'), digest = NULL "
            "WHERE number = ?", [number],
        )  # fmt: skip


def test_it_is_told_on_the_page_and_the_car_keeps_its_step(written: Workshop) -> None:
    client = browser(page_of(written))
    (aside,) = written.setting("roadster").known.set_aside
    assert aside.left_out == "run 3 is left out: a later tipin kept it, and wrote what this one does not know (moon)"
    for below in ("", "/runs", "/judged"):
        assert f"R{aside.left_out[1:]}." in text_of(client.get(f"/car/roadster{below}").text)
    front = text_of(client.get("/").text)
    assert "Next: " in front and "3 runs; was dull, today" in front, "its step, and the last run that can be read"
    assert aside.left_out in client.get("/car/roadster/card").text.replace("Run 3", "run 3")


def test_it_is_taken_back_on_the_page(written: Workshop) -> None:
    client = browser(page_of(written))
    shown = client.post("/car/roadster/run/3/undo", headers=OWN_FORM)
    assert shown.is_success and "left out" not in shown.text
    strange(written, "fittings", 1)
    client = browser(page_of(Workshop(written.folder, written.catalog, written.book)))
    text = text_of(client.get("/car/roadster").text)
    assert "Entry 1 is left out: a later tipin kept it" in text and "Take entry 1 back for good" in text
    assert "left out" not in client.post("/car/roadster/fit/1/undo", headers=OWN_FORM).text


def test_where_no_run_can_be_read_the_car_is_still_one_with_runs(written: Workshop) -> None:
    for number in (1, 2):
        strange(written, "trials", number)
    client = browser(page_of(Workshop(written.folder, written.catalog, written.book)))
    assert "3 runs, left out" in text_of(client.get("/").text)
    text = text_of(client.get("/car/roadster").text)
    assert "Run 1 is left out" in text and "None yet" not in text
    with open_book(written.book) as book:
        assert len(book.records("Club roadster").set_aside) == 3
