"""A line for each request, for whoever looks after the server."""

from contextlib import suppress
from datetime import datetime
from time import perf_counter

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from configurator.errors import one_line


class RequestLog:
    """Around an application: when, who, what, the answer's status, how long it took and how large it was.

    What stands behind the ? of an address is left out: it may hold the token.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began_s, status, size = perf_counter(), 0, 0

        async def send_counted(message: Message) -> None:
            nonlocal status, size
            status = message.get("status", status)
            size += len(message.get("body", b""))
            await send(message)

        try:
            await self._app(scope, receive, send_counted)
        finally:
            client = scope["client"][0] if scope.get("client") else "-"
            took_ms = 1e3 * (perf_counter() - began_s)
            told = f"{client} {scope['method']} {one_line(scope['path'])} {status or '-'}"
            with suppress(OSError, ValueError):  # nobody reads it any longer
                print(f"{datetime.now():%Y-%m-%d %H:%M:%S} {told} {took_ms:.0f} ms {size} bytes", flush=True)
