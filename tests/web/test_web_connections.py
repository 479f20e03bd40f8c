"""Clients that fall silent, come in crowds or go in the middle: nobody else waits for them, and the log stays short."""

import os
import resource
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2 as httpx
import psutil
import pytest
import trustme
from starlette.types import Receive, Scope, Send
from web_page import CATALOG, OWN_FORM, browser, page_of, workshop_in

from configurator.errors import BadInput
from configurator.web import connections
from configurator.web.connections import Door, most_connections
from configurator.web.folder import Folder
from configurator.web.server import Certificate, Server
from configurator.web.work import Searches
from configurator.web.workshop import Workshop

SILENT = b""
HALF_A_HEAD = b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\n"
HALF_A_BODY = b"POST / HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: 1000\r\n\r\nfelt=smo"
LARGE = 30_000_000
"""Bytes that no buffer between server and client holds."""
GO_AWAY_TOKEN = "the spare key hangs behind the compressor"


async def answering(scope: Scope, receive: Receive, send: Send) -> None:
    """An application that reads the body, and says as much as it is asked for."""
    if scope["type"] == "lifespan":
        return
    message = await receive()
    while message.get("more_body"):
        message = await receive()
    if message["type"] == "http.disconnect":
        return
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"x" * (LARGE if scope["path"] == "/large" else 2)})


@contextmanager
def listening(most: int | None = None) -> Iterator[int]:
    """The server in a thread of its own: the port that it listens at."""
    door = Door(socket.AF_INET, most)
    door.bind(("127.0.0.1", 0))
    server = Server(answering, Searches())
    thread = threading.Thread(target=server.run, kwargs={"sockets": [door]})
    thread.start()
    try:
        while not server.started:
            time.sleep(0.01)
        yield door.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join(20)


def call(port: int, says: bytes = b"") -> socket.socket:
    client = socket.create_connection(("127.0.0.1", port), timeout=10)
    client.sendall(says)
    return client


def is_let_go(client: socket.socket, within_s: float) -> bool:
    """Whether the other end closes without a word."""
    client.settimeout(within_s)
    try:
        return client.recv(100) == b""
    except TimeoutError:
        return False
    except ConnectionResetError:
        return True


