"""The command that serves the local page."""

import socket
from importlib.util import find_spec
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from configurator.cli.shared import BookPlace, CatalogDir, app
from configurator.errors import BadInput, Fault, TipinError

if TYPE_CHECKING:
    from configurator.web.guard import Address

SHORTEST_TOKEN = 16
NEEDED = ("jinja2", "python_multipart", "starlette", "uvicorn")
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
    book: BookPlace = None,
    catalog: CatalogDir = None,
) -> None:
    """Serve the workshop as a page in the browser.

    On this machine only, unless told otherwise. Ctrl-C ends it.
    """
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        raise TipinError(f"{WITHOUT_LIBRARIES} (missing: {', '.join(missing)})")
    import uvicorn

    from configurator.book.book import find_book
    from configurator.catalogue.load import load_catalog, shipped_catalog_dir
    from configurator.web.app import application
    from configurator.web.folder import Folder
    from configurator.web.guard import Address
    from configurator.web.work import Searches
    from configurator.web.workshop import Workshop

    token = token or None
    _check_token(token, beyond=not Address(host, port).is_loopback)
    stock = load_catalog(catalog or shipped_catalog_dir())
    served = Folder(folder, stock)
    if found := find_book(book):  # what is no book is refused now, not at the first run
        with found:
            pass
    bound = _bound(host, port)
    address, work = Address(host, bound.getsockname()[1]), Searches()
    page = application(Workshop(served, stock, book), address, token, work)

    class Server(uvicorn.Server):
        """Stops the searches first, so that nobody waits for them at the end."""

        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            work.close()
            super().handle_exit(sig, frame)

    typer.echo(f"tipin: {_shown(address)}{'/?token=...' if token else ''}  (Ctrl-C ends it)")
    config = uvicorn.Config(
        page, log_level="error", access_log=False, server_header=False, ws="none", timeout_graceful_shutdown=2
    )
    try:
        Server(config).run(sockets=[bound])
    except KeyboardInterrupt:
        typer.echo("")


def _check_token(token: str | None, *, beyond: bool) -> None:
    if token is None and beyond:
        remedy = "--token, or TIPIN_TOKEN, with a word that nobody guesses"
        raise BadInput.in_field("host", "", "others could reach this address without a token", "a token", remedy)
    if token is not None and len(token) < SHORTEST_TOKEN:
        raise BadInput.in_field("token", "", f"has {len(token)} characters", f"at least {SHORTEST_TOKEN}")


def _bound(host: str, port: int) -> socket.socket:
    """The socket to listen at; raises BadInput where it cannot be had."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen()
    except (OSError, UnicodeError) as error:
        listening.close()
        problem = f"cannot be served at ({getattr(error, 'strerror', None) or error})"
        raise BadInput([Fault(f"{host} port {port}", "", problem, "", "name another by --port or --host")]) from None
    return listening


def _shown(address: "Address") -> str:
    host = f"[{address.host}]" if ":" in address.host else address.host
    return f"http://{host}:{address.port}"
