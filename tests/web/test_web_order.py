"""The parts order on the page, and searches that end when nobody waits for them."""

import asyncio
import re
import shutil
import threading
import time
from datetime import date, timedelta
from html import unescape
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from ortools.sat.python import cp_model
from starlette.testclient import TestClient
from test_order_rules import hard_case
from web_page import CATALOG, EXAMPLES, Asked, ask, browser, page_of, workshop_in

from configurator.advice import next_step
from configurator.advice.next_step import NextReport, what_next
from configurator.advice.over_unknown import in_a_sentence
from configurator.advice.propose import ProposalRequest, propose
from configurator.advice.sure_proposal import proposal_of
from configurator.car.vehicle import Vehicle, load_vehicle
from configurator.judging.case import Case
from configurator.learning.as_known import known_by
from configurator.ordering.answer import OrderJob, answer
from configurator.ordering.cheapest import plan_order
from configurator.ordering.job import job_of
from configurator.ordering.meeting import Meeting, load_meeting
from configurator.ordering.plan import PurchaseWish
from configurator.ordering.report import Failing, OrderReport
from configurator.reports import ProposeReport
from configurator.solver.stop import solved
from configurator.stopping import Stop, Stopped, until
from configurator.web import car, judged, order
from configurator.web.pages import page
from configurator.web.workshop import Workshop

SOON = (date.today() + timedelta(days=7)).isoformat()
QUICK = "one_supplier=yes&no_redrill=yes"
PATIENCE_S = 5.0
"""Longest time in which something that was stopped has to end."""


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    folder = tmp_path_factory.mktemp("order")
    made = workshop_in(folder, "roadster", "van")
    shutil.copy(EXAMPLES / "roadster.toml", folder / "twin.toml")
    evening = (
        (EXAMPLES / "workshop" / "one-evening.toml")
        .read_text()
        .replace("../", "")
        .replace("sureness = 0.8", "sureness = 0.7")
    )
    (folder / "evening.toml").write_text(evening)
    return made


@pytest.fixture(scope="module")
def client(workshop: Workshop) -> TestClient:
    return browser(page_of(workshop))


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def test_the_form_lists_vehicles_and_workshop_files_and_keeps_what_was_said(client: TestClient) -> None:
    html = client.get(f"/order?car=van&day:van={SOON}&sure=75&no_redrill=yes&budget=40&workshop=evening").text
    assert re.search(r'name="car" value="van" checked', html) and 'name="car" value="roadster">' in html
    assert f'name="day:van" value="{SOON}"' in html and 'value="75"' in html and 'value="40"' in html
    assert 'name="no_redrill" value="yes" checked' in html and '<option value="evening" selected>' in html


def test_a_workshop_file_is_planned_as_the_command_line_plans_it(client: TestClient, workshop: Workshop) -> None:
    html = client.get(f"/order/plan?workshop=evening&{QUICK}").text
    meeting, vehicles = load_meeting(workshop.folder.path / "evening.toml")
    report = answer(job_of(meeting, vehicles, CATALOG, None, PurchaseWish(most_suppliers=1), redrill=False))
    text = text_of(html)
    assert report.ok
    assert f"{report.name}: order for {report.total:.2f}; every car gets as sure to be right as wanted" in text
    for line in report.lines:
        assert f"{line.called} {line.quantity} {line.price:.2f} {line.total:.2f}" in text
    for point in report.curve:
        assert f"{point.budget:.2f} {point.spent:.2f} {100 * point.sureness:.0f} %" in text
    told = [in_a_sentence(one) for vehicle in report.vehicles for one in vehicle.not_known]
    assert told and all(says in text for says in told)
    picture = re.search(r'src="(/order/picture/[^"]+)" alt="([^"]+)"', html)
    assert picture is not None and f"{report.total:.2f}" in picture[2]
    assert client.get(picture[1]).text.startswith("<svg")
    assert client.get("/order/picture/none.svg").status_code == 404


def test_what_a_part_would_have_to_be_like_stands_on_the_page() -> None:
    missing = Failing(vehicle="Small car", wanted=0.9, best=0.1, would_do=["front: a pump of 5 cc to 20 cc"])
    report = OrderReport(
        name="x", ok=False, proven=True, bound=None, lines=[], suppliers=[], work=0, total=0, vehicles=[],
        left_alone=[], curve=[], failing=[missing], ways_out=[], notes=[],
    )  # fmt: skip
    shown = page("plan_part.html", report=report, picture="", says="", key="x", named=str)
    text = text_of(bytes(shown.body).decode())
    assert "Small car: 90 % wanted, 10 % is the most there is by its day." in text
    assert "ask a supplier for any one of: front: a pump of 5 cc to 20 cc" in text