@pytest.fixture
def short_deadlines(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("HEAD_WITHIN_S", "BODY_WITHIN_S", "TAKEN_WITHIN_S"):
        monkeypatch.setattr(connections, name, 0.6)


@pytest.mark.usefixtures("short_deadlines")
def test_half_open_clients_are_let_go_and_hold_nobody_up() -> None:
    with listening() as port:
        began = time.monotonic()
        clients = [call(port, says) for says in (SILENT, HALF_A_HEAD, HALF_A_BODY) for _ in range(50)]
        assert httpx.get(f"http://127.0.0.1:{port}/").text == "xx"
        assert time.monotonic() - began < 3
        held = [client for client in clients if not is_let_go(client, 5)]
        assert not held, f"{len(held)} are held still"


@pytest.mark.usefixtures("short_deadlines")
@pytest.mark.parametrize("says", [HALF_A_HEAD, HALF_A_BODY])
def test_a_drop_now_and_then_keeps_nobody_in(says: bytes) -> None:
    """A byte every tenth of a second: the clock runs for the head or the body as a whole."""
    with listening() as port:
        client = call(port, says)
        client.settimeout(0.1)
        for _ in range(50):
            try:
                client.sendall(b"x")
                if client.recv(1) == b"":
                    return
            except TimeoutError:
                continue
            except OSError:
                return
        pytest.fail("it may go on for ever")


@pytest.mark.usefixtures("short_deadlines")
def test_a_second_request_has_its_time_too() -> None:
    with listening() as port:
        client = call(port)
        for _ in range(2):
            time.sleep(0.4)
            client.sendall(HALF_A_HEAD + b"\r\n")
            answer = b""
            while not answer.endswith(b"\r\n0\r\n\r\n"):
                answer += client.recv(1000)
        client.sendall(HALF_A_HEAD)
        assert is_let_go(client, 5)


@pytest.mark.usefixtures("short_deadlines")
def test_an_answer_that_nobody_takes_is_given_up() -> None:
    with listening() as port:
        client = call(port, b"GET /large HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n")
        time.sleep(2)
        taken = 0
        client.settimeout(2)
        try:
            while piece := client.recv(1_000_000):
                taken += len(piece)
        except OSError:
            pass
        assert taken < LARGE


def test_a_full_door_turns_away_and_opens_again() -> None:
    with listening(most=5) as port:
        inside = [call(port) for _ in range(5)]
        assert all(is_let_go(call(port), 5) for _ in range(10))
        inside[0].close()
        time.sleep(0.3)
        assert httpx.get(f"http://127.0.0.1:{port}/").text == "xx"


def test_a_door_without_a_file_left_turns_away_without_noise() -> None:
    """Else it is woken again and again by the same client, and says so each time."""
    with Door(socket.AF_INET) as door:
        door.bind(("127.0.0.1", 0))
        door.listen()
        door.setblocking(False)
        waiting = call(door.getsockname()[1])
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        used = max(map(int, os.listdir("/proc/self/fd")))
        fill: list[int] = []
        resource.setrlimit(resource.RLIMIT_NOFILE, (used + 8, hard))
        try:
            with pytest.raises(OSError, match="Too many open files"):
                while True:
                    fill.append(os.open(os.devnull, os.O_RDONLY))
            with pytest.raises(BlockingIOError):
                door.accept()
        finally:
            for number in fill:
                os.close(number)
            resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        assert is_let_go(waiting, 1)


def test_there_is_room_for_as_many_as_there_are_files(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(resource, "getrlimit", lambda _: (120, 120))
    assert most_connections() == 56
    monkeypatch.setattr(resource, "getrlimit", lambda _: (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    assert most_connections() == connections.MOST_CONNECTIONS


@contextmanager
def served(folder: Path, *words: str, files: int = 0) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """`tipin serve` as a process, with so many files allowed, and the address that it says."""
    command = [sys.executable, "-m", "configurator", "serve", str(folder), "--port", "0", *words]
    limit = (lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (files, files))) if files else None
    environment = os.environ | {"XDG_DATA_HOME": str(folder), "TIPIN_TOKEN": ""}
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment, preexec_fn=limit
    ) as process:
        assert process.stdout is not None
        try:
            yield process, process.stdout.readline().split()[1]
        finally:
            process.terminate()


def stopped(process: subprocess.Popen[str]) -> tuple[int, float, str]:
    """Exit code, how long it took to end [s], and what it complained of."""
    began = time.monotonic()
    process.send_signal(signal.SIGTERM)
    _, says = process.communicate(timeout=30)
    return process.returncode, time.monotonic() - began, says


@pytest.mark.long(20)
def test_at_few_files_a_crowd_costs_neither_work_nor_log(tmp_path: Path) -> None:
    workshop_in(tmp_path, "van")
    with served(tmp_path, files=120) as (process, address):
        port = int(address.rpartition(":")[2])
        assert httpx.get(address).status_code == 200
        crowd = [call(port, HALF_A_HEAD) for _ in range(150)]
        before_s = sum(psutil.Process(process.pid).cpu_times()[:2])
        time.sleep(4)
        assert sum(psutil.Process(process.pid).cpu_times()[:2]) - before_s < 1
        time.sleep(connections.HEAD_WITHIN_S - 3)
        assert httpx.get(address).status_code == 200, "those who said nothing more are gone"
        assert all(is_let_go(client, 0.1) for client in crowd)
        code, took_s, says = stopped(process)
    assert (code, says) == (0, "") and took_s < 4


def test_a_phone_that_goes_in_the_middle_costs_one_line(tmp_path: Path) -> None:
    workshop_in(tmp_path, "van")
    head = (
        "POST /upload HTTP/1.1\r\nhost: {host}\r\norigin: http://{host}\r\ncontent-length: 5000\r\n"
        "content-type: multipart/form-data; boundary=cut\r\n\r\n--cut\r\n"
        'Content-Disposition: form-data; name="file"; filename="a.toml"\r\n\r\nname = '
    )
    with served(tmp_path) as (process, address):
        host = address.removeprefix("http://")
        call(int(host.rpartition(":")[2]), head.format(host=host).encode()).close()
        time.sleep(1)
        assert httpx.get(address).status_code == 200
        _, _, says = stopped(process)
    assert says == "tipin: 127.0.0.1 went in the middle of POST /upload\n"


def test_it_ends_soon_and_quietly_when_told_to(tmp_path: Path) -> None:
    """While a search is under way, and with clients that are half open."""
    cars = ("hill-climber", "tow-truck", "van", "roadster")
    workshop_in(tmp_path, *cars)
    days = "&".join(f"car={car}&day:{car}=2999-01-01" for car in cars)
    with served(tmp_path) as (process, address):
        host = address.removeprefix("http://")
        clients = [call(int(host.rpartition(":")[2]), says) for says in (SILENT, HALF_A_HEAD, HALF_A_BODY)]
        asked = call(int(host.rpartition(":")[2]), f"GET /order/plan?{days} HTTP/1.1\r\nhost: {host}\r\n\r\n".encode())
        time.sleep(2)
        code, took_s, says = stopped(process)
    assert (code, says) == (0, "") and took_s < 4
    assert len([asked, *clients]) == 4


def test_a_request_costs_a_line_when_asked_for(tmp_path: Path) -> None:
    workshop_in(tmp_path, "van")
    with served(tmp_path, "--log-requests", "--token", GO_AWAY_TOKEN) as (process, address):
        address = address.partition("/?")[0]
        httpx.get(address, params={"token": GO_AWAY_TOKEN})
        httpx.get(f"{address}/health")
        process.send_signal(signal.SIGTERM)
        told, says = process.communicate(timeout=20)
    lines = told.strip().splitlines()
    assert [line.split()[2:6] for line in lines] == [
        ["127.0.0.1", "GET", "/", "303"], ["127.0.0.1", "GET", "/health", "200"],
    ]  # fmt: skip
    assert GO_AWAY_TOKEN.split()[0] not in told and says == ""


def test_tls_is_served_with_a_certificate(tmp_path: Path) -> None:
    workshop_in(tmp_path, "van")
    authority = trustme.CA()
    issued = authority.issue_cert("127.0.0.1")
    authority.cert_pem.write_to_path(str(tmp_path / "authority.pem"))
    issued.cert_chain_pems[0].write_to_path(str(tmp_path / "cert.pem"))
    issued.private_key_pem.write_to_path(str(tmp_path / "key.pem"))
    words = ("--tls-cert", str(tmp_path / "cert.pem"), "--tls-key", str(tmp_path / "key.pem"))
    with served(tmp_path, *words) as (process, address):
        assert address.startswith("https://127.0.0.1:")
        trusts = httpx.Client(verify=ssl.create_default_context(cafile=tmp_path / "authority.pem"), base_url=address)
        assert "Marshals" in trusts.get("/").text
        assert trusts.post("/upload", headers={"origin": address}).status_code == 400  # looked at: it holds no file
        assert trusts.post("/upload", headers={"origin": address.replace("https", "http")}).status_code == 403
        call(int(address.rpartition(":")[2]), HALF_A_HEAD).close()
        assert stopped(process)[::2] == (0, "")


def test_a_certificate_that_is_none_is_refused(tmp_path: Path) -> None:
    (tmp_path / "key.pem").write_text("no key")
    with pytest.raises(BadInput, match="cannot be used with"):
        Certificate(tmp_path / "key.pem", tmp_path / "key.pem").check()
    with pytest.raises(BadInput, match="no such file"):
        Certificate(tmp_path / "none.pem", tmp_path / "key.pem").check()


def test_health_is_told_to_everybody_and_tells_nothing_else(tmp_path: Path) -> None:
    workshop = workshop_in(tmp_path / "cars", "van")
    client = browser(page_of(workshop, GO_AWAY_TOKEN))
    assert (client.get("/health").status_code, client.get("/health").text) == (200, "well")
    (tmp_path / "cars" / "book.sqlite").write_text("no book at all, but a longer text than none")
    answer = client.get("/health")
    assert (answer.status_code, answer.text) == (503, "the book cannot be opened")
    (tmp_path / "gone").mkdir()
    gone = Workshop(Folder(tmp_path / "gone", CATALOG), CATALOG, None)
    (tmp_path / "gone").rmdir()
    answer = browser(page_of(gone)).get("/health")
    assert (answer.status_code, answer.text) == (503, "the folder cannot be read")


def test_pages_are_compressed_for_whoever_takes_that(tmp_path: Path) -> None:
    client = browser(page_of(workshop_in(tmp_path, "van")))
    for path in ("/car/van", "/static/htmx.min.js"):
        answer, plain = client.get(path), client.get(path, headers={"accept-encoding": "identity"})
        assert answer.headers["content-encoding"] == "gzip" and "content-encoding" not in plain.headers
        assert int(answer.headers["content-length"]) < len(plain.content) / 2
    assert answer.text == plain.text
    assert client.post("/upload", headers=OWN_FORM).status_code == 400
