"""A real browser in front of the real program: what the tests of the page share, as a plugin of pytest.

PYTEST_DONT_REWRITE: tests import from it before it is known as a plugin, which pytest would warn of.
"""

import json
import re
import subprocess
import sys
from collections.abc import Container, Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest
from machine import CHROMIUM
from playwright.sync_api import Browser, ConsoleMessage, Dialog, Page, Route, expect, sync_playwright
from run_folder import folder, once
from serving import Served, page_of_the_run

PHONE, DESK = 390, 1280
"""Widths of a phone and of a screen on a desk, in pixels."""
HEIGHT = 844
OF_A_PICTURE = re.compile(r"/car/[^/]+/picture/(\w+)/")
WAIT_MS = 90_000
"""For anything to happen; a busy machine may need it, a quiet one comes near a tenth."""


class Visits:
    """Pages in contexts of their own, everything they asked for and everything that went wrong in them."""

    def __init__(self, chromium: Browser, served: Served) -> None:
        self.served = served
        self.asked: list[str] = []
        self.complaints: list[str] = []
        self.refusals_meant: set[int] = set()
        self.unheard: list[str] = []
        """Words of what may be complained of: a network that a test cuts."""
        self._chromium = chromium

    def open(self, width: int = DESK, drawn: Container[str] | None = None, **options: Any) -> Page:
        """A page of a browser that has never been here; options as for a context of playwright.

        drawn : pictures that the bench gets, for tests that look at some or none: drawing takes longer than the rest.
        """
        phone: dict[str, Any] = {"is_mobile": True, "has_touch": True} if width == PHONE else {}
        context = self._chromium.new_context(
            base_url=self.served.address, viewport={"width": width, "height": HEIGHT}, **phone, **options
        )
        context.set_default_timeout(WAIT_MS)
        context.on("request", lambda request: self.asked.append(request.url))
        context.on("console", self._hear)
        context.on("weberror", lambda error: self.complaints.append(str(error.error)))
        context.on("dialog", self._dismiss)
        if drawn is not None:
            context.route(OF_A_PICTURE, lambda route: _only(drawn, route))
        return context.new_page()

    def check(self) -> None:
        """Nothing was asked of anybody else, and nothing went wrong."""
        here = urlsplit(self.served.address)[:2]
        strangers = [url for url in self.asked if urlsplit(url)[:2] != here]
        assert not strangers, f"asked of somebody else: {strangers}"
        assert not self.complaints, f"went wrong in the browser: {self.complaints}"
        self.served.check()

    def close(self) -> None:
        for context in self._chromium.contexts:
            context.unroute_all(behavior="ignoreErrors")  # a picture may still be asked for
            context.close()

    def _hear(self, message: ConsoleMessage) -> None:
        meant = any(words in message.text for words in self.unheard)
        meant = meant or any(f"responded with a status of {status} " in message.text for status in self.refusals_meant)
        # A browser asks for an icon by itself where a page, such as the card, names none.
        for_an_icon = message.location["url"].endswith("/favicon.ico")
        if message.type in ("error", "warning", "assert") and not meant and not for_an_icon:
            self.complaints.append(f"{message.type}: {message.text}")

    def _dismiss(self, dialog: Dialog) -> None:
        self.complaints.append(f"dialog: {dialog.message}")
        dialog.dismiss()


def _only(drawn: Container[str], route: Route) -> None:
    """Let a request for one of these pictures pass; the answer to others is that there is nothing new."""
    what = OF_A_PICTURE.search(route.request.url)
    if what and what[1] in drawn:
        route.continue_()
    else:
        route.fulfill(status=204)


def _browser_of_the_run() -> str:
    """Address of the one headless Chromium of this run, started by whoever asks for it first."""

    def started() -> str:
        settings = folder() / "browser.json"
        settings.write_text(json.dumps({"executablePath": str(CHROMIUM), "headless": True, "host": "127.0.0.1"}))
        words = ["-m", "playwright", "launch-server", "--browser", "chromium", "--config", str(settings)]
        with (folder() / "browser.log").open("w") as log:
            process = subprocess.Popen(
                [sys.executable, *words], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=log, text=True,
                start_new_session=True,
            )  # fmt: skip
        assert process.stdout is not None
        if not (address := process.stdout.readline().strip()):
            raise RuntimeError(f"Chromium does not start:\n{(folder() / 'browser.log').read_text()}")
        return address

    return once("Chromium", started)


# A connection of each module's own: while one is open no other test of the thread can run a loop of asyncio.
@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """The browser of this run; what a module opens in it nobody else sees."""
    expect.set_options(timeout=WAIT_MS)
    address = _browser_of_the_run()
    with sync_playwright() as playwright:
        browser = playwright.chromium.connect(address)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def served() -> Served:
    """The page, for all tests of a run: each that writes takes a vehicle of its own."""
    return page_of_the_run()


@pytest.fixture
def visits(chromium: Browser, served: Served) -> Iterator[Visits]:
    """Visits of the page; in the end nothing may have left it, and nothing may have gone wrong."""
    visits = Visits(chromium, served)
    yield visits
    visits.close()
    visits.check()


def sideways_px(page: Page) -> int:
    """How far a page can be scrolled sideways, in pixels."""
    over: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return over