def test_ticked_vehicles_are_planned_for_their_days(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def noted(meeting: Meeting, vehicles: list[Vehicle], *rest: object, **more: object) -> OrderJob:
        asked.append((meeting, vehicles, rest, more))
        raise Stopped()

    monkeypatch.setattr(order, "job_of", noted)
    part = {"hx-request": "true"}
    query = f"car=van&car=roadster&day:van={SOON}&day:roadster={date.today()}&day:twin=&sure=80,5&budget=12,50&{QUICK}"
    assert client.get(f"/order/plan?{query}", headers=part).status_code == 409
    ((meeting, vehicles, rest, more),) = asked
    assert [(a.file, a.day.isoformat()) for a in meeting.vehicle] == [("van", SOON), ("roadster", str(date.today()))]
    assert [vehicle.name for vehicle in vehicles] == ["Marshals' van", "Club roadster"]
    assert meeting.sureness == pytest.approx(0.805) and more["redrill"] is False
    assert rest[-1] == PurchaseWish(budget=1250, most_suppliers=1)


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("", "no vehicle is ticked"), ("car=van", "'' is no day"), ("car=van&day:van=soon", "'soon' is no day"),
        ("car=van&day:van=2001-01-01", "2001-01-01 is past"), ("car=none&day:none=2999-01-01", "no such file"),
        (f"car=van&day:van={SOON}&sure=0", "1 to 99.9 %"), (f"car=van&day:van={SOON}&sure=nan", "1 to 99.9 %"),
        (f"car=van&day:van={SOON}&budget=-1", "is no amount"), (f"car=van&day:van={SOON}&budget=inf", "is no amount"),
        (f"car=twin&car=roadster&day:twin={SOON}&day:roadster={SOON}", "two vehicles are called 'Club roadster'"),
        ("workshop=none", "no such file"), ("workshop=../order/evening", "no such file"),
        ("workshop=van", "no such file"),
    ],
)  # fmt: skip
def test_an_order_that_cannot_be_meant_is_refused(client: TestClient, query: str, says: str) -> None:
    refused = client.get(f"/order/plan?{query}")
    assert refused.status_code in (400, 404) and says in text_of(refused.text)


def pigeons(holes: int) -> cp_model.CpModel:
    """One pigeon too many: nothing fits, and to prove that takes very long."""
    model = cp_model.CpModel()
    sits = {(p, h): model.new_bool_var(f"{p} in {h}") for p, h in product(range(holes + 1), range(holes))}
    for p in range(holes + 1):
        model.add_bool_or([sits[p, h] for h in range(holes)])
    for h, p, q in product(range(holes), range(holes + 1), range(holes + 1)):
        if p < q:
            model.add_bool_or([sits[p, h].negated(), sits[q, h].negated()])
    return model


def slow_solver() -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.cp_model_presolve = False
    solver.parameters.symmetry_level = 0
    return solver


def test_a_search_under_way_is_stopped_from_another_thread() -> None:
    stop, began = Stop(), time.monotonic()
    threading.Timer(1.0, stop.now).start()
    with pytest.raises(Stopped), until(stop):
        solved(slow_solver(), pigeons(14))
    assert 0.9 < time.monotonic() - began < PATIENCE_S


def test_a_search_stopped_before_it_began_does_not_begin() -> None:
    stop = Stop()
    stop.now()
    with pytest.raises(Stopped), until(stop):
        pytest.fail("nothing may begin")


def test_without_a_stop_nothing_else_happens() -> None:
    with until(Stop()):
        assert solved(slow_solver(), pigeons(3)) == cp_model.INFEASIBLE
    assert solved(slow_solver(), pigeons(3)) == cp_model.INFEASIBLE


def test_an_order_under_way_is_stopped() -> None:
    stop, (cars, shop) = Stop(), hard_case()
    began = time.monotonic()
    threading.Timer(1.5, stop.now).start()
    with pytest.raises(Stopped), until(stop):
        plan_order(cars, shop, PurchaseWish(effort=500.0))
    assert time.monotonic() - began < 1.5 + PATIENCE_S


def test_a_proposal_under_way_is_stopped() -> None:
    """Asked at the first solve: none of the others is made."""
    known = known_by(Case.of(load_vehicle(EXAMPLES / "hill-climber.toml"), CATALOG), [])
    stop, began = Stop(), time.monotonic()
    with pytest.raises(Stopped), until(stop):
        threading.Timer(0.2, stop.now).start()
        for _ in range(100):
            propose(known.case, ProposalRequest(), known)
    assert time.monotonic() - began < PATIENCE_S


