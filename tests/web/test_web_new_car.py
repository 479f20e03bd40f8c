"""A car by questions on the page: one a screen, the answers in the address, the file that the command would write."""

import asyncio
import re
from concurrent.futures import ThreadPoolExecutor
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlencode

import pytest
from starlette.testclient import TestClient
from web_page import OWN_FORM, ask, browser, page_of, workshop_in

from configurator.car.described import text_of_car
from configurator.car.questions import MORE, QUESTIONS, asked_of
from configurator.units.showing import SHOWN
from configurator.web.workshop import Workshop

COUPE = {
    "name": "Sam's coupé", "engine_size": "350 cu in", "idle_speed": "850", "idle_vacuum": "16 inHg",
    "gearbox": "automatic", "stall_speed": "1900", "barrels": "4", "flow": "600 cfm", "manifold": "ordinary",
    "pumps": "1", "front_nozzle": "31 thou", "front_pump": "standard", "front_screw": "plain", "front_lobe": "",
    "checked": "no",
}  # fmt: skip


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars")


@pytest.fixture
def client(workshop: Workshop) -> TestClient:
    return browser(page_of(workshop), follow=False)


def hidden(text: str) -> dict[str, str]:
    """What the form on a page carries along."""
    return {unescape(name): unescape(value)
            for name, value in re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)"', text)}  # fmt: skip


def heading(text: str) -> str:
    return unescape(re.sub("<[^>]*>", "", re.findall(r"<h1>(.*?)</h1>", text)[0]))


def test_every_question_comes_once_and_the_file_is_the_one_that_the_command_writes(
    workshop: Workshop, client: TestClient
) -> None:
    text, seen = client.get("/new").text, []
    while heading(text) != "Is that right?":
        question = next(one for one in QUESTIONS if one.key == hidden(text)["at"])
        assert heading(text) == question.asks and question.help[1:] in unescape(text)
        seen.append(question.key)
        answer = COUPE[question.key]
        given: dict[str, Any] = {question.key: answer} if answer else {"unknown": question.key}
        text = client.get("/new", params=hidden(text) | given).text
        assert hidden(text).items() >= {key: COUPE[key] for key in seen if key in hidden(text)}.items()
    assert seen == [question.key for question in asked_of(COUPE)]
    assert (
        "350 cu in (5,735 cc)" in text
        and "600 cfm (16.99 m3/min)" in text
        and "not known: the lobe that usually goes" in text
    )
    sent = client.post("/new", data=hidden(text), headers=OWN_FORM)
    assert (sent.status_code, sent.headers["location"]) == (303, "/car/Sam-s-coup%C3%A9")
    written = (workshop.folder.path / "Sam-s-coupé.toml").read_text(encoding="utf-8")
    assert written == text_of_car(COUPE, [*QUESTIONS, *MORE])
    assert workshop.folder.vehicle("Sam-s-coupé").vehicle.name == "Sam's coupé"
    again = client.post("/new", data=hidden(text), headers=OWN_FORM)
    assert again.headers["location"] == sent.headers["location"], "sent twice it is one car"
    assert len(workshop.folder.listing().vehicles) == 1


def test_an_answer_at_fault_is_asked_for_again_with_what_is_wrong(client: TestClient) -> None:
    answer = client.get("/new", params={"name": "Coupe", "at": "engine_size", "engine_size": "350 furlongs"})
    assert answer.status_code == 400 and heading(answer.text) == "How large is the engine?"
    assert 'value="350 furlongs"' in answer.text and 'role="alert"' in answer.text
    needed = client.get("/new", params={"name": "Coupe", "at": "engine_size", "engine_size": " "})
    assert needed.status_code == 400 and "is needed" in needed.text
    none = client.get("/new", params={"name": "Coupe", "at": "gearbox", "engine_size": "3 l", "idle_speed": "800"})
    assert none.status_code == 400 and "nothing is chosen" in none.text


def test_what_is_not_known_says_what_is_done_without_it(client: TestClient) -> None:
    text = client.get("/new", params={"name": "Coupe", "engine_size": "3 l"}).text
    question = next(one for one in QUESTIONS if one.key == "idle_speed")
    assert "I don't know" in text and question.if_unknown in unescape(text)
    first = client.get("/new").text
    assert "I don't know" not in first, "a car has a name"
    after = client.get("/new", params=hidden(text) | {"idle_speed": "", "unknown": "idle_speed"}).text
    assert hidden(after)["idle_speed"] == "" and hidden(after)["at"] == "idle_vacuum"


def test_back_and_change_show_the_answer_given_and_lose_none(client: TestClient) -> None:
    text = client.get("/new", params={"name": "Coupe", "at": "engine_size", "engine_size": "3 l"}).text
    back = unescape(re.findall(r'href="(/new\?[^"]*)">Back', text)[0])
    before = client.get(back).text
    assert heading(before) == "How large is the engine?" and 'value="3 l"' in before
    assert dict(parse_qsl(back.partition("?")[2]))["name"] == "Coupe"
    summary = client.get("/new", params=COUPE).text
    change = unescape(re.findall(r'href="(/new\?[^"]*show=flow)"', summary)[0])
    shown = client.get(change).text
    assert heading(shown) == "What air flow is it rated for?" and 'value="600 cfm"' in shown
    assert heading(client.get("/new", params=hidden(shown) | {"flow": "650 cfm"}).text) == "Is that right?"


