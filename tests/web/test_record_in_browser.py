"""The record of a car as it is kept beside the road: few taps, nothing typed is lost, every run arrives once."""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field

import pytest
from browser import DESK, HEIGHT, PHONE, Visits, sideways_px
from playwright.sync_api import APIResponse, Locator, Page, Route, expect
from serving import EXAMPLES

from configurator.book.book import find_book
from configurator.book.records import Trial

pytest_plugins = ["browser"]
ROADSTER = (EXAMPLES / "roadster.toml").read_text(encoding="utf-8")
MOST_TAPS, MOST_SCREENS = 4, 2.0
LEAST_TEXT_PX, LEAST_TARGET_PX = 12.0, 44.0


def car_of_its_own(visits: Visits, name: str) -> str:
    """A car that no other test writes to; the name of its file."""
    stem = re.sub(r"\W+", "-", name).lower()
    (visits.served.folder / f"{stem}.toml").write_text(ROADSTER.replace("Club roadster", name), encoding="utf-8")
    return stem


def runs_of(visits: Visits, name: str) -> list[Trial]:
    book = find_book(str(visits.served.book))
    if book is None:
        return []
    with book:
        return list(book.trials(name))


def saved_out_of_reach(visits: Visits, page: Page, name: str, save: Callable[[], object]) -> Trial:
    """The run of a car that is saved while the network is cut, once that is there again."""
    page.context.set_offline(True)
    visits.unheard.append("ERR_INTERNET_DISCONNECTED")
    save()
    expect(page.locator("#waiting")).to_contain_text("Kept on this phone: 1 run to send")
    assert not runs_of(visits, name)
    page.context.set_offline(False)
    page.reload()
    expect(page.locator("#waiting")).to_be_empty()
    (run,) = runs_of(visits, name)
    return run


@dataclass
class Thumb:
    """Taps, and how far it had to scroll to them [px]."""

    page: Page
    taps: int = 0
    scrolled_px: float = 0.0
    tapped: list[str] = field(default_factory=list)

    def tap(self, what: Locator) -> None:
        expect(what).to_be_visible()
        before = self.page.evaluate("scrollY")
        box = what.bounding_box()
        assert box is not None
        if box["y"] + box["height"] > HEIGHT or box["y"] < 0:
            what.scroll_into_view_if_needed()
        self.scrolled_px += abs(self.page.evaluate("scrollY") - before)
        self.taps += 1
        self.tapped.append(what.inner_text())
        what.tap()


def step_is_there(page: Page) -> None:
    expect(page.locator("#ladder")).to_be_visible()


def test_from_the_first_page_by_the_feeling_to_the_card(visits: Visits) -> None:
    name = "Thumbed roadster"
    car_of_its_own(visits, name)
    page = visits.open(PHONE)
    page.goto("/?all=yes")
    thumb = Thumb(page)
    thumb.tap(page.get_by_role("link", name=name))
    thumb.tap(page.locator(".feel").get_by_role("link", name="Hesitates"))
    thumb.tap(page.get_by_role("button", name="Save this run"))
    page.wait_for_url("**?recorded=*")
    assert thumb.taps < MOST_TAPS, "to a logged run"
    step_is_there(page)
    expect(page.locator(".sentence")).to_contain_text(re.compile(r"Hesitated in run \d+\. Next: a"))
    thumb.tap(page.get_by_role("button", name="Take this step"))
    expect(page.get_by_role("heading", level=1)).to_have_text(f"Job card: {name}")
    assert thumb.taps <= MOST_TAPS, thumb.tapped
    assert thumb.scrolled_px <= MOST_SCREENS * HEIGHT, thumb.scrolled_px
    (run,) = runs_of(visits, name)
    assert run.felt is not None and (run.felt.word, run.felt.strength) == ("stumble", "clear")


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_a_step_taken_is_fitted_and_can_be_undone(visits: Visits, width: int) -> None:
    name = f"Undone roadster {width}"
    stem = car_of_its_own(visits, name)
    page = visits.open(width)
    page.goto(f"/car/{stem}")
    step_is_there(page)
    named = page.locator(".put-in li").all_inner_texts()
    nozzle = next(text.partition(": ")[2].partition(",")[0] for text in named if text.startswith("Front nozzle"))
    expect(page.locator("[aria-labelledby=fitted-title]")).not_to_contain_text(nozzle)
    page.get_by_role("button", name="Take this step").click()
    expect(page.locator("main")).to_contain_text(nozzle)
    page.goto(f"/car/{stem}")
    fitted = page.locator("[aria-labelledby=fitted-title]")
    expect(fitted).to_contain_text(nozzle)
    fitted.get_by_role("link", name=re.compile("^The job card of entry")).click()
    expect(page.locator("main")).to_contain_text(nozzle)
    page.go_back()
    fitted.get_by_role("button", name=re.compile("^Undo")).click()
    expect(fitted).not_to_contain_text(nozzle)