class Search:
    """A search that goes on until it is stopped, in place of one of the page's own."""

    def __init__(self) -> None:
        self.began, self.stopped = threading.Semaphore(0), threading.Semaphore(0)

    def __call__(self, *_: object) -> object:
        self.began.release()
        try:
            cars, shop = hard_case()
            return plan_order(cars, shop, PurchaseWish(effort=500.0))
        except Stopped:
            self.stopped.release()
            raise

    async def has_begun(self) -> None:
        assert await asyncio.to_thread(self.began.acquire, timeout=PATIENCE_S), "it never began"

    async def has_stopped(self) -> None:
        assert await asyncio.to_thread(self.stopped.acquire, timeout=PATIENCE_S), "it searches on"


@pytest.mark.parametrize(("path", "room", "name"), [
    ("/order/plan?workshop=evening", order, "_planned"), ("/car/roadster/ways", car, "_proposed"),
])  # fmt: skip
def test_when_the_browser_goes_away_the_search_is_stopped(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch, path: str, room: object, name: str
) -> None:
    search = Search()
    monkeypatch.setattr(room, name, search)

    async def leave() -> None:
        gone = asyncio.Event()
        asked = asyncio.create_task(ask(page_of(workshop), path, gone=gone))
        await search.has_begun()
        await asyncio.sleep(0.5)
        assert not asked.done() and not search.stopped.acquire(blocking=False), "stopped, though somebody waits"
        gone.set()
        await search.has_stopped()
        await asyncio.wait_for(asked, PATIENCE_S)

    asyncio.run(leave())


def test_what_to_try_next_is_stopped_when_the_browser_goes_away(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Gone while it is worked out where the search leads: nothing more is."""
    began, go_on, ended = threading.Event(), threading.Event(), threading.Event()
    later: list[object] = []

    def slow(*asked: Any) -> ProposeReport:
        began.set()
        assert go_on.wait(PATIENCE_S)
        return proposal_of(*asked)

    def searched(*asked: Any) -> NextReport:
        try:
            return what_next(*asked)
        finally:
            ended.set()

    monkeypatch.setattr(next_step, "proposal_of", slow)
    monkeypatch.setattr(next_step, "foreseen", lambda *asked: later.append(asked))
    monkeypatch.setattr(judged, "what_next", searched)

    async def leave() -> Asked:
        gone = asyncio.Event()
        asked = asyncio.create_task(ask(page_of(workshop), "/car/roadster/judged", gone=gone))
        assert await asyncio.to_thread(began.wait, PATIENCE_S), "it never began"
        gone.set()
        await asyncio.sleep(1.0)
        go_on.set()
        assert await asyncio.to_thread(ended.wait, 2 * PATIENCE_S), "it searches on"
        return await asyncio.wait_for(asked, PATIENCE_S)

    assert asyncio.run(leave()).status == 409 and not later


def test_each_next_step_heeds_a_stop() -> None:
    case, stop = Case.of(load_vehicle(EXAMPLES / "roadster.toml"), CATALOG), Stop()
    with pytest.raises(Stopped), until(stop):
        stop.now()
        what_next(known_by(case, []))


def test_a_newer_request_from_the_same_sheet_takes_the_place_of_the_older(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    search = Search()
    monkeypatch.setattr(order, "_planned", search)

    async def ask_again() -> tuple[Asked, Asked]:
        page, gone = page_of(workshop), asyncio.Event()
        older = asyncio.create_task(ask(page, "/order/plan?workshop=evening&sheet=a", gone=gone))
        await search.has_begun()
        other = asyncio.create_task(ask(page, "/order/plan?workshop=evening&sheet=b", gone=gone))
        await search.has_begun()
        newer = asyncio.create_task(ask(page, "/order/plan?workshop=evening&sheet=a", gone=gone))
        await search.has_stopped()
        await search.has_begun()
        ended = await asyncio.wait_for(older, PATIENCE_S)
        assert not other.done() and not newer.done(), "only the older one of the same sheet"
        gone.set()
        for _ in "12":
            await search.has_stopped()
        return ended, await asyncio.wait_for(newer, PATIENCE_S)

    older, _ = asyncio.run(ask_again())
    assert older.status == 409 and b"stopped before there was an answer" in older.body


def test_a_request_that_is_broken_off_by_the_server_stops_its_search(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when Ctrl-C ends the server while somebody waits."""
    search = Search()
    monkeypatch.setattr(order, "_planned", search)

    async def break_off() -> None:
        asked = asyncio.create_task(ask(page_of(workshop), "/order/plan?workshop=evening"))
        await search.has_begun()
        asked.cancel()
        await search.has_stopped()

    asyncio.run(break_off())


def test_the_folder_of_the_page_holds_no_path_from_an_address(workshop: Workshop, tmp_path: Path) -> None:
    outside = tmp_path / "outside.toml"
    shutil.copy(EXAMPLES / "workshop" / "one-evening.toml", outside)
    asked = browser(page_of(workshop)).get("/order/plan", params={"workshop": str(outside.with_suffix(""))})
    assert asked.status_code == 404