def test_an_answer_that_is_no_longer_asked_for_is_left_out(workshop: Workshop, client: TestClient) -> None:
    """The gearbox was changed to a manual one: stall speed no more, but axle, tyres and weight."""
    text = client.get("/new", params=COUPE | {"gearbox": "manual", "at": "gearbox"}).text
    assert heading(text) == "Axle ratio, and the gear in which it stumbles?"
    manual = COUPE | {"gearbox": "manual", "gears": "", "tyres": "", "weight": ""}
    answer = client.post("/new", data=manual, headers=OWN_FORM)
    assert answer.status_code == 303
    assert "stall" not in (workshop.folder.path / "Sam-s-coupé.toml").read_text(encoding="utf-8")


def test_a_part_may_be_named_by_its_code(workshop: Workshop, client: TestClient) -> None:
    before = {
        key: answer
        for key, answer in COUPE.items()
        if key not in ("front_pump", "front_screw", "front_lobe", "checked")
    }
    text = client.get("/new", params=before).text
    assert heading(text) == "Which accelerator pump?" and '<option value="pump-3cc">' in text
    after = client.get("/new", params=hidden(text) | {"code": "pump-3cc"}).text
    assert hidden(after)["front_pump"] == "pump-3cc"
    wrong = client.get("/new", params=hidden(text) | {"code": "pump-none"})
    assert wrong.status_code == 400 and 'value="pump-none"' in wrong.text


def test_the_figures_of_a_car_that_is_nearly_the_same_are_offered(tmp_path: Path) -> None:
    client = browser(page_of(workshop_in(tmp_path, "van")))
    first = client.get("/new").text
    assert '<option value="van">' in first
    asked = client.get("/new", params=hidden(first) | {"name": "Coupe", "like": "van"}).text
    assert heading(asked) == "How large is the engine?" and 'value="2000"' in asked
    own = client.get("/new", params=hidden(asked) | {"engine_size": "3 l"}).text
    assert heading(own).startswith("At what speed does it idle") and 'value="680"' in own
    assert 'value="3 l"' in client.get(unescape(re.findall(r'href="(/new\?[^"]*)">Back', own)[0])).text
    assert client.get("/new", params={"name": "Coupe", "like": "../none"}).status_code == 404


def test_a_name_is_given_once(workshop: Workshop, client: TestClient) -> None:
    """Runs are kept by it."""
    assert client.post("/new", data=COUPE, headers=OWN_FORM).status_code == 303
    named = client.get("/new", params={"at": "name", "name": COUPE["name"]})
    assert named.status_code == 400 and "the name of another car" in named.text
    other = client.post("/new", data=COUPE | {"flow": "650 cfm"}, headers=OWN_FORM)
    assert other.status_code == 400 and "the name of another car" in other.text
    assert len(workshop.folder.listing().vehicles) == 1


@pytest.mark.parametrize("answers", [{}, {"name": "Coupe"}, COUPE | {"engine_size": "x"}, COUPE | {"name": "a\0b"}])
def test_nothing_is_written_of_answers_at_fault(
    workshop: Workshop, client: TestClient, answers: dict[str, str]
) -> None:
    assert client.post("/new", data=answers, headers=OWN_FORM).status_code == 400
    assert not list(workshop.folder.path.glob("*.toml"))
    assert client.post("/new", data=COUPE, headers={"origin": "http://evil.example"}).status_code == 403


def test_many_that_send_the_same_at_once_make_one_car(workshop: Workshop, client: TestClient) -> None:
    with ThreadPoolExecutor(4) as threads:
        sent = [threads.submit(client.post, "/new", data=COUPE, headers=OWN_FORM) for _ in range(4)]
        assert {one.result().headers.get("location") for one in sent} == {"/car/Sam-s-coup%C3%A9"}
    assert len(list(workshop.folder.path.glob("*.toml"))) == 1


def test_markup_in_an_answer_stays_text(client: TestClient) -> None:
    hostile = '"><script>alert(1)</script>'
    for query in (
        {"name": hostile},
        COUPE | {"name": hostile},
        {"name": "a", "at": "engine_size", "engine_size": hostile},
    ):
        assert "<script>alert" not in client.get("/new", params=query).text


def test_an_answer_stays_as_it_was_typed_whatever_units_are_chosen(workshop: Workshop) -> None:
    chosen = SHOWN.set("inch")
    try:
        query = urlencode(COUPE | {"front_nozzle": "0.80 mm", "weight": "900 kg"})
        shown = asyncio.run(ask(page_of(workshop), f"/new?{query}")).body.decode()
    finally:
        SHOWN.reset(chosen)
    assert hidden(shown)["front_nozzle"] == "0.80 mm"


def test_an_empty_folder_is_a_start(workshop: Workshop, client: TestClient) -> None:
    text = client.get("/").text
    assert 'href="/new"' in text and "Look around with the four example cars" in text
    assert client.post("/examples", headers=OWN_FORM).status_code == 303
    assert [filed.name for filed in workshop.folder.listing().vehicles] == [
        "hill-climber",
        "roadster",
        "tow-truck",
        "van",
    ]
    assert client.post("/examples", headers=OWN_FORM).status_code == 303, "again it is the same four"
    assert "Look around" not in client.get("/").text
    assert client.post("/new", data=COUPE, headers=OWN_FORM).status_code == 303
    assert client.post("/examples", headers=OWN_FORM).status_code == 400, "not among cars of one's own"
    assert len(workshop.folder.listing().vehicles) == 5
