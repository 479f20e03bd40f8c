"""The command that serves the local page."""

import os
import socket
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from configurator.cli.shared import BookPlace, CatalogDir, app
from configurator.errors import BadInput, Fault, TipinError

if TYPE_CHECKING:
    from configurator.web.guard import Address
    from configurator.web.own_certificate import OwnCertificate
    from configurator.web.server import Certificate

SHORTEST_TOKEN = 16
NEEDED = ("jinja2", "python_multipart", "starlette", "uvicorn")
NEEDED_BEYOND = ("ifaddr", "segno")
NEEDED_FOR_TLS = ("cryptography",)
WITHOUT_LIBRARIES = "the local page needs more than tipin itself: pip install '.[web]' in tipin's folder"


@app.command("serve", epilog="Example: tipin serve catalog/examples --book season.sqlite")
def serve_command(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="folder with vehicle files; this one if not said")
    ] = Path("."),
    host: Annotated[str, typer.Option(metavar="ADDRESS", help="address to serve at")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="port to serve at; 0 for any that is free")] = 8463,
    token: Annotated[
        str | None,
        typer.Option(envvar="TIPIN_TOKEN", metavar="WORD", help="ask everybody for this; needed beyond this machine"),
    ] = None,
    tls: Annotated[
        bool,
        typer.Option(
            "--tls", help="serve over TLS with a certificate made for this workshop: a phone measures no other way"
        ),
    ] = False,
    tls_cert: Annotated[
        Path | None, typer.Option(metavar="FILE", help="certificate (PEM), to serve over TLS; goes with --tls-key")
    ] = None,
    tls_key: Annotated[Path | None, typer.Option(metavar="FILE", help="key of the certificate (PEM)")] = None,
    log_requests: Annotated[bool, typer.Option("--log-requests", help="print a line for each request")] = False,
    book: BookPlace = None,
    catalog: CatalogDir = None,
) -> None:
    """Serve the workshop as a page in the browser.

    On this machine only, unless told otherwise. Ctrl-C ends it.
    """
    _check_libraries(NEEDED)
    from configurator.book.book import find_book
    from configurator.catalogue.load import load_catalog, shipped_catalog_dir
    from configurator.web.app import application
    from configurator.web.connections import Door
    from configurator.web.folder import Folder
    from configurator.web.guard import Address
    from configurator.web.own_certificate import own_certificate, place_of_certificate
    from configurator.web.phone import ways_to
    from configurator.web.request_log import RequestLog
    from configurator.web.server import Server
    from configurator.web.work import Searches
    from configurator.web.workshop import Workshop

    token, beyond = token or None, not Address(host, port).is_loopback
    _check_token(token, beyond=beyond)
    _check_libraries(NEEDED_BEYOND if beyond else ())
    given = _certificate(tls_cert, tls_key)
    if tls and given:
        raise BadInput.in_field("tls", "", "makes a certificate, and one is named as well", "one of the two")
    if tls:
        _check_libraries(NEEDED_FOR_TLS)
    stock = load_catalog(catalog or shipped_catalog_dir())
    served = Folder(folder, stock)
    if found := find_book(book):  # what is no book is refused now, not at the first run
        with found:
            pass
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    bound = _bound(Door(family), host, port)
    address, work = Address(host, bound.getsockname()[1], tls or given is not None), Searches()
    own = own_certificate(place_of_certificate(), [way.host for way in ways_to(address)]) if tls else None
    page = application(Workshop(served, stock, book), address, token, work, own)
    _tell(address, token)
    if own:
        _tell_certificate(own)
    certificate = own.files if own else given
    Server(RequestLog(page) if log_requests else page, work, certificate).run(sockets=[bound])
    typer.echo("")
    sys.stdout.flush()
    os._exit(0)  # a search that was stopped looks up seconds later, and the end of a process would wait for it


def _check_libraries(needed: tuple[str, ...]) -> None:
    if missing := [name for name in needed if find_spec(name) is None]:
        raise TipinError(f"{WITHOUT_LIBRARIES} (missing: {', '.join(missing)})")


def _certificate(certificate: Path | None, key: Path | None) -> "Certificate | None":
    from configurator.web.server import Certificate

    if certificate is None and key is None:
        return None
    if certificate is None or key is None:
        field = "tls_key" if key is None else "tls_cert"
        raise BadInput.in_field(field, "", "is missing", "certificate and key")
    (both := Certificate(certificate, key)).check()
    return both


def _tell(address: "Address", token: str | None) -> None:
    """Where the page is to be found; on a terminal also as a picture for a phone's camera, with the token in it."""
    from configurator.web.phone import entrance, qr_code, ways_to

    ways = ways_to(address) if not address.is_loopback else [address]
    for number, way in enumerate(ways):
        ends = "" if number else "  (Ctrl-C ends it)"
        typer.echo(f"tipin: {way.origin}{'/?token=...' if token else ''}{ends}")
    if not address.is_loopback and sys.stdout.isatty():
        typer.echo("For a phone's camera; the token is in it:")
        qr_code(entrance(ways[0], token)).terminal(compact=True)
    sys.stdout.flush()


def _tell_certificate(own: "OwnCertificate") -> None:
    """That a browser will warn, and what to compare then."""
    made = "made just now" if own.made else "as last time"
    typer.echo(f"The certificate is this workshop's own ({made}): a browser warns of it. Compare its SHA-256 first:")
    half = len(own.fingerprint) // 2
    typer.echo(f"  {own.fingerprint[: half + 1]}\n  {own.fingerprint[half + 1 :]}")
    typer.echo(f"To be warned no more, put {own.files.certificate} on the phone; docs/page.md says how.")
    sys.stdout.flush()


def _check_token(token: str | None, *, beyond: bool) -> None:
    if token is None and beyond:
        remedy = "--token, or TIPIN_TOKEN, with a word that nobody guesses"
        raise BadInput.in_field("host", "", "others could reach this address without a token", "a token", remedy)
    if token is not None and len(token) < SHORTEST_TOKEN:
        raise BadInput.in_field("token", "", f"has {len(token)} characters", f"at least {SHORTEST_TOKEN}")


def _bound(listening: socket.socket, host: str, port: int) -> socket.socket:
    """The socket, listening; raises BadInput where the address cannot be had."""
    if os.name == "posix":  # elsewhere the option would let two servers have one port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen()
    except (OSError, UnicodeError) as error:
        listening.close()
        problem = f"cannot be served at ({getattr(error, 'strerror', None) or error})"
        raise BadInput([Fault(f"{host} port {port}", "", problem, "", "name another by --port or --host")]) from None
    return listening