def test_a_run_typed_out_of_reach_is_kept_and_arrives_once(visits: Visits) -> None:
    """The network goes in the middle of a form, two runs are typed, the answer to the first is lost on its way."""
    name = "Far roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE)
    page.goto(f"/car/{stem}/run")
    page.get_by_text("Hesitates").tap()
    page.context.set_offline(True)
    visits.unheard.append("ERR_INTERNET_DISCONNECTED")
    page.get_by_role("button", name="Save this run").tap()
    waiting = page.locator("#waiting")
    expect(waiting).to_contain_text("Kept on this phone: 1 run to send")
    page.get_by_text("Sags in smoke").tap()
    page.get_by_label("A word, if you like").fill("second")
    page.get_by_role("button", name="Save this run").tap()
    expect(waiting).to_contain_text("2 runs to send")
    assert not runs_of(visits, name)

    lost: list[APIResponse] = []

    def lose(route: Route) -> None:
        """The run reaches the book, its answer does not reach the phone."""
        if lost or route.request.method != "POST":
            route.continue_()
            return
        lost.append(route.fetch())
        route.abort("connectionreset")

    page.route("**/run", lose)
    visits.unheard.append("ERR_CONNECTION_RESET")
    page.context.set_offline(False)
    page.wait_for_function("localStorage.getItem('tipin-runs') !== null")
    expect(waiting).to_contain_text("2 runs to send")
    page.wait_for_timeout(500)
    page.reload()
    expect(waiting).to_be_empty()
    first, second = runs_of(visits, name)
    assert len(lost) == 1 and second.note == "second"
    assert [run.felt and run.felt.word for run in (first, second)] == ["stumble", "smoke"]
    assert first.at < second.at


def test_what_is_half_typed_outlives_going_back_and_a_reload(visits: Visits) -> None:
    name = "Drafted roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE)
    page.goto(f"/car/{stem}")
    page.get_by_role("link", name="Log a run").tap()
    page.get_by_text("Goes flat").tap()
    page.get_by_label("A word, if you like").fill("half a sen")
    page.go_back()
    page.goto(f"/car/{stem}/run")
    expect(page.get_by_label("Goes flat")).to_be_checked()
    page.reload()
    expect(page.get_by_label("A word, if you like")).to_have_value("half a sen")
    page.get_by_role("button", name="Save this run").tap()
    page.wait_for_url("**?recorded=*")
    page.goto(f"/car/{stem}/run")
    expect(page.get_by_label("A word, if you like")).to_have_value("")
    assert len(runs_of(visits, name)) == 1


def test_a_run_that_is_refused_later_waits_to_be_mended(visits: Visits) -> None:
    name = "Refused roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE)
    page.goto(f"/car/{stem}/run")
    page.locator("[for=felt-clean]").tap()
    page.locator("#more-of-it > summary").tap()
    page.get_by_label("Height above the sea").fill("high")
    visits.refusals_meant.add(400)
    page.get_by_role("button", name="Save this run").tap()
    refused = page.locator("#waiting a")
    expect(refused).to_contain_text("Height above the sea: found 'high'")
    refused.tap()
    expect(page.locator("#kept")).to_contain_text("Height above the sea: found 'high'")
    expect(page.get_by_label("Height above the sea")).to_be_visible()
    expect(page.get_by_label("Height above the sea")).to_have_value("high")
    page.get_by_label("Height above the sea").fill("120")
    page.get_by_role("button", name="Save this run").tap()
    page.wait_for_url("**?recorded=*")
    assert [run.conditions.altitude_m for run in runs_of(visits, name)] == [120.0]


