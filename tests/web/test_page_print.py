"""Every page on paper: light whatever the theme, nothing pale without its ground, nothing pushed to another sheet."""

import re

import pytest
from browser import Visits
from playwright.sync_api import Page, expect

pytest_plugins = ["browser"]
PLAN = "/order/plan?car=roadster&day%3Aroadster=2100-01-01&sure=70&one_supplier=yes&no_redrill=yes"
READ = (
    "/car/roadster/judged",
    "/car/roadster/run?felt=dull",
    "/car/roadster/parts",
    "/shelf",
    "/catalogue/nozzles",
    "/",
    PLAN,
)
PALE = """() => [...document.querySelectorAll("main *")].filter((one) =>
    one.checkVisibility({ visibilityProperty: true })
    && [...one.childNodes].some((node) => node.nodeType === 3 && node.data.trim())
    && getComputedStyle(one).color.match(/[0-9]+/g).slice(0, 3).every((share) => share > 140)
).map((one) => one.textContent)"""


@pytest.fixture
def on_paper(visits: Visits) -> Page:
    page = visits.open(color_scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    return page


@pytest.mark.parametrize("path", READ)
def test_nothing_is_pale_or_dark_on_paper(on_paper: Page, path: str) -> None:
    on_paper.goto(path)
    expect(on_paper.locator("h1").first).to_be_visible()
    assert on_paper.evaluate(PALE) == []
    expect(on_paper.locator("button:visible, .bar:visible, summary:visible")).to_have_count(
        on_paper.locator("main details:not(.fold) > summary:visible, .fold[open] > summary:visible").count()
    )
    assert on_paper.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(246, 243, 236)"


def test_a_plan_begins_on_the_first_sheet(on_paper: Page) -> None:
    """A section longer than a sheet is not pushed to the next one, and the sheets before it are not left empty."""
    on_paper.goto(PLAN)
    sheets = len(re.findall(rb"/Type /Page\b(?!s)", on_paper.pdf(format="A4")))
    high = on_paper.evaluate("document.documentElement.scrollHeight")
    assert on_paper.evaluate("getComputedStyle(document.querySelector('#plan')).breakInside") == "auto"
    assert 0 < sheets <= 1 + high / 900, (sheets, high)
