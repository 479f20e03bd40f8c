"""Drawings by a tap: each by itself, as large as the screen, in the colours of the theme, without script."""

import re

import pytest
from browser import DESK, PHONE, Visits
from playwright.sync_api import Page, expect
from starlette.testclient import TestClient
from web_page import browser, page_of, workshop_in

pytest_plugins = ["browser"]


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> TestClient:
    return browser(page_of(workshop_in(tmp_path_factory.mktemp("drawn") / "cars", "roadster", "hill-climber")))


@pytest.mark.parametrize(("car", "circuits"), [("roadster", 1), ("hill-climber", 2)])
def test_every_drawing_of_a_car_leads_to_itself_alone(client: TestClient, car: str, circuits: int) -> None:
    html = client.get(f"/car/{car}/judged").text
    links = re.findall(rf'class="larger" href="(/car/{car}/drawing/[^"]+)">(<svg.*?</svg>)', html, re.DOTALL)
    assert len(links) == 2 * circuits
    for address, svg in links:
        alone = client.get(address).text
        assert alone.count("<svg") == 1 and svg in alone


@pytest.mark.parametrize("path", ["pull/2", "pull/0", "ladder/9", "shot/1", "pull/x"])
def test_what_is_not_drawn_is_not_there(client: TestClient, path: str) -> None:
    assert client.get(f"/car/roadster/drawing/{path}").status_code == 404


def test_a_picture_has_the_colours_of_the_dark(client: TestClient) -> None:
    svg = client.get("/car/roadster/picture/shot/front/drawn.svg").text
    assert svg.startswith("<svg") and svg.count("<style>") == 1
    themed = svg.partition("<style>")[2].partition("</style>")[0]
    for what, colour in set(re.findall(r'(fill|stroke)="(#[0-9a-f]{6})"', svg)):
        assert f'[{what}="{colour}"]' in themed, "a colour that the dark does not know"


def larger(page: Page) -> float:
    """How wide the drawing is that a tap leads to [px]."""
    page.locator(".larger").first.click()
    drawn = page.locator(".alone svg")
    expect(drawn).to_be_visible()
    box = drawn.bounding_box()
    assert box is not None and box["height"] <= page.viewport_size["height"]  # type: ignore[index]
    return box["width"]


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_a_tap_makes_a_drawing_as_large_as_the_screen(visits: Visits, width: int) -> None:
    page = visits.open(width, java_script_enabled=False)
    page.goto("/car/roadster/judged")
    assert larger(page) > 0.9 * (width - 64)
