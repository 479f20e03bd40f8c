"""Who may ask the page for what, and what goes out with every answer."""

import asyncio
import re
import signal
import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx2 as httpx
import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner
from web_page import ADDRESS, HERE, OWN_FORM, ask, browser, page_of, workshop_in

from configurator.cli import app as command_line
from configurator.errors import BadInput
from configurator.web.guard import MOST_BODY_BYTES, Address
from configurator.web.workshop import Workshop

TOKEN = "the spare key hangs behind the compressor"
READ = (
    "/", "/safety", "/order", "/order/plan", "/car/roadster", "/car/roadster?pin=front.nozzle%3Dstraight-0.85",
    "/car/roadster?pin=front.nozzle%3Dnone-such", "/car/roadster?symptom=itches", "/car/nobody", "/car/roadster/card",
    "/car/roadster/picture/lift/front", "/car/roadster/picture/lift/front/drawn.svg", "/car/roadster/picture/no/front",
    "/order/picture/none.svg", "/new", "/new?name=a", "/car/roadster/file", "/car/nobody/file", "/orders", "/orders/1",
    "/mend", "/phone", "/static/tipin.css", "/static/htmx.min.js", "/static/none.js", "/nowhere", "/upload",
)  # fmt: skip


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    return workshop_in(tmp_path_factory.mktemp("guarded"), "roadster")


@pytest.fixture(scope="module")
def client(workshop: Workshop) -> TestClient:
    return browser(page_of(workshop), follow=False)


