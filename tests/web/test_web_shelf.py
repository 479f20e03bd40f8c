"""The shelf on the page: what the commands book is what it books, once."""

import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from test_web_bench import text_of
from web_page import OWN_FORM, browser, page_of, workshop_in

from configurator.web.workshop import Workshop


@pytest.fixture
def written(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars")


@pytest.fixture
def client(written: Workshop) -> TestClient:
    return browser(page_of(written))


def form(client: TestClient, **said: str) -> dict[str, str]:
    key = re.search(r'name="key" value="(\w+)"', client.get("/shelf").text)
    assert key is not None
    return {"key": key[1], "code": "straight-0.80", "number": "1", "why": ""} | said


def test_parts_are_put_on_taken_off_and_counted(written: Workshop, client: TestClient) -> None:
    assert "Nothing is on the shelf yet" in client.get("/shelf").text
    for said, left in (
        ({"do": "add", "number": "3", "why": "from the autumn market"}, {"straight-0.80": 3}),
        ({"do": "take", "number": "1"}, {"straight-0.80": 2}),
        ({"do": "count", "number": "5"}, {"straight-0.80": 5}),
        ({"do": "count", "number": "0"}, {}),
        ({"do": "add", "number": "2"}, {"straight-0.80": 2}),
    ):
        answer = client.post("/shelf", headers=OWN_FORM, data=form(client, **said))
        assert answer.is_success and answer.url.path == "/shelf" and written.stock() == left
    text = text_of(answer.text)
    assert (
        "2 \N{MULTIPLICATION SIGN} straight-0.80" in text
        and "2 parts, worth" in text
        and "+3 straight-0.80: from the autumn market" in text
    )


def test_a_double_tap_moves_once(written: Workshop, client: TestClient) -> None:
    said = form(client, do="add", number="2")
    for _ in range(3):
        assert client.post("/shelf", headers=OWN_FORM, data=said).is_success
    assert written.stock() == {"straight-0.80": 2}


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"do": "add", "code": "straight-0.8O"}, "Part: no part has the code"),
        ({"do": "add", "number": "1_0"}, "How many, 1_0: is no number"),
        ({"do": "add", "number": "٣"}, "How many, ٣: is no number"),
        ({"do": "add", "number": "-1"}, "is no number"), ({"do": "take", "number": "0"}, "moves nothing"),
        ({"do": "add", "number": "1\x00"}, "holds a sign that cannot be seen"),
        ({"do": "add", "number": "999999"}, "is too many"),
        ({"do": "take"}, "1 of straight-0.80 cannot be taken"), ({"do": "give"}, "What is done, give"),
        ({"do": "add", "key": "x"}, "comes from no form of this page"),
        ({"do": "add", "why": "a\x00b"}, "holds a sign that cannot be seen"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_in_words(
    written: Workshop, client: TestClient, said: dict[str, str], says: str
) -> None:
    answer = client.post("/shelf", headers=OWN_FORM, data=form(client) | said)
    assert answer.status_code == 400 and says in text_of(answer.text) and written.stock() == {}
