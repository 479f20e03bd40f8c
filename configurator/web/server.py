"""The server under the page: its limits, how it is told to stop, and the certificate that it shows."""

import logging
import ssl
from dataclasses import dataclass
from pathlib import Path
from signal import SIGINT
from types import FrameType

import uvicorn
from starlette.types import ASGIApp

from configurator.errors import BadInput, Fault
from configurator.web.connections import TimedConnection
from configurator.web.work import Searches

ENDS_WITHIN_S = 2
"""For answers under way once the server is told to stop."""


@dataclass(frozen=True)
class Certificate:
    """Files (PEM) of a certificate and its key."""

    certificate: Path
    key: Path

    def check(self) -> None:
        """Raises BadInput where they cannot be used."""
        for path in (self.certificate, self.key):
            if not path.is_file():
                raise BadInput([Fault(str(path), "", "there is no such file", "a file (PEM)")])
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(self.certificate, self.key)
        except OSError as error:
            problem = f"cannot be used with {self.key} ({getattr(error, 'reason', None) or error})"
            raise BadInput([Fault(str(self.certificate), "", problem, "a certificate and its key (PEM)")]) from None


class Server(uvicorn.Server):
    """A server that stops its searches first, so that nobody waits for them at the end, and ends with 0."""

    def __init__(self, page: ASGIApp, work: Searches, certificate: Certificate | None = None) -> None:
        self._work = work
        super().__init__(
            uvicorn.Config(
                page, loop="asyncio", http=TimedConnection, ws="none", log_level="error", access_log=False,
                server_header=False, timeout_graceful_shutdown=ENDS_WITHIN_S,
                ssl_certfile=certificate.certificate if certificate else None,
                ssl_keyfile=certificate.key if certificate else None,
            )
        )  # fmt: skip

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._work.close()
        logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)  # what is cut off by the end is no fault
        self.force_exit = self.should_exit and sig == SIGINT
        self.should_exit = True