@pytest.mark.parametrize(
    "host", ["evil.example:8463", "127.0.0.1", "127.0.0.1:8464", "localhost.evil.example:8463", "", "192.168.1.7:8463",
             "127.0.0.1:8463@evil.example", "127.0.0.1:8463 evil.example", "2130706433:8463"],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/", "/car/roadster", "/static/tipin.css", "/nowhere"])
def test_a_foreign_name_gets_no_answer(client: TestClient, host: str, path: str) -> None:
    answer = client.get(path, headers={"host": host})
    assert answer.status_code == 400 and "roadster" not in answer.text


@pytest.mark.parametrize("host", ["127.0.0.1:8463", "localhost:8463", "LOCALHOST:8463", "[::1]:8463", "127.0.0.2:8463"])
def test_this_machine_is_known_by_all_its_names(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 200


def test_a_request_with_two_names_gets_no_answer(client: TestClient) -> None:
    assert client.get("/", headers=[("host", "127.0.0.1:8463"), ("host", "evil.example")]).status_code == 400


def test_beyond_this_machine_only_the_bound_name_and_addresses_in_figures_are_known() -> None:
    bench = Address("bench.garage", 80)
    assert bench.answers_to("bench.garage") and bench.answers_to("10.0.0.7:80") and bench.answers_to("[fe80::1]:80")
    assert not bench.answers_to("evil.example") and not bench.answers_to("bench.garage:81")
    assert not bench.answers_to("bench.garage.evil.example")


@pytest.mark.parametrize(
    "headers",
    [
        {}, {"origin": "null"}, {"origin": "http://evil.example"}, {"origin": "http://127.0.0.1:8464"},
        {"origin": "http://localhost:8463"}, {"origin": "https://127.0.0.1:8463"},
        OWN_FORM | {"sec-fetch-site": "cross-site"}, OWN_FORM | {"sec-fetch-site": "same-site"},
        OWN_FORM | {"sec-fetch-site": "none"},
    ],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/upload", "/car/roadster/run", "/nowhere"])
def test_a_form_from_elsewhere_is_refused(client: TestClient, headers: dict[str, str], path: str) -> None:
    assert client.post(path, headers=headers, data={"felt": "smoke"}).status_code == 403


def test_a_form_of_the_page_itself_is_taken(client: TestClient) -> None:
    assert client.post("/upload", headers=OWN_FORM).status_code == 400  # it holds no file, but is looked at
    assert client.post("/upload", headers={"origin": HERE}).status_code == 400


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_page_may_lead_here_but_not_use_what_is_here(client: TestClient, site: str) -> None:
    used = {"sec-fetch-site": site, "sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"}
    led = {"sec-fetch-site": site, "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    assert client.get("/car/roadster/picture/lift/front/drawn.svg", headers=used).status_code == 403
    assert client.get("/", headers=led).status_code == 200


@pytest.mark.parametrize("path", READ)
def test_every_answer_carries_the_headers_that_keep_others_out(client: TestClient, path: str) -> None:
    answer = client.get(path)
    headers, own_style = answer.headers, path.endswith(("/card", "drawn.svg")) and answer.status_code == 200
    policy = headers["content-security-policy"]
    assert policy.startswith("default-src 'none'; ") and "frame-ancestors 'none'" in policy
    assert ("'unsafe-eval'" not in policy and "script-src 'self'" in policy.split("; ")) or "script-src" not in policy
    assert ("'unsafe-inline'" in policy) == own_style and (not own_style or "script-src" not in policy)
    assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "same-origin"
    assert headers["cross-origin-opener-policy"] == headers["cross-origin-resource-policy"] == "same-origin"
    assert "server" not in headers
    kept = "no-cache" if path.startswith("/static/") else "private, max-age=3600" if own_style else "no-store"
    assert headers["cache-control"] == ("no-store" if path.endswith("/card") else kept)


@pytest.mark.parametrize("path", READ)
def test_no_page_holds_what_the_policy_forbids(client: TestClient, path: str) -> None:
    answer = client.get(path)
    if not answer.headers["content-type"].startswith("text/html") or path.endswith("/card"):
        return
    assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=|javascript:|\shx-on", answer.text)
    assert not re.search(r"(?:src|href|action)=\"(?!/|#)", answer.text), "something from elsewhere"


def test_what_cannot_be_done_is_said_plainly(client: TestClient) -> None:
    assert client.get("/nowhere").status_code == 404 and "no such page" in client.get("/nowhere").text
    answer = client.get("/upload")
    assert answer.status_code == 405 and answer.headers["allow"] == "POST" and "cannot be done" in answer.text


def test_a_fault_of_the_program_shows_a_plain_page(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise RuntimeError("secret of the house")

    monkeypatch.setattr(workshop.folder, "listing", fail)
    answer = browser(page_of(workshop)).get("/")
    assert answer.status_code == 500 and "Something went wrong" in answer.text
    assert "secret" not in answer.text and "Traceback" not in answer.text
    assert "content-security-policy" in answer.headers


def test_a_large_body_is_refused_by_its_length(client: TestClient) -> None:
    answer = client.post("/upload", headers=OWN_FORM, files={"file": ("a.toml", b"x" * MOST_BODY_BYTES)})
    assert answer.status_code == 413 and "200 kB" in answer.text


@pytest.mark.parametrize("length", ["-1", "1e9", "0x10", "9" * 30])
def test_a_length_that_is_none_is_refused(client: TestClient, length: str) -> None:
    assert client.post("/upload", headers=OWN_FORM | {"content-length": length}).status_code in (400, 413)


@pytest.mark.parametrize(
    ("path", "kind", "start"),
    [
        ("/upload", "multipart/form-data; boundary=cut",
         b'--cut\r\nContent-Disposition: form-data; name="file"; filename="a.toml"\r\n\r\n'),
        ("/car/roadster/run", "application/x-www-form-urlencoded", b"felt=smoke&note="),
    ],
)  # fmt: skip
def test_a_body_without_a_length_is_cut_off_as_it_grows(path: str, kind: str, start: bytes, workshop: Workshop) -> None:
    """In pieces, as a chunked body comes: none is asked for any more once there were too many."""
    pieces = [start, *[b"x" * 10_000] * 100]
    headers = OWN_FORM | {"content-type": kind, "transfer-encoding": "chunked"}
    asked = asyncio.run(ask(page_of(workshop), path, method="POST", headers=headers, pieces=pieces))
    assert asked.status == 413 and "content-security-policy" in asked.headers
    assert asked.taken <= 1 + MOST_BODY_BYTES // 10_000 + 1
    assert sorted(entry.name for entry in workshop.folder.path.iterdir()) == ["roadster.toml"]


def test_without_the_token_only_styles_and_scripts_are_shown(workshop: Workshop) -> None:
    client = browser(page_of(workshop, TOKEN), follow=False)
    for path in READ:
        assert (client.get(path).status_code == 401) != path.startswith("/static/"), path
    assert client.get("/static/tipin.css").status_code == 200
    assert client.post("/car/roadster/run", headers=OWN_FORM).status_code == 401
    assert client.get("/static/../car/roadster").status_code == 401
    assert client.get("/?token=wrong").status_code == 401 and client.get("/?token=").status_code == 401
    assert client.get("/", headers={"authorization": "Bearer wrong"}).status_code == 401
    assert client.get("/", headers={"cookie": f"tipin-{ADDRESS.port}={TOKEN}"}).status_code == 401


def test_the_token_opens_the_page_once_and_for_all(workshop: Workshop) -> None:
    client = browser(page_of(workshop, TOKEN), follow=False)
    answer = client.get("/", params={"token": TOKEN})
    assert answer.status_code == 303 and answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie and "spare" not in cookie
    assert "max-age=15552000" in cookie, "180 days"
    assert client.get("/").status_code == 200 and client.get("/car/roadster").status_code == 200
    assert client.post("/upload", headers=OWN_FORM).status_code == 400
    other = browser(page_of(workshop, TOKEN + "!"), follow=False)
    other.cookies = client.cookies
    assert other.get("/").status_code == 401, "a cookie is good for its own token only"


def test_a_program_may_show_the_token_in_a_header(workshop: Workshop) -> None:
    client = browser(page_of(workshop, TOKEN))
    assert client.get("/", headers={"authorization": f"Bearer {TOKEN}"}).status_code == 200


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--host", "0.0.0.0"), "without a token"), (("--host", "::"), "without a token"),
        (("--host", "192.0.2.1"), "without a token"), (("--token", "short"), "expected at least 16"),
        (("--host", "0.0.0.0", "--token", "fifteen letters"), "expected at least 16"),
    ],
)  # fmt: skip
def test_the_command_refuses_to_be_open_to_others(words: tuple[str, ...], says: str, tmp_path: Path) -> None:
    result = CliRunner(env={"TIPIN_TOKEN": ""}).invoke(command_line, ["serve", str(tmp_path), *words])
    assert isinstance(result.exception, BadInput) and says in str(result.exception)


def test_the_command_says_plainly_that_a_port_or_folder_is_not_to_be_had(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(command_line, ["serve", str(tmp_path), "--port", port])
    assert isinstance(result.exception, BadInput) and "in use" in str(result.exception)
    result = CliRunner().invoke(command_line, ["serve", str(tmp_path / "none"), "--port", "0"])
    assert isinstance(result.exception, BadInput) and "no folder" in str(result.exception)


@pytest.mark.usefixtures("heeds_ctrl_c")
def test_the_command_says_its_address_serves_and_ends_quietly(tmp_path: Path) -> None:
    """Ended while a search is under way, as by Ctrl-C: four cars take several times as long as is waited."""
    cars = ("hill-climber", "tow-truck", "van", "roadster")
    workshop_in(tmp_path, *cars)
    command = [sys.executable, "-m", "configurator", "serve", str(tmp_path), "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as served:
        assert served.stdout is not None and served.stderr is not None
        address = served.stdout.readline().split()[1]
        with httpx.Client(base_url=address, timeout=60) as reader, ThreadPoolExecutor(1) as aside:
            assert "Club roadster" in reader.get("/").text
            evil = {"host": "evil.example"}
            assert reader.get("/", headers=evil).status_code == 400
            days = "&".join(f"car={car}&day:{car}=2999-01-01" for car in cars)
            waiting = aside.submit(reader.get, f"/order/plan?{days}")
            time.sleep(1.5)
            served.send_signal(signal.SIGINT)
            assert waiting.result().status_code == 409
        assert served.wait(30) == 0
        assert served.stdout.read().strip() == "" and served.stderr.read() == ""
