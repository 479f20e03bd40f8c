"""How far an order is while it is planned: told of the sheet that asked, in the words of the command, and stopped."""

import asyncio
import re
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from browser import DESK, PHONE, Visits
from playwright.sync_api import expect
from starlette.requests import Request
from web_page import ask, page_of, workshop_in

from configurator.ordering.answer import OrderJob
from configurator.ordering.job import job_of
from configurator.web import order
from configurator.web.work import WAITS, Searches
from configurator.web.workshop import Workshop

pytest_plugins = ["browser"]
PATIENCE_S = 20.0
DAY = "car=roadster&day:roadster=2100-01-01&sure=70&one_supplier=yes&no_redrill=yes"


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars", "roadster")


def test_how_far_a_plan_is_is_told_of_its_own_sheet(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    told, go_on = threading.Event(), threading.Event()
    said: list[str] = []

    def slow(*asked: Any, progress: Callable[[str], None], **more: Any) -> OrderJob:
        def heard(says: str) -> None:
            said.append(says)
            progress(says)
            if len(said) < 2:
                return
            told.set()
            assert go_on.wait(PATIENCE_S)

        return job_of(*asked, progress=heard, **more)

    monkeypatch.setattr(order, "job_of", slow)

    async def planned() -> tuple[str, str, str]:
        page = page_of(workshop)
        asked = asyncio.create_task(ask(page, f"/order/plan?{DAY}&sheet=a"))
        assert await asyncio.to_thread(told.wait, PATIENCE_S), "nothing was told"
        shown = [(await ask(page, f"/order/progress?sheet={sheet}")).body.decode() for sheet in "ab"]
        go_on.set()
        assert (await asked).status == 200
        return shown[0], shown[1], (await ask(page, "/order/progress?sheet=a")).body.decode()

    mine, another, afterwards = asyncio.run(planned())
    assert said[0].startswith("what each box might hold (0 of ")
    assert mine == said[1] and re.fullmatch(r"Club roadster: .* \(1 of \d+\)", mine)
    assert another == afterwards == ""


def test_what_was_stopped_tells_nothing_more(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    began, go_on, last = threading.Event(), threading.Event(), threading.Event()

    def slow(*asked: Any, progress: Callable[[str], None], **more: Any) -> None:
        began.set()
        assert go_on.wait(PATIENCE_S)
        progress("a last word")
        last.set()

    monkeypatch.setattr(order, "job_of", slow)

    async def left() -> str:
        page, gone = page_of(workshop), asyncio.Event()
        asked = asyncio.create_task(ask(page, f"/order/plan?{DAY}&sheet=a", gone=gone))
        assert await asyncio.to_thread(began.wait, PATIENCE_S)
        gone.set()
        assert (await asked).status == 409
        go_on.set()
        assert await asyncio.to_thread(last.wait, PATIENCE_S)
        return (await ask(page, "/order/progress?sheet=a")).body.decode()

    assert asyncio.run(left()) == ""


def test_a_search_that_waits_for_others_says_so() -> None:
    go_on, work = threading.Event(), Searches()

    async def waiting() -> list[str]:
        here = Request({"type": "http"}, receive=asyncio.Event().wait)  # type: ignore[arg-type]
        asked = [asyncio.create_task(work.answer(here, sheet, partial(go_on.wait, PATIENCE_S))) for sheet in "abc"]
        await asyncio.sleep(0.5)
        says = [work.says(sheet) for sheet in "abc"]
        go_on.set()
        await asyncio.gather(*asked)
        return [*says, work.says("c")]

    assert asyncio.run(waiting()) == ["", "", WAITS, ""]


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_a_plan_says_how_far_it_is_and_stops(visits: Visits, width: int) -> None:
    visits.unheard += ["htmx:sendAbort", "htmx:afterRequest"]  # the stop, as the script under the page calls it
    page = visits.open(width)
    page.goto("/order")
    for name in ("Club roadster", "Marshals' van"):
        page.get_by_label(name, exact=True).check()
    page.get_by_label("How sure, %").fill("83" if width == PHONE else "84")
    page.get_by_role("button", name="Plan the order").click()
    expect(page.locator("#busy")).to_contain_text(re.compile(r"\(\d+ of \d+\)|planning the order|sureness for"))
    stop = page.get_by_role("button", name="Stop")
    expect(stop).to_be_in_viewport()
    stop.click()
    expect(page.locator("#trouble")).to_have_text("Stopped.")
    expect(stop).to_be_hidden()
    expect(page.locator("#plan")).to_be_empty()
