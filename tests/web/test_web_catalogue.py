"""The catalogue on the page: looked through, and written as the commands write it where it is the workshop's own."""

import gzip
import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from test_web_bench import text_of
from web_page import CATALOG, OWN_FORM, browser, page_of, workshop_in

from configurator.catalogue.load import load_catalog
from configurator.catalogue.own import add_row, correct_row, new_catalog
from configurator.web.catalogue import PRICED
from configurator.web.folder import Folder
from configurator.web.workshop import Workshop

ASKED = {"diameter_mm": "0,83mm", "style": "straight", "price": "12,50"}


@pytest.fixture
def own(tmp_path: Path) -> Workshop:
    """A workshop with a catalogue of its own."""
    workshop = workshop_in(tmp_path / "cars", "roadster")
    new_catalog(tmp_path / "parts", "GBP")
    catalog = load_catalog(tmp_path / "parts")
    return Workshop(Folder(workshop.folder.path, catalog), catalog, workshop.book)


@pytest.fixture
def client(own: Workshop) -> TestClient:
    return browser(page_of(own), follow=True)


def nozzles(own: Workshop) -> bytes:
    return (own.catalog.directory / "nozzles.csv").read_bytes()


def test_every_family_with_a_price_is_listed_short_and_can_be_searched(client: TestClient) -> None:
    front = text_of(client.get("/catalogue").text)
    assert "Nozzles 56" in front and "Drill bits 16" in front and "Limits" not in front
    for family in PRICED:
        html = client.get(f"/catalogue/{family}").text
        assert html.count('class="what"') <= 30 and len(gzip.compress(html.encode())) < 15_000
    assert "26 more" in client.get("/catalogue/nozzles").text
    assert client.get("/catalogue/nozzles?all=yes").text.count('class="what"') == 56
    found = re.findall(r'class="what">([\w.-]+)', client.get("/catalogue/nozzles?find=AIMED").text)
    assert found and all(code.startswith("aimed-") for code in found)
    assert "None is called that" in text_of(client.get("/catalogue/nozzles?find=zebra").text)


@pytest.mark.parametrize("path", ["limits", "settings", "nothing", "nozzles/none-such", "pumps/straight-0.80"])
def test_what_is_not_there_is_told(client: TestClient, path: str) -> None:
    assert client.get(f"/catalogue/{path}").status_code == 404
    assert client.post(f"/catalogue/{path}", headers=OWN_FORM, data={"price": "1"}).status_code == 404


def test_a_price_is_put_right_as_the_command_does_it(own: Workshop, client: TestClient, tmp_path: Path) -> None:
    beside = tmp_path / "beside"
    new_catalog(beside, "GBP")
    correct_row(beside, "straight-0.85", {"price": "21,37"})
    before = client.get("/car/roadster/parts?open=front.nozzle").text
    assert own.setting("roadster").case.catalog.nozzles["straight-0.85"].price == 13.5
    shown = client.post("/catalogue/nozzles/straight-0.85", headers=OWN_FORM, data={"price": "21,37"})
    assert shown.is_success and "That is in the catalogue now" in shown.text and 'value="21.37"' in shown.text
    assert nozzles(own) == (beside / "nozzles.csv").read_bytes()
    after = client.get("/car/roadster/parts?open=front.nozzle").text
    assert own.setting("roadster").case.catalog.nozzles["straight-0.85"].price == 21.37
    assert before != after, "what was worked out before is not shown any more"


@pytest.mark.parametrize("price", ["", "ten", "-1", "1e9", "1,2,3"])
def test_a_price_that_cannot_be_meant_changes_nothing(own: Workshop, client: TestClient, price: str) -> None:
    before = nozzles(own)
    refused = client.post("/catalogue/nozzles/straight-0.85", headers=OWN_FORM, data={"price": price})
    text = text_of(refused.text)
    assert refused.status_code == 400 and "The price stays as it was" in text and str(own.catalog.directory) not in text
    assert "00 currency" not in text
    assert nozzles(own) == before


def test_a_part_is_added_as_the_command_adds_it(own: Workshop, client: TestClient, tmp_path: Path) -> None:
    beside = tmp_path / "beside"
    new_catalog(beside, "GBP")
    add_row(beside, "nozzles", ASKED)
    html = client.get("/catalogue/nozzles").text
    assert all(f'name="{name}"' in html for name in ASKED), "the form asks for it"
    shown = client.post("/catalogue/nozzles", headers=OWN_FORM, data=ASKED | {"code": "", "supplier": ""})
    assert "straight-0.83" in shown.text and shown.url.path == "/catalogue/nozzles/straight-0.83"
    assert nozzles(own) == (beside / "nozzles.csv").read_bytes()
    assert "straight-0.83" in client.get("/car/roadster/parts?open=front.nozzle").text
    assert 'value="straight-0.83"' in client.get("/shelf").text
    again = client.post("/catalogue/nozzles", headers=OWN_FORM, data=ASKED)
    assert again.status_code == 400 and "'straight-0.83' is there already" in text_of(again.text)
    assert nozzles(own) == (beside / "nozzles.csv").read_bytes()


def test_what_is_wrong_with_a_part_stands_beside_its_field(own: Workshop, client: TestClient) -> None:
    before = nozzles(own)
    refused = client.post("/catalogue/nozzles", headers=OWN_FORM, data=ASKED | {"price": "<b>ten", "orifices": "9"})
    assert refused.status_code == 400 and nozzles(own) == before
    for column, says in (("price", "found '<b>ten': not a plain number"), ("orifices", "found '9'")):
        beside = refused.text.partition(f'id="fault-{column}"')[2].partition("</p>")[0]
        assert says in text_of(f"<p{beside}"), column
    assert 'value="&lt;b&gt;ten"' in refused.text and 'value="0,83mm"' in refused.text, "what was typed stays"
    assert 'value="straight" selected' in refused.text and '<details class="fold" id="add" open>' in refused.text


def test_the_catalogue_that_came_with_the_program_stays_as_it_is(tmp_path: Path) -> None:
    client = browser(page_of(workshop_in(tmp_path / "cars", "roadster")))
    before = (CATALOG.directory / "nozzles.csv").read_bytes()
    for path in ("/catalogue", "/catalogue/nozzles", "/catalogue/nozzles/straight-0.85"):
        html = client.get(path).text
        assert "tipin catalogue new my-catalogue" in html and 'method="post"' not in html
    for path, data in (("/catalogue/nozzles", ASKED), ("/catalogue/nozzles/straight-0.85", {"price": "1"})):
        refused = client.post(path, headers=OWN_FORM, data=data)
        assert refused.status_code == 400 and "stays as it is" in text_of(refused.text)
    assert (CATALOG.directory / "nozzles.csv").read_bytes() == before
