"""Who may ask for what: looked at before any page is, and headers that go out with everything.

A page elsewhere must not reach this one through a browser: not under another name (host), not by a form or script of
its own (origin), not as a picture. Beyond this machine nobody gets in without the token.
"""

import hmac
import re
from dataclasses import dataclass
from hashlib import sha256
from ipaddress import ip_address
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from configurator.web.pages import page, trouble

MOST_BODY_BYTES = 200_000
REMEMBERED_S = 180 * 24 * 60 * 60
"""How long a browser that showed the token is let in without it: 180 days."""
OPEN_TO_ALL = "/static/"
HEALTH = "/health"
"""What needs no token: styles and scripts, the same for everybody, and whether the page is well."""
FORM = "application/x-www-form-urlencoded"
NOT_THE_TOKEN = "That is not the token."
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
PRINTED_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; form-action 'none'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
"""For pages that carry their own styles and no script at all: a card to print, a picture."""
ALWAYS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
_HOST = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9._-]+)(?::(\d{1,5}))?", re.ASCII)


@dataclass(frozen=True)
class Address:
    """Where the page is served: a name or address, and a port. secure : whether over TLS."""

    host: str
    port: int
    secure: bool = False

    @property
    def scheme(self) -> str:
        return "https" if self.secure else "http"

    @property
    def origin(self) -> str:
        """What every address of the page begins with."""
        return f"{self.scheme}://{f'[{self.host}]' if ':' in self.host else self.host}:{self.port}"

    @property
    def is_loopback(self) -> bool:
        return _is_loopback(self.host)

    def answers_to(self, host: str) -> bool:
        """Whether a Host header means this address: loopback by any of its names; beyond it only the address bound, or
        one in figures, since any other name may lead here from somebody else's page."""
        found = _HOST.fullmatch(host.lower())
        if not found or int(found[2] or (443 if self.secure else 80)) != self.port:
            return False
        name = found[1].strip("[]")
        return _is_loopback(name) or (not self.is_loopback and (name == self.host.lower() or _is_in_figures(name)))


def _is_in_figures(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True


def _is_loopback(name: str) -> bool:
    return name.lower() == "localhost" or (_is_in_figures(name) and ip_address(name).is_loopback)


class Guard:
    """The outermost layer of the application."""

    def __init__(self, app: ASGIApp, address: Address, token: str | None = None) -> None:
        self._app, self._address = app, address
        self._token = token.encode() if token else None
        self._cookie = f"tipin-{address.port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        elif scope["type"] == "http":

            async def send_guarded(message: Message) -> None:
                if message["type"] == "http.response.start":
                    headers = MutableHeaders(scope=message)
                    headers.update(ALWAYS)
                    headers.setdefault("content-security-policy", POLICY)
                    headers.setdefault("cache-control", "no-cache" if _is_open(scope) else "no-store")
                await send(message)

            try:
                answer = self._refusal(scope) or await self._let_in(scope, receive)
            except ClientDisconnect:
                return
            if answer is not None:
                await answer(scope, receive, send_guarded)
            else:
                await self._app(scope, limited(receive), send_guarded)

    def _refusal(self, scope: Scope) -> Response | None:
        """Why a request is not even looked at."""
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not self._address.answers_to(hosts[0]):
            return trouble(400, "This page does not answer to that name. Open the address that tipin serve printed.")
        site, is_read = headers.get("sec-fetch-site"), scope["method"] in ("GET", "HEAD")
        if is_read:
            # Another page may lead here by a link, but may not use what is here as a picture, a script or data.
            if site in ("cross-site", "same-site") and headers.get("sec-fetch-mode") != "navigate":
                return trouble(403, "Another page may not use this one.")
        elif headers.getlist("origin") != [f"{scope['scheme']}://{hosts[0]}"] or site not in (None, "same-origin"):
            return trouble(403, "Only a form of this page itself may change anything here.")
        length = headers.get("content-length", "0")
        if not length.isdecimal():
            return trouble(400, "The length of the request is no number.")
        if int(length) > MOST_BODY_BYTES:
            return trouble(413, too_large())
        return None

    async def _let_in(self, scope: Scope, receive: Receive) -> Response | None:
        """None for whoever holds the token; else the way in, or the page that asks for it. Raises ClientDisconnect."""
        if self._token is None or _is_open(scope):
            return None
        headers = Headers(scope=scope)
        kind, _, bearer = headers.get("authorization", "").partition(" ")
        if kind.lower() == "bearer" and _same(bearer.strip(), self._token):
            return None
        # A browser sends a cookie to every port of a host: it must not give away the token.
        entry = hmac.new(self._token, self._cookie.encode(), sha256).hexdigest()
        cookies = [piece.strip().partition("=") for line in headers.getlist("cookie") for piece in line.split(";")]
        if any(name == self._cookie and _same(value, entry.encode()) for name, _, value in cookies):
            return None
        shown = parse_qs(scope["query_string"].decode("latin-1")).get("token", [])
        if scope["path"] == "/" and scope["method"] == "GET" and any(_same(word, self._token) for word in shown):
            return self._entered("/", entry)
        typed: list[str] = []
        if scope["method"] == "POST" and headers.get("content-type", "").startswith(FORM):
            try:
                body = await Request(scope, limited(receive)).body()
            except HTTPException as error:
                return trouble(error.status_code, error.detail)
            typed = parse_qs(body.decode("latin-1")).get("token", [])
        if any(_same(word.strip(), self._token) for word in typed):
            # The whole address: a path that begins with two strokes would lead elsewhere.
            query = scope["query_string"].decode("latin-1")
            place = scope["raw_path"].decode("latin-1") + (f"?{query}" if query else "")
            return self._entered(f"{self._address.scheme}://{headers['host']}{place}", entry)
        says = NOT_THE_TOKEN if typed or shown else ""
        return page("enter.html", 401, {"www-authenticate": "Bearer"}, says=says)

    def _entered(self, to: str, entry: str) -> Response:
        answer = RedirectResponse(to, 303)
        secure = self._address.secure
        answer.set_cookie(self._cookie, entry, REMEMBERED_S, httponly=True, samesite="strict", path="/", secure=secure)
        return answer


def _is_open(scope: Scope) -> bool:
    path = str(scope["path"])
    return path.startswith(OPEN_TO_ALL) or path == HEALTH


def _same(word: str, secret: bytes) -> bool:
    return hmac.compare_digest(word.encode("utf-8", "surrogateescape"), secret)


def too_large() -> str:
    return f"That is more than {MOST_BODY_BYTES // 1000} kB, the most that is taken in one piece."


def limited(receive: Receive) -> Receive:
    """The same stream of a request's body, refused once it grows too long, whatever length it claims to have."""
    got = 0

    async def receive_limited() -> Message:
        nonlocal got
        message = await receive()
        if message["type"] == "http.request":
            got += len(message.get("body", b""))
            if got > MOST_BODY_BYTES:
                raise HTTPException(413, too_large())
        return message

    return receive_limited