def test_a_double_tap_logs_one_run(visits: Visits) -> None:
    name = "Twice roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE)
    page.goto(f"/car/{stem}/run")
    page.get_by_text("Hesitates").tap()
    page.evaluate("const save = document.querySelector('#run button'); save.click(); save.click();")
    page.wait_for_url("**?recorded=*")
    assert len(runs_of(visits, name)) == 1


def test_two_tabs_that_log_runs_at_once_lose_none(visits: Visits) -> None:
    name = "Tabbed roadster"
    stem = car_of_its_own(visits, name)
    tabs = [visits.open(), visits.open()]
    tabs.append(tabs[0].context.new_page())
    for number, tab in enumerate(tabs):
        tab.goto(f"/car/{stem}/run")
        tab.get_by_text("Hesitates").click()
        tab.get_by_label("A word, if you like").fill(f"tab {number}")
    for tab in tabs:  # pressed in every tab before any of them has its answer
        tab.evaluate("setTimeout(() => document.querySelector('#run button').click(), 100)")
    for tab in tabs:
        tab.wait_for_url("**?recorded=*")
    assert sorted(run.note for run in runs_of(visits, name)) == [f"tab {number}" for number in range(len(tabs))]


def test_without_script_a_run_is_logged_and_the_step_is_shown(visits: Visits) -> None:
    name = "Plain roadster"
    stem = car_of_its_own(visits, name)
    page = visits.open(PHONE, java_script_enabled=False)
    page.goto(f"/car/{stem}")
    page.locator(".feel").get_by_role("link", name="Hesitates").tap()
    page.get_by_role("button", name="Save this run").tap()
    expect(page.get_by_role("status").first).to_contain_text("is in the book")
    page.get_by_role("link", name="Show it").tap()
    step_is_there(page)
    with page.expect_navigation():
        page.get_by_role("button", name=re.compile("^Undo run")).tap()
    assert not runs_of(visits, name)


@pytest.mark.parametrize("width", [320, PHONE])
def test_drawings_can_be_read_and_everything_can_be_hit_with_a_thumb(visits: Visits, width: int) -> None:
    stem = car_of_its_own(visits, "Measured roadster")
    page = visits.open(width)
    for path in (f"/car/{stem}/judged", f"/car/{stem}/run", "/", "/shelf", f"/car/{stem}/parts"):
        page.goto(path)
        assert sideways_px(page) <= 0, path
        small = page.evaluate(
            """most => [...document.querySelectorAll('main a:not(p a), main button, main summary, .bar a')]
            .filter(one => one.checkVisibility()).map(one => [one.textContent.trim(), one.getBoundingClientRect()])
            .filter(([says, box]) => box.height < most - 0.5 || box.width < 24).map(([says]) => says)""",
            LEAST_TARGET_PX,
        )
        assert not small, f"{path}: {small}"
    page.goto(f"/car/{stem}")
    step_is_there(page)
    sizes = page.locator(".drawing text").evaluate_all(
        "all => all.map(one => parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a)"
    )
    assert sizes and min(sizes) >= LEAST_TEXT_PX - 0.05, json.dumps(sizes)


def test_what_is_ticked_and_written_on_a_card_stays_on_the_phone(visits: Visits) -> None:
    stem = car_of_its_own(visits, "Carded roadster")
    page = visits.open(PHONE)
    page.goto(f"/car/{stem}/card?pin=front.nozzle%3Dstraight-0.85")
    page.get_by_label("Odometer").fill("48,120")
    page.locator(".steps input[type=checkbox]").first.check()
    page.reload()
    expect(page.get_by_label("Odometer")).to_have_value("48,120")
    expect(page.locator(".steps input[type=checkbox]").first).to_be_checked()
    low = page.locator(".do").evaluate_all("all => Math.min(...all.map(one => one.getBoundingClientRect().height))")
    assert low >= LEAST_TARGET_PX - 0.5 and sideways_px(page) <= 0
    page.get_by_role("link", name="Carded roadster").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Carded roadster")
