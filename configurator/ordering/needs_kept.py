"""Pieces of an order kept in a file as they are done, so that a run cut short is not lost, and a later one is quicker.

The file is a NumPy archive (a zip of plain arrays, nothing in it is ever run), written whole or not at all. It says
which program and catalogue it is of; with others nothing in it holds any more.
"""

import io
import json
import time
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from configurator.catalogue.load import Catalog
from configurator.errors import BadInput, Fault
from configurator.files.writing import write_whole
from configurator.ordering.needs_pieces import Arrays, Piece, Workers, catalog_digest, is_sound, program

FORMAT = "tipin order, kept work, 1"
ABOUT = "about"
LARGEST_BYTES = 4_000_000_000
LEAST_PAUSE_S = 1.0
"""Between two writings; a large file is given ten times as long as its writing takes."""
Told = Callable[[str], None]


def kept_in(path: Path, workers: Workers, told: Told) -> Workers:
    """Workers who take from a file what it holds already, and put into it what they do. told : how many were taken.

    They raise BadInput, before any work, for a file that is something else or damaged, or cannot be written.
    """

    def work(pieces: Sequence[Piece], catalog: Catalog) -> Iterator[tuple[Piece, Arrays]]:
        shelf = _KeptPieces(path, catalog)
        taken = [piece for piece in pieces if piece.key in shelf.done]
        told(f"{len(taken)} of {len(pieces)} pieces of work taken from {path}{shelf.why_not}")
        for piece in taken:
            if not is_sound(piece, shelf.done[piece.key], catalog):
                raise _damaged(path)
            yield piece, shelf.done[piece.key]
        rest = [piece for piece in pieces if piece.key not in shelf.done]
        if not rest:
            return
        shelf.write()
        try:
            for piece, arrays in workers(rest, catalog):
                shelf.put(piece.key, arrays)
                yield piece, arrays
        finally:
            shelf.write()

    return work


class _KeptPieces:
    """What the file holds of this program and catalogue, and what is put to it."""

    def __init__(self, path: Path, catalog: Catalog) -> None:
        self._path = path
        self._about = {"format": FORMAT, "program": program(), "catalogue": catalog_digest(catalog)}
        self.done: dict[str, dict[str, NDArray[Any]]] = {}
        self.why_not = ""
        """Why what is in the file does not count."""
        self._next = 0.0
        if path.exists():
            self._read()

    def put(self, key: str, arrays: Arrays) -> None:
        self.done[key] = dict(arrays)
        if time.monotonic() >= self._next:
            self.write()

    def write(self) -> None:
        began, content = time.monotonic(), io.BytesIO()
        members: dict[str, Any] = {
            f"{key}/{name}": array for key, own in self.done.items() for name, array in own.items()
        }
        np.savez(content, **{ABOUT: np.array(json.dumps(self._about))}, **members)  # type: ignore[arg-type]
        write_whole(self._path, content.getvalue())
        took = time.monotonic() - began
        self._next = time.monotonic() + max(LEAST_PAUSE_S, 10 * took)

    def _read(self) -> None:
        try:
            if self._path.stat().st_size > LARGEST_BYTES:
                raise _foreign(self._path)
            if not zipfile.is_zipfile(self._path):
                raise _damaged(self._path) if _begins_as_zip(self._path) else _foreign(self._path)
            with zipfile.ZipFile(self._path) as archive:
                if sum(member.file_size for member in archive.infolist()) > LARGEST_BYTES:
                    raise _foreign(self._path)
            with np.load(self._path, allow_pickle=False) as archive:
                if ABOUT not in archive.files:
                    raise _foreign(self._path)
                about = json.loads(str(archive[ABOUT]))
                if not isinstance(about, dict) or about.get("format") != FORMAT:
                    raise _foreign(self._path)
                changed = [what for what in ("program", "catalogue") if about.get(what) != self._about[what]]
                if changed:
                    self.why_not = f": it is of another {' and another '.join(changed)}, and is begun anew"
                    return
                for member in archive.files:
                    key, _, name = member.partition("/")
                    if name:
                        self.done.setdefault(key, {})[name] = archive[member]
        except OSError as error:
            problem = f"cannot be read ({error.strerror or error})"
            raise BadInput([Fault(str(self._path), "", problem, "a file of kept work")]) from None
        except (ValueError, KeyError, EOFError, RecursionError, MemoryError, NotImplementedError, zipfile.BadZipFile,
                zlib.error):  # fmt: skip
            raise _damaged(self._path) from None


def _begins_as_zip(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(4) == b"PK\x03\x04"


def _foreign(path: Path) -> BadInput:
    return BadInput([Fault(str(path), "", "is no file of kept work", "a file of kept work", "name another file")])


def _damaged(path: Path) -> BadInput:
    remedy = "delete it, or name another file: what it held is worked out again"
    return BadInput([Fault(str(path), "", "is kept work, but damaged", "a file as it was written", remedy)])
