"""A workshop served to a test, as a browser on the same machine would see it."""

import asyncio
import re
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import unescape
from pathlib import Path

from starlette.testclient import TestClient
from starlette.types import ASGIApp, Message, Scope

from configurator.catalogue.load import load_catalog
from configurator.web.app import application
from configurator.web.folder import Folder
from configurator.web.guard import Address
from configurator.web.workshop import Workshop

ROOT = Path(__file__).resolve().parent.parent
EXAMPLES = ROOT / "catalog" / "examples"
CATALOG = load_catalog(ROOT / "catalog")
ADDRESS = Address("127.0.0.1", 8463)
HERE = "http://127.0.0.1:8463"
OWN_FORM = {"origin": HERE, "sec-fetch-site": "same-origin"}
"""What a browser sends along with a form of the page itself."""


def workshop_in(folder: Path, *names: str) -> Workshop:
    """A workshop whose folder holds some of the example vehicles, with a book beside them that is still to be made."""
    folder.mkdir(exist_ok=True)
    for name in names:
        shutil.copy(EXAMPLES / f"{name}.toml", folder)
    return Workshop(Folder(folder, CATALOG), CATALOG, str(folder / "book.sqlite"))


def page_of(workshop: Workshop, token: str | None = None) -> ASGIApp:
    return application(workshop, ADDRESS, token)


def browser(page: ASGIApp, *, follow: bool = True) -> TestClient:
    return TestClient(page, base_url=HERE, follow_redirects=follow, raise_server_exceptions=False)


def form_of(client: TestClient, address: str = "/car/roadster/run") -> dict[str, str | list[str]]:
    """The hidden fields of the form for a run, as a page brings them."""
    html = client.get(address).text.partition('<form id="run"')[2].partition("</form>")[0]
    found = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', html)
    fields = [(name, unescape(value)) for name, value in found]
    return dict(fields) | {"pin": [value for name, value in fields if name == "pin"]}


@dataclass
class Asked:
    """What came of a request that was sent piece by piece: status, body, and how many pieces were taken."""

    status: int = 0
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    taken: int = 0


async def ask(
    page: ASGIApp, path: str, *, method: str = "GET", headers: Mapping[str, str] | None = None,
    pieces: Sequence[bytes] = (), gone: asyncio.Event | None = None,
) -> Asked:  # fmt: skip
    """Ask as a server hands a request on: the body in pieces of no said length, and at last, once `gone` is set, that
    the browser went away."""
    asked, sent = Asked(), list(pieces) or [b""]
    path, _, query = path.partition("?")

    async def receive() -> Message:
        if asked.taken < len(sent):
            asked.taken += 1
            return {"type": "http.request", "body": sent[asked.taken - 1], "more_body": asked.taken < len(sent)}
        await (gone or asyncio.Event()).wait()
        return {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            asked.status = message["status"]
            asked.headers = {name.decode(): value.decode() for name, value in message["headers"]}
        else:
            asked.body += message.get("body", b"")

    named = {"host": f"{ADDRESS.host}:{ADDRESS.port}"} | dict(headers or {})
    scope: Scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
        "path": path, "raw_path": path.encode(), "query_string": query.encode(), "root_path": "",
        "headers": [(name.encode(), value.encode()) for name, value in named.items()],
        "client": ("127.0.0.1", 5000), "server": (ADDRESS.host, ADDRESS.port), "state": {},
    }  # fmt: skip
    await page(scope, receive, send)
    return asked
