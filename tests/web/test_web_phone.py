"""The way in for a phone: addresses and pictures at the start, and a field for the token where it is asked for."""

import io
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
import segno
from web_page import ADDRESS, HERE, OWN_FORM, browser, page_of, workshop_in

from configurator.web.app import application
from configurator.web.guard import Address
from configurator.web.phone import entrance, ways_to
from configurator.web.workshop import Workshop

TOKEN = "the spare key hangs behind the compressor"
OTHERS = Address("0.0.0.0", 8463)


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars", "van")


def test_the_token_may_be_typed_where_it_is_asked_for(workshop: Workshop) -> None:
    client = browser(page_of(workshop, TOKEN), follow=False)
    asked = client.get("/car/van?symptom=stumble")
    assert asked.status_code == 401 and 'name="token"' in asked.text and "Marshals" not in asked.text
    wrong = client.post("/car/van?symptom=stumble", data={"token": TOKEN + "?"}, headers=OWN_FORM)
    assert wrong.status_code == 401 and "That is not the token." in wrong.text
    right = client.post("/car/van?symptom=stumble", data={"token": f" {TOKEN} "}, headers=OWN_FORM)
    assert (right.status_code, right.headers["location"]) == (303, f"{HERE}/car/van?symptom=stumble")
    assert client.get("/car/van").status_code == 200


def test_the_typed_token_leads_nowhere_else(workshop: Workshop) -> None:
    client = browser(page_of(workshop, TOKEN), follow=False)
    answer = client.post(f"{HERE}//evil.example/", data={"token": TOKEN}, headers=OWN_FORM)
    assert answer.status_code == 303 and answer.headers["location"].startswith(f"{HERE}/")
    for headers in ({}, {"origin": "http://evil.example"}):
        assert client.post("/", data={"token": TOKEN}, headers=headers).status_code == 403


def test_a_body_too_large_for_a_token_is_refused(workshop: Workshop) -> None:
    client = browser(page_of(workshop, TOKEN), follow=False)

    def pieces() -> list[bytes]:
        return [b"token=", *[b"x" * 10_000] * 100]

    headers = OWN_FORM | {"content-type": "application/x-www-form-urlencoded"}
    assert client.post("/", content=iter(pieces()), headers=headers).status_code == 413
    assert client.post("/", content=b"", headers=headers).status_code == 401


def test_over_tls_the_cookie_stays_there(workshop: Workshop) -> None:
    secure = Address(ADDRESS.host, 8463, secure=True)
    client = browser(application(workshop, secure, TOKEN), follow=False)
    assert "secure" in client.get("/", params={"token": TOKEN}).headers["set-cookie"].lower().split("; ")
    assert Address("bench.garage", 443, secure=True).answers_to("bench.garage")
    assert not Address("bench.garage", 80, secure=True).answers_to("bench.garage")


def test_every_address_is_named_and_the_one_that_most_will_reach_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("configurator.web.phone._way_out", lambda: iter(["10.0.0.7"]))
    monkeypatch.setattr("configurator.web.phone._of_adapters", lambda *, six: iter(["172.17.0.1", "10.0.0.7"]))
    assert [way.origin for way in ways_to(OTHERS)] == ["http://10.0.0.7:8463", "http://172.17.0.1:8463"]
    assert [way.origin for way in ways_to(Address("bench.garage", 80, secure=True))] == ["https://bench.garage:80"]


def test_addresses_of_this_machine_are_those_that_others_can_use() -> None:
    for way in ways_to(Address("::", 8463)):
        assert not way.is_loopback and "%" not in way.host and not way.host.startswith(("fe80", "169.254"))
        assert OTHERS.answers_to(way.origin.partition("//")[2])


def test_the_page_shows_the_picture_to_those_who_are_in(workshop: Workshop) -> None:
    page = application(workshop, Address("192.168.0.20", 8463), TOKEN)
    client = browser(page, follow=False)
    assert "<svg" not in client.get("/phone").text
    text = client.get("/phone", headers={"authorization": f"Bearer {TOKEN}"}).text
    link = entrance(Address("192.168.0.20", 8463), TOKEN)
    assert link == "http://192.168.0.20:8463/?token=the+spare+key+hangs+behind+the+compressor"
    drawn = segno.make_qr(link, error="l").svg_inline(scale=5, dark="#000", light="#fff")
    assert drawn in text and "http://192.168.0.20:8463" in text and "style=" not in text


def test_on_this_machine_alone_it_says_so(workshop: Workshop) -> None:
    text = browser(page_of(workshop)).get("/phone").text
    assert "Only this machine" in text and "<svg" not in text


def test_a_terminal_shows_addresses_and_a_picture_and_a_file_never_the_token(tmp_path: Path) -> None:
    words = [sys.executable, "-m", "configurator", "serve", str(tmp_path), "--host", "0.0.0.0", "--port", "0"]
    environment = os.environ | {"TIPIN_TOKEN": TOKEN, "XDG_DATA_HOME": str(tmp_path), "TERM": "xterm"}
    ours, theirs = pty.openpty()
    with subprocess.Popen(words, stdout=theirs, stderr=theirs, env=environment) as shown:
        os.close(theirs)
        text = ""
        while text.count("\n") < 15:
            text += os.read(ours, 100_000).decode()
        shown.terminate()
    port = int(re.findall(r"tipin: http://[\d.]+:(\d+)/\?token=\.\.\.", text)[0])
    picture = io.StringIO()
    segno.make_qr(entrance(ways_to(Address("0.0.0.0", port))[0], TOKEN), error="l").terminal(picture, compact=True)
    assert picture.getvalue().splitlines()[5] in text and TOKEN not in text
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=environment) as kept:
        assert kept.stdout is not None
        line = kept.stdout.readline()
        kept.terminate()
        rest = kept.stdout.read()
    assert "/?token=..." in line and "▄" not in rest and TOKEN not in rest
