"""Connections as a server meets them on a road: clients that fall silent, come in crowds, or go in the middle.

A client has so many seconds for the head of a request, for its body, and to take the answer, and is let go if it takes
longer. The door lets in no more at once than there are files to be had, so that the server itself never lacks one.
"""

import errno
import os
import socket
from asyncio import BaseTransport, TimerHandle, Transport
from contextlib import suppress
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_WITHIN_S = 10.0
BODY_WITHIN_S = 60.0
TAKEN_WITHIN_S = 60.0
"""For an answer that is written to be taken by the client."""
MOST_CONNECTIONS = 400
OWN_FILES = 64
"""Files that the server itself may need at once: book, catalogue, pictures, the wiring of its loop."""
FEWEST_CONNECTIONS = 8
_OUT_OF_FILES = (errno.EMFILE, errno.ENFILE)


class Door(socket.socket):
    """A listening socket that lets in only so many at once; one more is told so by closing its connection."""

    def __init__(self, family: socket.AddressFamily, most: int | None = None) -> None:
        super().__init__(family, socket.SOCK_STREAM)
        self._most = most or most_connections()
        self._inside: list[socket.socket] = []
        self._spare = os.open(os.devnull, os.O_RDONLY)

    def accept(self) -> tuple[socket.socket, Any]:
        """The next one that finds room. Raises BlockingIOError where there is none."""
        try:
            arrived, address = super().accept()
        except OSError as error:
            if error.errno in _OUT_OF_FILES:
                self._turn_away()
                raise BlockingIOError from None
            raise
        self._inside = [one for one in self._inside if one.fileno() >= 0]
        if len(self._inside) >= self._most:
            arrived.close()
            raise BlockingIOError
        self._inside.append(arrived)
        return arrived, address

    def _turn_away(self) -> None:
        """Without a file left one who waits would wake the server again and again: the spare file is lent to him."""
        os.close(self._spare)
        with suppress(OSError):
            super().accept()[0].close()
        self._spare = os.open(os.devnull, os.O_RDONLY)

    def close(self) -> None:
        if self.fileno() >= 0:
            os.close(self._spare)
        super().close()


def most_connections() -> int:
    """As many as the files that this process may open leave room for."""
    try:
        import resource
    except ImportError:  # where there is no such limit
        return MOST_CONNECTIONS
    files, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    if files == resource.RLIM_INFINITY:
        return MOST_CONNECTIONS
    return max(FEWEST_CONNECTIONS, min(MOST_CONNECTIONS, files - OWN_FILES))


class TimedConnection(H11Protocol):
    """One connection, let go when its head, its body or the taking of its answer takes too long."""

    transport: Transport
    _waits_for: object = None
    _clock: TimerHandle | None = None
    _clock_of_answer: TimerHandle | None = None

    def connection_made(self, transport: BaseTransport) -> None:
        assert isinstance(transport, Transport)
        super().connection_made(transport)
        self._set_clock()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._set_clock()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._set_clock(anew=True)
        if self.transport.get_write_buffer_size() and self._clock_of_answer is None:
            self._clock_of_answer = self.loop.call_later(TAKEN_WITHIN_S, self.transport.abort)

    def pause_writing(self) -> None:
        super().pause_writing()
        if self._clock_of_answer is None:
            self._clock_of_answer = self.loop.call_later(TAKEN_WITHIN_S, self.transport.abort)

    def resume_writing(self) -> None:
        super().resume_writing()
        if self._clock_of_answer is not None:
            self._clock_of_answer.cancel()
            self._clock_of_answer = None

    def connection_lost(self, exc: Exception | None) -> None:
        for clock in (self._clock, self._clock_of_answer):
            if clock is not None:
                clock.cancel()
        super().connection_lost(exc)

    def shutdown(self) -> None:
        """Told to stop, the server waits for answers that are under way, and for nothing that is still to come."""
        if self.conn.their_state in (h11.IDLE, h11.SEND_BODY):
            self.transport.abort()
        else:
            super().shutdown()

    def _set_clock(self, *, anew: bool = False) -> None:
        """The clock runs while a head or a body is still to come; what arrives in between does not stop it."""
        waits_for = self.conn.their_state
        if waits_for is self._waits_for and not anew:
            return
        self._waits_for = waits_for
        if self._clock is not None:
            self._clock.cancel()
        within_s = {h11.IDLE: HEAD_WITHIN_S, h11.SEND_BODY: BODY_WITHIN_S}.get(waits_for)
        self._clock = None if within_s is None else self.loop.call_later(within_s, self.transport.abort)
