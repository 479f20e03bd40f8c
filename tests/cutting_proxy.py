"""A connection that breaks where a test wants it to: between tipin and a server, at a message of choice."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

LONGEST = 65536


class Proxy:
    """Hands messages on to a server, and breaks one connection once: at message number `at`, counted over all
    connections, either before it reaches the server or, `answered`, after the server has answered it."""

    def __init__(self, port: int, at: int = 0, answered: bool = False) -> None:
        self.seen: list[bytes] = []
        self._to, self._at, self._answered = ("127.0.0.1", port), at, answered
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._socket.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        _end(self._socket)

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                client, _ = self._socket.accept()
                server = socket.create_connection(self._to)
                broken = threading.Event()
                for work in (self._ask, self._answer):
                    threading.Thread(target=work, args=(client, server, broken), daemon=True).start()

    def _ask(self, client: socket.socket, server: socket.socket, broken: threading.Event) -> None:
        with suppress(OSError):
            while message := client.recv(LONGEST):
                self.seen.append(message)
                if len(self.seen) == self._at:
                    broken.set()
                    if not self._answered:
                        break
                server.sendall(message)
            if not broken.is_set() or not self._answered:
                _end(client, server)

    def _answer(self, client: socket.socket, server: socket.socket, broken: threading.Event) -> None:
        with suppress(OSError):
            while message := server.recv(LONGEST):
                if broken.is_set():
                    break
                client.sendall(message)
            _end(client, server)


def _end(*ends: socket.socket) -> None:
    for end in ends:
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)
        end.close()


@contextmanager
def cutting(port: int, at: int = 0, answered: bool = False) -> Iterator[Proxy]:
    proxy = Proxy(port, at, answered)
    try:
        yield proxy
    finally:
        proxy.close()
