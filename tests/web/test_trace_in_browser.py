"""A mixture trace sent from the road: kept on the phone with its run, and with it in the book once."""

from pathlib import Path

import pytest
from browser import PHONE, Visits
from playwright.sync_api import expect
from test_record_in_browser import car_of_its_own, runs_of, saved_out_of_reach
from trace_making import file_of, logged

pytest_plugins = ["browser"]


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return file_of(tmp_path_factory.mktemp("logger") / "log.csv", logged("roadster"))


def test_a_trace_out_of_reach_arrives_with_its_run(visits: Visits, log: Path) -> None:
    name = "Traced roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE)
    page.goto(f"/car/{stem}/run")
    page.get_by_text("Hesitates").tap()
    page.locator("#trace-of-it > summary").tap()
    page.get_by_label("Mixture trace").set_input_files(log)
    twice = "const save = document.querySelector('#run button'); save.click(); save.click();"
    run = saved_out_of_reach(visits, page, name, lambda: page.evaluate(twice))
    assert run.trace is not None and run.trace.hole_ms > 0


def test_a_file_that_is_too_large_is_told_before_it_is_sent(visits: Visits, tmp_path: Path) -> None:
    name = "Laden roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE)
    page.goto(f"/car/{stem}/run?felt=dull")
    page.locator("#trace-of-it > summary").tap()
    (large := tmp_path / "log.csv").write_bytes(b"1" * 300_000)
    page.get_by_label("Mixture trace").set_input_files(large)
    page.get_by_role("button", name="Save this run").tap()
    expect(page.locator("#kept")).to_contain_text("log.csv is larger than 190 kB")
    expect(page.locator("[for=felt-dull]")).to_be_visible()
    assert not runs_of(visits, name)


def test_without_script_a_trace_is_sent_with_its_run(visits: Visits, log: Path) -> None:
    name = "Plain traced roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE, java_script_enabled=False)
    page.goto(f"/car/{stem}/run?felt=stumble")
    page.locator("#trace-of-it > summary").click()
    page.get_by_label("Mixture trace").set_input_files(log)
    page.get_by_role("button", name="Save this run").click()
    page.wait_for_url("**?recorded=*")
    (run,) = runs_of(visits, name)
    assert run.trace is not None
