"""A phone measures the pull: a recording made of the model is played to the browser's motion sensor, as it would be
felt in a car, and arrives in the book with its run."""

from pathlib import Path
from time import monotonic, sleep

import numpy as np
import pytest
from browser import PHONE, Visits
from playwright.sync_api import CDPSession, Page, expect
from recording_making import Driven, Phone, as_table, driven, recorded, truth_of
from test_record_in_browser import car_of_its_own, runs_of, saved_out_of_reach
from web_page import CATALOG, EXAMPLES

from configurator.car.vehicle import load_vehicle
from configurator.judging.case import Case
from configurator.learning.pulled import told_of
from configurator.learning.recording.recording import measure_pull_for_case
from configurator.physics.lateness import Lateness

pytest_plugins = ["browser"]
SENSORS = ("accelerometer", "linear-acceleration", "gyroscope")
EVERY_S = 0.008
PLAYED_LATE_MS = 15.0
"""How unevenly a busy machine plays it."""


@pytest.fixture(scope="module")
def drive() -> Driven:
    """Two tip-ins of the roadster, wetter than the model has it."""
    case = Case.of(load_vehicle(EXAMPLES / "roadster.toml"), CATALOG)
    return driven([truth_of(case, Lateness(1.35, 1.1))] * 2, level_m_s2=4.6, luck=3)


def with_sensor(page: Page) -> CDPSession:
    session = page.context.new_cdp_session(page)
    for kind in SENSORS:
        session.send("Emulation.setSensorOverrideEnabled", {"enabled": True, "type": kind, "metadata": {}})
    return session


def play(session: CDPSession, drive: Driven) -> None:
    """The motion of a drive as a phone in the car would be moved, as fast as it was driven."""
    columns = recorded(drive, Phone(rate_hz=200.0, firing=0.1))
    began = monotonic()
    while (now := monotonic() - began) < columns["t"][-1]:
        felt = {axis: float(np.interp(now, columns["t"], columns[axis])) for axis in "xyz"}
        for kind in SENSORS:
            session.send("Emulation.setSensorOverrideReadings", {"type": kind, "reading": {"xyz": felt}})
        sleep(EVERY_S)


def start(page: Page, stem: str, lasts_s: float) -> None:
    """From the page of the car to the recording under way; its times shorter than any to choose from."""
    page.goto(f"/car/{stem}")
    page.get_by_role("link", name="Measure the pull with a phone").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Measure a run")
    page.evaluate("document.getElementById('after-1').value = '0.3'")
    page.evaluate(f"document.getElementById('lasts-2').value = '{lasts_s}'")
    page.get_by_label("We are on closed ground").check()
    page.get_by_role("button", name="Start the recording").tap()
    expect(page.locator("#measure-says")).to_contain_text("Recording: ")


@pytest.mark.long(30)
def test_a_measured_run_out_of_reach_arrives_and_says_how_late_the_pull_is(
    visits: Visits, drive: Driven, tmp_path: Path
) -> None:
    name = "Measured roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE)
    sensor = with_sensor(page)
    start(page, stem, lasts_s=float(drive.time_s[-1]) + 1.0)
    play(sensor, drive)
    expect(page.locator("#measure-kept")).to_contain_text("readings a second")
    page.reload()
    expect(page.locator("#measure-kept")).to_contain_text("Kept on this phone")
    page.get_by_role("link", name="How did it go?").tap()
    expect(page.get_by_label("Send along what this phone recorded")).to_be_checked()
    run = saved_out_of_reach(visits, page, name, page.get_by_role("button", name="Save this run").tap)
    assert run.felt is None and run.pull is not None and len(run.pull.tip_ins) == 2
    page.goto(f"/car/{stem}?recorded={run.number}")
    expect(page.locator("#ladder")).to_be_visible()  # with the next step, what was measured is still there
    expect(page.get_by_role("status").first).to_contain_text("Hesitates")
    expect(page.locator("svg .measured").first).to_be_visible()

    # What a browser rounds and thins counts for little: a logger in the same car says the same.
    case = Case.of(load_vehicle(EXAMPLES / "roadster.toml"), CATALOG)
    logger = measure_pull_for_case(case, as_table(tmp_path / "logger.csv", recorded(drive, Phone())))
    told, by_logger = told_of(run.pull), told_of(logger.pull)
    rise_doubt = told.rise_doubt_ms + by_logger.rise_doubt_ms
    assert told.rise_ms == pytest.approx(by_logger.rise_ms, abs=3.0 * rise_doubt + PLAYED_LATE_MS)
    sag_doubt = told.sag_doubt_percent + by_logger.sag_doubt_percent
    assert told.sag_percent == pytest.approx(by_logger.sag_percent, abs=3.0 * sag_doubt)


def test_what_cannot_be_read_goes_back_to_the_phone(visits: Visits) -> None:
    name = "Standing roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE)
    visits.refusals_meant = {400}
    sensor = with_sensor(page)
    start(page, stem, lasts_s=1.5)
    reading = {"xyz": {"x": 0, "y": 0, "z": 9.8}}
    for kind in SENSORS:
        sensor.send("Emulation.setSensorOverrideReadings", {"type": kind, "reading": reading})
    page.get_by_role("link", name="How did it go?").tap()
    page.get_by_role("button", name="Save this run").tap()
    expect(page.locator("#waiting a")).to_contain_text(f"{name}: Recording of the pull")
    page.locator("#waiting a").tap()
    expect(page.get_by_label("Send along what this phone recorded")).to_be_checked()
    assert not runs_of(visits, name)
    page.goto(f"/car/{stem}/measure")
    page.get_by_role("button", name="Throw the recording away").tap()
    page.goto(f"/car/{stem}/run")
    expect(page.locator("#along")).to_be_hidden()
    assert page.locator("#felt-stumble").evaluate("felt => felt.required")


def test_a_device_without_a_sensor_is_told_so(visits: Visits) -> None:
    stem = car_of_its_own(visits, "Desk roadster")
    page = visits.open(PHONE)
    start(page, stem, lasts_s=20)
    expect(page.locator("#measure-says")).to_contain_text("no motion sensor")
    expect(page.locator("#measure-has")).to_be_hidden()
    expect(page.get_by_role("button", name="Start the recording")).to_be_visible()


def test_a_plain_connection_is_told_before_anything_is_tapped(visits: Visits) -> None:
    page = visits.open(PHONE)
    page.add_init_script("Object.defineProperty(window, 'isSecureContext', { value: false })")
    page.goto("/car/roadster/measure")
    expect(page.locator("#measure-says")).to_contain_text("secure connection only")
    expect(page.get_by_role("button", name="Start the recording")).to_be_disabled()
    page.get_by_role("link", name="Send its file with the run").tap()
    expect(page.get_by_label("Recording of the pull")).to_be_attached()
