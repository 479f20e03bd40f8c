"""Long searches: in threads of their own, and stopped when nobody waits for them any longer."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from typing import TypeVar

from starlette.requests import Request

from configurator.stopping import Stop, Stopped, is_to_stop, until

AT_ONCE = 2
LOOK_AGAIN_S = 0.2
WAITS = "waiting for another search to end"
SearchedFor = TypeVar("SearchedFor")


class Searches:
    """Searches under way, by the sheet they were asked from: a newer one takes the place of an older one."""

    def __init__(self) -> None:
        self._threads = ThreadPoolExecutor(AT_ONCE, thread_name_prefix="search")
        self._stops: dict[object, Stop] = {}
        self._says: dict[object, str] = {}
        self._closed = False

    async def answer(self, request: Request, sheet: str, search: Callable[[], SearchedFor]) -> SearchedFor:
        """What a search finds. Raises Stopped if the browser went away or asked anew from the same sheet, and once
        everything is stopped."""
        if self._closed:
            raise Stopped()
        stop = Stop()
        place = sheet or stop  # without a sheet nothing takes its place
        if place in self._stops:
            self._stops[place].now()
        self._stops[place] = stop
        self._says[place] = WAITS

        def work() -> SearchedFor:
            with until(stop):
                self._says.pop(place, None)
                return search()

        try:
            found = asyncio.wrap_future(self._threads.submit(copy_context().run, work))  # in the asker's units
            while not found.done():
                await asyncio.wait({found}, timeout=LOOK_AGAIN_S)
                if await request.is_disconnected():
                    stop.now()
                if stop.asked and not found.done():
                    found.cancel()  # its thread looks up when it can: nobody waits for it
                    raise Stopped()
            return found.result()
        finally:
            stop.now()
            if self._stops.get(place) is stop:
                del self._stops[place]
                self._says.pop(place, None)

    def tell(self, sheet: str, says: str) -> None:
        """Called by a search: how far it is."""
        if sheet in self._stops and not is_to_stop():  # what was stopped may tell a last word
            self._says[sheet] = says

    def says(self, sheet: str) -> str:
        """How far the search of a sheet is; empty where there is none, or nothing was told yet."""
        return self._says.get(sheet, "")

    def close(self) -> None:
        """Stop everything, for good."""
        self._closed = True
        for stop in list(self._stops.values()):
            stop.now()
        self._threads.shutdown(wait=False, cancel_futures=True)
