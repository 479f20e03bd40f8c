"""Text or bytes written to a file whole, or not at all."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import get_ident

from configurator.errors import BadInput, Fault


def write_whole(path: Path, content: str | bytes, *, secret: bool = False) -> None:
    """Write beside the target, then put in place; text as UTF-8 with its line ends as they are. secret : nobody else of
    this machine may read it. Raises BadInput where that cannot be done; the target stays."""
    if path.exists() and not path.is_file():
        what = "is a directory" if path.is_dir() else "is not an ordinary file"
        raise BadInput([Fault(str(path), "", what, "a file to write")])
    try:
        with _written_beside(path, content.encode() if isinstance(content, str) else content, secret) as beside:
            os.replace(beside, path)
    except (OSError, ValueError) as error:
        problem = f"cannot be written ({getattr(error, 'strerror', None) or error})"
        raise BadInput([Fault(str(path), "", problem, "a file in a folder there is")]) from None


def write_new(path: Path, content: bytes) -> None:
    """Write a file that is not there yet. Raises FileExistsError where its name is taken, and OSError."""
    with _written_beside(path, content) as beside:
        try:
            os.link(beside, path)
        except FileExistsError:
            raise
        except OSError:  # a drive without hard links, as memory sticks are: for a moment the file is seen unfinished
            _write(path, content, "xb")


@contextmanager
def one_writer_at_a_time(directory: Path) -> Iterator[None]:
    """Whoever changes files of a folder by what stands in them waits here for others who do. One that dies lets go;
    where the system knows no such lock, or the folder cannot be opened, nobody waits."""
    try:
        from fcntl import LOCK_EX, flock

        folder = os.open(directory, os.O_RDONLY)
    except (ImportError, OSError):
        yield
        return
    try:
        with suppress(OSError):  # a drive without locks
            flock(folder, LOCK_EX)
        yield
    finally:
        os.close(folder)


@contextmanager
def _written_beside(path: Path, content: bytes, secret: bool = False) -> Iterator[Path]:
    """A file of another name with the content, gone after the block."""
    beside = path.with_name(f".{path.name}.{os.getpid()}.{get_ident()}")
    try:
        _write(beside, content, "wb", 0o600 if secret else 0o666)
        yield beside
    finally:
        beside.unlink(missing_ok=True)


def _write(path: Path, content: bytes, mode: str, permission: int = 0o666) -> None:
    with open(path, mode, opener=lambda name, flags: os.open(name, flags, permission)) as file:
        try:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        except OSError:
            file.close()
            path.unlink(missing_ok=True)
            raise
